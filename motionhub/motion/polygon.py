"""The support polygon, seen from above, and how far inside it the weight's line is.

The static stability margin is the distance from there to the polygon's nearest side: McGhee & Frank, Math.
Biosci. 3, 1968. Arrays are (…, T), time last.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import combinations, pairwise
from math import hypot

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]

EXACT = 1e-6
"""m: how far a point may be beyond a line or a plane and still count as on it: rounding, not geometry."""
FEW = 16
"""Frames up to which it is quicker not to ask which feet are down together."""


@lru_cache(maxsize=32)
def _pairs(count: int) -> Indices:
    return np.array(list(combinations(range(count), 2)), dtype=np.intp).T


def edge_distances(points: Array, touching: Flags, at: Array) -> tuple[Array, Flags]:
    """Signed distance of a point from every line that could be a side of the support polygon.

    A side is a line through two contacts that has all the others on one side of it.

    Args:
        points: (2, N, T) m.
        touching: (N, T) which of them count.
        at: (2, T) m.

    Returns:
        Distances (K, T), positive on the polygon's side, for the K pairs of :func:`_pairs`; and which are sides.
    """
    i, j = _pairs(points.shape[1])
    x, y = points
    dx, dy = x[j] - x[i], y[j] - y[i]
    length = np.sqrt(dx * dx + dy * dy)
    left, right = np.zeros(dx.shape), np.zeros(dx.shape)
    for k in range(points.shape[1]):
        side = (dx * (y[k] - y[i]) - dy * (x[k] - x[i])) * touching[k]
        np.maximum(left, side, out=left)
        np.minimum(right, side, out=right)
    slack = EXACT * length
    edge = touching[i] & touching[j] & (length > EXACT) & ((right >= -slack) | (left <= slack))
    turn = np.where(right >= -slack, 1.0, -1.0)
    distance = turn * (dx * (at[1] - y[i]) - dy * (at[0] - x[i])) / np.maximum(length, EXACT)
    # Contacts in one line hold on neither side of it.
    flat = (right >= -slack) & (left <= slack)
    return np.where(flat, -np.abs(distance), distance), edge


def stability_margin(points: Array, touching: Flags, at: Array) -> Array:
    """Static stability margin (T,) m; negative outside.

    A few sets of feet are down most of the time. If the feet of a set, taken around, make a convex polygon,
    that is the support polygon; frames in which they do not are measured over all pairs of contacts.

    Args:
        points: (2, N, T) m, the contacts seen from above.
        touching: (N, T) which of them count.
        at: (2, T) m, where the weight's line meets the ground.
    """
    steps = at.shape[1]
    if steps <= FEW:
        return _of_any(points, touching, at)
    found = np.empty(steps)
    sets = (1 << np.arange(len(touching))) @ touching
    hard = np.zeros(steps, dtype=bool)
    for one in np.unique(sets):
        frames = np.flatnonzero(sets == one)
        own = np.flatnonzero(touching[:, frames[0]])
        if len(own) < 3 or len(frames) <= FEW:
            hard[frames] = True
            continue
        whole = len(frames) == steps
        part, centre = (points[:, own], at) if whole else (points[:, own[:, None], frames], at[:, frames])
        found[frames], hard[frames] = _around(part, centre)
    if (rest := np.flatnonzero(hard)).size:
        found[rest] = _of_any(points[:, :, rest], touching[:, rest], at[:, rest])
    return found


def _around(points: Array, at: Array) -> tuple[Array, Flags]:
    """Signed distance (T,) of ``at`` (2, T) from the polygon of ``points`` (2, n, T); and where it is not convex."""
    first = points[:, :, 0] - points[:, :, 0].mean(axis=1, keepdims=True)
    points = points[:, np.argsort(np.arctan2(first[1], first[0]))]
    x, y = points
    dx, dy = np.roll(x, -1, axis=0) - x, np.roll(y, -1, axis=0) - y
    length = np.sqrt(dx * dx + dy * dy)
    bend = dx * np.roll(dy, -1, axis=0) - dy * np.roll(dx, -1, axis=0)
    # Every corner turns left, and once around in all: sides go from pointing down to pointing up once.
    rising = dy > 0
    once = (rising & ~np.roll(rising, 1, axis=0)).sum(axis=0) == 1
    convex = (bend > EXACT * length).all(axis=0) & once
    distance = (dx * (at[1] - y) - dy * (at[0] - x)) / np.maximum(length, EXACT)
    return distance.min(axis=0), ~convex


def _of_any(points: Array, touching: Flags, at: Array) -> Array:
    """The same over all pairs of contacts, however they lie."""
    distance, edge = edge_distances(points, touching, at)
    found: Array = np.where(edge, distance, np.inf).min(axis=0)
    # Fewer than two contacts make no side at all: as far outside as the nearest of them is away.
    if not (some := np.isfinite(found)).all():
        away = np.where(touching, np.hypot(points[0] - at[0], points[1] - at[1]), np.inf).min(axis=0)
        found = np.where(some, found, -np.where(np.isfinite(away), away, 1.0))
    return found


def inside(points: list[tuple[float, float]], at: tuple[float, float]) -> float:
    """How far ``at`` is inside the convex hull of a few points, m, negative outside; plain numbers, for one moment.

    The hull by Andrew's monotone chain (Inf. Process. Lett. 9(5), 1979).
    """
    ordered = sorted(points)
    hull: list[tuple[float, float]] = []
    for way in (ordered, ordered[::-1]):
        chain: list[tuple[float, float]] = []
        for x, y in way:
            while len(chain) >= 2 and _left_of(chain[-2], chain[-1], (x, y)) <= 0:
                chain.pop()
            chain.append((x, y))
        hull += chain[:-1]
    return min(_left_of(a, b, at) / max(hypot(b[0] - a[0], b[1] - a[1]), EXACT) for a, b in pairwise([*hull, hull[0]]))


def _left_of(a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]) -> float:
    """Twice the area of the triangle, positive where ``c`` is to the left of the way from ``a`` to ``b``."""
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
