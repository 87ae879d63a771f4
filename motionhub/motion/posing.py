"""From where the body and the feet shall be to what the joints have to do.

The stance frame: x forward, y left, z up, its origin on the ground under the body's reference point when
the robot stands at rest. A pose of the body is six offsets from rest, x y z (m) and roll pitch yaw (rad):
the reference point sits at ``(x, y, rest_height + z)`` and the body is turned by ``Rz(yaw) Ry(pitch) Rx(roll)``
(axes and signs of ROS REP 103: roll lowers the right side, pitch lowers the nose, yaw turns to the left).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from motionhub.robot.kinematics import leg_angles
from motionhub.robot.model import Robot

Array = NDArray[np.float64]


def rotation(roll: Array, pitch: Array, yaw: Array) -> Array:
    """``Rz(yaw) Ry(pitch) Rx(roll)``, (…, 3, 3): columns are the body's axes in the stance frame."""
    cr, sr = np.cos(roll), np.sin(roll)
    cp, sp = np.cos(pitch), np.sin(pitch)
    cy, sy = np.cos(yaw), np.sin(yaw)
    R = np.empty((*np.shape(cr), 3, 3))
    R[..., 0, 0], R[..., 0, 1], R[..., 0, 2] = cy * cp, cy * sp * sr - sy * cr, cy * sp * cr + sy * sr
    R[..., 1, 0], R[..., 1, 1], R[..., 1, 2] = sy * cp, sy * sp * sr + cy * cr, sy * sp * cr - cy * sr
    R[..., 2, 0], R[..., 2, 1], R[..., 2, 2] = -sp, cp * sr, cp * cr
    return R


def standing_feet(robot: Robot) -> Array:
    """Foot centres at rest, (L, 3), in the stance frame: each a foot's radius above the ground."""
    feet: Array = robot.rest_feet + np.array([0.0, 0.0, robot.rest_height])
    return feet


def rest_extra(robot: Robot) -> Array:
    """The extra joints at rest, (E,): straight ahead, or as near to it as their range allows."""
    own = slice(3 * robot.legs, None)
    extra: Array = np.clip(0.0, robot.lower[own], robot.upper[own])
    return extra


def joints_for(robot: Robot, body: Array, feet: Array, extra: Array | None = None) -> tuple[Array, Array]:
    """Joint angles that put the body and the feet where they are wanted.

    Args:
        robot: The robot.
        body: (…, 6) x y z (m) roll pitch yaw (rad), offsets from rest.
        feet: (…, L, 3) m, foot centres in the stance frame.
        extra: (…, E) rad, the extra joints; at rest when not given.

    Returns:
        Joints (…, J) in rad and how far each foot falls short (…, L) in m, 0 where the leg reaches.
        Leading dimensions broadcast. Joint ranges are the check's and the guard's business, not applied here.
    """
    body, feet = np.asarray(body, dtype=np.float64), np.asarray(feet, dtype=np.float64)
    extra = rest_extra(robot) if extra is None else np.asarray(extra, dtype=np.float64)
    lead = np.broadcast_shapes(body.shape[:-1], feet.shape[:-2], extra.shape[:-1])
    place = body[..., :3] + np.array([0.0, 0.0, robot.rest_height])
    R = rotation(body[..., 3], body[..., 4], body[..., 5])
    reach = leg_angles(robot, (feet - place[..., None, :]) @ R)  # a row times R is Rᵀ times the column
    joints = np.empty((*lead, robot.joints))
    legs = 3 * robot.legs
    joints[..., :legs] = reach.joints.reshape((*reach.joints.shape[:-2], legs))
    joints[..., legs:] = extra
    return joints, np.broadcast_to(reach.error, (*lead, robot.legs))


def rest_joints(robot: Robot) -> Array:
    """The rest stance, (J,) rad."""
    return joints_for(robot, np.zeros(6), standing_feet(robot))[0]
