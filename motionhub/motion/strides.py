"""The walking stretches of a sequence: the stepper that drives live, told to stop early enough to end standing.

When to tell it follows from the stepper itself: the last tick from which it still comes to rest, every foot
home, within the stretch. Stopping later never ends sooner, so that tick is found by halving, from a copy of
the stepper some way before the end.

Walks that follow one another without a gap, in one gait, cycle and lift, are one *run*: it walks on from each to the
next as it would under a hand that drives, and stands at the end of the last.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from math import ceil, copysign, floor, trunc

import numpy as np
from numpy.typing import NDArray

from motionhub.errors import InputError
from motionhub.motion.documents import Sequence
from motionhub.motion.formats import WalkStretch
from motionhub.motion.gait import default_gait, gaits
from motionhub.motion.planar import REST, Pose, Twist, compose
from motionhub.motion.posing import standing_feet
from motionhub.motion.stance import Stance
from motionhub.motion.stepper import Stepper
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

_SAME_S = 1e-6

_LATE_CYCLES = 3
"""A stepper comes to rest well within so many cycles; where it should not, the search goes back further."""


@dataclass(frozen=True)
class Strides:
    """What walking does to a move's T frames."""

    feet: Array
    """(T, L, 3) m, foot centres in the stance frame."""
    travel: Array
    """(T, 3) m, m, rad: the stance frame in the ground frame."""


def runs(sequence: Sequence) -> list[range]:
    """Which walks are walked in one go, by their places in the document: each begins where the one before it ends."""
    found: list[range] = []
    walks = sequence.document.walks
    for i, walk in enumerate(walks):
        if i > 0:
            before = walks[i - 1]
            alike = all(getattr(walk, name) == getattr(before, name) for name in ("gait", "cycle_ms", "lift_mm"))
            if alike and abs(sequence.span(walk)[0] - sequence.span(before)[1]) < _SAME_S:
                found[-1] = range(found[-1].start, i + 1)
                continue
        found.append(range(i, i + 1))
    return found


def walked(sequence: Sequence, robot: Robot, rate_hz: float, count: int) -> Strides | None:
    """All walks of a sequence over its ``count`` frames; ``None`` if it does not walk.

    Raises:
        InputError: naming the walk that is too short to start and stop in, or too fast for the robot.
    """
    walks = sequence.document.walks
    if not walks:
        return None
    feet = np.repeat(standing_feet(robot)[None], count, axis=0)
    travel = np.zeros((count, 3))
    for run in runs(sequence):
        start = sequence.span(walks[run.start])[0]
        first = ceil(start * rate_hz - 1e-9)
        ends = tuple(max(0, min(floor(sequence.span(walks[i])[1] * rate_hz + 1e-9), count - 1) - first) for i in run)
        parts = tuple(_Walk.of(walks[i]) for i in run)
        own, way = _steps(robot, parts, ends, rate_hz, sequence.source, run.start)
        ticks = ends[-1]
        base: Pose = (float(travel[first, 0]), float(travel[first, 1]), float(travel[first, 2]))
        feet[first + 1 : first + 1 + ticks] = own
        for frame, pose in enumerate(way, start=first + 1):
            travel[frame] = compose(base, pose)
        travel[first + ticks :] = travel[first + ticks]
    return Strides(feet, travel)


@dataclass(frozen=True)
class _Walk:
    """What a stretch of walking asks for, apart from when."""

    twist: Twist
    gait: str | None
    cycle_s: float | None
    lift: float | None

    @classmethod
    def of(cls, walk: WalkStretch) -> _Walk:
        return cls(
            (walk.forward_mm_s / 1000, walk.left_mm_s / 1000, float(np.deg2rad(walk.turn_deg_s))),
            walk.gait,
            None if walk.cycle_ms is None else walk.cycle_ms / 1000,
            None if walk.lift_mm is None else walk.lift_mm / 1000,
        )


