"""How far the body may be carried up, down and aside while every leg can still stand and step.

A posture asks for height, roll, pitch and yaw of the body over its feet. Whether the legs allow it depends
on where the feet are: at home while standing, and all over their strides, on the ground and lifted, while
walking. What does not fit is scaled down towards the rest stance, further for walking than for standing.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.posing import joints_for, standing_feet
from motionhub.robot.kinematics import within
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

AROUND = 8
"""Directions in which the feet are tried."""

_ROUGH = np.array([0.25, 0.5, 0.75, 1.0])
"""Shares of a posture that are tried first, and are enough where all is well."""
_SHARES = np.linspace(0.0, 1.0, 33)
_TALLEST = 0.1
"""m: no posture asks for more height than this."""


class Bearing:
    """Knows which postures (height in m, roll, pitch, yaw in rad) the legs of a robot allow."""

    def __init__(self, robot: Robot) -> None:
        self._robot = robot
        angles = np.arange(AROUND) * (2 * np.pi / AROUND)
        stride = robot.walk.stride / 2
        level = np.vstack([np.zeros((1, 3)), np.stack([np.cos(angles), np.sin(angles), 0 * angles], axis=1) * stride])
        lifted = level + np.array([0.0, 0.0, robot.walk.lift])
        home = standing_feet(robot)
        tried = home + np.concatenate([level, lifted])[:, None, :]
        # What the legs cannot do even at rest is the walk's own affair, and no reason to refuse a posture.
        able = self._fits(np.zeros((1, 4)), tried)[0]
        self._strides = np.where(able[..., None], tried, home)
        self._home = home[None]
        self.height_range = (
            float(self.allowed(np.array([-_TALLEST, 0.0, 0.0, 0.0]))[0]),
            float(self.allowed(np.array([_TALLEST, 0.0, 0.0, 0.0]))[0]),
        )
        """m below (negative) and above the rest height between which the body may be carried, level and standing."""

    def _fits(self, postures: Array, feet: Array) -> NDArray[np.bool_]:
        """Which of the feet (K, L, 3) each posture (N, 4) leaves in reach and in range, (N, K, L)."""
        robot = self._robot
        body = np.zeros((len(postures), 1, 6))
        body[:, 0, 2:] = postures
        joints, missed = joints_for(robot, body, feet)
        legs = 3 * robot.legs
        ranged = within(robot, joints)[..., :legs].reshape(*joints.shape[:-1], robot.legs, 3).all(axis=-1)
        found: NDArray[np.bool_] = ranged & (missed <= 1e-6)
        return found

    def allowed(self, posture: Array, walking: bool = False) -> Array:
        """As much of ``posture`` (4,) as the legs allow: itself, or scaled down towards the rest stance."""
        if not posture.any():
            return posture
        feet = self._strides if walking else self._home
        if self._fits(_ROUGH[:, None] * posture, feet).all():
            return posture
        tried = _SHARES[:, None] * posture
        good: NDArray[np.bool_] = np.asarray(self._fits(tried, feet).all(axis=(1, 2)))
        # The largest share up to which nothing fails: beyond a gap the legs could not get there.
        allowed: Array = tried[max(int(np.argmin(good)) - 1, 0)]
        return allowed
