"""What supply a move needs, or a whole library: the smallest regulator and rail voltage with which it fits.

Every set-point of the rail that the servos take is tried, from their lowest voltage to their highest. The supply
is solved anew for each, and the rules that hang on it judge the moves again: nothing is extrapolated. A regulator
is then as small as it may be when it gives the most that was asked, rounded up to a tenth of an ampere.

What is named as the answer has gone through the whole check besides, on a robot with that supply: with servos
that follow at that voltage, and the ways to each move, back from it and out of it by a stop as such a robot makes
them. Should those ask for more current the regulator grows; should they fail, the next set-point is asked.

What no supply mends (a leg that does not reach, legs that knock together) is named and left aside. The battery
is at its nominal voltage throughout, as in the check; :func:`batteries` says how long one lasts.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from motionhub.check import rules_joints, rules_supply, supply
from motionhub.check.discharge import Discharge, Pack
from motionhub.check.findings import Finding, worst_first
from motionhub.check.mend import Mender, up_to
from motionhub.check.report import Report, check
from motionhub.check.timeline import BLOCK, Progress, Timeline
from motionhub.motion.frames import Frames
from motionhub.robot.battery import open_circuit_v
from motionhub.robot.model import Robot

STEP_V = 0.1
"""V between the set-points that are tried."""
STEP_A = 0.1
"""A that a regulator's limit is rounded up to."""
AMPLE_A = 1e6
"""A: a regulator that is never the reason."""
HALVINGS = 12
"""Of a pack's charge, to find where a move stops fitting: to a four-thousandth of it."""

RULES: dict[str, Callable[[Timeline, Mender], list[Finding]]] = {
    "joint-speed": rules_joints.joint_speed,
    "joint-torque": rules_joints.joint_torque,
    "holding-torque": rules_joints.holding_torque,
    "supply-current": rules_supply.supply_current,
    "supply-voltage": rules_supply.supply_voltage,
    "charge": rules_supply.charge,
}
"""The rules whose answer hangs on the supply; a move keeps its findings of all others."""


@dataclass(frozen=True)
class SetPoint:
    """One voltage of the rail, and what the moves say to it."""

    rail_v: float
    regulator_a: float | None
    """The smallest regulator, in A, with which all moves fit; None when none does."""
    failing: tuple[tuple[str, Finding], ...]
    """What still fails with any regulator: for each move and rule by name of the move, the worst finding."""
    whole_check: bool = False
    """Whether the moves have gone through the whole check with it, or only through the rules of the supply."""

    @property
    def fits(self) -> bool:
        """Whether there is a regulator with which all moves fit."""
        return self.regulator_a is not None


def _lowest(points: Iterable[SetPoint]) -> SetPoint | None:
    return next((point for point in points if point.fits), None)


def _weakest(points: Iterable[SetPoint]) -> SetPoint | None:
    return min((point for point in points if point.fits), key=lambda point: point.regulator_a or 0.0, default=None)


_ANSWERS = (_lowest, _weakest)


@dataclass(frozen=True)
class Sizing:
    """What supply some moves need on one robot."""

    robot: str
    sequences: tuple[str, ...]
    own: SetPoint
    """The robot's set-point (or the one asked for); it fits when the robot's own regulator does for it."""
    own_regulator_a: float
    """A that the robot's own regulator gives."""
    set_points: tuple[SetPoint, ...]
    """Rising."""
    beyond: tuple[tuple[str, Finding], ...]
    """By name of the move, what no supply mends."""

    @property
    def smallest(self) -> SetPoint | None:
        """The lowest rail voltage that does, with its smallest regulator; None when no voltage does."""
        return _lowest(self.set_points)

    @property
    def least_current(self) -> SetPoint | None:
        """The set-point that does with the smallest regulator of all; the lowest of several."""
        return _weakest(self.set_points)

    @property
    def fits(self) -> bool:
        """Whether some supply makes every move fit."""
        return self.smallest is not None and not self.beyond


def under_supply(t: Timeline, set_v: float, regulator_a: float, battery_v: float | None = None) -> Timeline:
    """The same move on another supply.

    Args:
        t: The move, worked out for any supply.
        set_v: The regulator's set-point in V.
        regulator_a: Its limit in A.
        battery_v: The battery's voltage without load; its nominal when None.
    """
    frames = _on_supply(t.frames, set_v, regulator_a)
    robot = frames.robot
    parts = [
        supply.solve(robot, t.torques[part], t.speeds[part], t.frames.outputs[part], set_v, battery_v)
        for part in (slice(start, start + BLOCK) for start in range(0, len(t.torques), BLOCK))
    ]
    rail = supply.Rail(**{name: np.concatenate([vars(part)[name] for part in parts]) for name in vars(parts[0])})
    # How hard the servos worked at most, by which rules save themselves a look, is not known on this supply. How
    # they follow on it takes working all of it out again, which is the whole check's.
    unknown, together = (np.inf,) * robot.joints, np.zeros_like(t.apart)
    return replace(
        t, frames=frames, rail=rail,
        heaviest=unknown, hardest=unknown, apart=together,
    )  # fmt: skip


def failing(t: Timeline) -> tuple[Finding, ...]:
    """The errors that the rules of the supply find in a move, the worst of each rule, worst rule first."""
    silent = Mender(t)  # whether it fits is asked here, not what would mend it
    errors = [finding for rule in RULES.values() for finding in rule(t, silent)]
    return tuple(_worst_of_each(worst_first(errors)))


