"""Poses and moves that the tests of the check share."""

from dataclasses import fields, replace

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.frames import Frames
from motionhub.motion.posing import joints_for, standing_feet
from motionhub.robot.kinematics import within
from motionhub.robot.model import Robot
from motionhub.robot.servo import Servo

Array = NDArray[np.float64]

LEFT_TRIPOD = (0, 2, 4)
"""Tansy's left front, left rear and right middle legs."""


class Rotorless(Servo):
    """A servo that takes no torque to speed itself up."""

    rotor_inertia = 0.0


def rotorless(robot: Robot) -> Robot:
    """The robot with such servos: what takes torque is what it carries."""
    kinds = {servo: Rotorless(**{f.name: getattr(servo, f.name) for f in fields(servo)}) for servo in set(robot.servos)}
    return replace(robot, servos=tuple(kinds[servo] for servo in robot.servos))


def standing(robot: Robot, count: int = 1) -> Array:
    """Foot centres of the rest stance, (count, L, 3)."""
    return np.tile(standing_feet(robot), (count, 1, 1))


def posed(robot: Robot, feet: Array, body: Array | None = None) -> Array:
    joints, error = joints_for(robot, np.zeros((len(feet), 6)) if body is None else body, feet)
    assert error.max() < 1e-9, "the test asks for a pose out of reach"
    return joints


def random_stances(robot: Robot, count: int, seed: int, lift: float = 0.03) -> Array:
    """Poses (count, J) with the body moved and turned, the feet shifted, and up to half of them lifted."""
    rng = np.random.default_rng(seed)
    feet = standing(robot, count)
    feet[..., :2] += rng.uniform(-0.012, 0.012, (count, robot.legs, 2))
    for i in range(count):
        up = rng.choice(robot.legs, rng.integers(0, robot.legs // 2 + 1), replace=False)
        feet[i, up, 2] += rng.uniform(0.3 * lift, lift, len(up))
    most = np.array([0.012, 0.012, 0.01, 0.06, 0.06, 0.08])
    joints, error = joints_for(robot, rng.uniform(-most, most, (count, 6)), feet)
    return joints[(error.max(axis=1) < 1e-9) & within(robot, joints).all(axis=1)]


def frames(robot: Robot, joints: Array, rate_hz: float = 50.0, reach_error: Array | None = None) -> Frames:
    count = len(joints)
    short = np.zeros((count, robot.legs)) if reach_error is None else reach_error
    return Frames(robot, "test", rate_hz, joints, np.zeros((count, len(robot.outputs))), short)


def tripod(robot: Robot, seconds: float, lift: float = 0.03) -> Frames:
    """Three feet lifted within a second, then held up."""
    count = round(seconds * 50) + 1
    feet = standing(robot, count)
    feet[:, LEFT_TRIPOD, 2] += lift * np.minimum(np.arange(count) / 50, 1)[:, None]
    return frames(robot, posed(robot, feet))
