"""Describing a robot: writing its file, questioning odd values, reading a URDF, drawing it."""

import math
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pinocchio as pin
import pytest
from hypothesis import given
from hypothesis import strategies as st

from motionhub.errors import InputError
from motionhub.robot import description, drawing, urdf, urdf_read, writing
from motionhub.robot.doubts import doubts
from motionhub.robot.kinematics import feet
from motionhub.robot.model import Robot
from motionhub.robot.quantities import UNITS, number, numbers
from motionhub.robot.robotfile import RobotFile
from motionhub.robot.servo import KGF_CM
from motionhub.robot.servo_classes import CLASSES
from motionhub.robot.skeleton import Fitting, compose

ROBOTS = sorted((Path(__file__).parents[2] / "sequences" / "robots").glob("*.toml"))


@pytest.fixture(params=ROBOTS, ids=lambda path: path.stem)
def file(request: pytest.FixtureRequest) -> RobotFile:
    return description.parse(request.param.read_text(encoding="utf-8"), request.param)


def test_what_is_written_is_read_again(file: RobotFile) -> None:
    again = description.parse(writing.text(file, ["a note", "", "another"]), "again")
    before, after = Robot.from_file(file), Robot.from_file(again)
    for name in ("hip", "heading", "coxa", "femur", "tibia", "lower", "upper", "mid", "link_mass", "link_com"):
        np.testing.assert_array_equal(getattr(before, name), getattr(after, name), err_msg=name)
    np.testing.assert_array_equal(before.link_inertia, after.link_inertia)
    assert (before.supply, before.walk, before.link, before.pins) == (
        after.supply, after.walk, after.link, after.pins,
    )  # fmt: skip
    assert again.servos == file.servos
    assert again.outputs == file.outputs


@given(st.text(max_size=40).filter(lambda text: text.isprintable()))
def test_any_text_about_a_robot_survives_the_file(about: str) -> None:
    path = ROBOTS[0]
    file = description.parse(path.read_text(encoding="utf-8"), path).model_copy(update={"about": about})
    assert description.parse(writing.text(file), "again").about == about


# ------------------------------------------------------------------ numbers with units


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("7.5cm", "mm", 75.0),
        ("3 in", "mm", 76.2),  # international inch, 25.4 mm
        ("1.05 kg", "g", 1050.0),
        ("2 N·m", "kgfcm", 2 / KGF_CM),
        ("100 oz-in", "kgfcm", 7.20077887),  # ounce-force of 0.27801385 N, inch of 25.4 mm
        ("5Ah", "mah", 5000.0),
        ("90", "deg", 90.0),
    ],
)
def test_units_that_makers_write_are_understood(text: str, unit: str, value: float) -> None:
    assert number(text, unit) == pytest.approx(value, rel=1e-9)


def test_a_unit_behind_the_last_number_goes_for_all() -> None:
    assert numbers("25 x 12 x 4.6 cm", "mm", 3) == (250.0, 120.0, 46.0)


@given(st.text(max_size=20), st.sampled_from(list(UNITS)))
def test_no_text_is_anything_but_a_number_or_refused(text: str, unit: str) -> None:
    refused = ""
    try:
        value = number(text, unit)
    except ValueError as error:
        refused, value = str(error), 0.0
    assert math.isfinite(value)
    assert not refused or refused.startswith("expected")


def test_a_decimal_comma_is_not_taken_for_another_number() -> None:
    with pytest.raises(ValueError, match="decimal point"):
        number("7,5", "mm")


# ------------------------------------------------------------------ doubts


def test_shipped_robots_and_typical_servos_raise_no_doubt(file: RobotFile) -> None:
    assert doubts(file) == []
    for kind in CLASSES.values():
        servos = dict.fromkeys(file.servos, kind)
        supply = file.supply.model_copy(update={"regulator_v": 6.0})
        odd = doubts(file.model_copy(update={"servos": servos, "supply": supply}))
        assert not [doubt for doubt in odd if doubt.place.startswith("servo ")]


def _changed(file: RobotFile, **more: object) -> RobotFile:
    return file.model_copy(update=more)


