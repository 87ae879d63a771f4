"""The links as capsules: where they are, how high above the ground, and how near to each other.

Every link is a segment with a radius, the body a box. What is joined side by side is not asked about
(a coxa and its body, a knee's two links), nor what the rest stance already brings together by design.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from motionhub.check.distances import segment_box, segments
from motionhub.motion.posing import rest_joints
from motionhub.motion.support import Support
from motionhub.robot.model import Robot
from motionhub.robot.posture import Posture

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

NEVER = 1.0
"""m: the clearance of a robot none of whose parts can be near another."""
WINDOW = 32
"""Frames: long enough that asking for boxes costs little, short enough that a swinging leg's box stays small."""


def part_names(robot: Robot) -> list[str]:
    """The subjects of the ground rule, in the order of :func:`heights`: the legs (their knees), then extra joints."""
    return [*robot.leg_names, *(extra.name for extra in robot.extra)]


def heights(robot: Robot, bones: Posture, support: Support) -> Array:
    """Lowest point of each part that should stay off the ground, above it, (T, L + E) m: knees, and tips of extras."""
    count = robot.legs
    ends = np.concatenate([bones.points[:, 2], bones.extras[1]], axis=1)
    knee = np.maximum(robot.link_radius[1 : 3 * count : 3], robot.link_radius[2 : 3 * count : 3])
    radius = np.concatenate([knee, robot.link_radius[3 * count :]])
    up = support.normal.T[:, None]
    found: Array = up[0] * ends[0] + up[1] * ends[1] + up[2] * ends[2]
    found += support.height - radius[:, None]
    return found.T


@dataclass(frozen=True)
class Pair:
    """Two parts that could meet: links by their number, -1 for the body's box. They are named by leg or extra joint."""

    a: int
    b: int
    names: tuple[str, str]


@lru_cache(maxsize=16)
def pairs(robot: Robot) -> tuple[Pair, ...]:
    """All pairs that :func:`clearances` measures, in its order."""
    rest = rest_joints(robot)[None]
    bones = Posture(robot, rest)
    found = []
    for pair in _candidates(robot):
        if float(_gap(robot, bones, pair)[0]) > 0:
            found.append(pair)
    return tuple(found)


def _candidates(robot: Robot) -> list[Pair]:
    count = robot.legs
    owner = [robot.leg_names[i // 3] for i in range(3 * count)] + [extra.name for extra in robot.extra]
    parent = {3 * count + i: extra.parent for i, extra in enumerate(robot.extra)}
    found = [Pair(link, -1, (owner[link], "body")) for link in range(3 * count) if link % 3]
    for a, b in combinations(range(robot.joints), 2):
        both_coxae = b < 3 * count and not a % 3 and not b % 3
        joined = parent.get(b) == a or parent.get(a) == b
        if owner[a] != owner[b] and not both_coxae and not joined:
            found.append(Pair(a, b, (owner[a], owner[b])))
    return found


def clearances(robot: Robot, bones: Posture) -> tuple[Array, Indices]:
    """The smallest gap between any two parts in each frame.

    Boxes rule most of it out: a pair is measured in those windows of time in which the boxes that its parts
    stay in are nearer to each other than the largest of the smallest gaps found so far, nearest pairs first.

    Returns:
        (T,) m, negative where they overlap; and which of :func:`pairs` it is, (T,).
    """
    known, steps = pairs(robot), bones.steps
    best, which = np.full(steps, NEVER), np.zeros(steps, dtype=np.intp)
    if not known:
        return best, which
    starts = np.arange(0, steps, WINDOW)
    low, high = _boxes(robot, bones, starts)
    radius = np.append(robot.link_radius, 0.0)
    a, b = np.array([(pair.a, pair.b) for pair in known]).T
    bound = _apart(low, high, a, b) - (radius[a] + radius[b])[:, None]
    worst = np.full(len(starts), NEVER)
    frames = np.arange(steps)
    nearest, limit = bound.min(axis=1), NEVER
    for k in np.argsort(nearest).tolist():
        if nearest[k] >= limit:
            break
        open_ = bound[k] < worst
        if not open_.any():
            continue
        near = None if open_.all() else frames[np.repeat(open_, WINDOW)[:steps]]
        gap = _gap(robot, bones, known[k], near)
        own, its = (best, which) if near is None else (best[near], which[near])
        its[gap < own] = k
        np.minimum(own, gap, out=own)
        if near is not None:
            best[near], which[near] = own, its
        worst = np.maximum.reduceat(best, starts)
        limit = float(worst.max())
    return best, which


def _boxes(robot: Robot, bones: Posture, starts: Indices) -> tuple[Array, Array]:
    """Lower and upper corners (3, J + 1, W) of the boxes that each link stays in within each window.

    The body's box comes last, so that its number, -1, finds it.
    """
    found = []
    for least, side in ((np.minimum, -1), (np.maximum, 1)):
        points = least.reduceat(bones.points, starts, axis=-1)
        extras = [least.reduceat(end, starts, axis=-1) for end in bones.extras]
        box = np.empty((3, robot.joints + 1, len(starts)))
        # Parts of a leg are side by side in the order of the joints.
        legs = least(points[:, :-1], points[:, 1:]).swapaxes(1, 2)
        box[:, : 3 * robot.legs] = legs.reshape(3, -1, len(starts))
        box[:, 3 * robot.legs : -1] = least(*extras)
        box[:, -1] = (robot.body_centre + side * robot.body_size / 2)[:, None]
        found.append(box)
    return found[0], found[1]


def _apart(low: Array, high: Array, a: Indices, b: Indices) -> Array:
    """Distance between the boxes of pairs of links, (P, W)."""
    apart = np.maximum(np.maximum(low[:, b] - high[:, a], low[:, a] - high[:, b]), 0.0)
    found: Array = np.sqrt(apart[0] * apart[0] + apart[1] * apart[1] + apart[2] * apart[2])
    return found


def _gap(robot: Robot, bones: Posture, pair: Pair, frames: Indices | None = None) -> Array:
    """Distance of the parts of a pair from each other, in all frames or some of them."""

    def ends(link: int) -> tuple[Array, Array]:
        a, b = bones.segment(link)
        return (a, b) if frames is None else (a[:, frames], b[:, frames])

    radius = robot.link_radius
    if pair.b < 0:
        gap: Array = segment_box(*ends(pair.a), robot.body_centre, robot.body_size / 2) - radius[pair.a]
    else:
        gap = segments(*ends(pair.a), *ends(pair.b)) - (radius[pair.a] + radius[pair.b])
    return gap
