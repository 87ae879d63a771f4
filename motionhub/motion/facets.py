"""The facet of a lower hull that a weight's line passes through, for many frames at once.

Contacts are spheres in the body frame: feet, and the corners of the body's underside, the last four, without a radius.
A robot rests on a few triples of them for most of the time: a few frames are tried on all of them, and what those
rest on is tried on the others (:func:`_settled`). A corner that is above a triangle of feet is on no lower facet
(:func:`_exposed`), and without any that is not, the feet alone have settled it.
Arrays are laid out with time last, so that each step is one long vector.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.polygon import EXACT

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]

UPRIGHT = np.cos(np.deg2rad(50))
"""A facet on which the body would lean over further than 50 degrees is where it ends up when it has fallen."""

SLIVER = 1e-6
"""m²: three contacts whose triangle has less than half this area stand in a line and hold no attitude."""

LEVEL = np.array([0.0, 0.0, 1.0])
PROBES = 8
"""Frames that are tried on all triples before any is tried on all frames."""
ROLLS = np.cos(np.deg2rad(0.25))
"""A robot whose ground turns further than this from one frame to the next may have rolled onto another facet, with one
that is nearer left untried; where two facets are nearer than this to each other, it does not matter which it is."""
SAME_PLANE = 1e-9
"""Planes whose normals have a cosine this near to 1 are one."""


def plane_under(points: Array, radii: Array) -> tuple[Array, Array, Array]:
    """The plane that touches three spheres from below.

    Args:
        points: (3, 3, N): coordinate, which of the three, and any number of triples.
        radii: (3, N) m.

    Returns:
        Its normal (3, N), pointing to the body's up side; the height (N,) of the frame's origin above it;
        and twice the area of the triangle of centres (N,), 0 where no plane touches all three.
    """
    a = points[:, 0]
    u, v = points[:, 1] - a, points[:, 2] - a
    cross = _cross(u, v)
    area = np.sqrt(dot(cross, cross))
    normal = cross * (np.where(cross[2] < 0, -1.0, 1.0) / np.maximum(area, 1e-12))
    p, q = radii[1] - radii[0], radii[2] - radii[0]
    if p.any() or q.any():
        # n·u = p and n·v = q fix the part of n that lies in the plane of the centres.
        uu, uv, vv = dot(u, u), dot(u, v), dot(v, v)
        det = np.maximum(uu * vv - uv * uv, 1e-18)
        s, t = (p * vv - q * uv) / det, (q * uu - p * uv) / det
        left = 1 - (s * p + t * q)
        normal = s * u + t * v + np.sqrt(np.maximum(left, 0.0)) * normal
        # A corner that is nearer to a foot's centre than its radius: no plane touches both.
        area = np.where(left > 0, area, 0.0)
    return normal, radii[0] - dot(normal, a), area


@lru_cache(maxsize=32)
def _triples(legs: int, corners: bool) -> Indices:
    """All triples of contacts (K, 3), of feet alone or with the body's corners."""
    return np.array(list(combinations(range(legs + 4 * corners), 3)), dtype=np.intp)


def resting(points: Array, radii: Array, com: Array, start: Array) -> tuple[Array, Array, Indices, Flags]:
    """What :meth:`_Facets.choose` says of all triples of feet and corners, with :func:`_settled` on those it takes."""
    legs = points.shape[1] - 4
    normal, height, facet, good = _settled(points, radii, com, _triples(legs, False), start)
    goes_on = np.isnan(start[0])
    # What no feet carry, or what has turned from one triple to another, may lean on the body.
    doubtful = np.flatnonzero(~good | (dot(normal, _last(normal, start)) < ROLLS))
    if not doubtful.size or not _exposed(points[:, :, doubtful], legs).any():
        return normal, height, facet, good
    todo = _exposed(points, legs)
    while todo.any():
        frames, was = np.flatnonzero(todo), normal.copy()
        before = np.full((3, len(frames)), np.nan)
        apart = np.r_[True, np.diff(frames) > 1]
        apart |= ~goes_on[frames]
        before[:, apart] = _last(normal, start)[:, frames[apart]]
        found = _settled(points[:, :, frames], radii, com[:, frames], _triples(legs, True), before)
        normal[:, frames], height[frames], facet[:, frames], good[frames] = found
        # Who lies the way the frame before lay, which lies otherwise now, has to be asked again.
        other = dot(normal, was) < 1 - SAME_PLANE
        todo[1:] = other[:-1] & ~todo[1:] & goes_on[1:] & (dot(normal[:, 1:], normal[:, :-1]) < ROLLS)
        todo[0] = False
    return normal, height, facet, good


def _last(normal: Array, start: Array) -> Array:
    """(3, T) the normals before each frame: that of the frame to the left, but where a move starts."""
    return np.where(np.isnan(start), np.concatenate([start[:, :1], normal[:, :-1]], axis=1), start)