def test_a_torque_in_another_unit_is_questioned(file: RobotFile) -> None:
    """Energy: a brushed motor's stall torque × free speed cannot exceed volts × stall current."""
    name, servo = next(iter(file.servos.items()))
    for factor, unit in ((1 / 10.19716, "N·m"), (13.887, "oz·in")):
        points = [
            point.model_copy(update={"stall_torque_kgfcm": point.stall_torque_kgfcm * factor}) for point in servo.points
        ]
        odd = doubts(_changed(file, servos={**file.servos, name: servo.model_copy(update={"points": points})}))
        assert any(unit in doubt.why for doubt in odd if doubt.place.startswith(f"servo {name}")), odd


def test_a_regulator_that_one_servo_drags_down_is_questioned(file: RobotFile) -> None:
    odd = doubts(_changed(file, supply=file.supply.model_copy(update={"regulator_a": 0.5})))
    assert any(doubt.place == "regulator" and "one servo alone" in doubt.why for doubt in odd)


def test_grams_for_kilograms_and_a_leg_that_points_inward_are_questioned(file: RobotFile) -> None:
    light = _changed(file, body=file.body.model_copy(update={"mass_g": file.body.mass_g / 1000}))
    assert any(doubt.place == "body mass" for doubt in doubts(light))
    inward = file.legs[0].model_copy(update={"heading_deg": file.legs[0].heading_deg + 180})
    assert any(
        doubt.place == f"{inward.name} heading" for doubt in doubts(_changed(file, legs=[inward, *file.legs[1:]]))
    )


# ------------------------------------------------------------------ URDF in


def _again(robot: Robot, file: RobotFile, text: str) -> Robot:
    found = urdf_read.read(text, "robot.urdf")
    servo = next(iter(CLASSES))
    wide = CLASSES[servo].model_copy(update={"travel_deg": 270.0})
    supply = file.supply.model_dump() | {"regulator_v": 5.0}
    shape = found.skeleton
    data = compose(shape, Fitting({"any": wide.model_dump()}, "any", "any", supply, 9600, height_mm=None))
    return Robot.from_file(RobotFile.model_validate(data))


def test_urdf_out_and_in_is_the_identity_on_what_urdf_carries(file: RobotFile) -> None:
    robot = Robot.from_file(file)
    again = _again(robot, file, urdf.export(robot))
    assert again.leg_names == robot.leg_names
    assert again.joint_names == robot.joint_names
    for name in (
        "hip", "heading", "coxa", "femur", "tibia", "foot_radius", "lower", "upper", "link_mass", "link_com",
        "link_inertia", "link_radius", "body_com", "body_inertia", "body_size", "body_centre",
    ):  # fmt: skip
        np.testing.assert_allclose(getattr(again, name), getattr(robot, name), atol=1e-11, err_msg=name)
    assert again.mass == pytest.approx(robot.mass, abs=1e-12)
    for ours, theirs in zip(again.extra, robot.extra, strict=True):
        np.testing.assert_allclose(
            [*ours.at, *ours.axis, *ours.tip], [*theirs.at, *theirs.axis, *theirs.tip], atol=1e-11
        )


def _turned(text: str, joint: str, angle: float, sign: int) -> str:
    """The same machine drawn otherwise: this joint's zero turned by ``angle`` about its axis, its sign flipped."""
    root = ET.fromstring(text)
    element = next(item for item in root.iter("joint") if item.get("name") == joint)
    axis, origin, limit = element.find("axis"), element.find("origin"), element.find("limit")
    assert axis is not None
    assert origin is not None
    assert limit is not None
    xyz = np.array([float(part) for part in axis.get("xyz", "").split()])
    rpy = [float(part) for part in origin.get("rpy", "0 0 0").split()]
    rotation = pin.rpy.rpyToMatrix(*rpy) @ pin.exp3(xyz * angle)
    origin.set("rpy", " ".join(repr(float(value)) for value in pin.rpy.matrixToRpy(rotation)))
    axis.set("xyz", " ".join(repr(float(value)) for value in sign * xyz))
    low, high = (float(limit.get(key, "0")) for key in ("lower", "upper"))
    ends = sorted((sign * (low - angle), sign * (high - angle)))
    limit.set("lower", repr(ends[0]))
    limit.set("upper", repr(ends[1]))
    return ET.tostring(root, encoding="unicode")


