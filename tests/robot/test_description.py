# ruff: noqa: E501 - the table of refusals has a line for each
"""The robot file: what it is read as, and one clear line for each way of getting it wrong."""

import re
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from motionhub.errors import InputError
from motionhub.robot import description
from motionhub.robot.kinematics import leg_angles, within
from motionhub.robot.model import Robot
from motionhub.robot.robotfile import Part, RobotFile


def refusal(text: str) -> str:
    with pytest.raises(InputError) as caught:
        description.parse(text, "robot.toml")
    line = str(caught.value)
    assert line.startswith("robot.toml: ")
    assert "\n" not in line
    return line.removeprefix("robot.toml: ")


def changed(text: str, old: str, new: str) -> str:
    assert old in text
    return text.replace(old, new, 1)


PINS = "pins = { coxa = 22, femur = 23, tibia = 24 }"
MASS = "mass_g = 1050"
RANGE = "range_deg = [-60, 95]"

# What a person wrote, what they wrote instead, and the line that must answer it.
REFUSED = [
    # Keys: misspelt, in another unit, missing, in the wrong place
    ("length_mm = 45", "length_cm = 4.5", "leg.coxa.length_cm: is not a known key here; did you mean 'length_mm'?"),
    (MASS, "mass_kg = 1.05", "body.mass_kg: is not a known key here; did you mean 'mass_g'?"),
    ("regulator_v = 7.0", "regulator_mv = 7000", "supply.regulator_mv: is not a known key here; did you mean 'regulator_v'?"),
    (PINS, "pins = { coxa = 22, femr = 23, tibia = 24 }", "legs[0].pins.femr: is not a known key here; did you mean 'femur'?"),
    (PINS, "pins = { coxa = 22, femur = 23 }", "legs[0].pins.tibia: is missing"),
    ("hip_mm = [105, 60, 0]", "", "legs[0].hip_mm: is missing"),
    ("stand_mm = 110", "", "legs[0].stand_mm: is missing"),
    (MASS, "zzz = 3\nmass_g = 1050", "body.zzz: is not a known key here (known: mass_g, com_mm, size_mm, centre_mm)"),
    ("[rest] ", "[ret] ", "ret: expected a known table, found 'ret'; did you mean 'rest'?"),
    ("[leg] ", "[lg] ", "lg: expected a known table, found 'lg'; did you mean 'leg'?"),
    # Values that are no numbers, or not of this world
    (MASS, "mass_g = nan", "body.mass_g: expected a finite number, found nan"),
    (MASS, "mass_g = inf", "body.mass_g: expected a finite number, found inf"),
    (MASS, "mass_g = 1e999", "body.mass_g: expected a finite number, found inf"),
    (MASS, 'mass_g = "1050"', "body.mass_g: expected a number, found '1050'"),
    (MASS, "mass_g = true", "body.mass_g: expected a number, found true"),
    (MASS, "mass_g = -3", "body.mass_g: expected a value greater than 0, found -3"),
    (MASS, "mass_g = " + "9" * 5000, "expected TOML, found: a number of thousands of digits"),
    ("length_mm = 45", "length_mm = 4500", "leg.coxa.length_mm: expected a value less than or equal to 1000, found 4500"),
    ("hip_mm = [105, 60, 0]", "hip_mm = [105, nan, 0]", "legs[0].hip_mm[1]: expected a finite number, found nan"),
    ("hip_mm = [105, 60, 0]", "hip_mm = [105, 60]", "legs[0].hip_mm[2]: is missing"),
    ("cells = 2", "cells = 2.5", "supply.cells: expected a whole number, found 2.5"),
    ("baud = 57600", 'baud = "fast"', "link.baud: expected a whole number, found 'fast'"),
    ('kind = "lamp"', 'kind = "lantern"', "outputs[0].kind: expected 'lamp' or 'sounder', found 'lantern'"),
    ('axis = "yaw"', 'axis = "turn"', "joints[0].axis: expected 'roll', 'pitch' or 'yaw', found 'turn'"),
    # Names and pins
    ('name = "left_middle"', 'name = "left_front"', "legs[1].name: expected a name of its own, found 'left_front' again"),
    ('name = "tail"', 'name = "body"', "joints[1].name: expected a name of its own, found 'body' again"),
    ('name = "left_middle"', 'name = "Left Middle"', "legs[1].name: expected a name of at most 32 small letters"),
    (PINS, "pins = { coxa = 22, femur = 23, tibia = 25 }",
     "legs[1].pins.coxa: expected a pin of its own for left_middle.coxa, found pin 25, which is left_front.tibia's"),
    ("pin = 44", "pin = 40", "outputs[0].pin: expected a pin of its own for lamp, found pin 40, which is head's"),
    ("radius_mm = 22", 'radius_mm = 22\nparent = "tail"', "joints[0].parent: expected a known parent listed before this joint (body), found 'tail'"),
    # Servos, ranges, volts
    ('servo = "walker"', 'servo = "walkr"', "leg.coxa.servo: expected a known servo of this file, found 'walkr'; did you mean 'walker'?"),
    ('servo = "light"', 'servo = "x"', "joints[0].servo: expected a known servo of this file (walker, light), found 'x'"),
    (RANGE, "range_deg = [-60, 130]", "leg.femur.range_deg: expected a range within the servo's travel, -70 to 110 deg around mid_deg, found -60 to 130"),
    (RANGE, "range_deg = [95, -60]", "leg.femur.range_deg: expected the lower end first, found [95.0, -60.0]"),
    (RANGE, "range_deg = -60", "leg.femur.range_deg: expected a list, found -60"),
    ("regulator_v = 7.0", "regulator_v = 7.4", "supply.regulator_v: expected 4.8 to 7.2 V, which is what the servo 'walker' takes, found 7.4"),
    ("volts = 7.0", "volts = 4.0", "servos.walker: expected points in order of rising volts, found 5, 4"),
    ("pulse_us = [500, 2500]", "pulse_us = [2500, 500]", "servos.walker: expected the shorter pulse first in pulse_us, found [2500.0, 500.0]"),
    # A stance that it cannot take
    ("stand_mm = 110", "stand_mm = 300", "leg.stand_mm: expected a rest stance that the leg reaches at rest.height_mm = 84, found it"),
    ("range_deg = [-160, 0]", "range_deg = [-110, 0]", "leg.tibia.range_deg: expected -119.7 deg inside it, where the rest stance"),
    # The file as a whole
    ("[body] ", "[body", "line 11: expected TOML, found: "),
    ('format = "motionhub-robot/1"', 'format = "motionhub-robot/2"', "format: expected 'motionhub-robot/1', found 'motionhub-robot/2'"),
    ('format = "motionhub-robot/1"', "", "format: expected 'motionhub-robot/1', found nothing"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "line"), REFUSED, ids=[line[:60] for _, _, line in REFUSED])
