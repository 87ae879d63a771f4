"""How fast a robot walks before it is too fast: by what a driver is given, by the check, and by servos in MuJoCo.

All three are asked for the fastest walk over all cycle times, since a robot goes faster by longer strides up to
the longest, and from there by stepping more often. Walks beyond the stepper's limit are planned for a robot
that has stronger servos, within the same reach, and are then checked and played with the servos that it has.

In MuJoCo servos keep up as long as no joint is further than ``APART`` from where it would be if its servo had no
limits and the rail did not sag (the same walk, played by such servos; so lag, droop and what the ground does are
in both), and the walk goes where it should. ``APART`` is what the check goes by: 5 mm at the foot.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from motionhub.check.report import Report, check
from motionhub.check.rules_tracking import APART
from motionhub.hub.effort import effort_of
from motionhub.motion.frames import Frames
from motionhub.motion.gait import Gait
from motionhub.motion.manner import manner_of
from motionhub.motion.planar import Twist
from motionhub.motion.stepper import Stepper
from motionhub.robot.model import Robot
from walking.servos import PULSE_S
from walking.walks import Outcome, Plan, Player, as_planned, speed, stepped

SECONDS = 5.0
"""s to walk: the servos' part is the same in every cycle."""


@dataclass
class Played:
    """One walk, played."""

    outcome: Outcome
    apart: float
    """rad: see above."""

    @property
    def keeps_up(self) -> bool:
        return self.apart <= APART and as_planned(self.outcome)


@dataclass
class Speeds:
    """Of one robot, gait and way: fastest walks, each as a speed (m/s, or rad/s on the spot) and ticks a cycle."""

    tool: tuple[float, int]
    check: tuple[float, int]
    servos: tuple[float, int]
    supply: tuple[float, int]
    """Servos keep up and the regulator gives what they draw."""


class Ladder:
    """Walks of one robot in one gait and one way, faster and faster."""

    def __init__(self, robot: Robot, gait: Gait, way: Twist, friction: float = 0.8) -> None:
        self.robot, self.gait = robot, gait
        self.big = (way[0] * 9, way[1] * 9, way[2] * 99)
        strong = {
            id(servo): replace(servo, free_speed=4 * servo.free_speed, stall_torque=4 * servo.stall_torque)
            for servo in robot.servos
        }
        self.stronger = replace(robot, servos=tuple(strong[id(servo)] for servo in robot.servos))
        self.limited = Player(robot, friction)
        self.unlimited = Player(robot, friction, limits=False)

    def tool(self, ticks: int) -> float:
        """The fastest that a driver gets: the stepper's limit, of which the hub gives what servos and supply have."""
        most = speed(Stepper(self.robot, self.gait, PULSE_S, ticks * PULSE_S).limit(self.big)[0])
        manner = manner_of(self.robot, self.gait, PULSE_S, ticks * PULSE_S)
        return most * effort_of(self.robot, manner).given(None).share

    def plan(self, ticks: int, share: float, seconds: float = SECONDS) -> tuple[float, Plan]:
        """A walk by a share of what reach and stride allow, and its speed."""
        walker = Stepper(self.stronger, self.gait, PULSE_S, ticks * PULSE_S)
        most = walker.limit(self.big)[0]
        twist = (most[0] * share, most[1] * share, most[2] * share)
        plan = stepped(walker, iter([twist] * round(seconds / PULSE_S)))
        return speed(twist), replace(plan, robot=self.robot)

    def play(self, plan: Plan) -> Played:
        with_limits, without = self.limited.play(plan), self.unlimited.play(plan)
        common = min(len(with_limits.joints), len(without.joints))
        apart = np.abs(with_limits.joints[:common] - without.joints[:common]).max()
        return Played(with_limits, float(apart))

    def fastest(self, ticks: int, good: Callable[[Plan], bool], halvings: int = 5) -> float:
        """The speed up to which walks in so many ticks a cycle are good; 0 if none is."""
        top, plan = self.plan(ticks, 1.0)
        if good(plan):
            return top
        low, high = 0.0, 1.0
        for _ in range(halvings):
            middle = (low + high) / 2
            low, high = (middle, high) if good(self.plan(ticks, middle)[1]) else (low, middle)
        return top * low

    def speeds(self, cycles: list[int], halvings: int = 5) -> Speeds:
        """All of them over some cycles, in ticks."""

        def best(of: Callable[[int], float]) -> tuple[float, int]:
            return max((of(ticks), ticks) for ticks in cycles)

        regulator = self.robot.supply.regulator_a
        return Speeds(
            tool=best(self.tool),
            check=best(lambda ticks: self.fastest(ticks, lambda plan: itself_fits(checked(plan)), halvings)),
            servos=best(lambda ticks: self.fastest(ticks, lambda plan: self.play(plan).keeps_up, halvings)),
            supply=best(
                lambda ticks: self.fastest(
                    ticks,
                    lambda plan: (played := self.play(plan)).keeps_up and played.outcome.amps <= regulator,
                    halvings,
                )
            ),
        )


def checked(plan: Plan) -> Report:
    """The hub's verdict on a plan."""
    count, robot = len(plan.joints), plan.robot
    outputs, short = np.zeros((count, len(robot.outputs))), np.zeros((count, robot.legs))
    return check(Frames(robot, "walk", 1 / PULSE_S, plan.joints, outputs, short, plan.travel))


def itself_fits(report: Report) -> bool:
    """Whether the walk itself has no error: a stop half-way through it is another move."""
    return not any(finding.severity == "error" and not finding.way for finding in report.findings)
