"""Every command, one by one: what it does to the hub, or in words why it is refused.

Each takes the hub, who gives the command, the command and the time, and returns the reason for refusing it,
empty when it is taken. :data:`ORDERS` says besides which of them only the one in control may give.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Literal, Protocol

import numpy as np

from motionhub.hub import commands as ask
from motionhub.hub.battery import Battery
from motionhub.hub.bringup import orders as bringup
from motionhub.hub.bringup.workbench import Workbench
from motionhub.hub.director import Director
from motionhub.hub.events import Began, Calibrated, Event, Keep, Notice, SendCalibration
from motionhub.hub.kept import RobotKeeps
from motionhub.hub.lease import Lease, Person
from motionhub.hub.outputs import Outputs
from motionhub.hub.recorder import Recorder
from motionhub.hub.snapshot import LinkView
from motionhub.hub.states import Cause, Mode, after
from motionhub.link.wire import Activity
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

NO_LINK = "there is no link to the robot"


class Hub(Protocol):
    """What an order needs of the hub, which is :class:`motionhub.hub.core.Hub`."""

    robot: Robot
    calibration: Calibration
    rate_hz: float
    mode: Mode
    lease: Lease
    link: LinkView
    battery: Battery
    activity: Activity | None
    director: Director
    recorder: Recorder | None
    pace: float
    stick: ask.Drive
    stick_at: float
    outputs: Outputs
    kept: RobotKeeps
    workbench: Workbench

    def use(self, calibration: Calibration) -> None:
        """From now on this is the calibration."""

    def cause(self, cause: Cause, reason: str = "") -> str:
        """Let something happen, by the table of modes; returns why it is refused, or nothing."""

    def prepare(self, client: str, kind: Literal["move", "recording"], name: str) -> None:
        """Ask the shell for what is to be played next."""

    def let_go(self) -> None:
        """Whoever drove is gone: nothing is held any more."""

    def let_go_of_stick(self) -> None:
        """Nobody wants it to walk."""

    def say(self, event: Event) -> None:
        """Something that the shell is to hear of."""


@dataclass(frozen=True)
class Order:
    """What takes a command, and whether it needs control."""

    take: Callable[[Hub, Person, Any, float], str]
    needs_control: bool = True


def _take(hub: Hub, person: Person, command: ask.Take, now: float) -> str:
    return hub.lease.take(person.id)


def _release(hub: Hub, person: Person, command: ask.Release, now: float) -> str:
    if hub.lease.release(person.id):
        hub.let_go()
    return ""


def _drive(hub: Hub, person: Person, command: ask.Drive, now: float) -> str:
    if command == ask.Drive():
        hub.let_go_of_stick()  # which is never wrong
        return ""
    if not hub.link.up:
        return NO_LINK
    if refused := hub.cause("drive"):
        return refused
    hub.stick, hub.stick_at = command, now
    return ""


def _posture(hub: Hub, person: Person, command: ask.Posture, now: float) -> str:
    if refused := hub.cause("drive"):
        return refused
    if standing := hub.director.standing:
        standing.carry(command.height, command.roll, command.pitch, command.yaw)
    return ""


def _pace(hub: Hub, person: Person, command: ask.Pace, now: float) -> str:
    hub.pace = float(np.clip(command.share, 0.0, 1.0))
    return ""


def _gait(hub: Hub, person: Person, command: ask.Gait, now: float) -> str:
    names = hub.director.steps.names
    if command.name not in names:
        return f"{hub.robot.name} has no gait {command.name!r}; there are: {', '.join(names)}"
    hub.director.steps.by(command.name)
    return ""


def _lift(hub: Hub, person: Person, command: ask.Lift, now: float) -> str:
    hub.director.steps.as_high_as(command.height)
    return ""


def _lead(hub: Hub, person: Person, command: ask.Lead, now: float) -> str:
    hub.director.steps.leads = command.on
    return ""


def _play(hub: Hub, person: Person, command: ask.Play | ask.Replay, now: float) -> str:
    if refused := after(hub.mode, "play").refused:
        return refused
    if not hub.link.up:
        return NO_LINK
    hub.prepare(person.id, "move" if isinstance(command, ask.Play) else "recording", command.name)
    return ""


def _go(hub: Hub, person: Person, command: ask.Go, now: float) -> str:
    return hub.cause("go")


def _stop(hub: Hub, person: Person, command: ask.Stop, now: float) -> str:
    return hub.cause("stop", f"Stopped by {person.name or 'someone'}.")


def _resume(hub: Hub, person: Person, command: ask.Resume, now: float) -> str:
    if refused := after(hub.mode, "resume").refused:
        return refused
    if hub.battery.view.level == "empty":
        return "the battery is empty"
    if hub.activity is Activity.ENDED:
        return "the robot has ended its pulses for an empty battery; charge it, and switch it off and on"
    return hub.cause("resume")


def _limp(hub: Hub, person: Person, command: ask.Limp, now: float) -> str:
    return hub.cause("limp" if command.sure else "unsure", f"Let go by {person.name or 'someone'}.")


def _record_start(hub: Hub, person: Person, command: ask.RecordStart, now: float) -> str:
    if hub.recorder is not None:
        return "a recording is being made already"
    if hub.mode == "limp":
        return "there is nothing to record while the robot is limp"
    hub.recorder = Recorder(hub.rate_hz)
    hub.say(Began())
    return ""


def _record_stop(hub: Hub, person: Person, command: ask.RecordStop, now: float) -> str:
    if hub.recorder is None:
        return "nothing is being recorded"
    if not hub.recorder.ticks:
        return "nothing has been recorded yet"
    hub.recorder = None
    hub.say(Keep(person.id, command.name))
    return ""


def _set_output(hub: Hub, person: Person, command: ask.SetOutput, now: float) -> str:
    return hub.outputs.set(command.output, command.level)


def _meter_shows(hub: Hub, person: Person, command: ask.MeterShows, now: float) -> str:
    if not hub.link.up:
        return NO_LINK
    scale = hub.battery.scale_for(command.volts, now)
    if isinstance(scale, str):
        return scale
    hub.battery.rescale(scale)
    hub.use(replace(hub.calibration, battery_scale=scale))
    hub.say(Calibrated(hub.calibration))
    hub.say(Notice("info", f"The battery is read as the meter shows it now: {command.volts:.2f} V"))
    return ""


def _send_calibration(hub: Hub, person: Person, command: ask.SendCalibration, now: float) -> str:
    if not hub.link.up:
        return NO_LINK
    if hub.kept.view.state == "sending":
        return "it is on its way already"
    hub.kept.sending()
    hub.say(SendCalibration(hub.kept.image))
    return ""


def _take_calibration(hub: Hub, person: Person, command: ask.TakeCalibration, now: float) -> str:
    theirs = hub.kept.theirs
    if theirs is None:
        return "what the robot keeps has not been read" if hub.link.up else NO_LINK
    if hub.mode not in ("rest", "stopped", "limp", "fault"):
        return "wait until the robot stands still"
    hub.use(theirs)
    hub.say(Calibrated(theirs))
    return ""


def _ping(hub: Hub, person: Person, command: ask.Ping, now: float) -> str:
    return ""


ORDERS: dict[type, Order] = {
    ask.Take: Order(_take, needs_control=False),
    ask.Release: Order(_release, needs_control=False),
    ask.Drive: Order(_drive),
    ask.Posture: Order(_posture),
    ask.Pace: Order(_pace),
    ask.Gait: Order(_gait),
    ask.Lift: Order(_lift),
    ask.Lead: Order(_lead),
    ask.Play: Order(_play),
    ask.Go: Order(_go),
    ask.Stop: Order(_stop, needs_control=False),
    ask.Resume: Order(_resume),
    ask.Limp: Order(_limp),
    ask.RecordStart: Order(_record_start),
    ask.RecordStop: Order(_record_stop),
    ask.Replay: Order(_play),
    ask.SetOutput: Order(_set_output),
    ask.MeterShows: Order(_meter_shows),
    ask.SendCalibration: Order(_send_calibration),
    ask.TakeCalibration: Order(_take_calibration),
    ask.Ping: Order(_ping, needs_control=False),
    **{kind: Order(bringup.take) for kind in bringup.KINDS},
}
