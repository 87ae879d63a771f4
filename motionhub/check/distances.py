"""Distances between segments, and from a segment to a box. Arrays are (3, T): coordinates first, time inside."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

TINY = 1e-18
HALVINGS = 24
"""Golden-section steps: each leaves 0.618 of the segment, so these find the place to a hundred-thousandth of it."""


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

    The distance to a convex body is convex along a line, so a golden-section search finds its least.
    """
    a, b = a - centre[:, None], b - centre[:, None]
    u = b - a
    half = half[:, None]
    golden = (np.sqrt(5) - 1) / 2

    def at(s: Array) -> Array:
        out = np.maximum(np.abs(a + s * u) - half, 0.0)
        return _dot(out, out)

    low, high = np.zeros(a.shape[1]), np.ones(a.shape[1])
    least = np.minimum(at(low), at(high))
    left, right = high - golden, low + golden
    at_left, at_right = at(left), at(right)
    for _ in range(HALVINGS):
        lower = at_left < at_right
        low, high = np.where(lower, low, left), np.where(lower, right, high)
        inner = np.where(lower, high - golden * (high - low), low + golden * (high - low))
        value = at(inner)
        left, right = np.where(lower, inner, right), np.where(lower, left, inner)
        at_left, at_right = np.where(lower, value, at_right), np.where(lower, at_left, value)
    found: Array = np.sqrt(np.minimum(least, np.minimum(at_left, at_right)))
    return found


def _dot(a: Array, b: Array) -> Array:
    found: Array = a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
    return found
