"""How the body itself moves, from how it rests and where its feet lead it, for the forces that this takes.

Its place is that of the level frame along the way that odometry finds, its height and its attitude those
of the facet it rests on. Speeds and accelerations are taken as :mod:`~motionhub.check.derivatives` says.
Attitude has no coordinates that could be differentiated one by one; but the small turn from each frame to
the next, along the body's axes, adds up to rows that can: over the few frames of a parabola, what is lost
is of the third order in a turn of a degree or two.

Where the robot falls, or rolls from one facet to another, it moves as gravity has it and not as the frames
do: around such a frame the body counts as still, and the fall is what the check reports.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from motionhub.check.derivatives import derivatives, half_width
from motionhub.motion.support import Support
from motionhub.robot.dynamics import Trunk
from motionhub.robot.model import STANDARD_GRAVITY

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


def trunk_motion(support: Support, place: Array, heading: Array, fallen: Flags, rate_hz: float) -> Trunk:
    """Motion of the trunk in the T frames in the middle of T + 2 w, with ``w = half_width(rate_hz)``.

    Args:
        support: How each of the T + 2 w frames rests.
        place: (T + 2 w, 2) m, of the level frame over the ground, from anywhere.
        heading: (T + 2 w,) rad of the level frame.
        fallen: (T + 2 w,) frames in which the robot falls or lies where nothing holds it.
        rate_hz: Frames a second.
    """
    w = half_width(rate_hz)
    own = slice(w, len(heading) - w)
    cos, sin = np.cos(heading), np.sin(heading)
    level = support.rotation.transpose(1, 2, 0)
    # The ground's axes as the body sees them, each (3, T + 2 w)
    ahead, aside, up = cos * level[0] - sin * level[1], sin * level[0] + cos * level[1], level[2]
    turned = np.zeros((3, len(heading)))
    for axis in (ahead, aside, up):
        turned[:, 1:] += _cross(axis[:, 1:], axis[:, :-1])
    # Twice the sine of the turn; the sum over three axes that stand still counts it twice.
    np.cumsum(turned / 2, axis=1, out=turned)
    rows = np.concatenate([turned, place.T, support.height[None]])
    speed, gain = derivatives(rows, rate_hz)
    still = np.convolve(fallen, np.ones(2 * w + 1), "valid") > 0.5
    speed[:, still] = 0.0
    gain[:, still] = 0.0
    felt = gain[3] * ahead[:, own] + gain[4] * aside[:, own] + (gain[5] + STANDARD_GRAVITY) * up[:, own]
    return Trunk(felt, speed[:3], gain[:3])


def _cross(a: Array, b: Array) -> Array:
    return np.stack([a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]])
