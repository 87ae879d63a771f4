"""What the robot draws from its battery, as predicted twice a second from what its joints are told.

Rough and cheap, as :mod:`motionhub.link.plant` reckons: the feet near the lowest share the weight alike. The check has
the exact loads; here they only have to be in proportion, for the forecast learns by how much they are off.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from motionhub.link.plant import kinds_of, standing_torques
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

EVERY = 25
"""Ticks from one estimate to the next."""


class Draw:
    """Estimates for one robot.

    Args:
        robot: The robot.
        dt: Seconds a tick.
    """

    def __init__(self, robot: Robot, dt: float) -> None:
        self._robot = robot
        self._dt = dt
        self._kinds = kinds_of(robot)
        self._outputs = np.array([output.current_a for output in robot.outputs])
        self._on = np.ones(robot.joints, dtype=bool)
        self._recent: deque[Array] = deque(maxlen=EVERY)
        self._reckoned = -EVERY
        self._amps = robot.supply.electronics_a

    def passes(self, joints: Array) -> None:
        """A tick's joints, (J,) rad, of servos that have pulses."""
        self._recent.append(joints)

    def now(self, tick: int, limp: bool, outputs: Array, volts: float | None) -> float:
        """A, out of the battery; reckoned anew once :data:`EVERY` ticks have passed.

        Args:
            tick: Which tick this is.
            limp: Whether no servo is held.
            outputs: (O,) levels.
            volts: The battery's; its nominal when None.
        """
        if tick - self._reckoned >= EVERY:
            self._reckoned = tick
            still = limp or not self._recent
            self._amps = self.limp(outputs, volts) if still else self.moving(self._recent, outputs, volts)
        return self._amps

    def limp(self, outputs: Array, volts: float | None) -> float:
        """A, out of the battery while no servo has a pulse; outputs (O,) levels."""
        return self._battery(self._lamps(outputs), volts)

    def moving(self, joints: Sequence[Array], outputs: Array, volts: float | None) -> float:
        """A, out of the battery.

        Args:
            joints: Of the last ticks, each (J,) rad, oldest first.
            outputs: (O,) levels.
            volts: The battery's; its nominal when None.
        """
        robot = self._robot
        torques = standing_torques(robot, joints[-1], self._on)
        speeds = np.zeros(robot.joints)
        if len(joints) > 1:
            speeds = np.abs(np.diff(np.array(joints), axis=0)).mean(axis=0) / self._dt
        amps = self._lamps(outputs)
        for servo, own in self._kinds:
            amps += float(servo.current(torques[own], speeds[own], robot.supply.regulator_v).sum())
        return self._battery(amps, volts)

    def _lamps(self, outputs: Array) -> float:
        return float(self._outputs @ outputs) if len(self._outputs) else 0.0

    def _battery(self, amps: float, volts: float | None) -> float:
        """The regulator turns voltage into current, less what it loses."""
        s = self._robot.supply
        battery = max(s.battery_nominal_v if volts is None else volts, 1.0)
        out = min(s.regulator_v, max(battery - s.regulator_dropout_v, 0.0))
        return s.electronics_a + min(amps, s.regulator_a) * out / (s.regulator_efficiency * battery)
