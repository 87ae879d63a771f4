"""Coming to a standstill: every joint slows down as fast as its limits allow, and stays where it ends up."""

from __future__ import annotations

import numpy as np

from motionhub.hub.sources import Array, Step
from motionhub.motion.transition import Limits, Transition
from motionhub.robot.limits import top_speed
from motionhub.robot.model import Robot

BRAKE_S = 0.2
"""From a servo's top speed to nothing, at steady braking: sharper than any move, for this is a stop."""
ONSET_S = 0.06
"""How long braking takes to set in and to let go: what a printed leg puts up with instead of a blow."""
STANDSTILL_S = 0.4
"""It is never longer than this: both of the above, and some ticks for rounding."""


class Brake:
    """Brakes from joints (J,), their velocity and acceleration, in rad and s."""

    def __init__(self, robot: Robot, dt: float, joints: Array, velocity: Array, acceleration: Array) -> None:
        top = top_speed(robot)
        most = top / BRAKE_S
        limits = Limits(top, most, most / ONSET_S, robot.lower, robot.upper)
        # Of the acceleration it has, only what slows it down is kept: the rest is what shall end.
        slowing = np.where(acceleration * velocity < 0, np.clip(acceleration, -most, most), 0.0)
        self._path = Transition.brake(robot, joints, velocity, slowing, limits)
        self._step = top * dt
        self._dt = dt
        self._ticks = 0
        self._joints = joints
        self.done = not velocity.any()

    def step(self) -> Step:
        """The next tick of it."""
        if not self.done:
            self._ticks += 1
            wanted = self._path.at(self._ticks * self._dt)[0]
            # Whatever happens, a stop is not to be stopped by the guard.
            self._joints = self._joints + np.clip(wanted - self._joints, -self._step, self._step)
            self.done = self._ticks * self._dt >= self._path.duration
        return Step(self._joints)