def size(reports: Sequence[Report], set_v: float | None = None, progress: Progress | None = None) -> Sizing:
    """Find the smallest supply with which moves fit.

    Args:
        reports: A report of each move, all of one robot; at least one.
        set_v: The only set-point to try, in V; every one that the servos take when None.
        progress: Called with set-points tried and set-points in all.
    """
    robot = reports[0].timeline.frames.robot
    tried = set_points(robot) if set_v is None else (set_v,)
    steps = len(tried) + len(_ANSWERS)
    points: dict[float, SetPoint] = {}
    for volts in tried:
        points[volts] = _set_point(reports, volts)
        if progress is not None:
            progress(len(points), steps)
    for i, answer in enumerate(_ANSWERS, 1):
        while (point := answer(points.values())) is not None and not point.whole_check:
            points[point.rail_v] = _whole_check(reports, point)
        if progress is not None:
            progress(len(points) + i, steps)
    worst = [(report.sequence, finding) for report in reports for finding in _worst_of_each(report.findings)]
    own = tuple((name, finding) for name, finding in worst if finding.rule in RULES)
    return Sizing(
        robot=robot.name,
        sequences=tuple(report.sequence for report in reports),
        own=SetPoint(reports[0].timeline.set_v, None if own else robot.supply.regulator_a, own, whole_check=True),
        own_regulator_a=robot.supply.regulator_a,
        set_points=tuple(points.values()),
        beyond=tuple((name, finding) for name, finding in worst if finding.rule not in RULES),
    )


def set_points(robot: Robot) -> tuple[float, ...]:
    """Every tenth of a volt that all of the robot's servos take, rising."""
    low = max(servo.min_v for servo in robot.servos)
    high = min(servo.max_v for servo in robot.servos)
    first, last = round(up_to(low, STEP_V) / STEP_V), int(high / STEP_V + 1e-9)
    return tuple(round(k * STEP_V, 6) for k in range(first, last + 1))


@dataclass(frozen=True, eq=False)
class OnOnePack:
    """How often a move can be run on one full battery."""

    sequence: str
    pack: Discharge
    """Until the cut-off."""
    fitting_runs: int
    """Runs until the rail has sagged so far with the battery that the move no longer fits; at most ``pack.runs``."""


def batteries(reports: Sequence[Report]) -> tuple[OnOnePack, ...]:
    """How far one full battery takes each move by itself, on the supply that it was checked with."""
    found = []
    for report in reports:
        pack = Pack(report.timeline)
        found.append(OnOnePack(report.sequence, pack.discharge(), _fitting_runs(report, pack)))
    return tuple(found)


def _fitting_runs(report: Report, pack: Pack) -> int:
    """Found by halving the charge that is left after a run; each try solves the supply and asks the rules again."""
    t, spec = report.timeline, report.timeline.frames.robot.supply

    def fits(left: float) -> bool:
        at = float(open_circuit_v(spec, left))
        return not failing(under_supply(t, t.set_v, spec.regulator_a, battery_v=at))

    if not fits(1.0):
        return 0
    low, high = 0.0, 1.0
    for _ in range(HALVINGS):
        middle = (low + high) / 2
        low, high = (low, middle) if fits(middle) else (middle, high)
    return pack.discharge(least_left=high).runs


def _set_point(reports: Sequence[Report], volts: float) -> SetPoint:
    """What the rules of the supply say to the moves themselves."""
    ample = [under_supply(report.timeline, volts, AMPLE_A) for report in reports]
    fails = _named((report.sequence, failing(t)) for report, t in zip(reports, ample, strict=True))
    if fails:
        return SetPoint(volts, None, fails)
    asked = max(float(t.rail.amps[t.standing].max(initial=0.0)) for t in ample)
    regulator = max(up_to(asked, STEP_A), STEP_A)
    fails = _named((r.sequence, failing(under_supply(r.timeline, volts, regulator))) for r in reports)
    return SetPoint(volts, None if fails else regulator, fails)


def _whole_check(reports: Sequence[Report], point: SetPoint) -> SetPoint:
    """The same set-point by all that the check knows; with a larger regulator if that is what it lacks."""
    regulator = point.regulator_a or STEP_A
    while True:
        anew = [check(_on_supply(r.timeline.frames, point.rail_v, regulator)).findings for r in reports]
        asked = max((f.value for found in anew for f in found if f.rule == "supply-current"), default=0.0)
        if asked <= regulator:
            break
        # What else is wrong may come from the regulator alone, so that is seen to first.
        regulator = up_to(asked, STEP_A)
    fails = _named(
        (r.sequence, [f for f in _worst_of_each(found) if f.rule in RULES])
        for r, found in zip(reports, anew, strict=True)
    )
    return SetPoint(point.rail_v, None if fails else regulator, fails, whole_check=True)


def _named(found: Iterable[tuple[str, Iterable[Finding]]]) -> tuple[tuple[str, Finding], ...]:
    return tuple((name, finding) for name, findings in found for finding in findings)


def _on_supply(frames: Frames, volts: float, amps: float) -> Frames:
    """The same move on a robot with another regulator."""
    return replace(frames, robot=frames.robot.on_supply(volts, amps))


def _worst_of_each(findings: Sequence[Finding]) -> list[Finding]:
    """The worst error of each rule; findings come worst first."""
    first: dict[str, Finding] = {}
    for finding in findings:
        if finding.severity == "error":
            first.setdefault(finding.rule, finding)
    return list(first.values())
