"""A machine with hidden faults, and a person with a protractor, a ruler and two eyes who brings it up.

The person knows only what a person could: which joint moved, and to which side of where it was (within a dead band
nothing is seen to move); an angle to a degree either way; a hip's height to a millimetre either way.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import numpy as np

from motionhub.hub import commands as ask
from motionhub.hub.bringup import asks
from motionhub.hub.bringup.view import BringupView
from motionhub.hub.core import Hub
from motionhub.hub.events import Event, KeepBringup, Refused, Think
from motionhub.hub.snapshot import LinkView
from motionhub.library.notebook import Notebook
from motionhub.link.wire import Activity, Faults, Telemetry
from motionhub.motion.levelling import heights
from motionhub.robot.calibration import Calibration
from motionhub.robot.description import load
from motionhub.robot.model import Robot

ROBOTS = Path(__file__).resolve().parents[2] / "sequences" / "robots"
DEAD_BAND = np.deg2rad(2.0)
"""A turn that small is not seen (practice)."""


@cache
def shipped(name: str) -> Robot:
    """A shipped robot: trestle has four legs, tansy six, harrow eight."""
    return load(ROBOTS / f"{name}.toml")


def faulty(robot: Robot, dice: np.random.Generator) -> Calibration:
    """How the machine really is: trims up to 15 degrees, three reversed servos, two swapped plugs, one other servo."""
    count = robot.joints
    direction = np.ones(count)
    direction[dice.choice(count, 3, replace=False)] = -1
    scale = np.ones(count)
    scale[dice.integers(count)] = dice.choice([0.8, 0.85, 0.9, 1.1, 1.15, 1.25])
    connector = list(range(count))
    a, b = dice.choice(count, 2, replace=False)
    connector[a], connector[b] = connector[b], connector[a]
    trim = np.deg2rad(dice.uniform(-15, 15, count))
    return replace(
        Calibration.default(robot), trim_rad=trim, direction=direction, scale=scale, connector=tuple(connector)
    )


def off_deg(robot: Robot, truth: Calibration, known: Calibration, joints: np.ndarray) -> np.ndarray:
    """How far the machine really is from where the hub has it, (..., J) degrees."""
    return np.abs(np.rad2deg(truth.angles(robot, known.pulses(robot, joints)) - joints))


def over_the_travel(robot: Robot, truth: Calibration, known: Calibration) -> float:
    """The worst of :func:`off_deg` from end to end of every joint's range, as far as its servo's own ends let it go."""
    joints = np.linspace(robot.lower, robot.upper, 41)
    pulses = known.pulses(robot, joints)
    low, high = known.by_connector(known.low_us), known.by_connector(known.high_us)
    inside = known.by_joint(((pulses > low) & (pulses < high)).astype(np.float64)) > 0
    assert inside.mean() > 0.9
    return float(off_deg(robot, truth, known, joints)[inside].max())


@dataclass
class World:
    """The hub, and a machine that does what pulses say; time passes when somebody waits."""

    hub: Hub
    truth: Calibration
    joints: np.ndarray
    now: float = 0.0
    divider: float = 1.0
    """V that the robot's divider makes of each volt of its battery."""
    radio_s: float = 0.1
    """After so long whatever the hub has sent has come to the servos; nobody reads an angle sooner."""
    tick: Callable[[World], None] | None = None

    def pass_tick(self) -> None:
        self.now += 0.02
        if self.tick is not None:
            self.tick(self)
            return
        sent = self.hub.tick(self.now)
        if sent.pulses is not None:
            on = self.truth.by_joint(sent.pulses) > 0
            with np.errstate(all="ignore"):
                wanted = self.truth.angles(self.hub.robot, sent.pulses)
            self.joints = np.where(on, wanted, self.joints)
        self.take(list(sent.events))
        if self.hub.ticks % 25 == 0:
            self.telemetry()

    def take(self, events: list[Event]) -> list[str]:
        """Do what the shell does; refusals."""
        refused = []
        while events:
            event = events.pop(0)
            if isinstance(event, Refused):
                refused.append(event.text)
            elif isinstance(event, Think):
                events += self.hub.thought(event, event.work(), self.now)
            elif isinstance(event, KeepBringup):
                self.kept = event
        return refused

    @property
    def battery(self) -> float:
        """V, as a meter at the battery shows them."""
        return 0.97 * self.hub.robot.supply.battery_full_v

    def telemetry(self) -> None:
        """What the robot says now and then."""
        read = round(self.battery * self.divider * 1000)
        told = Telemetry(read, Faults(0), int(Activity.FOLLOWING), 1, 100, 10, 0, 0)
        self.take(self.hub.robot_says(told, self.now))


