"""Angles to pulses and back, the ends that no pulse passes, and the calibration file."""

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from motionhub.errors import InputError
from motionhub.robot.calibration import FORMAT, Calibration
from motionhub.robot.model import Robot


@st.composite
def calibrations(draw: st.DrawFn, robot: Robot) -> Calibration:
    """Any calibration that its file can say, trims in hundredths of a degree."""
    count = robot.joints
    trim = draw(arrays(np.int64, count, elements=st.integers(-4500, 4500)))
    direction = draw(arrays(np.int64, count, elements=st.sampled_from([-1, 1])))
    low = draw(arrays(np.int64, count, elements=st.integers(300, 1400)))
    high = draw(arrays(np.int64, count, elements=st.integers(1401, 3000)))
    scale = draw(arrays(np.float64, count, elements=st.one_of(st.just(1.0), st.floats(0.5, 1.99))))
    return Calibration(robot.name, robot.joint_names, np.deg2rad(trim / 100), direction, low, high, scale)


def refusal(robot: Robot, text: str) -> str:
    with pytest.raises(InputError) as caught:
        Calibration.parse(text, "cal.json", robot)
    line = str(caught.value)
    assert line.startswith("cal.json: ")
    assert "\n" not in line
    return line.removeprefix("cal.json: ")


def entry(robot: Robot, **keys: object) -> str:
    return json.dumps({"format": FORMAT, "robot": robot.name, "joints": {"left_front.coxa": keys}})


@given(st.data())
@settings(deadline=None)
def test_pulses_never_pass_the_ends(tansy: Robot, data: st.DataObject) -> None:
    calibration = data.draw(calibrations(tansy))
    angles = st.floats(-1e300, 1e300) | st.sampled_from([-np.inf, np.inf])
    joints = data.draw(arrays(np.float64, (3, tansy.joints), elements=angles))
    pulses = calibration.pulses(tansy, joints)
    assert (pulses >= calibration.low_us).all()
    assert (pulses <= calibration.high_us).all()


@given(st.data())
@settings(deadline=None)
def test_angles_undo_pulses_between_the_ends(tansy: Robot, data: st.DataObject) -> None:
    calibration = data.draw(calibrations(tansy))
    share = data.draw(arrays(np.float64, (2, tansy.joints), elements=st.floats(0, 1)))
    pulses = calibration.low_us + share * (calibration.high_us - calibration.low_us)
    angles = calibration.angles(tansy, pulses)
    np.testing.assert_allclose(calibration.pulses(tansy, angles), pulses, atol=1e-9)
    np.testing.assert_allclose(calibration.angles(tansy, calibration.pulses(tansy, angles)), angles, atol=1e-12)


def test_every_angle_of_every_range_is_within_the_pulses(robot: Robot) -> None:
    default = Calibration.default(robot)
    for end in (robot.lower, robot.upper):
        np.testing.assert_allclose(default.angles(robot, default.pulses(robot, end)), end, atol=1e-12)


def test_the_horn_sits_at_mid_travel(tansy: Robot) -> None:
    """Practice: 1.5 ms is mid-travel, and horns are fitted there."""
    np.testing.assert_allclose(Calibration.default(tansy).pulses(tansy, tansy.mid), 1500)


def test_trim_and_direction(tansy: Robot) -> None:
    """A servo of 500 to 2500 µs over 180° moves 1000/90 µs a degree; 4° of trim is 44.4 µs, mirrored the other way."""
    default = Calibration.default(tansy)
    trim, direction = np.zeros(tansy.joints), np.ones(tansy.joints)
    trim[0] = trim[3] = np.deg2rad(4)
    direction[3] = direction[6] = -1
    fitted = Calibration(tansy.name, tansy.joint_names, trim, direction, default.low_us, default.high_us)
    joints = np.zeros(tansy.joints)
    joints[6] = np.deg2rad(9)
    pulses = fitted.pulses(tansy, joints)
    assert pulses[0] == pytest.approx(1500 + 4000 / 90)
    assert pulses[3] == pytest.approx(1500 - 4000 / 90)
    assert pulses[6] == pytest.approx(1500 - 100)
    assert pulses[9] == pytest.approx(1500)


@given(st.data())
@settings(deadline=None)
def test_saving_and_loading_is_the_identity(tansy: Robot, data: st.DataObject) -> None:
    calibration = data.draw(calibrations(tansy))
    text = calibration.dump()
    again = Calibration.parse(text, "cal.json", tansy)
    for name in ("trim_rad", "direction", "low_us", "high_us", "scale"):
        np.testing.assert_array_equal(getattr(again, name), getattr(calibration, name))
    assert again.joint_names == calibration.joint_names
    assert again.dump() == text


def test_the_battery_scale_is_kept_and_an_absurd_one_refused(tansy: Robot) -> None:
    text = replace(Calibration.default(tansy), battery_scale=1.04).dump()
    assert Calibration.parse(text, "cal.json", tansy).battery_scale == 1.04
    assert Calibration.default(tansy).battery_scale == 1.0
    for absurd in (0.5, 4, "1.04"):
        said = refusal(tansy, json.dumps({**json.loads(text), "battery_scale": absurd}))
        assert said.startswith("battery_scale: expected a"), said
    with pytest.raises(ValueError, match="a battery_scale from"):
        replace(Calibration.default(tansy), battery_scale=2.0)


def test_joints_that_the_file_leaves_out_are_as_the_data_sheet_has_them(tansy: Robot) -> None:
    found = Calibration.parse(entry(tansy, trim_deg=2), "cal.json", tansy)
    default = Calibration.default(tansy)
    assert found.trim_rad[0] == pytest.approx(np.deg2rad(2))
    assert (found.trim_rad[1:] == 0).all()
    assert (found.scale == 1).all()
    np.testing.assert_array_equal(found.low_us, default.low_us)


