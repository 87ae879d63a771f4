"""How the robot rests on flat ground, from its joints alone.

What can touch the ground are the feet (spheres) and the four corners of the body's underside (points).
Held up by them, the robot rests on a facet of their lower convex hull: the plane under three of them
that has all others on or above it and that the weight's line passes through inside the triangle. There
the centre of mass is lowest among all attitudes close by, which is what resting means::

          com                      n is "up", in the body frame; each contact i touches where
           |                           n·pᵢ - rᵢ = -height
     o-----|------o   feet         and for three of them that, with |n| = 1, fixes n and height.
    _A_____v______B____ ground     Where the line misses every such triangle, the robot tips over.

The triples are tried all at once, the feet alone first and with the body's corners only for frames that
they do not settle. Arrays are laid out with time last inside, so that each step is one long vector.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from motionhub.robot.kinematics import feet as feet_of
from motionhub.robot.mass import centre_of_mass
from motionhub.robot.model import Robot

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]

CONTACT = 1e-3
"""m: what is at most this far above the plane touches it. Less than a servo's play moves a foot, and
passed within a frame or two by a foot that is lifted."""

EXACT = 1e-6
"""m: how far a point may be below a facet's plane and still count as on it: rounding, not geometry."""

UPRIGHT = np.cos(np.deg2rad(50))
"""A facet on which the body would lean over further than 50 degrees is where it ends up when it has fallen."""

SLIVER = 1e-6
"""m²: three contacts whose triangle has less than half this area stand in a line and hold no attitude."""


@dataclass(frozen=True, eq=False)
class Support:
    """How the robot rests, frame by frame. The level frame has its origin on the ground, under the body's
    reference point, z up, and the body's heading: the body is turned into it by the smallest rotation.
    """

    down: Flags
    """(T, L) feet that touch."""
    corners: Flags
    """(T, 4) corners of the body's underside that touch, in the order of :func:`underside`."""
    height: Array
    """(T,) m, of the body's reference point."""
    normal: Array
    """(T, 3) the ground's normal in the body frame; (0, 0, 1) when the body is level."""
    rotation: Array
    """(T, 3, 3) from the body frame to the level frame."""
    feet: Array
    """(T, L, 3) m, foot centres in the body frame."""
    com: Array
    """(T, 2) m, where the weight's line meets the ground, in the level frame."""
    margin: Array
    """(T,) m, from there to the nearest edge of the support polygon; negative outside it."""
    tipped: Flags
    """(T,) no facet carries the weight; what is said of such a frame is the facet that comes nearest to it."""
    facet: Indices
    """(T, 3) the contacts that fix the attitude: feet by their number, then corners."""
    contacts: Array
    """(T, L + 4, 2) m, feet and corners of the underside, seen from above in the level frame."""
    clearance: Array
    """(T, L) m, of each foot's lowest point above the ground."""

    @property
    def belly(self) -> Flags:
        """(T,) whether the body's underside touches the ground."""
        found: Flags = np.asarray(self.corners.any(axis=-1))
        return found

    @property
    def tilt(self) -> Array:
        """(T, 2) rad: roll and pitch of the body, as in ``Rz(yaw) Ry(pitch) Rx(roll)``."""
        n = self.normal
        return np.stack([np.arctan2(n[:, 1], n[:, 2]), np.arcsin(np.clip(-n[:, 0], -1, 1))], axis=-1)

    @property
    def level_feet(self) -> Array:
        """(T, L, 3) m, foot centres in the level frame."""
        found: Array = self.feet @ np.swapaxes(self.rotation, -1, -2)
        found[..., 2] += self.height[:, None]
        return found


def underside(robot: Robot) -> Array:
    """The corners of the body's underside, (4, 3) m in the body frame: front, then rear, left before right."""
    x, y, z = robot.body_size / 2
    found: Array = robot.body_centre + np.array([[x, y, -z], [x, -y, -z], [-x, y, -z], [-x, -y, -z]])
    return found


def contact_points(robot: Robot, feet: Array) -> tuple[Array, Array]:
    """All that may touch the ground, as (3, L + 4, T) m in the body frame, and the radii (L + 4,) m."""
    count = robot.legs
    points = np.empty((3, count + 4, len(feet)))
    points[:, :count] = feet.transpose(2, 1, 0)
    points[:, count:] = underside(robot).T[:, :, None]
    return points, np.concatenate([robot.foot_radius, np.zeros(4)])


