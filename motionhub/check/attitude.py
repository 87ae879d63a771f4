"""Falls between two frames: the weight leaves one facet and lands the robot on another."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.support import EXACT, Support, contact_points, plane_under
from motionhub.robot.model import Robot

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]

ROLL = float(np.deg2rad(2))
"""rad: the robot falls when it rolls by more than this from one frame to the next; less is its feet settling."""


def falls(support: Support, rolled: Array) -> Flags:
    """(T,) frames at which the robot falls, or lies where nothing holds it; ``rolled`` as of :func:`rolls_over`."""
    found: Flags = support.tipped | (rolled > ROLL)
    return found


def rolls_over(robot: Robot, support: Support, last: Indices | None = None) -> Array:
    """How far the robot rolls on arriving at each frame, (T,) rad.

    The facet of the frame before is looked at with the joints of this frame. If it is still a facet of
    the lower hull (no other contact has come through its plane) and yet the robot rests on another, then
    the weight has left it over an edge, and the robot rolls by the angle between the two. A foot that is
    set down or pushed through the plane, and a plane that turns because a foot on it moves, are no falls.

    Args:
        robot: The robot.
        support: How each frame rests, in order of time.
        last: (3,) the facet of the frame before the first; None at the start of a move.
    """
    points, radii = contact_points(robot, support.feet)
    first = support.facet[0] if last is None else last
    before = np.concatenate([first[None], support.facet[:-1]]).T
    now = support.facet.T
    found: Array = np.zeros(len(support.height))
    # The same contacts are the same facet.
    other = np.flatnonzero((before != now).any(axis=0) & ~support.tipped)
    if not other.size:
        return found
    before, points = before[:, other], points[:, :, other]
    normal, height, _ = plane_under(points[:, before, np.arange(len(other))], radii[before])
    depth = radii[:, None] - np.einsum("ct,cnt->nt", normal, points)
    still = (depth <= height + EXACT).all(axis=0)
    cosine = np.minimum((normal * support.normal[other].T).sum(axis=0), 1.0)
    found[other] = np.where(still, np.arccos(cosine), 0.0)
    if last is None:
        found[0] = 0.0
    return found