def test_refusals_name_the_place_and_what_was_expected(tansy_text: str, old: str, new: str, line: str) -> None:
    assert refusal(changed(tansy_text, old, new)).startswith(line)


def test_a_mistake_in_one_leg_is_not_blamed_on_the_common_table(tansy_text: str) -> None:
    own = changed(tansy_text, PINS, PINS + "\nfemur = { range_deg = [-60, 130] }")
    assert refusal(own).startswith("legs[0].femur.range_deg: ")
    misspelt = changed(tansy_text, PINS, PINS + "\nfemur = { lenth_mm = 70 }")
    assert refusal(misspelt) == "legs[0].femur.lenth_mm: is not a known key here; did you mean 'length_mm'?"


def test_three_legs_and_nine_are_not_four_to_eight(tansy_text: str) -> None:
    three = re.sub(r'\[\[legs\]\]\nname = "right_.*?\n\n', "", tansy_text, flags=re.DOTALL)
    assert refusal(three) == "legs: expected at least 4 items, found 3"
    leg = tansy_text[tansy_text.index("[[legs]]") : tansy_text.index("[[legs]]", tansy_text.index("[[legs]]") + 1)]
    assert refusal(changed(tansy_text, leg, 4 * leg)) == "legs: expected at most 8 items, found 9"


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    for path, reason in (
        (tmp_path / "none.toml", "expected a robot file, found nothing there"),
        (tmp_path, "expected a robot file that can be read, found: is a directory"),
    ):
        with pytest.raises(InputError, match=reason) as caught:
            description.load(path)
        assert str(path) in str(caught.value)
    binary = tmp_path / "binary.toml"
    binary.write_bytes(b'name = "\xff"')
    with pytest.raises(InputError, match="byte 8: expected a robot file in UTF-8"):
        description.load(binary)
    with pytest.raises(InputError, match="nested too deeply"):
        description.parse("a = " + "[" * 100_000, "robot.toml")


