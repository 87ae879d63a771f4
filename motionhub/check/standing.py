"""How a robot stands in some frames: what balance, gaps and sliding feet are judged by, without any loads."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motionhub.check.attitude import rolls_over
from motionhub.check.loads import forces_at_rest
from motionhub.check.parts import clearances, heights
from motionhub.motion.odometry import Travel, travel
from motionhub.motion.support import rest_on_ground
from motionhub.robot.model import Robot
from motionhub.robot.posture import Posture

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Standing:
    """Frames of which only this is known; fields are as in :class:`~motionhub.check.timeline.Timeline`."""

    robot: Robot
    tipped: Flags
    rolled: Array
    margin: Array
    parts: Array
    clearance: Array
    travel: Travel


def stood(robot: Robot, joints: Array) -> Standing:
    """How it stands for joint angles (T, J) rad, in order of time."""
    posture = Posture(robot, joints)
    support = rest_on_ground(robot, joints, posture=posture)
    return Standing(
        robot=robot,
        tipped=support.tipped,
        rolled=rolls_over(robot, joints, support),
        margin=support.margin,
        parts=heights(robot, posture, support),
        clearance=clearances(robot, posture)[0],
        travel=travel(support.contacts[:, : robot.legs], support.down, forces_at_rest(robot, support)),
    )
