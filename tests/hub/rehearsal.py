"""A show without a clock: the hub's core, a few people, and time that passes when a test says so."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

import numpy as np

from motionhub.hub import commands as ask
from motionhub.hub.core import Hub, Tick
from motionhub.hub.events import AskCalibration, Calibrated, Event, Keep, Notice, Prepare, Refused, SendCalibration
from motionhub.hub.snapshot import HubState, LinkView
from motionhub.library.recording import Recording
from motionhub.link.session import Connected, Disconnected, Heard, InUse, Keeping, LinkSession
from motionhub.link.simulated import SimulatedRobot
from motionhub.link.wire import Activity, Faults, Telemetry
from motionhub.motion.frames import Frames
from motionhub.robot.calibration import Calibration
from motionhub.robot.description import load
from motionhub.robot.model import Robot

ROBOTS = Path(__file__).resolve().parents[2] / "sequences" / "robots"
DT = 0.02
UP = LinkView(up=True, round_trip_s=0.01, bytes_s=1000.0, budget_bytes_s=4000.0)
DOWN = LinkView(up=False)


@cache
def shipped(name: str) -> Robot:
    """A shipped robot: trestle has four legs, tansy six, harrow eight."""
    return load(ROBOTS / f"{name}.toml")


def telemetry(activity: Activity, volts: float) -> Telemetry:
    return Telemetry(round(volts * 1000), Faults(0), int(activity), 1, 100, 10, 0, 0)


def clip(robot: Robot, joints: np.ndarray, name: str = "clip", holds: tuple[int, ...] = ()) -> Frames:
    """A move made of these joints (T, J)."""
    count = len(joints)
    outputs = np.zeros((count, len(robot.outputs)))
    return Frames(robot, name, 50.0, joints, outputs, np.zeros((count, robot.legs)), holds=holds)


class Rehearsal:
    """The operator "ann" holds control, and the robot does what it is told, unless a test says otherwise."""

    def __init__(self, robot: Robot, calibration: Calibration | None = None, ready: bool = True) -> None:
        self.robot = robot
        self.calibration = calibration or Calibration.default(robot)
        self.hub = Hub(robot, self.calibration)
        self.now = 0.0
        self.ticks: list[Tick] = []
        self.modes: list[str] = []
        self.events: list[Event] = []
        self.repertoire: dict[str, Frames | Recording | str] = {}
        self.hub.joined("ann", "Ann", True, self.now)
        self.hub.joined("bob", "Bob", True, self.now)
        self.hub.joined("guest", "Guest", False, self.now)
        if ready:
            self.link(UP)
            self.robot_says()
            self.say(ask.Take())
            self.until("rest")

    # ---------------------------------------------------------------- what happens to it

    def link(self, view: LinkView) -> list[Event]:
        return self._hear(self.hub.link_is(view, self.now))

    def robot_says(self, activity: Activity = Activity.FOLLOWING, volts: float | None = None) -> list[Event]:
        """Telemetry; of a battery that is well unless said otherwise."""
        volts = self.robot.supply.battery_full_v if volts is None else volts
        return self._hear(self.hub.robot_says(telemetry(activity, volts), self.now))

    def say(self, command: ask.Command, client: str = "ann") -> str:
        """Give a command; returns why it was refused, or nothing."""
        refused = [e for e in self._hear(self.hub.handle(client, command, self.now)) if isinstance(e, Refused)]
        return refused[0].text if refused else ""

    def _hear(self, events: list[Event] | tuple[Event, ...]) -> list[Event]:
        heard = list(events)
        self.events += heard
        for event in events:
            if isinstance(event, Prepare) and event.name in self.repertoire:
                found = self.repertoire[event.name]
                ready = found if isinstance(found, str) else self.hub.make_ready(event.name, found)
                heard += self._hear(self.hub.prepared(event.job, ready, self.now))
            elif isinstance(event, AskCalibration | SendCalibration):
                self.to_robot(event)
        return heard

    def to_robot(self, event: AskCalibration | SendCalibration) -> None:
        """Without a wire nothing comes of it."""

    def tick(self) -> Tick:
        self.now += DT
        tick = self.hub.tick(self.now)
        self.ticks.append(tick)
        self.modes.append(self.hub.mode)
        self._hear(tick.events)
        return tick

    def run(self, seconds: float, *commands: ask.Command, client: str = "ann") -> None:
        """Let time pass; the commands are given anew on every fifth tick, as a remote repeats them."""
        for i in range(round(seconds / DT)):
            if i % 5 == 0:
                for command in (ask.Ping(), *commands):
                    self.say(command, client)
            self.tick()

    def until(self, mode: str, within_s: float = 20.0, *commands: ask.Command) -> float:
        """Let time pass until the hub is in this mode; returns how long that took."""
        began = self.now
        while self.hub.mode != mode:
            assert self.now - began < within_s, f"still {self.hub.mode}, not {mode}, after {within_s} s"
            self.run(DT, *commands)
        return self.now - began

    # ---------------------------------------------------------------- what came of it

    @property
    def joints(self) -> np.ndarray:
        """(T, J) rad, as sent."""
        return np.array([tick.joints for tick in self.ticks])

    @property
    def pulses(self) -> np.ndarray:
        """(T, J) µs, as sent; a limp tick has zeros."""
        limp = np.zeros(self.robot.joints)
        return np.array([limp if tick.pulses is None else tick.pulses for tick in self.ticks])

    @property
    def state(self) -> HubState:
        return self.hub.state(self.now)

    @property
    def refusals(self) -> list[str]:
        return [e.text for e in self.events if isinstance(e, Refused)]

    @property
    def notices(self) -> list[str]:
        return [e.text for e in self.events if isinstance(e, Notice)]

    def recording(self, since: int = 0) -> Recording:
        """What was recorded from this tick on."""
        made = [tick.recorded for tick in self.ticks[since:] if tick.recorded is not None]
        return Recording(
            self.robot.name,
            "2026-01-01T12:00:00+00:00",
            50.0,
            self.robot.joint_names,
            tuple(output.name for output in self.robot.outputs),
            np.array([m.pulses for m in made]).astype(np.int16),
            np.array([m.outputs for m in made]),
            tuple(a for m in made for a in m.asked),
        )

    @property
    def saved(self) -> list[Calibration]:
        """Calibrations that the shell was to save."""
        return [e.calibration for e in self.events if isinstance(e, Calibrated)]

    @property
    def kept(self) -> list[str]:
        return [e.name for e in self.events if isinstance(e, Keep)]


class Wired(Rehearsal):
    """The same, with the simulated robot at the far end of the wire, in the same virtual time."""

    def __init__(
        self,
        robot: Robot,
        charge: float = 1.0,
        calibration: Calibration | None = None,
        machine: SimulatedRobot | None = None,
    ) -> None:
        calibration = calibration or Calibration.default(robot)
        self.machine = machine or SimulatedRobot(robot, calibration, charge=charge)
        self.session = LinkSession(robot, 7)
        self.plugged = True
        self.deaf = False
        self.actual: list[np.ndarray] = []
        self.each_tick: Callable[[], None] = lambda: None
        super().__init__(robot, calibration, ready=False)
        self.say(ask.Take())
        self.until("rest")

    def tick(self) -> Tick:
        tick = super().tick()
        data = self.session.send_frame(tick.pulses, tick.outputs, self.now)
        back = self.machine.receive(data, self.now) if self.plugged else b""
        back += self.machine.advance(self.now) if self.plugged else b""
        if not self.plugged:
            self.machine.advance(self.now)
        self.actual.append(self.machine.joints.copy())
        heard = self.session.receive(b"" if self.deaf else back, self.now) + self.session.tick(self.now)
        for event in heard:
            if isinstance(event, Heard):
                self._hear(self.hub.robot_says(event.telemetry, self.now))
            elif isinstance(event, Connected | Disconnected):
                self._look()
                if isinstance(event, Connected):
                    self._hear(self.hub.connected(event.welcome, self.now))
            elif isinstance(event, Keeping | InUse):
                self._hear(self.hub.robot_keeps(event, self.now))
        if self.hub.ticks % 5 == 0:
            self._look()
        self.each_tick()
        return tick

    def to_robot(self, event: AskCalibration | SendCalibration) -> None:
        if isinstance(event, SendCalibration):
            self.session.keep(event.image)
        else:
            self.session.ask()

    def _look(self) -> None:
        s = self.session.status(self.now)
        self.link(LinkView(s.up, s.round_trip_s, s.lost_share, s.bytes_s, s.budget_bytes_s, s.together, s.thinned))