@pytest.mark.parametrize("sign", [1, -1])
def test_another_zero_and_another_sign_are_the_same_machine(file: RobotFile, sign: int) -> None:
    """Pinocchio places the feet of the redrawn URDF; the described robot's are at the same points."""
    robot = Robot.from_file(file)
    leg = robot.leg_names[0]
    text = urdf.export(robot)
    for part, angle in (("femur", 0.3), ("tibia", -0.9)):
        text = _turned(text, f"{leg}.{part}", angle, sign)
    found = urdf_read.read(text, "robot.urdf")
    again = _again(robot, file, text)
    np.testing.assert_allclose(again.tibia, robot.tibia, atol=1e-9)
    model = pin.buildModelFromXML(text)
    data = model.createData()
    generator = np.random.default_rng(7)
    for _ in range(20):
        q = generator.uniform(-0.5, 0.5, model.nq)
        pin.framesForwardKinematics(model, data, q)
        ours = np.zeros(again.joints)
        for index, name in enumerate(again.joint_names):
            angle = q[model.joints[model.getJointId(name)].idx_q]
            ours[index] = found.signs[name] * angle + math.radians(found.offsets_deg[name])
        places = [data.oMf[model.getFrameId(f"{name}.foot")].translation for name in again.leg_names]
        np.testing.assert_allclose(feet(again, ours), places, atol=1e-9)


def _without(text: str, find: str) -> str:
    root = ET.fromstring(text)
    parents = {child: parent for parent in root.iter() for child in parent}
    element = root.find(find)
    assert element is not None
    parents[element].remove(element)
    return ET.tostring(root, encoding="unicode")


def test_urdfs_that_cannot_be_are_refused_by_name() -> None:
    text = urdf.export(description.load(ROBOTS[-1]))
    names = description.load(ROBOTS[-1]).joint_names
    loop = text.replace(
        "</robot>",
        f'<joint name="again" type="fixed"><parent link="body"/><child link="{names[1]}.link"/></joint></robot>',
    )
    light = _without(text, f"link[@name='{names[2]}.link']/inertial")
    slide = text.replace('type="revolute"', 'type="prismatic"', 1)
    cases = {
        "a loop": (loop, f"link {names[1]}.link: expected one joint that carries it"),
        "no mass": (light, f"link {names[2]}.link: expected a mass"),
        "a slide": (slide, f"joint {names[0]}: expected a joint of a servo"),
        "a word": (text.replace('mass value="', 'mass value="heavy', 1), "link body: expected a number in mass"),
        "no root": ("<robot/>", "expected links"),
        "not XML": ("<robot", "expected XML"),
        "not a robot": ("<svg/>", "expected a URDF"),
        "entities": ('<!DOCTYPE robot [<!ENTITY a "aa">]><robot/>', "without a document type"),
        "one leg too few": (_without(text, f"joint[@name='{names[0]}']"), "expected"),
    }  # fmt: skip
    for case, (urdf_text, expected) in cases.items():
        with pytest.raises(InputError) as caught:
            urdf_read.read(urdf_text, "robot.urdf")
        assert expected in str(caught.value), case
        assert "\n" not in str(caught.value)


# ------------------------------------------------------------------ the drawing


def test_the_drawing_is_a_picture_of_every_part(file: RobotFile) -> None:
    robot = Robot.from_file(file)
    root = ET.fromstring(drawing.svg(robot))
    space = "{http://www.w3.org/2000/svg}"
    words = " ".join("".join(text.itertext()) for text in root.iter(f"{space}text"))
    for name in (*robot.leg_names, *(extra.name for extra in robot.extra)):
        assert name in words
    _, _, width, height = (float(part) for part in root.attrib["viewBox"].split())
    for line in root.iter(f"{space}polyline"):
        points = np.array([[float(value) for value in point.split(",")] for point in line.attrib["points"].split()])
        assert (points >= 0).all()
        assert (points < [width, height]).all()


def test_the_drawing_is_to_its_own_ruler() -> None:
    robot = description.load(ROBOTS[-1])
    root = ET.fromstring(drawing.svg(robot))
    space = "{http://www.w3.org/2000/svg}"
    trunk = next(item for item in root.iter(f"{space}rect") if item.get("class") == "trunk")
    bar = root.findall(f"{space}path")[-1].attrib["d"]
    start, end = float(bar[1:].split()[0]), float(bar.split("H")[1].split("v")[0])
    scale = (end - start) / 0.1
    assert float(trunk.attrib["height"]) == pytest.approx(scale * robot.body_size[0], rel=1e-2)
    assert float(trunk.attrib["width"]) == pytest.approx(scale * robot.body_size[1], rel=1e-2)
