"""Coming to a standstill: every joint slows down as fast as its limits allow, and stays where it ends up."""

from __future__ import annotations

import numpy as np
from ruckig import ControlInterface, InputParameter, OutputParameter, Result, Ruckig, Synchronization

from motionhub.hub.sources import Array, Step
from motionhub.robot.limits import top_speed
from motionhub.robot.model import Robot

BRAKE_S = 0.2
"""From a servo's top speed to nothing, at steady braking."""
ONSET_S = 0.06
"""How long braking takes to set in and to let go: what a printed leg puts up with instead of a blow."""
STANDSTILL_S = 0.4
"""It is never longer than this: both of the above, with a tick or two for rounding."""


class Brake:
    """Brakes from joints (J,), their velocity and acceleration, in rad and s."""

    def __init__(self, robot: Robot, dt: float, joints: Array, velocity: Array, acceleration: Array) -> None:
        self._lower, self._upper = np.minimum(robot.lower, joints), np.maximum(robot.upper, joints)
        count = robot.joints
        top = top_speed(robot)
        most = top / BRAKE_S
        way = self._way = InputParameter(count)
        way.control_interface = ControlInterface.Velocity
        way.synchronization = Synchronization.No
        way.current_position = joints.tolist()
        way.current_velocity = velocity.tolist()
        # Of the acceleration it has, only what slows it down is kept: the rest is what shall end.
        way.current_acceleration = np.where(acceleration * velocity < 0, np.clip(acceleration, -most, most), 0).tolist()
        way.target_velocity = [0.0] * count
        way.target_acceleration = [0.0] * count
        way.max_acceleration = most.tolist()
        way.max_jerk = (most / ONSET_S).tolist()
        self._out = OutputParameter(count)
        self._otg = Ruckig(count, dt)
        self._joints = joints
        self.done = not velocity.any()

    def step(self) -> Step:
        """The next tick of it."""
        if not self.done:
            result = self._otg.update(self._way, self._out)
            self.done = result != Result.Working
            # Where the range ends before the braking does, the joint stops there.
            self._joints = np.clip(self._out.new_position, self._lower, self._upper)
            self._out.pass_to_input(self._way)
        return Step(self._joints)
