"""The last look at a frame before it becomes pulses: what fails here is never sent.

Whatever moves the joints is built to stay within these limits, and what is played has been checked against
the same ones; so the guard has nothing to do, unless something is wrong. Then the frame before it stays, and
the show is at fault with a reason in words.
"""

from __future__ import annotations

from math import degrees

import numpy as np
from numpy.typing import NDArray

from motionhub.robot.kinematics import within
from motionhub.robot.limits import top_speed
from motionhub.robot.model import Robot

Array = NDArray[np.float64]


class Guard:
    """Judges one frame after another.

    Args:
        robot: Its joints' ranges and its servos' speeds are the limits.
        dt: Seconds between frames.
    """

    def __init__(self, robot: Robot, dt: float) -> None:
        self._robot = robot
        self._dt = dt
        # A pulse is sent in whole microseconds, so a joint at its top speed may seem one faster when replayed.
        self.step = top_speed(robot) * dt + 1 / robot.us_per_rad
        """(J,) rad: the furthest that each joint may go in one frame."""

    def objection(self, joints: Array, before: Array) -> str:
        """Why ``joints`` (J,) may not follow on ``before`` (J,); empty if they may."""
        if joints.shape != before.shape:
            return f"a frame of {joints.size} joints, where the robot has {before.size}"
        moved = np.abs(joints - before)
        # All comparisons are false for what is not a number, so that it fails them.
        if bool((within(self._robot, joints) & (moved <= self.step)).all()):
            return ""
        return self._words(joints, moved)

    def _words(self, joints: Array, moved: Array) -> str:
        robot = self._robot
        if (lost := np.flatnonzero(~np.isfinite(joints))).size:
            return f"{robot.joint_names[lost[0]]} was sent no angle at all"
        if (outside := np.flatnonzero(~within(robot, joints))).size:
            i = int(outside[0])
            return (
                f"{robot.joint_names[i]} was sent to {degrees(joints[i]):.1f} deg, outside its range "
                f"{degrees(robot.lower[i]):.1f} to {degrees(robot.upper[i]):.1f}"
            )
        i = int(np.argmax(moved / self.step))
        speed, limit = moved[i] / self._dt, self.step[i] / self._dt
        name = robot.joint_names[i]
        return f"{name} was to turn at {degrees(speed):.0f} deg/s, and its servo makes {degrees(limit):.0f}"

    def objection_to_all(self, joints: Array) -> str:
        """As :meth:`objection`, for a whole recording (T, J) at once: why it may not be sent."""
        if joints.ndim != 2 or joints.shape[1] != self._robot.joints:
            return f"frames of {joints.shape[-1]} joints, where the robot has {self._robot.joints}"
        bad = ~within(self._robot, joints).all(axis=1)
        moved = np.abs(np.diff(joints, axis=0, prepend=joints[:1]))
        bad |= ~(moved <= self.step).all(axis=1)
        if not bad.any():
            return ""
        t = int(np.argmax(bad))
        return f"at {t * self._dt:.2f} s, {self._words(joints[t], moved[t])}"
