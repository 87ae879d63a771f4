"""How far from where it stands, and how fast, each foot may step: what geometry, joint ranges and servos leave.

Three numbers a leg say all that a walk needs to know, each over all directions, so that a walk may turn
while it goes without a limit that jumps. The *reach* is the radius of the largest disc around the foot's home
on the ground all over which it may stand and step back from with its joints in range. The *room* is as much of
it as a stride needs, with the foot fully lifted as well. The *pace* is the fastest that the body may pass over the
foot such that half a stance stays in the room and no joint turns faster than its servo can.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import pi

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.gait import Timing
from motionhub.motion.steady import swing_along, swing_height
from motionhub.robot.kinematics import leg_angles
from motionhub.robot.limits import top_speed
from motionhub.robot.model import Robot

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

SPEED_SHARE = 0.95
"""Share of a servo's no-load speed that walking asks for at most: by its geometry. What load leaves is less."""

SLACK = 1.1
"""Feet are planned within ``room`` of home; this many times that is known to be in reach."""

BEYOND = 2.5
"""Rooms: further than this no foot ever goes, so that further is not looked for."""

LOW = 0.5
"""Share of the lift to which a foot has come when a tenth of the way of its step is done."""

_HEADINGS = 24
_ROUNDS = 14


@dataclass(frozen=True, eq=False)
class Workspace:
    """Per leg, (L,): ``reach`` and ``room`` in m, ``pace`` in m/s. Zero where a leg cannot step at all."""

    reach: Array
    room: Array
    pace: Array


def workspace(
    robot: Robot,
    timing: Timing,
    dt: float,
    lift: float,
    sway: tuple[tuple[float, float], ...] = (),
    homes: Array | None = None,
    stride: float | None = None,
) -> Workspace:
    """Find out what each leg can do in this gait. Costs some milliseconds.

    Args:
        robot: The robot, its servos on the voltage of its regulator.
        timing: The gait on ticks.
        dt: Seconds a tick.
        lift: Height in m to which feet are lifted.
        sway: Where the body is over its feet besides walking, x and y in m, in the course of a cycle.
        homes: (L, 3) m in the body frame, where feet are in the middle of a step; at rest when not given.
        stride: The longest way of a foot on the ground in m; the robot's own when not given.
    """
    homes = robot.rest_feet if homes is None else homes
    most = (robot.walk.stride if stride is None else stride) / 2
    # A foot that stands beyond its room steps back into it: when it is fully lifted, it is well on its way.
    far = stance_region(robot, homes, lift * LOW, sway, most * BEYOND)
    reach = np.maximum(far, near := stance_region(robot, homes, lift, sway, most * SLACK))
    room = np.minimum(near / SLACK, most)
    stance_s = timing.stance * dt
    return Workspace(reach, room, np.minimum(2 * room / stance_s, _pace(robot, homes, timing, dt, lift, room)))


def stance_region(robot: Robot, homes: Array, lift: float, sway: tuple[tuple[float, float], ...], most: float) -> Array:
    """Radius (L,) of the disc around each home (L, 3) over which a foot is in range, down and lifted, up to ``most`` m.

    All along the way of a body that sways besides.
    """
    angles = np.arange(_HEADINGS) * (2 * pi / _HEADINGS)
    around = np.stack([np.cos(angles), np.sin(angles), np.zeros_like(angles)], axis=1)
    # Where homes are in the frame of a body that sways: at rest, and at some places of its way.
    swayed = np.array([(0.0, 0.0), *sway[:: max(1, len(sway) // 8)]])
    seen = homes - np.concatenate([swayed, np.zeros((len(swayed), 1))], axis=1)[:, None, :]
    heights = np.array([[0.0, 0.0, 0.0], [0.0, 0.0, lift]])

    def reaches(radius: Array) -> Flags:
        feet = seen[:, None, None] + around[:, None, None, :] * radius[:, None] + heights[:, None, :]
        good: Flags = np.asarray(_in_range(robot, feet).all(axis=(0, 1, 2)))
        return good

    return _largest(reaches, np.full(robot.legs, most))


def _in_range(robot: Robot, feet: Array) -> Flags:
    """Whether each foot (…, L, 3) is reached with its joints in range, (…, L)."""
    reach = leg_angles(robot, feet)
    legs = 3 * robot.legs
    low, high = robot.lower[:legs].reshape(-1, 3), robot.upper[:legs].reshape(-1, 3)
    inside = (reach.joints >= low) & (reach.joints <= high)
    ok: Flags = reach.ok & inside.all(axis=-1)
    return ok


def _pace(robot: Robot, homes: Array, timing: Timing, dt: float, lift: float, room: Array) -> Array:
    """The fastest that a foot may be passed over with every joint within its speed, (L,)."""
    legs = 3 * robot.legs
    speeds = top_speed(robot)[:legs].reshape(-1, 3) * SPEED_SHARE
    angles = np.arange(_HEADINGS) * (2 * pi / _HEADINGS)
    heading = np.stack([np.cos(angles), np.sin(angles), np.zeros_like(angles)], axis=1)
    share = np.arange(timing.swing + 1) / timing.swing
    stance_s = timing.stance * dt
    along = swing_along(share, timing.swing * dt, stance_s)
    up = np.zeros((len(share), 3))
    up[:, 2] = swing_height(share) * lift

    def keeps_up(pace: Array) -> Flags:
        way = along[:, None, None, None] * heading[:, None, :] * pace[:, None]
        reach = leg_angles(robot, homes + way + up[:, None, None, :])
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
