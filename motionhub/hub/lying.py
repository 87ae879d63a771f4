"""Lying down: the body as low as the legs let it, feet where they stand. Where a robot goes while it still can."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.posing import joints_for, standing_feet
from motionhub.robot.kinematics import within
from motionhub.robot.model import Robot

Array = NDArray[np.float64]


def lying_joints(robot: Robot) -> Array:
    """The joints (J,) of the robot with its underside on the ground, or as near to it as its legs fold."""
    underside = robot.body_centre[2] - robot.body_size[2] / 2
    body = np.zeros((60, 6))
    # From rest down to where the underside would touch; the way ends at the first height that a leg refuses.
    body[:, 2] = np.linspace(0.0, min(-underside - robot.rest_height, 0.0), len(body))
    joints, missed = joints_for(robot, body, standing_feet(robot))
    fits = within(robot, joints).all(axis=1) & (missed <= 1e-6).all(axis=1)
    found: Array = joints[-1 if fits.all() else max(int(np.argmin(fits)) - 1, 0)]
    return found
