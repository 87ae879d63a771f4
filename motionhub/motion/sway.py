r"""How the body moves over the feet that stay down, in gaits that need it to.

When a leg lifts, the centre of mass has to be inside the polygon of the feet that stand, and a margin away
from its edges (McGhee & Frank, Math. Biosci. 3, 1968). On alternate legs of six or eight it always is. With
four legs it lies near the line between two opposite feet, so the body leans over before each step::

     LF o-----------o RF        about to lift LF or LR: the body goes right, into the
        | \       / |           triangle that both of the others leave (x);
        |   \   /   |           then, on all four feet, over to the left
        |    .'.  x |
        |  /     \  |
     LR o-----------o RR

The way of the body over a cycle is the smoothest that does it: of a few harmonics of the cycle, drawn into
each tick's polygon in turn (alternating projections onto convex sets; Bauschke & Borwein, SIAM Review 38, 1996).
"""

from __future__ import annotations

from functools import lru_cache
from math import atan2

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.gait import Timing
from motionhub.motion.posing import rest_joints
from motionhub.robot.mass import centre_of_mass
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

HARMONICS = 3
"""Of the cycle: the third lets the body linger on each side and cross over quickly between."""

_ROUNDS = 400
_NO_CHANGE = 1e-7
"""m: a round that moves the way by less is the last."""
_NONE = 1e-4
"""A sway that stays below a tenth of a millimetre is left out."""


@lru_cache(maxsize=64)
def sway_path(robot: Robot, timing: Timing, margin: float) -> tuple[tuple[float, float], ...]:
    """Where the body is over its feet at each tick of the cycle, x and y in m; empty if it need not move.

    Feet are taken to stand at home. At the moment at which some land and others lift, the margin is kept with either
    down, so that it is kept between ticks as well. Where no smooth way keeps the margin, it is the one that comes
    nearest.

    Args:
        robot: The robot.
        timing: The gait on ticks.
        margin: Distance in m that the centre of mass shall keep from the edges.
    """
    homes = robot.rest_feet[:, :2]
    weight = centre_of_mass(robot, rest_joints(robot))[:2]
    edges = _edges_by_tick(homes, timing)
    path = np.zeros((timing.cycle, 2))
    for _ in range(_ROUNDS):
        before = path
        path = _smoothed(_drawn_inside(path + weight, edges, margin) - weight)
        if np.abs(path - before).max() < _NO_CHANGE:
            break
    if np.abs(path).max() < _NONE:
        return ()
    return tuple((float(x), float(y)) for x, y in path)


def on_ticks(path: tuple[tuple[float, float], ...], ticks: int) -> tuple[tuple[float, float], ...]:
    """The same way on another number of ticks a cycle: its harmonics say where it is at any moment."""
    if not path or len(path) == ticks:
        return path
    spectrum = np.fft.rfft(np.array(path), axis=0)[: HARMONICS + 1]
    turns = 2j * np.pi * np.arange(ticks)[:, None] / ticks * np.arange(len(spectrum))
    weight = np.full(len(spectrum), 2.0)
    weight[0] = 1.0
    found = (np.exp(turns) @ (spectrum * weight[:, None])).real / len(path)
    return tuple((float(x), float(y)) for x, y in found)


def _edges_by_tick(homes: Array, timing: Timing) -> Array:
    """Edges of the support polygon, (ticks, edges, 3): inward normal and offset, so that n·p - c is the distance.

    Of the polygons just before and just after each tick.
    """
    found: dict[tuple[int, ...], Array] = {}
    sets = []
    for tick in range(timing.cycle):
        legs = range(len(homes))
        down = tuple(leg for leg in legs if timing.since_touchdown(tick, leg) < timing.stance)
        if down not in found:
            found[down] = _edges(homes[list(down)])
        sets.append(down)
    ticks = [
        found[now] if now == before else np.concatenate([found[before], found[now]])
        for before, now in zip([sets[-1], *sets], sets, strict=False)
    ]
    most = max(len(edges) for edges in ticks)
    return np.array([np.concatenate([edges, edges[:1].repeat(most - len(edges), axis=0)]) for edges in ticks])


def _edges(feet: Array) -> Array:
    """The edges of feet that stand around a middle, taken in the order of their direction from it."""
    middle = feet.mean(axis=0)
    around = sorted(feet, key=lambda foot: atan2(foot[1] - middle[1], foot[0] - middle[0]))
    edges = []
    for a, b in zip(around, [*around[1:], around[0]], strict=True):
        along = (b - a) / np.hypot(*(b - a))
        normal = np.array([-along[1], along[0]])
        edges.append([*normal, float(normal @ a)])
    return np.array(edges)


def _drawn_inside(points: Array, edges: Array, margin: float) -> Array:
    """Points (ticks, 2), each moved across the edges that it is too near to, one edge after the other."""
    points = points.copy()
    for i in range(edges.shape[1]):
        normal, offset = edges[:, i, :2], edges[:, i, 2]
        short = margin - ((points * normal).sum(axis=1) - offset)
        points += np.maximum(short, 0)[:, None] * normal
    return points


def _smoothed(path: Array) -> Array:
    """The nearest path that has only the first harmonics of the cycle."""
    spectrum = np.fft.rfft(path, axis=0)
    spectrum[HARMONICS + 1 :] = 0
    return np.fft.irfft(spectrum, n=len(path), axis=0)
