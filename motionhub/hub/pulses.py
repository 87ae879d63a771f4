"""From angles to the pulses that are sent, by a calibration that may change while the robot stands."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

GLIDE_US_S = 100.0
"""How fast pulses go over to another calibration: about 10 degrees a second, slow enough to see what it does."""


class Pulses:
    """Whole microseconds, and never beyond a servo's ends, rounding included.

    Args:
        robot: The robot.
        calibration: Of this very machine.
        dt: Seconds a tick.
    """

    def __init__(self, robot: Robot, calibration: Calibration, dt: float) -> None:
        self._robot = robot
        self._step = GLIDE_US_S * dt
        self._low = self._high = self._left = np.zeros(robot.joints)
        self.use(calibration, None)

    def use(self, calibration: Calibration, joints: Array | None) -> None:
        """From now on this is the calibration.

        Args:
            calibration: The new one.
            joints: (J,) rad, where the robot is held: its pulses go over to the new ones slowly. None when it
                has no pulses, so that there is nothing to go over from.
        """
        before = None if joints is None else self._at(joints)
        low, high = self._low, self._high
        self._calibration = calibration
        self._own_low = calibration.by_connector(np.ceil(calibration.low_us))
        self._own_high = calibration.by_connector(np.floor(calibration.high_us))
        self.let_go()
        if joints is not None and before is not None:
            self._left = before - calibration.pulses(self._robot, joints)
            # Until it is over, a pulse may be where one of the two lets it be, and so it comes in slowly.
            self._low, self._high = np.minimum(low, self._own_low), np.maximum(high, self._own_high)

    def let_go(self) -> None:
        """There are no pulses, so the next ones need not go over from any."""
        self._left = np.zeros(self._robot.joints)
        self._low, self._high = self._own_low, self._own_high

    def of(self, joints: Array) -> Array:
        """(J,) µs of the next tick, for joint angles (J,) rad."""
        if self._left.any():
            self._left -= np.clip(self._left, -self._step, self._step)
            if not self._left.any():
                self.let_go()
        return np.clip(np.rint(self._at(joints)), self._low, self._high)

    def _at(self, joints: Array) -> Array:
        found: Array = self._calibration.pulses(self._robot, joints) + self._left
        return found
