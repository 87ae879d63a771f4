"""Falls between two frames: the weight leaves one facet and lands the robot on another."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from motionhub.check.memory import Memory
from motionhub.motion.facets import plane_under
from motionhub.motion.support import EXACT, Support, contact_points, ground_under
from motionhub.robot.model import Robot

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]

ROLL = float(np.deg2rad(2))
"""rad: the robot falls when it rolls by more than this from one frame to the next; less is its feet settling."""

LEAP = float(np.deg2rad(5))
"""rad: where a joint turns by more within a frame, much may have happened between that frame and the one before."""
STEPS, CUTS = 16, 4
"""Into so many parts the way between the two is cut then, and each of them so often again."""
TOGETHER = 64
"""Frames that are looked at so closely in one go."""
TURN = float(np.deg2rad(0.5))
"""rad: parts in which the robot turns by less need not be cut again."""


def falls(support: Support, rolled: Array) -> Flags:
    """(T,) frames at which the robot falls, or lies where nothing holds it; ``rolled`` as of :func:`rolls_over`."""
    found: Flags = support.tipped | (rolled > ROLL)
    return found


def rolls_over(robot: Robot, joints: Array, support: Support, last: Indices | None = None) -> Array:
    """How far the robot rolls on arriving at each frame, (T,) rad.

    The facet of the frame before is looked at with the joints of this frame. If it is still a facet of
    the lower hull (no other contact has come through its plane) and yet the robot rests on another, then
    the weight has left it over an edge, and the robot rolls by the angle between the two. A foot that is
    set down or pushed through the plane, and a plane that turns because a foot on it moves, are no falls.

    That holds from one moment to the next. Where joints go far within a frame, or the robot turns by more than
    :data:`ROLL`, it may have fallen and been pushed up again, or a foot may have been set down in time. Joints go from
    frame to frame at an even pace; so there the way is cut into ever smaller parts, and a turn that does not become
    smaller with them is a fall.

    Args:
        robot: The robot.
        joints: (T, J) rad.
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
    still, other = still[other > 0], other[other > 0]
    far = np.abs(joints[other] - joints[other - 1]).max(axis=1, initial=0.0) > LEAP
    turned = (support.normal[other] * support.normal[other - 1]).sum(axis=1) < np.cos(ROLL)
    doubtful = other[far | (turned & ~still)]
    for some in np.split(doubtful, range(TOGETHER, len(doubtful), TOGETHER)):
        found[some] = _fallen(robot, joints[some - 1], joints[some], support.normal[some - 1])
    return found


_rolled = Memory(4096)
"""By how much the robot rolls on its way between frames."""


def _fallen(robot: Robot, start: Array, stop: Array, normal: Array) -> Array:
    """As :func:`_leaps`."""
    if not len(start):
        return np.zeros(0)
    near = np.round(normal, 9)

    def work_out(fresh: Indices) -> Array:
        return _leaps(robot, start[fresh], stop[fresh], near[fresh])

    return _rolled.of(robot, np.concatenate([start, stop, near], axis=1), work_out)


def _leaps(robot: Robot, start: Array, stop: Array, normal: Array, cuts: int = CUTS) -> Array:
    """The most (N,) rad that the robot rolls at once while its joints go evenly from where it rests to where they stop.

    Turns of up to :data:`ROLL` are none.

    Args:
        robot: The robot.
        start: (N, J) rad.
        stop: (N, J) rad.
        normal: (N, 3) the ground's normal at the start.
        cuts: How often each way is still cut.
    """
    count = len(start)
    if not count:
        return np.zeros(0)
    way = start[:, None] + np.linspace(0, 1, STEPS + 1)[:, None] * (stop - start)[:, None]
    before = np.full((count, STEPS, 3), np.nan)
    before[:, 0] = normal
    ups = ground_under(robot, way[:, 1:].reshape(-1, robot.joints), before.reshape(-1, 3))
    ups = np.concatenate([normal[:, None], ups.reshape(count, STEPS, 3)], axis=1)
    turns = np.arccos(np.minimum((ups[:, 1:] * ups[:, :-1]).sum(axis=2), 1.0))
    if cuts == 1:
        most = turns.max(axis=1)
        return np.where(most > ROLL, most, 0.0)
    n, i = np.nonzero(turns > TURN)
    found = np.zeros(count)
    np.maximum.at(found, n, _leaps(robot, way[n, i], way[n, i + 1], ups[n, i], cuts - 1))
    return found
