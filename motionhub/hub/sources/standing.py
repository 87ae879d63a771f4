"""Standing and walking: what a driver moves. The walk of the stepper, under a body carried as the driver likes.

Standing still is walking at no speed, so rest and driving are one source, and nothing has to be blended
when a stick is touched.
"""

from __future__ import annotations

import numpy as np
from ruckig import (  # type: ignore[import-not-found,import-untyped,unused-ignore]
    InputParameter,
    OutputParameter,
    Result,
    Ruckig,
)

from motionhub.hub.bearing import Bearing
from motionhub.hub.sources import Array, Step
from motionhub.motion.planar import REST, Twist
from motionhub.motion.posing import joints_for
from motionhub.motion.stepper import Stepper
from motionhub.robot.limits import top_speed
from motionhub.robot.model import Robot

POSTURE_SPEED = (0.08, 0.7, 0.7, 0.7)
"""Height in m/s and roll, pitch, yaw in rad/s: brisk for a hand on a slider, and a fraction of what servos do."""
POSTURE_RAMP_S = 0.15
"""How long getting up to that speed takes, and how long getting up to that acceleration."""

SPEED_SHARE = 0.98
"""Of a servo's no-load speed that walk and posture together may ask of it; the guard stops it at all of it."""


class Standing:
    """Starts at the rest stance.

    Args:
        robot: The robot.
        dt: Seconds a tick.
        bearing: What postures its legs allow.
    """

    def __init__(self, robot: Robot, dt: float, bearing: Bearing) -> None:
        self._robot = robot
        self._dt = dt
        self._bearing = bearing
        self._stepper = Stepper(robot, dt=dt)
        self._twist: Twist = REST
        self._limited = self._leaning_limited = False
        self._asked, self._aimed = np.zeros(4), True
        self._strides = False
        """Whether the feet are, or are about to be, anywhere but home."""
        self._caught_up = True
        # The fastest that it goes straight ahead, straight aside and around, which a full stick means.
        self._top = tuple(
            abs(self._stepper.limit((top if i == 0 else 0.0, top if i == 1 else 0.0, top if i == 2 else 0.0))[0][i])
            for i, top in enumerate((100.0, 100.0, 100.0))
        )
        self._step = top_speed(robot) * dt * SPEED_SHARE
        self._posture = InputParameter(4)
        self._posture.max_velocity = list(POSTURE_SPEED)
        self._posture.max_acceleration = [v / POSTURE_RAMP_S for v in POSTURE_SPEED]
        self._posture.max_jerk = [v / POSTURE_RAMP_S**2 for v in POSTURE_SPEED]
        self._next = OutputParameter(4)
        self._otg = Ruckig(4, dt)
        self._feet = self._stepper.stance.feet
        self._joints = self._wanted(self._feet)

    def drive(self, forward: float, left: float, turn: float) -> None:
        """Walk by these shares (each -1..1) of the fastest that the robot goes in each direction."""
        shares = (forward, left, turn)
        vx, vy, wz = (share * top for share, top in zip(shares, self._top, strict=True))
        self._twist, self._limited = self._stepper.limit((vx, vy, wz))

    def carry(self, height: float, roll: float, pitch: float, yaw: float) -> None:
        """Carry the body so: height in m over rest, and angles in rad; as far as the legs allow."""
        asked = np.array([height, roll, pitch, yaw])
        if (asked != self._asked).any():
            self._asked, self._aimed = asked, False  # weighed on the next tick, however often a slider moves

    def rest(self) -> None:
        """Stop walking, feet down and home, and carry the body as at rest."""
        self._twist, self._limited = REST, False
        self.carry(0.0, 0.0, 0.0, 0.0)

    @property
    def walking_wanted(self) -> bool:
        """Whether it has been asked to walk."""
        return self._twist != REST

    @property
    def settled(self) -> bool:
        """Whether it stands still, feet home, the body where it was asked to be."""
        posture = self._posture
        return (
            self._stepper.settled
            and self._twist == REST
            and not self._strides
            and self._aimed
            and posture.current_position == posture.target_position
            and not any(posture.current_velocity)
            and self._caught_up
        )

    @property
    def at_rest(self) -> bool:
        """Whether it is settled in the rest stance itself."""
        return self.settled and not self._asked.any() and not any(self._posture.current_position)

    def step(self) -> Step:
        """The next tick: walk on, lean on, and put the joints there."""
        if self._strides != (self._twist != REST or not self._stepper.settled):
            self._strides, self._aimed = not self._strides, False
        if not self._aimed:
            self._aim()
        feet = self._stepper.step(self._twist if self._may_walk() else REST).feet
        leaning = self._lean()
        if feet is self._feet and not leaning and self._caught_up:
            return Step(self._joints, at_limit=self._limited or self._leaning_limited)
        self._feet = feet
        wanted = self._wanted(feet)
        # Walk and posture each keep to their limits; where they add up to too much, the joints lag a little.
        move = wanted - self._joints
        excess = float(np.max(np.abs(move) / self._step))
        self._caught_up = excess <= 1
        self._joints = wanted if self._caught_up else self._joints + move / excess
        return Step(self._joints, at_limit=self._limited or self._leaning_limited or not self._caught_up)

    @property
    def done(self) -> bool:
        """Never: one stands until told otherwise."""
        return False

    def _aim(self) -> None:
        """Lean as asked, as far as the legs allow: less far while they stride, and as asked again once they stand."""
        self._aimed = True
        allowed = self._bearing.allowed(self._asked, self._strides)
        self._leaning_limited = bool((allowed != self._asked).any())
        self._posture.target_position = allowed.tolist()

    def _may_walk(self) -> bool:
        """A walk does not begin before the body is held as walking allows."""
        posture = self._posture
        if not self._stepper.settled or posture.current_position == posture.target_position:
            return True
        held = np.array(posture.current_position)
        return bool((self._bearing.allowed(held, walking=True) == held).all())

    def _lean(self) -> bool:
        """Carry the body one tick further to where it shall be; whether it moved."""
        posture = self._posture
        if posture.current_position == posture.target_position and not any(posture.current_velocity):
            return False
        result = self._otg.update(posture, self._next)
        if result == Result.Finished:
            # Rounding is dropped, so that where one comes to rest is exactly where one was to.
            posture.current_position = posture.target_position
            posture.current_velocity = posture.current_acceleration = [0.0] * 4
        else:
            self._next.pass_to_input(posture)
        return True

    def _wanted(self, feet: Array) -> Array:
        body = np.zeros(6)
        body[2:] = self._posture.current_position
        joints, _ = joints_for(self._robot, body, feet)
        return np.clip(joints, self._robot.lower, self._robot.upper)


class Settling:
    """Lets a :class:`Standing` come to rest in the rest stance, and is done when it has."""

    def __init__(self, standing: Standing) -> None:
        self._standing = standing
        standing.rest()

    def step(self) -> Step:
        """One tick of it."""
        return self._standing.step()

    @property
    def done(self) -> bool:
        """Whether it stands at rest."""
        return self._standing.at_rest
