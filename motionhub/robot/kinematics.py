"""Where the feet and links are for given joint angles, and which joint angles put a foot where it is asked.

Everything is closed form and takes any leading batch dimensions, so a whole move is one call. A leg at
joint angles a (coxa), b (femur), c (tibia) lies in a vertical plane through the coxa's axis, turned by
``heading + a``; in that plane its foot is at the radius and height

    ρ = coxa + femur·cos b + tibia·cos(b + c)        ζ = femur·sin b + tibia·sin(b + c)

from the hip, and the inverse is the law of cosines on the triangle femur, tibia, femur axis to foot
(any robotics textbook, e.g. Siciliano et al., *Robotics: Modelling, Planning and Control*, 2009, §2.12).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motionhub.robot.model import ExtraJoint, Robot

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

REACHED = 1e-9
"""A foot within this many metres of where it was asked is there: far above rounding, far below a tape measure."""

FAR = 1e300
"""Coordinates are taken as at most this many metres, so that no sum of squares overflows."""

RANGE_SLACK = 1e-9
"""Radians by which a joint may be outside its range before it counts: rounding, not motion."""

_UNTURNED = np.eye(3)


@dataclass(frozen=True, eq=False)
class Reach:
    """The answer of :func:`leg_angles`."""

    joints: Array
    """(…, L, 3) coxa, femur and tibia angles in rad that put the foot there, or as near as the leg gets."""
    error: Array
    """(…, L) distance in m from where the foot was asked to where these angles put it."""
    ok: Flags
    """(…, L) whether it gets there, by its geometry; joint ranges are not asked (see :func:`within`)."""


def leg_part(robot: Robot, joints: Array) -> Array:
    """The legs' angles out of all joints' (…, J), as (…, L, 3)."""
    count = robot.legs
    return joints[..., : 3 * count].reshape(*joints.shape[:-1], count, 3)


def feet(robot: Robot, joints: Array) -> Array:
    """Centres of the foot spheres, (…, L, 3) m in the body frame, for joint angles (…, J) rad."""
    angles = leg_part(robot, joints)
    turn = angles[..., 0] + robot.heading
    femur = angles[..., 1]
    tibia = femur + angles[..., 2]
    radius = robot.coxa + robot.femur * np.cos(femur) + robot.tibia * np.cos(tibia)
    found = np.empty_like(angles)
    found[..., 0] = radius * np.cos(turn)
    found[..., 1] = radius * np.sin(turn)
    found[..., 2] = robot.femur * np.sin(femur) + robot.tibia * np.sin(tibia)
    found += robot.hip
    return found


def foot_jacobians(robot: Robot, joints: Array) -> Array:
    """Velocity of each foot per speed of its leg's joints, (…, L, 3, 3) m/rad in the body frame.

    Element [leg, i, k] is the derivative of coordinate i of the foot's centre by joint k of that leg.
    """
    angles = leg_part(robot, joints)
    turn = angles[..., 0] + robot.heading
    femur = angles[..., 1]
    tibia = femur + angles[..., 2]
    cos, sin = np.cos(turn), np.sin(turn)
    tibia_out, tibia_up = robot.tibia * np.cos(tibia), robot.tibia * np.sin(tibia)
    both_out = robot.femur * np.cos(femur) + tibia_out
    both_up = robot.femur * np.sin(femur) + tibia_up
    radius = robot.coxa + both_out
    found = np.empty((*angles.shape, 3))
    found[..., 0, 0] = -radius * sin
    found[..., 1, 0] = radius * cos
    found[..., 2, 0] = 0.0
    found[..., 0, 1] = -both_up * cos
    found[..., 1, 1] = -both_up * sin
    found[..., 2, 1] = both_out
    found[..., 0, 2] = -tibia_up * cos
    found[..., 1, 2] = -tibia_up * sin
    found[..., 2, 2] = tibia_out
    return found


def leg_angles(robot: Robot, feet: Array) -> Reach:
    """Joint angles that put the foot centres at ``feet``, (…, L, 3) m in the body frame.

    Each leg turns its coxa to face the foot and carries its knee up (tibia angle between -π and 0), the
    way a walker stands. Only where the coxa's range does not let it face the foot but does let it face
    away, it reaches back under its own hip; so a foot drawn in past the coxa's axis does not spin the leg
    around. Of the solutions that geometry allows, no other is considered.

    A foot that is out of reach gives the angles that bring it nearest: the leg stretched towards it, or
    folded when it is asked closer to the femur's axis than femur and tibia allow. Never NaN: a foot on
    the coxa's axis leaves the coxa at zero, one on the femur's axis is approached from outside, and what
    is not a number is out of reach. Angles are within -π to π and not clipped to the joints' ranges.
    """
    asked = np.fmin(np.fmax(feet, -FAR), FAR) - robot.hip  # fmin and fmax also turn NaN into a number
    cos, sin = robot.heading_cos, robot.heading_sin
    # + 0.0 turns -0.0 into 0.0, for which arctan2 would answer π
    ahead = asked[..., 0] * cos + asked[..., 1] * sin + 0.0
    aside = asked[..., 1] * cos - asked[..., 0] * sin
    turn = np.arctan2(aside, ahead)
    away = np.arctan2(-aside, -ahead)
    back = ((turn < robot.coxa_lower) | (turn > robot.coxa_upper)) & (
        (away >= robot.coxa_lower) & (away <= robot.coxa_upper)
    )
    out = np.hypot(ahead, aside)
    out = np.where(back, -out, out) - robot.coxa
    up = asked[..., 2] + 0.0
    distance = np.hypot(out, up)
    reached = np.minimum(np.maximum(distance, np.abs(robot.femur - robot.tibia)), robot.femur + robot.tibia)
    error = np.abs(distance - reached)
    knee = (reached * reached - robot.femur**2 - robot.tibia**2) / (2 * robot.femur * robot.tibia)
    knee = np.arccos(np.minimum(np.maximum(knee, -1.0), 1.0))  # from straight, bent down
    # The foot is seen from the femur's axis at the angle arctan2(up, out), and below the femur by what the knee makes
    femur = np.arctan2(up, out) + np.arctan2(robot.tibia * np.sin(knee), robot.femur + robot.tibia * np.cos(knee))
    joints = np.empty_like(asked)
    joints[..., 0] = np.where(back, away, turn)
    joints[..., 1] = np.where(femur > np.pi, femur - 2 * np.pi, femur)
    joints[..., 2] = -knee
    return Reach(joints, error, error <= REACHED)


def within(robot: Robot, joints: Array) -> Flags:
    """Which joints (…, J) rad are inside their ranges, ends included."""
    return (joints >= robot.lower - RANGE_SLACK) & (joints <= robot.upper + RANGE_SLACK)


def link_frames(robot: Robot, joints: Array) -> tuple[Array, Array]:
    """The frame of every link in the body frame: rotations (…, J, 3, 3) and origins (…, J, 3) in m.

    The columns of a rotation are the link's x, y and z; a link's frame sits on the joint that moves it.
    """
    batch, count = joints.shape[:-1], robot.legs
    rotations = np.empty((*batch, robot.joints, 3, 3))
    origins = np.empty((*batch, robot.joints, 3))
    angles = leg_part(robot, joints)
    turn = angles[..., 0] + robot.heading
    femur = angles[..., 1]
    tibia = femur + angles[..., 2]
    cos, sin = np.cos(turn), np.sin(turn)
    # Views of the legs' share of the results, as (…, L, part, …)
    frames = rotations[..., : 3 * count, :, :].reshape(*batch, count, 3, 3, 3)
    places = origins[..., : 3 * count, :].reshape(*batch, count, 3, 3)
    _in_plane(frames[..., 0, :, :], cos, sin, np.ones_like(turn), np.zeros_like(turn))
    cos_femur, sin_femur = np.cos(femur), np.sin(femur)
    _in_plane(frames[..., 1, :, :], cos, sin, cos_femur, sin_femur)
    _in_plane(frames[..., 2, :, :], cos, sin, np.cos(tibia), np.sin(tibia))
    places[..., 0, :] = robot.hip
    knee = robot.coxa + robot.femur * cos_femur
    for part, radius in ((1, robot.coxa), (2, knee)):
        places[..., part, 0] = robot.hip[:, 0] + radius * cos
        places[..., part, 1] = robot.hip[:, 1] + radius * sin
    places[..., 1, 2] = robot.hip[:, 2]
    places[..., 2, 2] = robot.hip[:, 2] + robot.femur * sin_femur
    if not np.shares_memory(places, origins):  # pragma: no cover - a reshape that had to copy
        rotations[..., : 3 * count, :, :] = frames.reshape(*batch, 3 * count, 3, 3)
        origins[..., : 3 * count, :] = places.reshape(*batch, 3 * count, 3)
    _extra_frames(robot, joints, rotations, origins)
    return rotations, origins


def _in_plane(into: Array, cos: Array, sin: Array, cos_lift: Array, sin_lift: Array) -> None:
    """Write Rz(turn)·Ry(-lift) into (…, 3, 3)."""
    into[..., 0, 0] = cos * cos_lift
    into[..., 1, 0] = sin * cos_lift
    into[..., 2, 0] = sin_lift
    into[..., 0, 1] = -sin
    into[..., 1, 1] = cos
    into[..., 2, 1] = 0.0
    into[..., 0, 2] = -cos * sin_lift
    into[..., 1, 2] = -sin * sin_lift
    into[..., 2, 2] = cos_lift


def _extra_frames(robot: Robot, joints: Array, rotations: Array, origins: Array) -> None:
    """Fill in the frames of heads, tails and grippers, each after its parent."""
    for index, extra in enumerate(robot.extra, start=3 * robot.legs):
        own = turned(extra, joints[..., index])
        if extra.parent < 0:
            rotations[..., index, :, :] = own
            origins[..., index, :] = extra.at
        else:
            parent = rotations[..., extra.parent, :, :]
            rotations[..., index, :, :] = parent @ own
            origins[..., index, :] = origins[..., extra.parent, :] + parent @ extra.at


def turned(extra: ExtraJoint, angle: Array) -> Array:
    """Rotation (…, 3, 3) of an extra joint turned by ``angle`` (…) rad: Rodrigues' formula."""
    wide = np.asarray(angle, dtype=np.float64)[..., None, None]
    found: Array = _UNTURNED + np.sin(wide) * extra.cross[0] + (1 - np.cos(wide)) * extra.cross[1]
    return found
