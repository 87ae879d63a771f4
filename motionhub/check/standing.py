"""How a robot stands in some frames: what balance, gaps and sliding feet are judged by, without any loads."""

from __future__ import annotations

from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from motionhub.check.attitude import rolls_over
from motionhub.check.loads import forces_at_rest
from motionhub.check.memory import Memory
from motionhub.check.parts import clearances, heights
from motionhub.motion.odometry import travel
from motionhub.motion.support import rest_on_ground
from motionhub.robot.model import Robot
from motionhub.robot.posture import Posture

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]

_gaps = Memory(2048)
"""Between parts in the poses that were asked for last."""


class Standing:
    """Frames of which only this is known; all is as in :class:`~motionhub.check.timeline.Timeline`.

    What has to be worked out for it is so when it is first asked for.

    Args:
        robot: The robot.
        joints: (T, J) rad, in order of time.
    """

    def __init__(self, robot: Robot, joints: Array) -> None:
        self.robot, self.joints = robot, joints
        self._posture = Posture(robot, joints)
        self._support = rest_on_ground(robot, joints, posture=self._posture)

    @property
    def tipped(self) -> Flags:
        """(T,)."""
        return self._support.tipped

    @property
    def margin(self) -> Array:
        """(T,) m."""
        return self._support.margin

    @cached_property
    def rolled(self) -> Array:
        """(T,) rad."""
        return rolls_over(self.robot, self.joints, self._support)

    @cached_property
    def parts(self) -> Array:
        """(T, P) m."""
        return heights(self.robot, self._posture, self._support)

    @cached_property
    def clearance(self) -> Array:
        """(T,) m."""

        def measure(fresh: Indices) -> Array:
            return clearances(self.robot, Posture(self.robot, self.joints[fresh]))[0]

        known = len(self.joints) <= _gaps.most
        return _gaps.of(self.robot, self.joints, measure) if known else clearances(self.robot, self._posture)[0]

    @cached_property
    def slip(self) -> Array:
        """(T, L) m; feet that stand have not slid before the first frame."""
        support = self._support
        forces = forces_at_rest(self.robot, support)
        return travel(support.contacts[:, : self.robot.legs], support.down, forces).slip
