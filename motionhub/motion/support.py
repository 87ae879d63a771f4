"""How the robot rests on flat ground, from its joints alone.

What can touch the ground are the feet (spheres) and the four corners of the body's underside (points).
Held up by them, the robot rests on a facet of their lower convex hull: the plane under three of them
that has all others on or above it and that the weight's line passes through inside the triangle. There
the centre of mass is lowest among all attitudes close by, which is what resting means::

          com                      n is "up", in the body frame; each contact i touches where
           |                           n·pᵢ - rᵢ = -height
     o-----|------o   feet         and for three of them that, with |n| = 1, fixes n and height.
    _A_____v______B____ ground     Where the line misses every such triangle, the robot tips over.

Several facets may carry it, as with a table of which one leg is short: then it stays on the one it was on. So
all contacts count at once. How the facet is found is in :mod:`~motionhub.motion.facets`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.facets import LEVEL, chain, dot, resting
from motionhub.motion.polygon import EXACT as EXACT
from motionhub.motion.polygon import stability_margin
from motionhub.robot.model import Robot
from motionhub.robot.posture import Posture

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]

CONTACT = 1e-3
"""m: what is at most this far above the plane touches it. Less than a servo's play moves a foot, and
passed within a frame or two by a foot that is lifted."""


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

    def between(self, part: slice) -> Support:
        """Some of the frames."""
        return Support(**{name: values[part] for name, values in vars(self).items()})

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


def plane_it_rests_on(robot: Robot, joints: Array) -> tuple[Array, Array]:
    """Of :func:`rest_on_ground` for joints (T, J) only the normal (T, 3) and the height (T,): for those in a hurry."""
    pose = Posture(robot, joints)
    points, radii = _points(robot, pose.feet)
    normal, height, _, _ = resting(points, radii, pose.centre, chain(LEVEL, len(joints)))
    return normal.T, height


def underside(robot: Robot) -> Array:
    """The corners of the body's underside, (4, 3) m in the body frame: front, then rear, left before right."""
    x, y, z = robot.body_size / 2
    found: Array = robot.body_centre + np.array([[x, y, -z], [x, -y, -z], [-x, y, -z], [-x, -y, -z]])
    return found


def contact_points(robot: Robot, feet: Array) -> tuple[Array, Array]:
    """All that may touch the ground, as (3, L + 4, T) m in the body frame, and the radii (L + 4,) m.

    Args:
        robot: The robot.
        feet: (T, L, 3) m, centres of the feet in the body frame.
    """
    return _points(robot, feet.transpose(2, 1, 0))


def _points(robot: Robot, feet: Array) -> tuple[Array, Array]:
    """The same for feet (3, L, T)."""
    count = robot.legs
    points = np.empty((3, count + 4, feet.shape[2]))
    points[:, :count] = feet
    points[:, count:] = underside(robot).T[:, :, None]
    return points, np.concatenate([robot.foot_radius, np.zeros(4)])


def rest_on_ground(robot: Robot, joints: Array, near: Array | None = None, posture: Posture | None = None) -> Support:
    """How the robot rests for joint angles (T, J) rad.

    Args:
        robot: The robot.
        joints: (T, J) rad, frames in order of time.
        near: (3,) the ground's normal before the first frame. A table with a short leg rests either way;
            such a frame rests the way the frame before it did, and the first one near to this; level when None.
            Several moves in one call have (T, 3), the normal before each one's first frame and no numbers elsewhere.
        posture: Of the same joints, where it is known already.
    """
    pose = Posture(robot, joints) if posture is None else posture
    com = pose.centre
    points, radii = _points(robot, pose.feet)
    count = robot.legs
    before = near.T if near is not None and near.ndim == 2 else chain(LEVEL if near is None else near, len(joints))
    normal, height, facet, good = resting(points, radii, com, before)
    above = normal[0] * points[0] + normal[1] * points[1] + normal[2] * points[2]
    above += height - radii[:, None]
    touching = above <= CONTACT
    level = _upright(normal)
    plane = np.empty((2, *above.shape))
    for i in range(2):
        np.multiply(level[i, 0], points[0], out=plane[i])
        plane[i] += level[i, 1] * points[1]
        plane[i] += level[i, 2] * points[2]
    weight = np.stack([dot(level[i], com) for i in range(2)])
    # The corners take part in the polygon only where one touches; leaving them out elsewhere saves most of the work.
    margin = stability_margin(plane[:, :count], touching[:count], weight)
    if (leaning := np.flatnonzero(touching[count:].any(axis=0))).size:
        margin[leaning] = stability_margin(plane[:, :, leaning], touching[:, leaning], weight[:, leaning])
    return Support(
        down=touching[:count].T,
        corners=touching[count:].T,
        height=height,
        normal=normal.T,
        rotation=level.transpose(2, 0, 1),
        feet=pose.feet.T,
        com=weight.T,
        margin=margin,
        tipped=~good,
        facet=facet.T,
        contacts=plane.transpose(2, 1, 0),
        clearance=above[:count].T,
    )


def ground_under(robot: Robot, joints: Array, near: Array) -> Array:
    """The ground's normal alone, (T, 3), where no more is asked; all is as in :func:`rest_on_ground`."""
    pose = Posture(robot, joints)
    points, radii = _points(robot, pose.feet)
    return resting(points, radii, pose.centre, near.T)[0].T


def upright(normal: Array) -> Array:
    """The smallest rotation that turns each ``normal`` (T, 3) to z, as (T, 3, 3)."""
    return _upright(normal.T).transpose(2, 0, 1)


def _upright(normal: Array) -> Array:
    """The same for (3, T), as (3, 3, T)."""
    a, b, c = normal
    k = 1 / (1 + np.maximum(c, -0.999))
    found = np.empty((3, 3, len(c)))
    found[0, 0], found[0, 1], found[0, 2] = 1 - a * a * k, -a * b * k, -a
    found[1, 0], found[1, 1], found[1, 2] = found[0, 1], 1 - b * b * k, -b
    found[2, 0], found[2, 1], found[2, 2] = a, b, c
    return found
