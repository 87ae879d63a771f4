"""On the way to where something begins: straight there if no standing foot is dragged by it, else stepping over."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from motionhub.check.odometry import travel
from motionhub.check.support import rest_on_ground
from motionhub.hub.restance import SAME_PLACE, UNHURRIED, restance
from motionhub.motion.transition import Limits, Transition
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

_SAMPLES = np.linspace(0.0, 1.0, 9)
NEAR = 1e-4
"""rad: joints this near to where they shall be are there, within a servo's own resolution by far."""


def slip(robot: Robot, joints: Array) -> float:
    """How far the worst foot is dragged over the ground along joints (T, J), in metres."""
    support = rest_on_ground(robot, joints)
    even = np.ones_like(support.clearance)
    return float(travel(support.level_feet[..., :2], support.down, even).slip.max())


def approach(robot: Robot, start: Array, goal: Array, dt: float) -> Array:
    """Joints (T, J), T ≥ 1 ticks of ``dt`` seconds, from standing still at ``start`` (J,) to standing at ``goal`` (J,).

    The last row is ``goal``; ``start`` is not among the rows.
    """
    if float(np.abs(goal - start).max()) <= NEAR:
        return goal[None].copy()
    if slip(robot, start + _SAMPLES[:, None] * (goal - start)) > SAME_PLACE:
        return restance(robot, start, goal, dt)
    path = Transition.plan(robot, start, 0 * start, 0 * start, goal, Limits.of(robot, UNHURRIED))
    ticks = max(1, int(np.ceil(path.duration / dt - 1e-9)))
    joints = np.array([path.at(tick * dt)[0] for tick in range(1, ticks + 1)])
    joints[-1] = goal
    return joints
