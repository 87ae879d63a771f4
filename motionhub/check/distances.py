"""Distances between segments, and from a segment to a box. Arrays are (3, T): coordinates first, time inside."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

TINY = 1e-18


def segments(a: Array, b: Array, c: Array, d: Array) -> Array:
    """Distance (T,) between segments a–b and c–d.

    Closed form: the lines' nearest points, each held to its segment in turn (Ericson, *Real-Time
    Collision Detection*, 2005, §5.1.9).
    """
    u, v, r = b - a, d - c, a - c
    uu, vv, uv = np.maximum(_dot(u, u), TINY), np.maximum(_dot(v, v), TINY), _dot(u, v)
    ur, vr = _dot(u, r), _dot(v, r)
    det = uu * vv - uv * uv
    # Parallel segments: any start will do, the two steps below find a nearest pair.
    s = np.where(det > 1e-12 * uu * vv, (uv * vr - ur * vv) / np.maximum(det, TINY), 0.0)
    s = np.minimum(np.maximum(s, 0.0), 1.0)
    t = np.minimum(np.maximum((uv * s + vr) / vv, 0.0), 1.0)
    s = np.minimum(np.maximum((uv * t - ur) / uu, 0.0), 1.0)
    gap = r + s * u - t * v
    found: Array = np.sqrt(_dot(gap, gap))
    return found


def segment_box(a: Array, b: Array, centre: Array, half: Array) -> Array:
    """Distance (T,) of segment a–b from the box about ``centre`` (3,) with half sides ``half`` (3,).

    Along the segment the squared distance is convex and made of parabolas that meet where it crosses the
    planes of the box's sides. So its slope rises, straight between those places: the least distance is
    where the slope crosses zero, or at the end that it does not.

    Most segments need none of that: where an end is as near to the box as the segment's own box is, it is the nearest.
    """
    wide = half[:, None]
    a, b = a - centre[:, None], b - centre[:, None]
    least = np.maximum(np.maximum(np.minimum(a, b) - wide, -wide - np.maximum(a, b)), 0.0)
    bound = _dot(least, least)
    found: Array = np.full(a.shape[1], np.inf)
    for end in (a, b):
        gap = np.maximum(np.abs(end) - wide, 0.0)
        np.minimum(found, _dot(gap, gap), out=found)
    hard = np.flatnonzero(found > bound)
    np.sqrt(found, out=found)
    if hard.size:
        found[hard] = _crossing(a[:, hard], b[:, hard], wide)
    return found


def _crossing(a: Array, b: Array, wide: Array) -> Array:
    """The same by the slope's zero, for segments about a box at the origin with half sides ``wide`` (3, 1)."""
    u = b - a
    steep = np.where(np.abs(u) > TINY, u, TINY)
    s = np.empty((8, a.shape[1]))
    s[:3], s[3:6], s[6], s[7] = (wide - a) / steep, (-wide - a) / steep, 0.0, 1.0
    s = np.sort(np.minimum(np.maximum(s, 0.0), 1.0), axis=0)
    slope = np.zeros_like(s)
    for axis in range(3):
        slope += u[axis] * _outside(a[axis] + s * u[axis], float(wide[axis, 0]))
    after = (slope < 0).sum(axis=0)
    frames = np.arange(len(after))
    before = np.maximum(after - 1, 0)
    after = np.minimum(after, 7)
    rise = slope[after, frames] - slope[before, frames]
    share = np.where(rise > TINY, -slope[before, frames] / np.where(rise > TINY, rise, 1.0), 0.0)
    share = np.minimum(np.maximum(share, 0.0), 1.0)
    nearest = a + (s[before, frames] + share * (s[after, frames] - s[before, frames])) * u
    gap = np.maximum(np.abs(nearest) - wide, 0.0)
    found: Array = np.sqrt(_dot(gap, gap))
    return found


def _outside(x: Array, half: float) -> Array:
    """How far x is beyond -half or half, with its sign; 0 between them."""
    found: Array = x - np.minimum(np.maximum(x, -half), half)
    return found


def _dot(a: Array, b: Array) -> Array:
    found: Array = a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
    return found
