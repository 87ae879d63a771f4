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


def part_names(robot: Robot) -> list[str]:
    """The subjects of the ground rule, in the order of :func:`heights`: the legs (their knees), then extra joints."""
    return [*robot.leg_names, *(extra.name for extra in robot.extra)]


@dataclass(frozen=True, eq=False)
class Skeleton:
    """The ends of every link's segment in the body frame, each (3, J, T) m, links in the order of the joints."""

    start: Array
    end: Array


def skeleton(robot: Robot, joints: Array) -> Skeleton:
    """Where the links are, for joints (T, J) rad."""
    return Skeleton(*Posture(robot, joints).ends)


def heights(robot: Robot, bones: Skeleton, support: Support) -> Array:
    """Lowest point of each part that should stay off the ground, above it, (T, L + E) m: knees, and tips of extras."""
    count = robot.legs
    knee, tip = slice(1, 3 * count, 3), slice(3 * count, None)
    ends = np.concatenate([bones.end[:, knee], bones.end[:, tip]], axis=1)
    radius = np.concatenate(
        [np.maximum(robot.link_radius[knee], robot.link_radius[2 : 3 * count : 3]), robot.link_radius[tip]]
    )
    up = support.normal.T[:, None]
    found: Array = up[0] * ends[0] + up[1] * ends[1] + up[2] * ends[2] - radius[:, None] + support.height
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
    bones = skeleton(robot, rest)
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


def clearances(robot: Robot, bones: Skeleton) -> tuple[Array, Indices]:
    """The smallest gap between any two parts in each frame.

    Boxes around the segments rule most of it out: pairs whose boxes over all the frames are further apart
    than the smallest gaps found so far are not looked at, the others only in the frames in which their own
    boxes are nearer than that.

    Returns:
        (T,) m, negative where they overlap; and which of :func:`pairs` it is, (T,).
    """
    known = pairs(robot)
    steps = bones.start.shape[2]
    best, which = np.full(steps, NEVER), np.zeros(steps, dtype=np.intp)
    if not known:
        return best, which
    # The body's box comes last, so that its number, -1, finds it.
    box = robot.body_centre[:, None] + np.array([-1, 1]) * robot.body_size[:, None] / 2
    low = _with_body(np.minimum(bones.start, bones.end), box[:, 0])
    high = _with_body(np.maximum(bones.start, bones.end), box[:, 1])
    radius = np.append(robot.link_radius, 0.0)
    a, b = np.array([(pair.a, pair.b) for pair in known]).T
    ever = _apart(low.min(axis=2), high.max(axis=2), a, b) - radius[a] - radius[b]
    for k in np.argsort(ever):
        if ever[k] >= best.max():
            break
        bound = _apart(low, high, a[k], b[k]) - radius[a[k]] - radius[b[k]]
        near = np.flatnonzero(bound < best)
        if near.size:
            gap = _gap(robot, bones, known[k], near if near.size < steps else None)
            closer = gap < best[near]
            best[near[closer]], which[near[closer]] = gap[closer], k
    return best, which


def _with_body(links: Array, corner: Array) -> Array:
    wide = np.empty((3, links.shape[1] + 1, links.shape[2]))
    wide[:, :-1] = links
    wide[:, -1] = corner[:, None]
    return wide


def _apart(low: Array, high: Array, a: Indices, b: Indices) -> Array:
    """Distance between the boxes of two links."""
    apart = np.maximum(np.maximum(low[:, b] - high[:, a], low[:, a] - high[:, b]), 0.0)
    found: Array = np.sqrt(apart[0] * apart[0] + apart[1] * apart[1] + apart[2] * apart[2])
    return found


def _gap(robot: Robot, bones: Skeleton, pair: Pair, frames: Indices | None = None) -> Array:
    def ends(link: int) -> tuple[Array, Array]:
        a, b = bones.start[:, link], bones.end[:, link]
        return (a, b) if frames is None else (a[:, frames], b[:, frames])

    radius = robot.link_radius
    if pair.b < 0:
        gap: Array = segment_box(*ends(pair.a), robot.body_centre, robot.body_size / 2) - radius[pair.a]
    else:
        gap = segments(*ends(pair.a), *ends(pair.b)) - (radius[pair.a] + radius[pair.b])
    return gap
