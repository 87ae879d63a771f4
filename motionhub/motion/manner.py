"""A manner of walking: what a gait comes to on one robot, worked out before anybody walks by it.

Of geometry, joint ranges and servos: how far and how fast each foot may step (:mod:`~motionhub.motion.workspace`).
Of the support polygon: whether the body has to sway, and how long strides may be for the robot to stay as far
inside its feet as its file asks. And the feel of it: how briskly it may speed up and has to slow down.

A robot that speeds up presses on the ground h·a/g behind its weight, h the height of its centre of mass (the
zero moment point: Vukobratović & Borovac, Int. J. Humanoid Robotics 1(1), 2004), and its legs have to push with
m·a besides carrying it. So the acceleration a is what the walk's margin has over the stated one (or half of that)
and half of what the servos have left allow, taken together; a heavier robot has less left, and more to push.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from math import sqrt
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.gait import Gait, Timing, own_cycle
from motionhub.motion.posing import joints_for, rest_joints, standing_feet
from motionhub.motion.steady import cycle_feet, directions, least_margin
from motionhub.motion.sway import on_ticks, sway_path
from motionhub.motion.workspace import SLACK, Workspace, workspace
from motionhub.robot.mass import centre_of_mass
from motionhub.robot.model import STANDARD_GRAVITY, Robot

Array = NDArray[np.float64]
Point = tuple[float, float]
Bound = Literal["reach", "speed", "margin", "acceleration", "none"]

RAMP_CYCLES = 0.5
"""Cycles that it takes to reach full speed. A new speed is then complete when every foot has taken one step at it."""

BRAKE_CYCLES = 0.25
"""Cycles that it takes from full speed to rest when no motion is wanted: with its smoothing, half a cycle is enough."""

SMOOTH_SHARE = 0.125
"""Of a cycle: the longest that velocity is averaged over, for the same reason."""

SWAY_SHARE = 0.42
"""Share of the longest stride that the body sways further than the margin asks: feet stand up to half a
stride from home, and not all of them where that makes the polygon smaller."""

LEAN_SHARE = 0.25
"""Share of the cycle that the body takes to lean over before the first step, and to come back after the last."""

SPARE_SHARE = 0.5
"""Of the stated margin, and of what servos have left of their stall torque, that speeding up may use."""

GIVE = 3e-4
"""m: how well the margin of a walk is known, between directions and for legs where no steady walk has them."""

FINE = 120
"""Moments of a cycle at which geometry is looked at, whatever its ticks: a slower walk has the same strides."""

_ROUNDS = 8
_LONGER, _LENGTHEN = 12, 1.2
_LESS = 1.0, 0.9, 0.8, 0.7
"""Shares of a sway that is liked but not needed, the first that the legs can do being taken."""


@dataclass(frozen=True, eq=False)
class Manner:
    """How one robot walks by one gait."""

    gait: Gait
    timing: Timing
    dt: float
    lift: float
    """m."""
    homes: tuple[Point, ...]
    """m, per leg, where its foot is in the middle of a step, in the frame of a body that does not sway."""
    rest: tuple[Point, ...]
    """m, per leg, where its foot stands at rest."""
    space: Workspace
    rooms: tuple[float, ...]
    """m, per leg, how far from its home its foot may end its stance."""
    pace: tuple[float, ...]
    """m/s, per leg, the fastest that its foot may be passed over."""
    bound: Bound
    """What keeps it from being faster; ``none`` of them does where it cannot walk at all."""
    sway: tuple[Point, ...]
    """m, where the body is over its feet at each tick of the cycle; empty where it need not sway."""
    margin: float
    """m, the least static stability margin of a steady walk at full speed."""
    least_margin: float
    """m, with less than this nobody lifts a foot: the robot file's, or what a steady walk has where that is less."""
    acceleration: float
    """m/s², the most at which the body speeds up."""
    smooth: int
    """Ticks over which velocity is averaged, so that acceleration does not jump either."""
    weight: Point
    """m, the centre of mass over the ground at rest, from the body's reference point."""
    follows: tuple[tuple[float, float, float, float], ...]
    """Per leg, how the centre of mass goes with its foot: the matrix of d(x, y) by the foot's x and y, by rows."""

    @property
    def able(self) -> bool:
        """Whether it can walk at all."""
        return min(self.pace) > 0

    @property
    def gain(self) -> float:
        """Share of the pace that speed may change by in a tick when it grows or turns."""
        return min(1 / max(1.0, RAMP_CYCLES * self.timing.cycle), self.acceleration * self.dt / max(self.pace))

    @property
    def brake(self) -> float:
        """The same for braking."""
        return 1 / max(1.0, BRAKE_CYCLES * self.timing.cycle)

    @property
    def leaning(self) -> int:
        """Ticks that leaning over takes; 0 where the body does not sway."""
        return round(LEAN_SHARE * self.timing.cycle) if self.sway else 0