def chain(first: Array, count: int) -> Array:
    """(3, count) what the normals before each frame were, as :meth:`_Facets.choose` has it, where all is in one."""
    found = np.full((3, count), np.nan)
    found[:, 0] = first
    return found


def _exposed(points: Array, legs: int) -> Flags:
    """Frames (T,) in which some corner (points ``legs`` and on, of (3, L + 4, T)) may touch the ground.

    A corner above a triangle of foot centres is a mean of the three and something on top of it. So whichever way is
    up, one of those feet is as low as it, and it is a corner of no facet of the lower hull.
    """
    found = np.zeros(points.shape[2], dtype=bool)
    a, b, c = (points[:, corner] for corner in _triples(legs, False).T)
    for corner in range(legs, points.shape[1]):
        x, y, z = points[:, corner]
        # Twice the areas of the triangles that it makes with each side, seen from above: its weights
        u = (b[0] - x) * (c[1] - y) - (b[1] - y) * (c[0] - x)
        v = (c[0] - x) * (a[1] - y) - (c[1] - y) * (a[0] - x)
        w = (a[0] - x) * (b[1] - y) - (a[1] - y) * (b[0] - x)
        within = ((u >= 0) & (v >= 0) & (w >= 0)) | ((u <= 0) & (v <= 0) & (w <= 0))
        total = u + v + w
        below = (u * a[2] + v * b[2] + w * c[2]) * np.sign(total) <= z * np.abs(total)
        found |= ~(within & below & (np.abs(total) > SLIVER)).any(axis=0)
    return found


def _settled(
    points: Array, radii: Array, com: Array, triples: Indices, before: Array
) -> tuple[Array, Array, Indices, Flags]:
    """What :meth:`_Facets.choose` says of all triples, found by trying few of them on most frames.

    A few frames are tried on all triples, and the triples that those could rest on are tried on all frames;
    so are a few of the frames which then still have none, and so on. What rests on none of them at last, or
    seems to roll from one facet to another, is tried on all triples too. So nothing is missed: the facet of
    the frame before is always among those tried, and where it no longer holds, all are.
    """
    steps = points.shape[2]
    if steps <= 2 * PROBES:
        return _Facets(points, radii, com, triples).choose(before)

    def on(frames: Indices) -> _Facets:
        return _Facets(points[:, :, frames], radii, com[:, frames], triples)

    known = np.zeros(len(triples), dtype=bool)
    open_ = np.arange(steps)
    tried: _Facets | None = None
    while True:
        probe = np.unique(open_[np.linspace(0, len(open_) - 1, PROBES).astype(np.intp)])
        new = on(probe).useful() & ~known
        if not new.any() and len(probe) < len(open_):
            # The frames that are left are of another kind, whatever it is.
            new = on(open_).useful() & ~known
        if 2 * (known | new).sum() > len(triples):
            new = ~known
        known |= new
        if new.any():
            more = _Facets(points, radii, com, triples[new])
            tried = more if tried is None else tried.and_those_of(more)
        if known.all() and tried is not None:
            return tried.choose(before)
        open_ = np.arange(steps) if tried is None else np.flatnonzero(~tried.holds.any(axis=0))
        if not open_.size or not new.any():
            break
    if tried is None:
        return on(open_).choose(before)
    normal, height, facet, good = tried.choose(before)
    turned = np.flatnonzero(dot(normal[:, 1:], normal[:, :-1]) < ROLLS) + 1
    if turned.size and not known.all() and (new := on(turned).useful() & ~known).any():
        normal, height, facet, good = tried.and_those_of(_Facets(points, radii, com, triples[new])).choose(before)
    if open_.size:
        normal[:, open_], height[open_], facet[:, open_], good[open_] = on(open_).choose(chain(LEVEL, len(open_)))
    return normal, height, facet, good


