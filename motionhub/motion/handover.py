"""From one stance to the next: straight there if no standing foot is dragged by it, else stepping over."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.odometry import travel
from motionhub.motion.restance import UNHURRIED, restance
from motionhub.motion.support import Support, rest_on_ground
from motionhub.motion.transition import Limits, Transition
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

_NEAR_END = 0.125 * np.array([0.03, 0.06, 0.12, 0.25, 0.5])
_SAMPLES = np.sort(np.concatenate([np.linspace(0.0, 1.0, 9), _NEAR_END, 1 - _NEAR_END]))
"""Of the way there, closer together at its ends: a foot that comes down flat stands on the last of its way only."""
DRAGGED = 2e-4
"""m: a foot may be dragged by this much, far less than a servo's play lets it wander."""
NEAR = 1e-4
"""rad: joints this near to where they shall be are there, within a servo's own resolution by far."""


def slip(support: Support) -> float:
    """How far the worst foot is dragged over the ground from row to row, in metres."""
    even = np.ones_like(support.clearance)
    return float(travel(support.level_feet[..., :2], support.down, even).slip.max())


def _straight(robot: Robot, start: Array, goal: Array) -> bool:
    """Whether the joints may go straight there: no foot dragged, and never shakier than at the shakier end."""
    support = rest_on_ground(robot, start + _SAMPLES[:, None] * (goal - start))
    steady = min(robot.walk.margin, float(support.margin[0]), float(support.margin[-1]))
    return slip(support) <= DRAGGED and float(support.margin.min()) >= steady


def hand_over(robot: Robot, start: Array, goal: Array, dt: float) -> Array:
    """Joints (T, J), T ≥ 1 ticks of ``dt`` seconds, from standing still at ``start`` (J,) to standing at ``goal`` (J,).

    The last row is ``goal``; ``start`` is not among the rows.
    """
    if float(np.abs(goal - start).max()) <= NEAR:
        return goal[None].copy()
    if not _straight(robot, start, goal):
        return restance(robot, start, goal, dt)
    path = Transition.plan(robot, start, 0 * start, 0 * start, goal, Limits.of(robot, UNHURRIED))
    ticks = max(1, int(np.ceil(path.duration / dt - 1e-9)))
    joints = np.array([path.at(tick * dt)[0] for tick in range(1, ticks + 1)])
    joints[-1] = goal
    return joints
