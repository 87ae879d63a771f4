"""Motion in the plane: where a body goes that keeps moving by the same twist.

A twist is the velocity of the body as the body sees it: forward and left in m/s, turning left in rad/s.
Held for a time it moves the body along an arc, the exponential of SE(2) (Lynch & Park, *Modern Robotics*,
2017, §3.3). Plain floats, since a walk needs a few of these per tick and an array call costs more than the sum.
"""

from __future__ import annotations

from math import cos, sin

Twist = tuple[float, float, float]
"""Forward m/s, left m/s, turning left rad/s."""

Pose = tuple[float, float, float]
"""x and y in m, yaw in rad; yaw is never wrapped."""

REST: Twist = (0.0, 0.0, 0.0)


def displacement(twist: Twist, seconds: float) -> Pose:
    """The body's pose after moving by ``twist`` for ``seconds``, seen from where it was."""
    vx, vy, wz = twist
    angle = wz * seconds
    if -1e-3 < angle < 1e-3:
        # Series of sin(a)/a and (1 - cos(a))/a: the next terms are below 1e-16.
        square = angle * angle
        along = seconds * (1 - square / 6 * (1 - square / 20))
        across = seconds * angle / 2 * (1 - square / 12)
    else:
        along = sin(angle) / wz
        across = (1 - cos(angle)) / wz
    return vx * along - vy * across, vx * across + vy * along, angle


def compose(pose: Pose, step: Pose) -> Pose:
    """The pose reached by ``step`` taken from ``pose``."""
    x, y, yaw = pose
    c, s = cos(yaw), sin(yaw)
    return x + c * step[0] - s * step[1], y + s * step[0] + c * step[1], yaw + step[2]


def outward(pose: Pose, x: float, y: float) -> tuple[float, float]:
    """A point given in the body's frame, in the frame that ``pose`` is given in."""
    c, s = cos(pose[2]), sin(pose[2])
    return pose[0] + c * x - s * y, pose[1] + s * x + c * y


def inward(pose: Pose, x: float, y: float) -> tuple[float, float]:
    """The inverse of :func:`outward`: a point given where ``pose`` is given, in the body's frame."""
    c, s = cos(pose[2]), sin(pose[2])
    dx, dy = x - pose[0], y - pose[1]
    return c * dx + s * dy, c * dy - s * dx