class _Facets:
    """Triples of contacts in every frame: the plane of each, whether it is a facet of the lower hull, and
    by how much the weight's line passes through its triangle.
    """

    def __init__(self, points: Array, radii: Array, com: Array, triples: Indices) -> None:
        self.triples = triples
        corner = points[:, triples.T]  # (3, which, K, T)
        steps = points.shape[2]
        touch = np.broadcast_to(radii[triples.T][:, :, None], (3, len(triples), steps))
        flat = corner.reshape(3, 3, -1)
        normal, height, area = plane_under(flat, touch.reshape(3, -1))
        shape = (len(triples), steps)
        self.normal = normal.reshape(3, *shape)
        self.height = height.reshape(shape)
        deepest = _lowest_corner(self.normal, points[:, -4:, 0])
        for i in range(len(radii) - 4):
            np.maximum(deepest, radii[i] - dot(self.normal, points[:, i, None, :]), out=deepest)
        self.lowest = (deepest <= self.height + EXACT) & (area.reshape(shape) > SLIVER) & (self.normal[2] > 0)
        self.inside = _inside(self.normal, corner, com)
        self.holds = self.lowest & (self.inside >= -EXACT) & (self.normal[2] >= UPRIGHT)

    def and_those_of(self, other: _Facets) -> _Facets:
        """These, and some others in the same frames."""
        found = _Facets.__new__(_Facets)
        found.triples = np.concatenate([self.triples, other.triples])
        found.normal = np.concatenate([self.normal, other.normal], axis=1)
        found.height = np.concatenate([self.height, other.height])
        found.lowest = np.concatenate([self.lowest, other.lowest])
        found.inside = np.concatenate([self.inside, other.inside])
        found.holds = np.concatenate([self.holds, other.holds])
        return found

    def useful(self) -> Flags:
        """As few triples (K,) as there can be for every frame to have one in each plane that it could rest on.

        Nearly: first the one that serves most frames, then the one that serves most of what that leaves, and so
        on. Six feet on the ground have twenty triples in one plane, of which those of a walk will do.
        """
        found = np.zeros(len(self.triples), dtype=bool)
        left = self.holds.copy()
        while left.any():
            # Of those that serve as many, the one whose sides the weight keeps away from.
            deep = np.where(left, self.inside, 0.0).sum(axis=1)
            best = int(np.argmax(left.sum(axis=1) + deep / (1 + deep.max())))
            found[best] = True
            same = dot(self.normal, self.normal[:, None, best]) >= 1 - SAME_PLANE
            left &= ~(same & self.holds[best])
        return found

    def choose(self, before: Array) -> tuple[Array, Array, Indices, Flags]:
        """For each frame the facet that it rests on.

        Args:
            before: (3, T) the ground's normal in the frame before; not a number where that is the one to the left.

        Returns:
            Normal (3, T), height (T,), the facet's contacts (3, T), and whether it carries the weight.
            Where none does, the facet of the hull that the weight's line misses by least.
        """
        holds = self.holds
        good = holds.any(axis=0)
        # Of the triangles of one plane, the one that the line meets best in the middle.
        best = np.argmax(np.where(holds, self.inside, -np.inf), axis=0)
        missed = np.where(self.lowest, self.inside, -np.inf)
        missed += np.where(self.normal[2] >= UPRIGHT, 0.0, -1e3)
        best = np.where(good, best, np.argmax(missed, axis=0))
        self._settle(best, holds, good, before)
        frames = np.arange(len(best))
        return self.normal[:, best, frames], self.height[best, frames], self.triples[best].T, good

    def _settle(self, best: Indices, holds: Flags, good: Flags, before: Array) -> None:
        """Where several planes would carry the weight, take the one nearest to that of the frame before."""
        up = self.normal[2]
        highest = np.where(holds, up, -np.inf).max(axis=0, initial=-np.inf)
        lowest = np.where(holds, up, np.inf).min(axis=0, initial=np.inf)
        aside = np.where(holds, self.normal[0], -np.inf).max(axis=0) - np.where(holds, self.normal[0], np.inf).min(
            axis=0
        )
        open_ = np.flatnonzero(good & ((highest - lowest > 1e-7) | (aside > 1e-4)))
        normals, no = self.normal[:, :, open_].T, ~holds[:, open_].T
        for t, ways, none, first in zip(open_.tolist(), normals, no, before[:, open_].T, strict=True):
            last = self.normal[:, best[t - 1], t - 1] if first[0] != first[0] else first
            near = ways @ last
            near[none] = -np.inf
            best[t] = near.argmax()


def _lowest_corner(normal: Array, corners: Array) -> Array:
    """How far below the body's reference point the lowest corner of its underside is along each ``normal`` (3, …), m.

    Args:
        normal: Upwards.
        corners: (3, 4) m, of a rectangle that is level in the body frame.
    """
    middle, half = corners.mean(axis=1), np.ptp(corners, axis=1) / 2
    found: Array = np.abs(normal[0]) * half[0]
    found += np.abs(normal[1]) * half[1]
    for i in range(3):
        found -= normal[i] * middle[i]
    return found


def _inside(normal: Array, corner: Array, com: Array) -> Array:
    """Signed distance (K, T) in m of the weight's line from the nearest side of each triangle, positive inside."""
    a, b, c = corner[:, 0], corner[:, 1], corner[:, 2]
    turn = np.sign(dot(normal, _cross(b - a, c - a)))
    found = np.full(turn.shape, np.inf)
    for start, end in ((a, b), (b, c), (c, a)):
        side = end - start
        inward = _cross(normal, side)
        length = np.sqrt(dot(inward, inward))
        np.minimum(found, turn * dot(inward, com[:, None] - start) / np.maximum(length, 1e-12), out=found)
    return found


def dot(a: Array, b: Array) -> Array:
    """a·b of (3, …) each."""
    found: Array = a[0] * b[0]
    found = found + a[1] * b[1]
    found += a[2] * b[2]
    return found


def _cross(a: Array, b: Array) -> Array:
    found = np.empty_like(a)
    for i, (j, k) in enumerate(((1, 2), (2, 0), (0, 1))):
        np.multiply(a[j], b[k], out=found[i])
        found[i] -= a[k] * b[j]
    return found