def rest_on_ground(robot: Robot, joints: Array, near: Array | None = None) -> Support:
    """How the robot rests for joint angles (T, J) rad.

    Args:
        robot: The robot.
        joints: (T, J) rad, frames in order of time.
        near: (3,) the ground's normal before the first frame. A table with a short leg rests either way;
            such a frame rests the way the frame before it did, and the first one near to this; level when None.
    """
    feet = feet_of(robot, joints)
    com = np.ascontiguousarray(centre_of_mass(robot, joints).T)
    points, radii = contact_points(robot, feet)
    count = robot.legs
    found = _Facets(points, radii, com, _triples(count, False))
    normal, height, facet, good = found.choose(near)
    if not good.all():
        # Some frames lean on the body, or on nothing that holds.
        rest = np.flatnonzero(~good)
        before = near if rest[0] == 0 or not good[rest[0] - 1] else normal[:, rest[0] - 1]
        wide = _Facets(points[:, :, rest], radii, com[:, rest], _triples(count, True))
        normal[:, rest], height[rest], facet[:, rest], good[rest] = wide.choose(before)
    above = _dot(normal[:, None], points) - radii[:, None] + height
    touching = above <= CONTACT
    rotation = upright(normal.T)
    plane = np.einsum("tic,cnt->int", rotation[:, :2], points)
    weight = np.einsum("tic,ct->it", rotation[:, :2], com)
    # The corners take part in the polygon only where one touches; leaving them out elsewhere saves most of the work.
    margin = _margin(plane[:, :count], touching[:count], weight)
    if (leaning := np.flatnonzero(touching[count:].any(axis=0))).size:
        margin[leaning] = _margin(plane[:, :, leaning], touching[:, leaning], weight[:, leaning])
    return Support(
        down=touching[:count].T,
        corners=touching[count:].T,
        height=height,
        normal=normal.T,
        rotation=rotation,
        feet=feet,
        com=weight.T,
        margin=margin,
        tipped=~good,
        facet=facet.T,
        contacts=plane.transpose(2, 1, 0),
        clearance=above[:count].T,
    )


def upright(normal: Array) -> Array:
    """The smallest rotation that turns each ``normal`` (T, 3) to z, as (T, 3, 3)."""
    a, b, c = normal[:, 0], normal[:, 1], normal[:, 2]
    k = 1 / (1 + np.maximum(c, -0.999))
    R = np.empty((len(normal), 3, 3))
    R[:, 0, 0], R[:, 0, 1], R[:, 0, 2] = 1 - a * a * k, -a * b * k, -a
    R[:, 1, 0], R[:, 1, 1], R[:, 1, 2] = -a * b * k, 1 - b * b * k, -b
    R[:, 2, 0], R[:, 2, 1], R[:, 2, 2] = a, b, c
    return R


def plane_under(points: Array, radii: Array) -> tuple[Array, Array, Array]:
    """The plane that touches three spheres from below.

    Args:
        points: (3, 3, N): coordinate, which of the three, and any number of triples.
        radii: (3, N) m.

    Returns:
        Its normal (3, N), pointing to the body's up side; the height (N,) of the frame's origin above it;
        and twice the area of the triangle of centres (N,).
    """
    a = points[:, 0]
    u, v = points[:, 1] - a, points[:, 2] - a
    cross = _cross(u, v)
    area = np.sqrt(_dot(cross, cross))
    normal = cross * (np.where(cross[2] < 0, -1.0, 1.0) / np.maximum(area, 1e-12))
    p, q = radii[1] - radii[0], radii[2] - radii[0]
    if p.any() or q.any():
        # n·u = p and n·v = q fix the part of n that lies in the plane of the centres.
        uu, uv, vv = _dot(u, u), _dot(u, v), _dot(v, v)
        det = np.maximum(uu * vv - uv * uv, 1e-18)
        s, t = (p * vv - q * uv) / det, (q * uu - p * uv) / det
        normal = s * u + t * v + np.sqrt(np.maximum(1 - (s * p + t * q), 0.0)) * normal
    return normal, radii[0] - _dot(normal, a), area