UP = LinkView(up=True, round_trip_s=0.01, bytes_s=1000.0, budget_bytes_s=4000.0)


def meet(
    robot: Robot,
    truth: Calibration,
    known: Calibration | None = None,
    notebook: Notebook | None = None,
    divider: float = 1.0,
) -> World:
    """A show of a robot, with Ann in control, and a machine that is as ``truth`` says."""
    hub = Hub(robot, known or Calibration.default(robot), notebook=notebook)
    world = World(hub, truth, robot.mid.copy(), divider=divider)
    hub.joined("ann", "Ann", True, 0.0)
    hub.joined("bob", "Bob", True, 0.0)
    hub.link_is(UP, 0.0)
    world.telemetry()
    hub.handle("ann", ask.Take(), 0.0)
    return world


class Person:
    """Does what the course asks next, until it asks no more."""

    def __init__(self, world: World, dice: np.random.Generator, read_to_deg: float = 1.0) -> None:
        self.world, self.dice, self.read_to_deg = world, dice, read_to_deg
        self.robot = world.hub.robot
        self.readings = self.rulers = self.looks = 0

    # ---------------------------------------------------------------- hands

    def say(self, command: ask.Command) -> None:
        refused = self.world.take(self.world.hub.handle("ann", command, self.world.now))
        assert not refused, (command, refused)

    def wait(self, seconds: float) -> None:
        for i in range(round(seconds / 0.02)):
            if i % 25 == 0:
                self.say(ask.Ping())
            self.world.pass_tick()

    def wait_until(self, come: Callable[[], bool], within_s: float = 30.0) -> None:
        for _ in range(round(within_s / 0.2)):
            if come():
                return
            self.wait(0.2)
        hub = self.world.hub
        raise AssertionError(f"it took too long: {hub.mode}, {hub.reason}, step {self.screen.next}")

    def still(self) -> None:
        self.wait_until(lambda: self.world.hub.workbench.bench.still)
        self.wait(self.world.radio_s)

    @property
    def screen(self) -> BringupView:
        return self.world.hub.workbench.view()

    # ---------------------------------------------------------------- eyes

    def watch(self, servos: int = 1) -> np.ndarray:
        """Where joints went while the bench was busy: the largest turn of each from where so many servos hold."""
        bench = self.world.hub.workbench.bench
        self.wait_until(lambda: int((bench.pulses > 0).sum()) >= servos)
        self.wait(max(0.3, self.world.radio_s))
        # The robot starts a servo at its own rest; only what it does once it has come from there is looked at.
        for _ in range(20):
            before = self.world.joints.copy()
            self.wait(0.2)
            if np.abs(self.world.joints - before).max() < DEAD_BAND:
                break
        far = np.zeros_like(before)
        for _ in range(1000):
            self.wait(0.04)
            turn = self.world.joints - before
            far = np.where(np.abs(turn) > np.abs(far), turn, far)
            if bench.still:
                break
        self.wait(0.1)
        return far

    def protractor(self, joint: str) -> float:
        self.readings += 1
        true = np.rad2deg(self.world.joints[self.robot.joint_index[joint]]) + self.read_to_deg * self.dice.uniform(
            -1, 1
        )
        return float(np.deg2rad(true))

    def ruler(self, stance: int) -> tuple[float, ...]:
        self.rulers += self.robot.legs
        true = heights(self.robot, self.world.hub.workbench.course.stances[stance], self.world.joints)
        return tuple(float(each) for each in true + self.dice.uniform(-1e-3, 1e-3, self.robot.legs))

    # ---------------------------------------------------------------- the course

    def bring_up(self, until: str = "", interrupted: Callable[[], None] = lambda: None) -> None:
        """From the beginning, or from wherever the notebook is, to the end or to this step."""
        self.say(asks.BringupProtractor(float(np.deg2rad(self.read_to_deg))))
        done = 0
        while (following := self.screen.next) is not None and following[0] != until:
            step, item = following
            getattr(self, f"_{step}")(item)
            done += 1
            if done % 10 == 0:
                interrupted()

    def _ready(self, item: str) -> None:
        self.wait(2.0)
        self.say(ask.MeterShows(round(self.world.battery, 2)))
        self.say(asks.BringupDone("ready", item))

    def setup(self) -> None:
        if self.world.hub.mode not in ("limp", "setup"):
            self.say(ask.Limp(sure=True))
        if self.world.hub.mode != "setup":
            self.say(asks.BringupBegin())

    def _centre(self, item: str) -> None:
        self.setup()
        self.say(asks.BringupCentre((item,)))
        self.still()
        self.say(asks.BringupDone("centre", item))

    def _look(self, item: str) -> None:
        self.setup()
        self.looks += 1
        self.say(asks.BringupTry(item))
        far = self.watch()
        moved = int(np.argmax(np.abs(far)))
        if abs(far[moved]) < DEAD_BAND:
            self.say(asks.BringupSaw(item))
            return
        self.say(asks.BringupSaw(item, self.robot.joint_names[moved], "more" if far[moved] > 0 else "less"))

    def _angles(self, item: str) -> None:
        self.setup()
        pulse = next(joint.next_pulse for joint in self.screen.joints if joint.name == item)
        assert pulse is not None
        self.say(asks.BringupPulse(item, pulse))
        self.still()
        self.say(asks.BringupRead(item, pulse, self.protractor(item)))

    def _level(self, item: str) -> None:
        hub = self.world.hub
        if hub.mode == "setup":
            self.say(asks.BringupLeave())
        if hub.mode == "limp":
            self.say(ask.Resume())
            self.wait_until(lambda: hub.mode == "rest")
        stance = int(item.split(".")[0])
        self.say(asks.BringupStand(stance))
        self.wait_until(lambda: hub.mode == "playing")
        self.wait(1.0)
        self.say(asks.BringupHeights(stance, self.ruler(stance)))
        if item == self.screen.items["level"][-1]:
            shown = self.screen.level
            assert shown is not None
            assert shown.residual < 1e-3
            self.odd = shown.odd
            self.say(asks.BringupLevel())
            self.wait(1.0)

    def _legs(self, item: str) -> None:
        self.setup()
        leg, way = item.split()
        self.say(asks.BringupLeg(leg, way))  # type: ignore[arg-type]
        far = self.watch(3)
        asked = 3 * self.robot.leg_index[leg] + ("left", "up", "out").index(way)
        moved = int(np.argmax(np.abs(far)))
        if abs(far[moved]) < DEAD_BAND:
            answer = asks.BringupWent(leg, way, False, None)  # type: ignore[arg-type]
        elif moved == asked:
            answer = asks.BringupWent(leg, way, bool(far[moved] > 0))  # type: ignore[arg-type]
        else:
            name, went = self.robot.joint_names[moved], "more" if far[moved] > 0 else "less"
            answer = asks.BringupWent(leg, way, False, name, went)  # type: ignore[arg-type]
        self.say(answer)

    def _floor(self, item: str) -> None:
        hub = self.world.hub
        if hub.mode == "setup":
            self.say(asks.BringupLeave())
        if hub.mode == "limp":
            self.say(ask.Resume())
        self.wait_until(lambda: hub.mode == "rest")
        self.say(asks.BringupDone("floor", item))
