"""Legs that hang in the air, anywhere, come to above where they shall stand: by their joints, the robot standing still.

A leg that lost its pulses, or was posed by its angles, may hang where no straight way of its foot leads down without
the coxa whirling around under its axis. In the air joints may go straight, all of them together; and if the
foot would touch the ground on that way, the leg is raised by its femur first.
"""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.easing import minimum_jerk
from motionhub.robot.kinematics import feet
from motionhub.robot.model import Robot

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

CLEAR = 2e-3
"""m above the ground that a foot keeps on its way, or what it has at an end of it if that is less."""
_PEAK = 15 / 8
"""Peak speed of minimum jerk over its mean (Flash & Hogan 1985)."""
_RAISED = np.linspace(0.0, 1.0, 7)
"""How far up the femur is tried, in shares of the way to the end of its range."""


def gather(
    robot: Robot,
    start: Array,
    goal: Array,
    legs: Flags,
    up: Array,
    height: float,
    speed: Array,
    least_s: float,
    dt: float,
) -> Array:
    """Joint angles (T, J) that lead the joints of some legs from ``start`` (J,) to ``goal`` (J,), the others staying.

    Args:
        robot: The robot, standing on its other legs.
        start: Where it is; not among the rows.
        goal: Where those legs go to; the last row. Of the other joints nothing is asked.
        legs: (L,) which legs go.
        up: (3,) the ground's normal in the body frame.
        height: m of the body's reference point over the ground.
        speed: (J,) rad/s, the most of each joint.
        least_s: Seconds that each part of the way takes at least.
        dt: Seconds a tick.
    """
    go = np.zeros(robot.joints, dtype=bool)
    go[: 3 * robot.legs] = np.repeat(legs, 3)
    end = np.where(go, goal, start)
    ways = [np.stack([start, *_raised(robot, start, end, legs, share), end]) for share in _RAISED]
    ways += [np.stack([start, *_folded(robot, start, end, legs, share), end]) for share in _RAISED[1:]]
    floor = robot.foot_radius + np.minimum(
        CLEAR, np.minimum(*(feet(robot, joints) @ up + height for joints in (start, end))) - robot.foot_radius
    )

    def lowest(way: Array) -> float:
        fine = np.concatenate([np.linspace(a, b, 12) for a, b in pairwise(way)])
        return float(np.min((feet(robot, fine) @ up + height - floor)[:, legs]))

    straight = np.stack([start, end])
    # A foot that stands would scrape along: it goes up first.
    stands = bool((feet(robot, start) @ up + height - robot.foot_radius < CLEAR)[legs].any())
    tried = ways[3:] if stands else [straight, *ways]
    way = next((way for way in tried if lowest(way) >= -1e-9), None)
    if way is None:
        way = max(ways, key=lowest)
    rows = []
    for here, there in pairwise(way):
        if (seconds := float((_PEAK * np.abs(there - here) / speed).max())) > 0:
            ticks = max(1, int(np.ceil(max(seconds, least_s) / dt)))
            rows.append(here + minimum_jerk(np.arange(1, ticks + 1) / ticks)[:, None] * (there - here))
    return np.concatenate(rows) if rows else start[None].copy()


def _raised(robot: Robot, start: Array, end: Array, legs: Flags, share: float) -> list[Array]:
    """Two places on the way: those legs raised as they hang, and raised as they shall be."""
    femur = np.flatnonzero(legs) * 3 + 1
    most = np.maximum(start, end)
    above, beyond = start.copy(), end.copy()
    above[femur] = beyond[femur] = most[femur] + share * np.maximum(robot.upper[femur] - most[femur], 0.0)
    return [above, beyond]


def _folded(robot: Robot, start: Array, end: Array, legs: Flags, share: float) -> list[Array]:
    """The same for legs that stand under their own hip, whose feet a raised femur would press down: folded before."""
    above, beyond = _raised(robot, start, end, legs, share)
    tibia = np.flatnonzero(legs) * 3 + 2
    folded = start.copy()
    folded[tibia] = above[tibia] = robot.lower[tibia]
    return [folded, above, beyond]