ODD = st.sampled_from(
    ["nan", "-inf", "1e999", "0", "-1", "1e-300", "true", '""', '"x"', '"body"', "[]", "{}", "[[]]", "[nan, 1]", "[1, 2, 3]",
     "1979-05-27", "07:32:00", "9" * 40, "0xff", "[{}]", "{ coxa = 1 }", "=", "", '"walker"', "1.5"]
)  # fmt: skip


@given(st.data())
@settings(max_examples=400, deadline=None)
def test_any_damage_is_read_or_refused_in_one_line(tansy_text: str, data: st.DataObject) -> None:
    lines = tansy_text.splitlines()
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.integers(0, len(lines) - 1))
        key = lines[at].partition("=")[0]
        lines[at] = (
            data.draw(st.sampled_from(["", key, "zzz ="])) if "=" not in lines[at] else f"{key}= {data.draw(ODD)}"
        )
    text, refused = "\n".join(lines), None
    try:
        file = description.parse(text, "robot.toml")
    except InputError as error:
        refused = error
    if refused is None:
        assert np.isfinite(Robot.from_file(file).mass)
    else:
        assert refusal(text) == str(refused).removeprefix("robot.toml: ")
        assert refused.expected


def test_units_become_si(tansy: Robot) -> None:
    """By hand, from tansy.toml: 75 mm femur, 50° coxa, 1050 g trunk, 5000 mAh."""
    assert tansy.femur[0] == pytest.approx(0.075)
    assert tansy.upper[0] == pytest.approx(50 * np.pi / 180)
    assert tansy.body_mass == pytest.approx(1.05)
    assert tansy.supply.capacity_c == pytest.approx(5 * 3600)
    assert tansy.walk.cycle_s == pytest.approx(1.2)
    assert tansy.mass == pytest.approx(1.05 + 6 * 0.285 + 0.11 + 0.07)


def test_legs_differ_where_they_say_so(trestle: Robot) -> None:
    """trestle.toml gives its rear legs longer, heavier tibias and leaves all else common."""
    rear = [trestle.leg_index[name] for name in ("left_rear", "right_rear")]
    front = [trestle.leg_index[name] for name in ("left_front", "right_front")]
    np.testing.assert_allclose(trestle.tibia[rear], 0.112)
    np.testing.assert_allclose(trestle.tibia[front], 0.104)
    np.testing.assert_allclose(trestle.femur, 0.072)
    assert trestle.extra[1].parent == trestle.joint_index["neck"]


def test_shipped_robots_stand_as_they_say(robot: Robot) -> None:
    reach = leg_angles(robot, robot.rest_feet)
    assert reach.ok.all()
    assert within(robot, np.append(reach.joints, np.zeros(len(robot.extra)))).all()
    np.testing.assert_allclose(robot.rest_feet[:, 2] - robot.foot_radius, -robot.rest_height)
    assert robot.legs in (4, 6, 8)
    assert "Demo data" in robot.about


def test_joints_are_in_the_order_of_the_file(tansy: Robot) -> None:
    assert tansy.joint_names[:4] == ("left_front.coxa", "left_front.femur", "left_front.tibia", "left_middle.coxa")
    assert tansy.joint_names[-2:] == ("head", "tail")
    assert [tansy.joint_names[i] for i in tansy.joint_index.values()] == list(tansy.joint_names)


UNITS = ("_mm", "_g", "_deg", "_us", "_ms", "_s", "_v", "_a", "_mah", "_ohm", "_kgfcm")
UNITLESS = {
    "hold_fraction",
    "uart",
    "battery_input",
    "regulator_efficiency",
    "share",
    "pin",
    "coxa",
    "femur",
    "tibia",
    "cells",
    "duty",
    "touchdown",
}
BY_NAME = {"volts", "seconds_per_60deg", "baud"}


def test_every_number_in_the_file_says_its_unit() -> None:
    """design.md, 3: in files every key says its unit."""

    def parts(kind: type[Part]) -> list[type[Part]]:
        return [kind] + [deeper for child in kind.__subclasses__() for deeper in parts(child)]

    numbers = 0
    for part in parts(Part):
        for key, field in part.model_fields.items():
            if re.search(r"\b(float|int)\b", str(field.annotation)):
                numbers += 1
                assert key.endswith(UNITS) or key in UNITLESS | BY_NAME, f"{part.__name__}.{key}"
    assert numbers > 40
    assert RobotFile in parts(Part)
