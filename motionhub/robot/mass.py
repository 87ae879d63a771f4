"""Where the robot's mass is, how it resists turning, and what its own weight asks of the servos.

The links of a leg are worked out in the leg's plane (radial, to its left, up), where the coxa's turn
appears only once; the few extra joints go the general way, through their frames.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from motionhub.robot.kinematics import _extra_frames, leg_part, link_frames
from motionhub.robot.model import STANDARD_GRAVITY, Robot

Array = NDArray[np.float64]


def _plane_centres(robot: Robot, angles: Array) -> tuple[Array, Array, Array]:
    """Centres of mass of the legs' links in each leg's plane, from the hip.

    Args:
        angles: (…, L, 3) rad.

    Returns:
        Centres (…, L, part, 3) as radial, left, up; and the femur's and the tibia's axes along the radius
        and up, (L, 3) and (…, L, 3).
    """
    count = robot.legs
    own = robot.link_com[: 3 * count].reshape(count, 3, 3)
    femur = angles[..., 1]
    tibia = femur + angles[..., 2]
    cos_femur, sin_femur, cos_tibia, sin_tibia = np.cos(femur), np.sin(femur), np.cos(tibia), np.sin(tibia)
    hinge = np.zeros((count, 3))
    hinge[:, 0] = robot.coxa
    knee = np.zeros_like(angles)
    knee[..., 0] = robot.coxa + robot.femur * cos_femur
    knee[..., 2] = robot.femur * sin_femur
    found = np.empty((*angles.shape, 3))
    found[..., 0, :] = own[:, 0]
    found[..., 1:, 1] = own[:, 1:, 1]
    found[..., 1, 0] = robot.coxa + cos_femur * own[:, 1, 0] - sin_femur * own[:, 1, 2]
    found[..., 1, 2] = sin_femur * own[:, 1, 0] + cos_femur * own[:, 1, 2]
    found[..., 2, 0] = knee[..., 0] + cos_tibia * own[:, 2, 0] - sin_tibia * own[:, 2, 2]
    found[..., 2, 2] = knee[..., 2] + sin_tibia * own[:, 2, 0] + cos_tibia * own[:, 2, 2]
    return found, hinge, knee


def link_centres(robot: Robot, joints: Array) -> Array:
    """Centre of mass of every link, (…, J, 3) m in the body frame, for joint angles (…, J) rad."""
    batch, count = joints.shape[:-1], robot.legs
    angles = leg_part(robot, joints)
    plane, _, _ = _plane_centres(robot, angles)
    turn = angles[..., 0] + robot.heading
    cos, sin = np.cos(turn)[..., None], np.sin(turn)[..., None]
    legs = np.empty_like(plane)
    legs[..., 0] = plane[..., 0] * cos - plane[..., 1] * sin
    legs[..., 1] = plane[..., 0] * sin + plane[..., 1] * cos
    legs[..., 2] = plane[..., 2]
    legs += robot.hip[:, None, :]
    found = np.empty((*batch, robot.joints, 3))
    found[..., : 3 * count, :] = legs.reshape(*batch, 3 * count, 3)
    if robot.extra:
        rotations, origins = _frames_of_extras(robot, joints)
        own = robot.link_com[3 * count :]
        found[..., 3 * count :, :] = origins + (rotations @ own[..., None])[..., 0]
    return found


def _frames_of_extras(robot: Robot, joints: Array) -> tuple[Array, Array]:
    batch, first = joints.shape[:-1], 3 * robot.legs
    rotations = np.empty((*batch, robot.joints, 3, 3))
    origins = np.empty((*batch, robot.joints, 3))
    _extra_frames(robot, joints, rotations, origins)
    return rotations[..., first:, :, :], origins[..., first:, :]


def centre_of_mass(robot: Robot, joints: Array) -> Array:
    """Centre of mass of the whole robot, (…, 3) m in the body frame, for joint angles (…, J) rad."""
    found: Array = robot.link_mass @ link_centres(robot, joints)
    found += robot.body_mass * robot.body_com
    found /= robot.mass
    return found


def total_inertia(robot: Robot, joints: Array) -> Array:
    """Inertia of the whole robot about its centre of mass, (…, 3, 3) kg·m² along the body's axes.

    Each link's own inertia turned into the body frame, and its mass by the parallel-axis theorem.
    """
    rotations, _ = link_frames(robot, joints)
    centres = link_centres(robot, joints)
    whole = centre_of_mass(robot, joints)
    found: Array = (rotations @ robot.link_inertia @ np.swapaxes(rotations, -1, -2)).sum(axis=-3)
    found += robot.body_inertia
    found += (robot.link_mass[:, None, None] * _about(centres - whole[..., None, :])).sum(axis=-3)
    found += robot.body_mass * _about(robot.body_com - whole)
    return found


def _about(arm: Array) -> Array:
    """Inertia of a unit point mass at ``arm`` (…, 3): |r|²·1 - r rᵀ."""
    found: Array = (arm**2).sum(axis=-1)[..., None, None] * np.eye(3) - arm[..., :, None] * arm[..., None, :]
    return found


def gravity_torques(robot: Robot, joints: Array, down: Array) -> Array:
    """Torque that each servo must give to hold the weight of the links beyond it, the body held still.

    The derivative of the links' potential energy by the joint angle: positive where the servo has to
    push in the joint's positive direction. Forces at the feet are not in it.

    Args:
        robot: The robot, J joints.
        joints: (…, J) rad.
        down: (…, 3) unit vector along gravity in the body frame; (0, 0, -1) when the body is level.

    Returns:
        (…, J) N·m.
    """
    batch, count = np.broadcast_shapes(joints.shape[:-1], down.shape[:-1]), robot.legs
    angles = leg_part(robot, joints)
    centres, hinge, knee = _plane_centres(robot, angles)
    turn = angles[..., 0] + robot.heading
    cos, sin = np.cos(turn), np.sin(turn)
    down_x, down_y = down[..., 0, None], down[..., 1, None]
    radial, left, vertical = down_x * cos + down_y * sin, down_y * cos - down_x * sin, down[..., 2, None]
    # First moments of what each joint carries, from its axis: mass times arm
    mass = robot.link_mass[: 3 * count].reshape(count, 3)
    tibia = mass[:, 2, None] * (centres[..., 2, :] - knee)
    femur = tibia + mass[:, 2, None] * (knee - hinge) + mass[:, 1, None] * (centres[..., 1, :] - hinge)
    coxa = femur + (mass[:, 1] + mass[:, 2])[:, None] * hinge + mass[:, 0, None] * centres[..., 0, :]
    found = np.empty((*batch, robot.joints))
    legs = np.empty((*batch, count, 3))
    # -g down·(axis × moment); the coxa's axis is up, the femur's and tibia's point to the leg's right
    legs[..., 0] = radial * coxa[..., 1] - left * coxa[..., 0]
    legs[..., 1] = radial * femur[..., 2] - vertical * femur[..., 0]
    legs[..., 2] = radial * tibia[..., 2] - vertical * tibia[..., 0]
    found[..., : 3 * count] = legs.reshape(*batch, 3 * count)
    if robot.extra:
        _extra_moments(robot, joints, down, found)
    found *= STANDARD_GRAVITY
    return found


def _extra_moments(robot: Robot, joints: Array, down: Array, into: Array) -> None:
    """Write -down·(axis × Σ mass·arm) of the extra joints, each with all that hangs on it."""
    first = 3 * robot.legs
    rotations, origins = _frames_of_extras(robot, joints)
    moments = [
        robot.link_mass[first + i] * (rotations[..., i, :, :] @ robot.link_com[first + i])
        for i in range(len(robot.extra))
    ]
    masses = [float(robot.link_mass[first + i]) for i in range(len(robot.extra))]
    for i in reversed(range(len(robot.extra))):  # children come after their parents
        extra = robot.extra[i]
        axis = rotations[..., i, :, :] @ extra.axis
        into[..., first + i] = _triple(moments[i], axis, down)  # -down·(axis × moment), turned round
        if extra.parent >= 0:
            parent = extra.parent - first
            arm = origins[..., i, :] - origins[..., parent, :]
            moments[parent] = moments[parent] + moments[i] + masses[i] * arm
            masses[parent] += masses[i]


def _triple(a: Array, b: Array, c: Array) -> Array:
    """a·(b × c) of (…, 3) each; ``numpy.cross`` costs ten times as much for a single frame."""
    found: Array = (
        a[..., 0] * (b[..., 1] * c[..., 2] - b[..., 2] * c[..., 1])
        + a[..., 1] * (b[..., 2] * c[..., 0] - b[..., 0] * c[..., 2])
        + a[..., 2] * (b[..., 0] * c[..., 1] - b[..., 1] * c[..., 0])
    )
    return found
