"""The live show without its clock: commands and telemetry in, one tick's pulses out.

Nothing in here reads a clock, opens a file or waits. Times come in as arguments, in seconds of any clock
that only goes forward; what needs a file or a thread goes out as an event. So an hour's show runs in a test
in seconds, and every fault can be played again.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motionhub.hub import commands as ask
from motionhub.hub.battery import Battery
from motionhub.hub.events import Event, Notice, Refused
from motionhub.hub.lease import Lease, Person
from motionhub.hub.snapshot import DriverView, HubState, LinkView
from motionhub.hub.stage import Stage
from motionhub.hub.states import Cause, Mode, after
from motionhub.motion.posing import rest_joints
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

RATE_HZ = 50.0
"""The hobby servo's own 20 ms period (practice)."""

DEAD_MAN_S = 0.4
"""A walk ends when no Drive has come for this long. A held stick repeats at least 5 times a second, so one
may be lost; and at a brisk 0.2 m/s it is 8 cm further."""


@dataclass(frozen=True, eq=False)
class Tick:
    """What one tick sends."""

    pulses: Array | None
    """(J,) whole µs, or None for no pulses at all: limp."""
    enabled: bool
    """Whether there are pulses."""
    outputs: Array
    """(O,) levels 0..1."""
    joints: Array
    """(J,) rad, as commanded."""
    events: tuple[Event, ...] = ()
    """What the tick has brought about: for everybody, or for whom they name."""


class Hub:
    """One robot's show.

    Args:
        robot: The robot.
        calibration: Of this very machine.
        rate_hz: Ticks per second; every call of :meth:`tick` moves the show on by one of them.
    """

    def __init__(self, robot: Robot, calibration: Calibration, rate_hz: float = RATE_HZ) -> None:
        self.robot = robot
        self.calibration = calibration
        self.rate_hz = rate_hz
        self.mode: Mode = "rest"
        self.reason = ""
        self.link = LinkView()
        self.battery = Battery(robot.supply)
        self.lease = Lease()
        self.stage = Stage(rest_joints(robot), 1 / rate_hz)
        self.ticks = 0
        self._by_hand = np.zeros(len(robot.outputs))
        self._events: list[Event] = []

    # ---------------------------------------------------------------- people

    def joined(self, client: str, name: str, operator: bool, now: float) -> list[Event]:
        """Somebody has connected, as an operator or a watcher."""
        self.lease.join(client, name, operator, now)
        return []

    def left(self, client: str, now: float) -> list[Event]:
        """Somebody has gone. If they were driving, the walk ends with the feet down."""
        self.lease.leave(client)
        return []

    def handle(self, client: str, command: ask.Command, now: float) -> list[Event]:
        """Take a command; it shows from the next tick on. Returns what to tell whom."""
        person = self.lease.hear(client, now)
        if person is None:
            return [self._refusal(client, command, "nobody here has joined by that name")]
        refused = self._HANDLERS[type(command)](self, person, command, now)
        events, self._events = self._events, []
        return [*events, *([self._refusal(client, command, refused)] if refused else [])]

    @staticmethod
    def _refusal(client: str, command: ask.Command, text: str) -> Refused:
        return Refused(client, snake(type(command).__name__), text)

    def _take(self, person: Person, command: ask.Command, now: float) -> str:
        return self.lease.take(person.id)

    def _release(self, person: Person, command: ask.Command, now: float) -> str:
        self.lease.release(person.id)
        return ""

    def _stop(self, person: Person, command: ask.Command, now: float) -> str:
        return self._cause("stop", f"stopped by {person.name or 'someone'}")

    def _ping(self, person: Person, command: ask.Command, now: float) -> str:
        return ""

    def _later(self, person: Person, command: ask.Command, now: float) -> str:
        return "" if self.lease.holds(person.id) else "take control first"

    _HANDLERS: dict[type, Callable[[Hub, Person, ask.Command, float], str]] = {
        ask.Take: _take,
        ask.Release: _release,
        ask.Stop: _stop,
        ask.Ping: _ping,
    } | dict.fromkeys(
        [
            ask.Drive,
            ask.Posture,
            ask.Pace,
            ask.Play,
            ask.Go,
            ask.Resume,
            ask.Limp,
            ask.RecordStart,
            ask.RecordStop,
            ask.Replay,
            ask.SetOutput,
        ],
        _later,
    )

    # ---------------------------------------------------------------- modes

    def _cause(self, cause: Cause, reason: str = "") -> str:
        """Let something happen, by the table. Returns why it is refused, or nothing."""
        outcome = after(self.mode, cause)
        if outcome.taken:
            self.mode = outcome.mode
            self.reason = reason
        return outcome.refused

    # ---------------------------------------------------------------- the tick

    def tick(self, now: float) -> Tick:
        """Move the show on by one tick."""
        self.ticks += 1
        if lapsed := self.lease.lapse(now):
            self._events.append(Notice("info", f"{lapsed.name or 'the driver'} has gone quiet; nobody is driving"))
        step, cause = self.stage.step()
        self.stage.accept(step.joints)
        if cause is not None:
            self._cause(cause)
        pulses = np.rint(self.calibration.pulses(self.robot, step.joints))
        events, self._events = tuple(self._events), []
        return Tick(pulses, True, self._by_hand.copy(), step.joints, events)

    # ---------------------------------------------------------------- what is seen of it

    def state(self, now: float) -> HubState:
        """The show at this moment."""
        holder = self.lease.holder
        return HubState(
            tick=self.ticks,
            mode=self.mode,
            reason=self.reason,
            joints=self.stage.joints.copy(),
            body=np.array([0.0, 0.0, self.robot.rest_height, 0.0, 0.0, 0.0]),
            down=np.ones(self.robot.legs, dtype=bool),
            com=np.zeros(2),
            margin=0.0,
            outputs=self._by_hand.copy(),
            at_limit=False,
            link=self.link,
            battery=self.battery.view,
            driver=DriverView(holder.id, holder.name) if holder else None,
            playing=None,
            recording_s=None,
            watchers=len(self.lease.people) - (holder is not None),
        )


def snake(name: str) -> str:
    """``RecordStart`` as ``record_start``: a command's name, as messages have it."""
    return re.sub(r"(?<!^)(?=[A-Z])", "_", name).lower()