@lru_cache(maxsize=32)
def _triples(legs: int, corners: bool) -> Indices:
    """All triples of contacts (K, 3); the first (at most) 20 for six legs are those of feet alone."""
    return np.array(list(combinations(range(legs + 4 * corners), 3)), dtype=np.intp)


class _Facets:
    """Every triple of contacts in every frame: its plane, whether it is a facet of the lower hull, and
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
        deepest = np.full(shape, -np.inf)
        for i in range(len(radii)):
            np.maximum(deepest, radii[i] - _dot(self.normal, points[:, i, None, :]), out=deepest)
        self.lowest = (deepest <= self.height + EXACT) & (area.reshape(shape) > SLIVER) & (self.normal[2] > 0)
        self.inside = _inside(self.normal, corner, com)

    def choose(self, near: Array | None) -> tuple[Array, Array, Indices, Flags]:
        """For each frame the facet that it rests on.

        Returns:
            Normal (3, T), height (T,), the facet's contacts (3, T), and whether it carries the weight.
            Where none does, the facet of the hull that the weight's line misses by least.
        """
        holds = self.lowest & (self.inside >= -EXACT) & (self.normal[2] >= UPRIGHT)
        good = holds.any(axis=0)
        # Of the triangles of one plane, the one that the line meets best in the middle.
        best = np.argmax(np.where(holds, self.inside, -np.inf), axis=0)
        missed = np.where(self.lowest, self.inside, -np.inf)
        missed += np.where(self.normal[2] >= UPRIGHT, 0.0, -1e3)
        best = np.where(good, best, np.argmax(missed, axis=0))
        self._settle(best, holds, good, near)
        frames = np.arange(len(best))
        return self.normal[:, best, frames], self.height[best, frames], self.triples[best].T, good

    def _settle(self, best: Indices, holds: Flags, good: Flags, near: Array | None) -> None:
        """Where several planes would carry the weight, take the one nearest to that of the frame before."""
        up = self.normal[2]
        highest = np.where(holds, up, -np.inf).max(axis=0, initial=-np.inf)
        lowest = np.where(holds, up, np.inf).min(axis=0, initial=np.inf)
        aside = np.where(holds, self.normal[0], -np.inf).max(axis=0) - np.where(holds, self.normal[0], np.inf).min(
            axis=0
        )
        for t in np.flatnonzero(good & ((highest - lowest > 1e-7) | (aside > 1e-4))):
            last = self.normal[:, best[t - 1], t - 1] if t else np.array([0.0, 0, 1]) if near is None else near
            options = np.flatnonzero(holds[:, t])
            best[t] = options[np.argmax(last @ self.normal[:, options, t])]


def _inside(normal: Array, corner: Array, com: Array) -> Array:
    """Signed distance (K, T) in m of the weight's line from the nearest side of each triangle, positive inside."""
    a, b, c = corner[:, 0], corner[:, 1], corner[:, 2]
    turn = np.sign(_dot(normal, _cross(b - a, c - a)))
    found = np.full(turn.shape, np.inf)
    for start, end in ((a, b), (b, c), (c, a)):
        side = end - start
        inward = _cross(normal, side)
        length = np.sqrt(_dot(inward, inward))
        np.minimum(found, turn * _dot(inward, com[:, None] - start) / np.maximum(length, 1e-12), out=found)
    return found


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


def _margin(points: Array, touching: Flags, at: Array) -> Array:
    """Static stability margin (T,) m: McGhee & Frank, Math. Biosci. 3, 1968."""
    distance, edge = edge_distances(points, touching, at)
    found: Array = np.where(edge, distance, np.inf).min(axis=0)
    # Fewer than two contacts make no side at all: as far outside as the nearest of them is away.
    if not (some := np.isfinite(found)).all():
        away = np.where(touching, np.hypot(points[0] - at[0], points[1] - at[1]), np.inf).min(axis=0)
        found = np.where(some, found, -np.where(np.isfinite(away), away, 1.0))
    return found


def _dot(a: Array, b: Array) -> Array:
    found: Array = a[0] * b[0]
    found = found + a[1] * b[1]
    found += a[2] * b[2]
    return found


def _cross(a: Array, b: Array) -> Array:
    x, y, z = a
    u, v, w = b
    return np.stack([y * w - z * v, z * u - x * w, x * v - y * u])