@lru_cache(maxsize=128)
def manner_of(
    robot: Robot, gait: Gait, dt: float = 0.02, cycle_s: float | None = None, lift: float | None = None
) -> Manner:
    """Work out how a robot walks by a gait. Costs some tens of milliseconds, once.

    Args:
        robot: The robot.
        gait: For as many legs.
        dt: Seconds a tick.
        cycle_s: Seconds a cycle, rounded to whole ticks for every leg. When not given, what
            :func:`~motionhub.motion.gait.own_cycle` says, or longer where lifting a foot alone would take that long.
        lift: Height in m to which feet are lifted; the gait's, or else the robot's own, when not given.
    """
    if len(gait.phases) != robot.legs:
        raise ValueError(f"expected a gait for {robot.legs} legs, found {len(gait.phases)} phases")
    high = lift if lift is not None else gait.lift if gait.lift is not None else robot.walk.lift
    if cycle_s is not None:
        return _made(robot, gait, gait.timing(cycle_s, dt), dt, high)
    cycle_s = own_cycle(robot, gait)
    made = _made(robot, gait, gait.timing(cycle_s, dt), dt, high)
    for _ in range(_LONGER):
        if made.bound not in ("speed", "none") or min(made.pace) * made.timing.stance * dt >= min(made.rooms):
            break  # it steps at least half of its stride
        cycle_s *= _LENGTHEN
        made = _made(robot, gait, gait.timing(cycle_s, dt), dt, high)
    return made


def _made(robot: Robot, gait: Gait, timing: Timing, dt: float, high: float) -> Manner:
    stride = robot.walk.stride if gait.stride is None else gait.stride
    rest = robot.rest_feet
    homes = _wider(robot, gait.wider)
    sway: tuple[Point, ...] = ()
    space = workspace(robot, timing, dt, high, sway, homes, stride)
    fine = timing.finer(FINE)
    made = _Steady(robot, fine, dt * timing.cycle / fine.cycle, high, homes)
    margin = made.margin(space.pace, sway)
    asked, reserve = robot.walk.margin + 2 * GIVE, 0.0
    liked = max(robot.walk.margin, gait.sway_margin or 0.0)
    needed = margin < asked
    for share in (1.0,) if needed else _LESS if margin < liked + 2 * GIVE else ():
        if path := sway_path(robot, fine, share * (liked + SWAY_SHARE * stride)):
            swaying = workspace(robot, timing, dt, high, path, homes, stride)
            better = made.margin(swaying.pace, path)
            # Who need not sway, does so only where that helps and the legs can.
            if needed or (better > margin and bool((swaying.pace > 0).all())):
                space, margin, sway = swaying, better, path
                break
    if sway:
        # The body sways by the clock, and so is elsewhere over its feet when it speeds up during a swing.
        reserve = float(space.pace.max()) * (timing.swing**2 * dt) / (2 * RAMP_CYCLES * timing.cycle)
        asked += reserve
    bound: Bound = "speed" if (space.pace < 2 * space.room / (timing.stance * dt) * (1 - 1e-9)).any() else "reach"
    pace = space.pace
    if margin < asked:
        share, margin = made.shorter(pace, sway, asked)
        pace, bound = pace * share, "margin"
    smooth = max(1, min(round(_smooth_s(robot) / dt), round(SMOOTH_SHARE * timing.cycle)))
    acceleration = _acceleration(robot, fine, max(margin - robot.walk.margin, SPARE_SHARE * robot.walk.margin, GIVE))
    for least, what in (
        (acceleration * BRAKE_CYCLES * timing.cycle * dt, "acceleration"),
        (_stops_within(robot, timing, dt, space.reach), "reach"),
    ):
        if (np.asarray(least) < pace).any():
            pace, bound = np.minimum(pace, least), what  # type: ignore[assignment]
    if not (pace > 0).all():
        pace, bound = np.zeros_like(pace), "none"
    weight, follows = _weight(robot)
    return Manner(
        gait=gait,
        timing=timing,
        dt=dt,
        lift=high,
        homes=_points(homes),
        rest=_points(rest),
        space=space,
        rooms=tuple(float(room) * SLACK for room in space.room),
        pace=tuple(float(v) for v in pace),
        bound=bound,
        sway=on_ticks(sway, timing.cycle),
        margin=margin,
        least_margin=min(robot.walk.margin + reserve, margin - GIVE),
        acceleration=acceleration,
        smooth=smooth,
        weight=weight,
        follows=follows,
    )


def _points(feet: Array) -> tuple[Point, ...]:
    return tuple((float(x), float(y)) for x, y in feet[:, :2])


def _wider(robot: Robot, by: float) -> Array:
    """Where feet are that stand so much further out than at rest, (L, 3) m in the body frame."""
    return robot.rest_feet if by == 0 else replace(robot, stand_reach=robot.stand_reach + by).rest_feet