def test_a_servo_that_turns_less_than_its_data_sheet_says(tansy: Robot) -> None:
    """By hand: two points a right angle apart on a protractor, and the pulses that reach them."""
    found = Calibration.parse(entry(tansy, scale=1.1), "cal.json", tansy)
    mid, servo = tansy.mid.copy(), tansy.servos[0]
    there = mid.copy()
    there[0] += np.pi / 4
    step = found.pulses(tansy, there)[0] - found.pulses(tansy, mid)[0]
    low, high = servo.pulse_us
    assert step == pytest.approx(1.1 * (high - low) / servo.travel * np.pi / 4)


def test_refusals_name_the_place_and_what_was_expected(tansy: Robot) -> None:
    assert refusal(tansy, "{").startswith("line 1: expected JSON, ")
    assert refusal(tansy, "[1]") == "expected a JSON object"
    assert refusal(tansy, "[" * 100_000) == "expected JSON, found it nested too deeply"
    assert refusal(tansy, f'{{"format": {"1" * 5000}}}') == "expected JSON, found a number that is too long"
    assert refusal(tansy, '{"format": 1}') == f"format: expected '{FORMAT}', found 1"
    assert refusal(tansy, entry(tansy, trim_dg=2)).endswith(
        "trim_dg: is not a known key here; did you mean 'trim_deg'?"
    )
    assert refusal(tansy, entry(tansy, trim_deg=float("nan"))).endswith("trim_deg: expected a finite number, found nan")
    assert "less than or equal to 45" in refusal(tansy, entry(tansy, trim_deg=50))
    assert refusal(tansy, entry(tansy, reversed=1)).endswith("reversed: expected true or false, found 1")
    assert "greater than or equal to 0.5" in refusal(tansy, entry(tansy, scale=0.4))
    assert "expected low_us below high_us, found 2000 and 1000" in refusal(
        tansy, entry(tansy, low_us=2000, high_us=1000)
    )
    assert "expected low_us below high_us, found 2600 and 2500" in refusal(tansy, entry(tansy, low_us=2600))
    other = json.loads(entry(tansy))
    assert (
        refusal(tansy, json.dumps({**other, "robot": "Other"}))
        == "robot: expected the calibration of 'Tansy', found 'Other''s"
    )
    near = json.dumps({**other, "joints": {"left_frnt.coxa": {}}})
    assert (
        refusal(tansy, near)
        == "joints: expected a known joint, found 'left_frnt.coxa'; did you mean 'left_front.coxa'?"
    )
    assert refusal(tansy, json.dumps({"format": FORMAT, "robot": "Tansy"})) == "joints: is missing"


@pytest.mark.parametrize(
    "bad", [{"trim_rad": np.zeros(3)}, {"direction": np.zeros(20)}, {"low_us": np.full(20, 2600.0)}, {"scale": 2.0}]
)
def test_arrays_that_make_no_calibration_are_refused(tansy: Robot, bad: dict[str, object]) -> None:
    default = Calibration.default(tansy)
    kept = {
        name: getattr(default, name) for name in ("robot", "joint_names", "trim_rad", "direction", "low_us", "high_us")
    }
    with pytest.raises(ValueError, match="expected"):
        Calibration(**{**kept, **bad})


def test_a_servo_on_anothers_pin_gets_its_own_pulse_there(tansy: Robot) -> None:
    """Pulses are in the order of the connectors: by hand, for two plugs that were swapped."""
    default = Calibration.default(tansy)
    order = list(range(tansy.joints))
    order[1], order[5] = 5, 1
    swapped = replace(default, connector=tuple(order), low_us=default.low_us + np.arange(tansy.joints))
    joints = tansy.mid + np.deg2rad(np.arange(tansy.joints))
    straight, crossed = replace(swapped, connector=()).pulses(tansy, joints), swapped.pulses(tansy, joints)
    assert crossed[5] == straight[1]
    assert crossed[1] == straight[5]
    np.testing.assert_array_equal(np.delete(crossed, [1, 5]), np.delete(straight, [1, 5]))
    np.testing.assert_allclose(swapped.angles(tansy, crossed), joints, atol=1e-12)
    # The shortest pulses are still each servo's own.
    shortest = swapped.pulses(tansy, np.full(tansy.joints, -1e9))
    assert shortest[5] == swapped.low_us[1]
    again = Calibration.parse(swapped.dump(), "cal.json", tansy)
    assert again.connector == swapped.connector
    assert "connector" not in default.dump()


@given(st.data())
@settings(deadline=None)
def test_connectors_in_any_order_come_back(tansy: Robot, data: st.DataObject) -> None:
    order = tuple(data.draw(st.permutations(range(tansy.joints))))
    mixed = replace(data.draw(calibrations(tansy)), connector=order)
    values = np.arange(float(tansy.joints))
    np.testing.assert_array_equal(mixed.by_joint(mixed.by_connector(values)), values)
    assert all(mixed.joint_at[mixed.connector[joint]] == joint for joint in range(tansy.joints))
    assert Calibration.parse(mixed.dump(), "cal.json", tansy).connector == order


def test_a_connector_that_is_none_or_twice_is_refused(tansy: Robot) -> None:
    assert refusal(tansy, entry(tansy, connector="left_front.knee")).startswith("joints.left_front.coxa.connector: ")
    found = refusal(tansy, entry(tansy, connector="left_front.femur"))
    assert found.startswith("joints.left_front.coxa.connector: ")
    assert "left_front.coxa and left_front.femur" in found
    with pytest.raises(ValueError, match="connector of its own"):
        replace(Calibration.default(tansy), connector=(0,) * tansy.joints)
