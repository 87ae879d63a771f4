"""Legs that hang in the air, anywhere, come to above where they shall stand: by their joints, the robot standing still.

A leg that lost its pulses, or was posed by its angles, may hang where no straight way of its foot leads down without
the coxa whirling around under its axis. In the air joints may go straight, all of them together; and if the foot
would touch the ground on that way, the leg is raised by its femur first. A leg that stands under its own hip is
pressed down by that, and one that hangs flung out is by folding: so each leg has its own way, the first of many
that is clear.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise, product

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
    ways = {int(leg): _way(robot, start, goal, int(leg), up, height) for leg in np.flatnonzero(legs)}
    each = {leg: _timed(way, speed[3 * leg : 3 * leg + 3], least_s, dt) for leg, way in ways.items()}
    count = max((len(rows) for rows in each.values()), default=0)
    if not count:
        return start[None].copy()
    found = np.repeat(start[None], count, axis=0)
    for leg, rows in each.items():
        # Whoever is there first waits for the others.
        found[:, 3 * leg : 3 * leg + 3] = ways[leg][-1]
        found[: len(rows), 3 * leg : 3 * leg + 3] = rows
    return found


def _way(robot: Robot, start: Array, goal: Array, leg: int, up: Array, height: float) -> Array:
    """The angles (N, 3) that one leg passes on its way: the first way that is clear of the ground, or the clearest."""
    own = slice(3 * leg, 3 * leg + 3)

    def clearance(angles: Array) -> Array:
        joints = np.repeat(start[None], len(angles), axis=0)
        joints[:, own] = angles
        found: Array = feet(robot, joints)[:, leg] @ up + height - robot.foot_radius[leg]
        return found

    ends = np.stack([start[own], goal[own]])
    at_ends = clearance(ends)
    floor = min(CLEAR, float(at_ends.min()))

    def lowest(way: Array) -> float:
        return float(clearance(np.concatenate([np.linspace(a, b, 12) for a, b in pairwise(way)])).min())

    # A foot that stands would scrape along: it goes up first.
    stands = bool(at_ends[0] < CLEAR)
    best, clearest = ends, -np.inf
    for way in _ways(ends, robot.lower[own], robot.upper[own], stands):
        if (low := lowest(way)) >= floor - 1e-9:
            return way
        if low > clearest:
            best, clearest = way, low
    return best


def _ways(ends: Array, lower: Array, upper: Array, stands: bool) -> Iterator[Array]:
    """Ways (N, 3) for one leg, each between angles ``ends`` (2, 3) within its range, the quickest first.

    Raised by the femur, more and more; its tibia as it is meanwhile, or first folded, or stretched, and likewise
    at the other end of the way. Of a leg that stands, only such as raise it well.
    """
    (coxa, femur, tibia), (coxa_1, femur_1, tibia_1) = ends
    if not stands:
        yield ends
    most = max(femur, femur_1)
    for first, last in product((None, lower[2], upper[2]), repeat=2):
        for share in _RAISED[3 if stands else 0 :]:
            high = most + share * max(upper[1] - most, 0.0)
            way = [ends[0]]
            if first is not None:
                way.append(np.array([coxa, femur, first]))
            way.append(np.array([coxa, high, tibia if first is None else first]))
            way.append(np.array([coxa_1, high, tibia_1 if last is None else last]))
            if last is not None:
                way.append(np.array([coxa_1, femur_1, last]))
            yield np.stack([*way, ends[1]])


def _timed(way: Array, speed: Array, least_s: float, dt: float) -> Array:
    """Angles (T, 3) from tick to tick along a way (N, 3), its first left out, resting where it bends."""
    rows = [way[:0]]
    for here, there in pairwise(way):
        if (seconds := float((_PEAK * np.abs(there - here) / speed).max())) > 0:
            ticks = max(1, int(np.ceil(max(seconds, least_s) / dt)))
            rows.append(here + minimum_jerk(np.arange(1, ticks + 1) / ticks)[:, None] * (there - here))
    return np.concatenate(rows)