class _Steady:
    """A gait's steady walk: its least margin at any speed."""

    def __init__(self, robot: Robot, timing: Timing, dt: float, lift: float, homes: Array) -> None:
        self._robot, self._timing, self._dt, self._lift = robot, timing, dt, lift
        self._homes = homes + np.array([0.0, 0.0, robot.rest_height])
        # The polygon changes where feet lift and land, and is smallest shortly before or after.
        events = {(touch + add) % timing.cycle for touch in timing.touchdown for add in (0, timing.stance)}
        near = {(tick + by) % timing.cycle for tick in events for by in (-1, 0)}
        self._ticks = sorted(near | set(range(0, timing.cycle, max(1, timing.cycle // 24))))

    def margin(self, pace: Array, sway: tuple[Point, ...]) -> float:
        """The least margin in m at this pace (L,), in all directions and around."""
        velocity = directions(self._homes[:, :2], pace)
        feet, down = cycle_feet(self._timing, self._dt, self._homes, self._lift, velocity, sway)
        return least_margin(self._robot, feet[:, self._ticks], down[self._ticks])

    def shorter(self, pace: Array, sway: tuple[Point, ...], asked: float) -> tuple[float, float]:
        """The largest share of the pace that keeps the margin asked for, and the margin then; no share if none does."""
        low, best, high = 0.0, self.margin(pace * 0, sway), 1.0
        if best < asked:
            return 0.0, best
        for _ in range(_ROUNDS):
            middle = (low + high) / 2
            if (found := self.margin(pace * middle, sway)) >= asked:
                low, best = middle, found
            else:
                high = middle
        return low, best


def _smooth_s(robot: Robot) -> float:
    """Seconds that velocity is averaged over at most: a few of the time in which such a height falls over."""
    return sqrt(3 * _height(robot) / STANDARD_GRAVITY)


def _height(robot: Robot) -> float:
    """Of the centre of mass above the ground at rest, m."""
    return robot.rest_height + float(centre_of_mass(robot, rest_joints(robot))[2])


def _acceleration(robot: Robot, timing: Timing, spare: float) -> float:
    """The most at which the body may speed up, in m/s², using ``spare`` m of margin; see the top of this file."""
    height = _height(robot)
    tipping = spare * STANDARD_GRAVITY / height
    least = min(
        sum(timing.since_touchdown(tick, leg) < timing.stance for leg in range(robot.legs))
        for tick in range(timing.cycle)
    )
    # A femur carries its leg's share of the weight over the way from its axis out to the foot.
    carried = robot.mass * STANDARD_GRAVITY / max(least, 1) * np.abs(robot.stand_reach - robot.coxa)
    stall = np.array(
        [float(servo.stall_torque_at(robot.supply.regulator_v)) for servo in robot.servos[1 : 3 * robot.legs : 3]]
    )
    left = SPARE_SHARE * np.maximum(stall - carried, 0.02 * stall)
    pushing = least * float((left / height).min()) / robot.mass
    return tipping * pushing / (tipping + pushing)


def _stops_within(robot: Robot, timing: Timing, dt: float, reach: Array) -> Array:
    """The pace (L,) m/s from which the body stops over feet that stand, without one having to step for it.

    Where a swing is short, a step is quicker than that: then there is no such limit. Smoothing counts with what it
    is before it is rounded to ticks, and all of what that may add: so a slower walk may always have the same strides.
    """
    smooth = min(_smooth_s(robot) / dt, SMOOTH_SHARE * timing.cycle) + 0.5
    stopping = BRAKE_CYCLES * timing.cycle / 2 + smooth / 2
    if timing.swing + stopping <= timing.cycle / 2:
        return np.full_like(reach, np.inf)
    found: Array = reach / ((timing.stance / 2 + stopping) * dt)
    return found


def _weight(robot: Robot) -> tuple[Point, tuple[tuple[float, float, float, float], ...]]:
    """The centre of mass at rest, seen from above, and how it goes with each foot (central differences)."""
    feet = standing_feet(robot)
    step = 1e-3
    moved = np.repeat(feet[None], 4 * robot.legs, axis=0)
    for leg in range(robot.legs):
        for i in range(2):
            moved[4 * leg + 2 * i, leg, i] += step
            moved[4 * leg + 2 * i + 1, leg, i] -= step
    joints, _ = joints_for(robot, np.zeros(6), np.concatenate([feet[None], moved]))
    weight = centre_of_mass(robot, joints)[:, :2]
    slopes = (weight[1::2] - weight[2::2]) / (2 * step)
    at = (float(weight[0, 0]), float(weight[0, 1]))
    rows = slopes.reshape(robot.legs, 2, 2)
    return at, tuple((float(s[0, 0]), float(s[1, 0]), float(s[0, 1]), float(s[1, 1])) for s in rows)
