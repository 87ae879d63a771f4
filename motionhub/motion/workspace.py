"""How far from where it stands, and how fast, each foot may step: what geometry, joint ranges and servos leave.

Two numbers a leg say all that a walk needs to know. The *room* is the radius of the disc around the
foot's home on the ground in which it may stand, with its joints in range both there and lifted. The
*pace* is the fastest that the body may pass over the foot such that half a stance stays in that disc and
no joint turns faster than its servo can. Both are taken over all directions, so that a walk may turn
while it goes without a limit that jumps.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from math import pi

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.gait import Timing
from motionhub.robot.kinematics import leg_angles
from motionhub.robot.limits import top_speed
from motionhub.robot.model import Robot

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

SPEED_SHARE = 0.8
"""Share of a servo's no-load speed that walking asks for at most; the rest is for load and for catching up."""

SLACK = 1.1
"""Feet are planned within ``room`` of home; this many times that is known to be in reach."""

_HEADINGS = 24
_ROUNDS = 18


@dataclass(frozen=True, eq=False)
class Workspace:
    """Per leg, (L,): ``room`` in m, ``pace`` in m/s. Zero where a leg cannot step at all."""

    room: Array
    pace: Array


@lru_cache(maxsize=64)
def workspace(
    robot: Robot, timing: Timing, dt: float, lift: float, sway: tuple[tuple[float, float], ...] = ()
) -> Workspace:
    """Find out what each leg can do in this gait. Costs some ten milliseconds, once for each set of arguments.

    Args:
        robot: The robot, its servos on the voltage of its regulator.
        timing: The gait on ticks.
        dt: Seconds a tick.
        lift: Height in m to which feet are lifted.
        sway: Where the body is over its feet besides walking, x and y in m, in the course of a cycle.
    """
    room = _room(robot, lift, sway)
    stance_s = timing.stance * dt
    return Workspace(room, np.minimum(2 * room / stance_s, _pace(robot, timing, dt, lift, room)))


def swing_height(share: Array) -> Array:
    """Height of a foot, as a share of the lift, at each share of its swing: ``64 s³(1 - s)³``.

    The lowest polynomial that leaves and meets the ground without speed or acceleration and reaches 1
    half-way.
    """
    return 64 * (share * (1 - share)) ** 3


def _homes(robot: Robot) -> Array:
    return robot.rest_feet


def _in_range(robot: Robot, feet: Array) -> Flags:
    """Whether each foot (…, L, 3) is reached with its joints in range, (…, L)."""
    reach = leg_angles(robot, feet)
    legs = 3 * robot.legs
    low, high = robot.lower[:legs].reshape(-1, 3), robot.upper[:legs].reshape(-1, 3)
    inside = (reach.joints >= low) & (reach.joints <= high)
    ok: Flags = reach.ok & inside.all(axis=-1)
    return ok


def _room(robot: Robot, lift: float, sway: tuple[tuple[float, float], ...]) -> Array:
    """Half the longest stride, or less where the leg does not reach all around: (L,)."""
    angles = np.arange(_HEADINGS) * (2 * pi / _HEADINGS)
    around = np.stack([np.cos(angles), np.sin(angles), np.zeros_like(angles)], axis=1)
    # Where homes are in the frame of a body that sways: at rest, and at as many places of its way as headings.
    swayed = np.array([(0.0, 0.0), *sway[:: max(1, len(sway) // _HEADINGS)]])
    homes = _homes(robot) - np.concatenate([swayed, np.zeros((len(swayed), 1))], axis=1)[:, None, :]
    heights = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, lift]])

    def reaches(radius: Array) -> Flags:
        wide = (radius * SLACK)[:, None]
        feet = homes[:, None, None] + around[:, None, None, :] * wide + heights[:, None, :]
        good: Flags = np.asarray(_in_range(robot, feet).all(axis=(0, 1, 2)))
        return good

    return _largest(reaches, np.full(robot.legs, robot.walk.stride / 2))


def _pace(robot: Robot, timing: Timing, dt: float, lift: float, room: Array) -> Array:
    """The fastest that a foot may be passed over with every joint within its speed, (L,)."""
    legs = 3 * robot.legs
    speeds = top_speed(robot)[:legs].reshape(-1, 3) * SPEED_SHARE
    angles = np.arange(_HEADINGS) * (2 * pi / _HEADINGS)
    heading = np.stack([np.cos(angles), np.sin(angles), np.zeros_like(angles)], axis=1)
    share = np.arange(timing.swing + 1) / timing.swing
    swing_s, stance_s = timing.swing * dt, timing.stance * dt
    # Over the ground the foot goes a whole cycle's way, minimum-jerk, while the body goes on under it evenly.
    ease = share**3 * (10 - share * (15 - 6 * share))
    along = ease * (swing_s + stance_s) - share * swing_s - stance_s / 2
    up = np.zeros((len(share), 3))
    up[:, 2] = swing_height(share) * lift

    def keeps_up(pace: Array) -> Flags:
        way = along[:, None, None, None] * heading[:, None, :] * pace[:, None]
        reach = leg_angles(robot, _homes(robot) + way + up[:, None, None, :])
        turning = np.abs(np.diff(reach.joints, axis=0)) / dt
        good: Flags = np.asarray((turning <= speeds).all(axis=(0, 1, 3)))
        return good

    return _largest(keeps_up, 2 * room / stance_s)


def _largest(holds: Callable[[Array], Flags], most: Array) -> Array:
    """The largest value up to ``most`` at which ``holds`` does, leg by leg, by halving; 0 if it never does."""
    low, high = np.zeros_like(most), most.copy()
    best = np.where(holds(most), most, 0.0)
    if (best == most).all():
        return best
    for _ in range(_ROUNDS):
        middle = (low + high) / 2
        good = holds(middle)
        low, high = np.where(good, middle, low), np.where(good, high, middle)
    found: Array = np.where(best == most, most, low)
    return found
