"""The robot as a URDF, so that any physics or kinematics library can load it and be asked the same questions.

Joint names, zeros and directions are those of :mod:`~motionhub.robot.model`, and so are masses, centres of
mass and inertias; look joints up by name, since libraries put them in an order of their own.

The root is the link ``body``, which floats: a URDF says nothing about what its root stands on, so whoever
loads it adds the floating joint. Each leg ends in a massless link ``<leg>.foot``, fixed to the tibia, whose
origin is the centre of the foot and which carries the foot's collision sphere; the trunk has a collision
box. The links between them are only drawn: it is feet and belly that meet the ground.

Effort and speed limits are the servo's stall torque and no-load speed at the regulator's voltage. What a servo feels
of its own rotor and gears has no place in a URDF; it stands in a comment in each joint, for whoever simulates it.
"""

from __future__ import annotations

import xml.etree.ElementTree as ET
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from motionhub.robot.model import Robot

Array = NDArray[np.float64]

_ABOUT = (
    " Metres, kilograms, radians. x forward, y left, z up (ROS REP 103). Joints are named as in the robot file; at"
    " zero every leg is a straight level line along its heading. The root link, body, floats. "
)


def foot_link(leg: str) -> str:
    """Name of the link at the end of a leg; its origin is the centre of the foot sphere."""
    return f"{leg}.foot"


def moved_link(joint: str) -> str:
    """Name of the link that a joint moves: not the joint's own, which some libraries find ambiguous."""
    return f"{joint}.link"


def export(robot: Robot) -> str:
    """The text of a URDF of ``robot``."""
    root = ET.Element("robot", name=robot.name)
    root.append(ET.Comment(_ABOUT))
    _physics_engine(root)
    body = ET.SubElement(root, "link", name="body")
    _inertial(body, robot.body_mass, robot.body_com, robot.body_inertia)
    for kind in ("visual", "collision"):
        shape = ET.SubElement(body, kind, name=f"body.{kind}")
        ET.SubElement(shape, "origin", xyz=_numbers(robot.body_centre))
        ET.SubElement(ET.SubElement(shape, "geometry"), "box", size=_numbers(robot.body_size))
    forward = np.array([1.0, 0.0, 0.0])
    for leg, name in enumerate(robot.leg_names):
        coxa, femur, tibia = (3 * leg + part for part in range(3))
        lengths = (robot.coxa[leg], robot.femur[leg], robot.tibia[leg])
        up, left = np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0])
        _joint(root, robot, coxa, "body", robot.hip[leg], up, float(robot.heading[leg]))
        _joint(root, robot, femur, moved_link(robot.joint_names[coxa]), lengths[0] * forward, -left)
        _joint(root, robot, tibia, moved_link(robot.joint_names[femur]), lengths[1] * forward, -left)
        for index, length in zip((coxa, femur, tibia), lengths, strict=True):
            _link(root, robot, index, length * forward)
        _foot(root, name, moved_link(robot.joint_names[tibia]), lengths[2] * forward, float(robot.foot_radius[leg]))
    for index, extra in enumerate(robot.extra, start=3 * robot.legs):
        parent = "body" if extra.parent < 0 else moved_link(robot.joint_names[extra.parent])
        _joint(root, robot, index, parent, extra.at, extra.axis)
        _link(root, robot, index, extra.tip)
    ET.indent(root)
    return '<?xml version="1.0"?>\n' + ET.tostring(root, encoding="unicode") + "\n"


def _physics_engine(root: ET.Element) -> None:
    """What the MuJoCo engine reads from a URDF besides the standard: leave it as it is written.

    Without this it fuses the feet into the tibias and the trunk into the world, names and all.
    """
    extension = ET.SubElement(root, "mujoco")
    ET.SubElement(
        extension,
        "compiler",
        fusestatic="false",
        inertiafromgeom="false",
        balanceinertia="false",
        discardvisual="true",
    )


def _joint(
    root: ET.Element, robot: Robot, index: int, parent: str, at: Array, axis: Array, heading: float = 0.0
) -> None:
    name = robot.joint_names[index]
    servo, volts = robot.servos[index], robot.supply.regulator_v
    joint = ET.SubElement(root, "joint", name=name, type="revolute")
    joint.append(ET.Comment(f" rotor and gears, felt at the joint (armature): {servo.rotor_inertia:.3g} kg m^2 "))
    ET.SubElement(joint, "parent", link=parent)
    ET.SubElement(joint, "child", link=moved_link(name))
    ET.SubElement(joint, "origin", xyz=_numbers(at), rpy=_numbers((0.0, 0.0, heading)))
    ET.SubElement(joint, "axis", xyz=_numbers(axis))
    ET.SubElement(
        joint,
        "limit",
        lower=_number(robot.lower[index]),
        upper=_number(robot.upper[index]),
        effort=_number(float(servo.stall_torque_at(volts))),
        velocity=_number(float(servo.free_speed_at(volts))),
    )


def _link(root: ET.Element, robot: Robot, index: int, tip: Array) -> None:
    """The link that joint ``index`` moves, drawn as a cylinder from its joint to ``tip``."""
    name = moved_link(robot.joint_names[index])
    link = ET.SubElement(root, "link", name=name)
    _inertial(link, float(robot.link_mass[index]), robot.link_com[index], robot.link_inertia[index])
    length = float(np.linalg.norm(tip))
    if length == 0:
        return
    # A cylinder lies along its z: yaw to the tip's direction, after pitching z down to it
    pitch, yaw = float(np.arctan2(np.hypot(tip[0], tip[1]), tip[2])), float(np.arctan2(tip[1], tip[0]))
    visual = ET.SubElement(link, "visual", name=f"{name}.visual")
    ET.SubElement(visual, "origin", xyz=_numbers(tip / 2), rpy=_numbers((0.0, pitch, yaw)))
    radius = _number(robot.link_radius[index])
    ET.SubElement(ET.SubElement(visual, "geometry"), "cylinder", radius=radius, length=_number(length))


def _foot(root: ET.Element, leg: str, tibia: str, at: Array, radius: float) -> None:
    name = foot_link(leg)
    joint = ET.SubElement(root, "joint", name=f"{name}.mount", type="fixed")
    ET.SubElement(joint, "parent", link=tibia)
    ET.SubElement(joint, "child", link=name)
    ET.SubElement(joint, "origin", xyz=_numbers(at))
    link = ET.SubElement(root, "link", name=name)
    for kind in ("visual", "collision"):
        shape = ET.SubElement(link, kind, name=f"{name}.{kind}")
        ET.SubElement(ET.SubElement(shape, "geometry"), "sphere", radius=_number(radius))


def _inertial(link: ET.Element, mass: float, com: Array, inertia: Array) -> None:
    inertial = ET.SubElement(link, "inertial")
    ET.SubElement(inertial, "origin", xyz=_numbers(com))
    ET.SubElement(inertial, "mass", value=_number(mass))
    pairs = (("ixx", 0, 0), ("ixy", 0, 1), ("ixz", 0, 2), ("iyy", 1, 1), ("iyz", 1, 2), ("izz", 2, 2))
    ET.SubElement(inertial, "inertia", {key: _number(inertia[i, j]) for key, i, j in pairs})


def _numbers(values: Iterable[float]) -> str:
    return " ".join(_number(value) for value in values)


def _number(value: float) -> str:
    """Shortest text that reads back as the same float, so nothing is lost on the way."""
    return repr(float(value) + 0.0)
