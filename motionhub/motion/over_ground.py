"""Feet go on over the ground as they do, and the body over them: a foot that stands stays where it is.

At one moment the speeds of the legs that stand say how the body moves: by the twist (v, ω) that fits their feet best.
Held on to for a time σ, it takes a place on the ground through the body frame by p' = -v - ω × p; three terms of that
path's Taylor series are enough for the tenth of a second that a stop goes on (the fourth is some micrometres). What a
foot moves against that, it moves over the ground: nothing if it stands, and less and less if it is about to land.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from motionhub.robot.kinematics import feet, foot_jacobians, leg_angles, leg_part
from motionhub.robot.model import Robot

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

DRAGS = 0.02
"""m/s that a foot may move against the others: more is no standing, but a move that drags it."""
SAME = 1e-6
"""rad: the angles of a leg that is bent the way inverse kinematics bends it are no further off."""


@dataclass(frozen=True, eq=False)
class OverGround:
    """How the body and its feet go on from a moment at which some of them stand."""

    robot: Robot
    legs: Flags
    """(L,) which legs it can lead: all that are bent as inverse kinematics bends them."""
    place: Array
    """(L, 3) m, the feet in the body frame."""
    speed: Array
    """(L, 3) m/s, of the feet over the ground, along the body's axes at that moment."""
    twist: Array
    """(6,) of the body in its own frame: v in m/s, ω in rad/s."""

    @classmethod
    def of(cls, robot: Robot, joints: Array, velocity: Array, stands: Flags) -> Self | None:
        """None where fewer than three feet stand, or one of them is dragged.

        Args:
            robot: The robot.
            joints: (J,) rad.
            velocity: (J,) rad/s.
            stands: (L,) the feet that carry weight.
        """
        place = feet(robot, joints)
        legs = np.abs(leg_angles(robot, place).joints - leg_part(robot, joints)).max(axis=1) < SAME
        if stands.sum() < 3 or not legs[stands].all():
            return None
        speed = np.einsum("lij,lj->li", foot_jacobians(robot, joints), leg_part(robot, velocity))
        # p' = -v + p × ω, for each foot that stands: nine equations or more for six numbers.
        known = np.zeros((robot.legs, 3, 6))
        known[:, range(3), range(3)] = -1.0
        known[:, 0, 4], known[:, 0, 5] = -place[:, 2], place[:, 1]
        known[:, 1, 3], known[:, 1, 5] = place[:, 2], -place[:, 0]
        known[:, 2, 3], known[:, 2, 4] = -place[:, 1], place[:, 0]
        twist = np.linalg.lstsq(known[stands].reshape(-1, 6), speed[stands].ravel(), rcond=None)[0]
        speed = speed - known @ twist
        if np.abs(speed[stands]).max() > DRAGS:
            return None
        return cls(robot, legs, place, speed, twist)

    def lead(self, rows: Array, body: Array, own: Array) -> None:
        """Write into ``rows`` (T, J) where the legs go, in rad; one that does not reach is left as it is there.

        Args:
            rows: (T, J) rad.
            body: (T,) s, for how long the body has gone on.
            own: (T, L) s, for how long each foot has gone on over the ground.
        """
        v, (x, y, z) = self.twist[:3], self.twist[3:]
        away = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])  # a row times this is row × ω, which is -ω × row
        p = self.place + own[..., None] * self.speed
        first = p @ away - v
        second = first @ away
        s = body[:, None, None]
        reach = leg_angles(self.robot, p + s * (first + s / 2 * (second + s / 3 * (second @ away))))
        led = np.repeat(self.legs & reach.ok.all(axis=0), 3).nonzero()[0]
        rows[:, led] = reach.joints.reshape(len(rows), -1)[:, led]