# Whoever edits a move renders it over and over, and most edits change no walk: the steps of the last few are kept.
@lru_cache(maxsize=8)
def _steps(
    robot: Robot, parts: tuple[_Walk, ...], ends: tuple[int, ...], rate_hz: float, source: str, place: int
) -> tuple[Array, tuple[Pose, ...]]:
    """Feet (ticks, L, 3) and travel from a run's start, tick by tick; raises the InputError that says why not.

    Args:
        robot: Who walks.
        parts: What each of the walks of the run asks for.
        ends: How many ticks after the run's start each of them ends.
        rate_hz: Ticks a second.
        source: The document.
        place: The place of the first of them in the document.
    """
    stepper = _stepper(parts[0], robot, rate_hz)
    wanted: list[Twist] = []
    for i, (walk, end) in enumerate(zip(parts, ends, strict=True)):
        # Within a run it may stand: its feet land, and it goes on from there.
        if walk.twist == REST and i == 0:
            expected = "expected a speed: forward_mm_s, left_mm_s or turn_deg_s"
            raise InputError(source, f"walks[{place}]", expected)
        _within_limit(stepper, walk.twist, source, f"walks[{place + i}]")
        wanted += [walk.twist] * (end - len(wanted))
    stances = _stretch(stepper, wanted, source, f"walks[{place}]")
    feet = np.array([stance.feet for stance in stances]).reshape(len(wanted), robot.legs, 3)
    feet.flags.writeable = False
    return feet, tuple(stance.travel for stance in stances)


def _stepper(walk: _Walk, robot: Robot, rate_hz: float) -> Stepper:
    gait = default_gait(robot) if walk.gait is None else gaits(robot)[walk.gait]
    return Stepper(robot, gait, 1 / rate_hz, cycle_s=walk.cycle_s, lift=walk.lift)


def _within_limit(stepper: Stepper, twist: Twist, source: str, place: str) -> None:
    most, over = stepper.limit(twist)
    if over:
        expected = f"expected at most {_speed(most)} in this gait, cycle and lift, found {_speed(twist)}"
        if most == REST:
            name = stepper.robot.name
            expected = f"expected a lift and cycle that {name} can step with, found none of its feet able to"
        raise InputError(source, place, expected)


def _speed(twist: Twist) -> str:
    """The twist in the units of the file, rounded towards standing still: what is named as possible is possible."""
    named = (
        (twist[0] * 1000, "mm/s forward"),
        (twist[1] * 1000, "mm/s to the left"),
        (float(np.rad2deg(twist[2])), "deg/s to the left"),
    )
    return " and ".join(f"{trunc(value * 10 + copysign(1e-6, value)) / 10:g} {unit}" for value, unit in named if value)


def _stretch(stepper: Stepper, wanted: list[Twist], source: str, place: str) -> list[Stance]:
    """A stance for every tick of walking by the twists that are ``wanted`` then; they end settled."""
    ticks = len(wanted)
    stances: list[Stance] = []
    before = stepper.copy()
    late = _LATE_CYCLES * stepper.timing.cycle
    # Walk on as long as a stop is surely in time, keeping where that was.
    for twist in wanted[: max(0, ticks - late)]:
        stances.append(before.step(twist))
    done = len(stances)
    while done and done + before.ticks_to_settle() > ticks:  # never yet seen: it takes longer than thought
        done = max(0, done - late)
        stances = stances[:done]
        before = stepper.copy()
        for twist in wanted[:done]:
            before.step(twist)
    low, high = 0, ticks - done
    furthest = before
    while low < high:
        middle = (low + high + 1) // 2
        # From where it is known to be in time, so that no step is taken twice for it.
        trial = furthest.copy()
        for twist in wanted[done + low : done + middle]:
            trial.step(twist)
        if middle + trial.ticks_to_settle() <= ticks - done:
            low, furthest = middle, trial
        else:
            high = middle - 1
    if done + low < 1:
        least = (_least_ticks(stepper, wanted[0]) if wanted else 1) * stepper.dt * 1000
        found = ticks * stepper.dt * 1000
        raise InputError(
            source, place, f"expected at least {least:.0f} ms, to start, step and stand again, found {found:.0f}"
        )
    stances.extend(before.step(twist) for twist in wanted[done : done + low])
    stances.extend(before.step(REST) for _ in range(ticks - len(stances)))
    return stances


def _least_ticks(stepper: Stepper, twist: Twist) -> int:
    trial = stepper.copy()
    trial.step(twist)
    return 1 + trial.ticks_to_settle()
