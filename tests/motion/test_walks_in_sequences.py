"""Walking stretches of a sequence: the live stepper's own steps, from standing to standing."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from motionhub.errors import InputError
from motionhub.motion.documents import parse
from motionhub.motion.posing import joints_for, rest_joints
from motionhub.motion.render import render
from motionhub.motion.retime import knots, stretched
from motionhub.motion.stepper import Stepper
from motionhub.motion.strides import runs
from motionhub.robot import description, kinematics

SHIPPED = Path(__file__).parents[2] / "sequences"


def test_a_walk_is_the_steppers_own(rendered, tansy):
    frames = rendered(walks=[{"from_ms": 400, "to_ms": 5000, "forward_mm_s": 45, "turn_deg_s": 6}], end_ms=5400)
    stepper = Stepper(tansy, dt=0.02)
    twist = (0.045, 0.0, float(np.deg2rad(6)))
    for frame in range(21, 21 + 100):
        stance = stepper.step(twist)
        joints, _ = joints_for(tansy, np.zeros(6), stance.feet)
        np.testing.assert_array_equal(frames.joints[frame], joints)
        np.testing.assert_allclose(frames.travel[frame], stance.travel, atol=1e-15)


@settings(max_examples=25, deadline=None)
@given(
    forward=st.floats(-50, 50), left=st.floats(-30, 30), turn=st.floats(-15, 15),
    start=st.floats(0, 900), length=st.floats(1500, 6000),
)  # fmt: skip
def test_a_walk_starts_and_ends_standing(forward, left, turn, start, length, tansy):
    (vx, vy, wz), _ = Stepper(tansy).limit((forward / 1000, left / 1000, float(np.deg2rad(turn))))
    if vx == vy == wz == 0:
        return
    walk = {"from_ms": start, "to_ms": start + length, "forward_mm_s": vx * 999, "left_mm_s": vy * 999}
    walk["turn_deg_s"] = float(np.rad2deg(wz)) * 0.999
    data = {"format": "motionhub-sequence/1", "name": "walk", "walks": [walk], "end_ms": start + length + 500}
    frames = render(parse(json.dumps(data), "x", tansy), tansy)
    rest = rest_joints(tansy)
    first, last = int(np.ceil(start / 20 - 1e-6)), int((start + length) / 20 + 1e-6)
    np.testing.assert_array_equal(frames.joints[: first + 1], np.broadcast_to(rest, (first + 1, tansy.joints)))
    np.testing.assert_allclose(frames.joints[last:], np.broadcast_to(rest, frames.joints[last:].shape), atol=1e-12)
    assert (frames.travel[last:] == frames.travel[last]).all()


def test_it_walks_until_a_stop_is_just_in_time(rendered, tansy):
    """The stop comes as late as it can: a stretch goes further by its speed times the time that it is longer."""
    reached = [
        rendered(walks=[{"from_ms": 0, "to_ms": to, "forward_mm_s": 40}]).travel[-1, 0]
        for to in range(3000, 9001, 1200)
    ]
    np.testing.assert_allclose(np.diff(reached), 0.040 * 1.2, atol=0.005)


def test_keyframes_lie_on_top_of_a_walk(rendered, tansy):
    walk = [{"from_ms": 0, "to_ms": 4000, "forward_mm_s": 40}]
    plain = rendered(walks=walk)
    low = rendered({"at_ms": 0, "body": {"z_mm": -12}}, {"at_ms": 500, "feet": {"left_front": {"z_mm": 0}}}, walks=walk)
    shift = kinematics.feet(tansy, low.joints) - kinematics.feet(tansy, plain.joints)
    np.testing.assert_allclose(shift, np.broadcast_to([0, 0, 0.012], shift.shape), atol=1e-12)


def test_a_second_walk_goes_on_from_where_the_first_ended(rendered):
    turn = {"from_ms": 0, "to_ms": 5000, "turn_deg_s": 20}
    ahead = {"from_ms": 5200, "to_ms": 9000, "forward_mm_s": 40}
    travel = rendered(walks=[turn, ahead]).travel
    yaw = travel[251, 2]
    assert yaw > 1.0
    gone = travel[-1, :2] - travel[251, :2]
    assert np.arctan2(gone[1], gone[0]) == pytest.approx(yaw, abs=1e-9)
    assert np.hypot(*gone) == pytest.approx(rendered(walks=[ahead]).travel[-1, 0], abs=1e-12)


def test_walks_without_a_gap_are_walked_as_one_with_a_hand_that_drives(rendered, tansy):
    courses = [(45, 0, 0, 1400), (10, 20, 0, 2600), (0, 0, 0, 3600), (30, 0, 12, 6000)]
    walks, start = [], 0
    for forward, left, turn, end in courses:
        walk = {"from_ms": start, "to_ms": end, "forward_mm_s": forward, "left_mm_s": left, "turn_deg_s": turn}
        walks.append(walk)
        start = end
    frames = rendered(walks=[*walks, {"from_ms": 6000, "to_ms": 9000}])
    stepper = Stepper(tansy, dt=0.02)
    for frame in range(1, len(frames)):
        forward, left, turn = next((c[:3] for c in courses if (frame - 1) * 20 < c[3]), (0, 0, 0))
        stance = stepper.step((forward / 1000, left / 1000, float(np.deg2rad(turn))))
        np.testing.assert_allclose(frames.travel[frame], stance.travel, atol=1e-15)
        joints, _ = joints_for(tansy, np.zeros(6), stance.feet)
        np.testing.assert_allclose(frames.joints[frame], joints, atol=1e-12)
    assert stepper.settled
    # With a gap, or in another gait, each of them starts and stops by itself and has no time for that.
    with pytest.raises(InputError, match=r"walks\[1\]: expected at least"):
        rendered(walks=[walks[0], walks[1] | {"from_ms": 1420}])
    with pytest.raises(InputError, match=r"walks\[0\]: expected at least"):
        rendered(walks=[walks[0] | {"to_ms": 1200}, walks[1] | {"from_ms": 1200, "gait": "ripple"}])
    with pytest.raises(InputError, match=r"walks\[1\]: expected at most"):
        rendered(walks=[walks[0], walks[1] | {"forward_mm_s": 900}])


def test_walks_without_a_gap_are_retimed_as_one_and_keep_their_way(rendered, tansy):
    walks = [
        {"from_ms": 500, "to_ms": 2000, "forward_mm_s": 45},
        {"from_ms": 2000, "to_ms": 5000, "forward_mm_s": 20, "left_mm_s": 15},
    ]
    data = {"format": "motionhub-sequence/1", "name": "walk", "walks": walks, "end_ms": 5500}
    sequence = parse(json.dumps(data), "x", tansy)
    np.testing.assert_allclose(knots(sequence), [0, 0.5, 5, 5.5])
    slower = stretched(sequence, tansy, [1, 1.5, 1])
    assert runs(slower) == [range(2)]
    one, other = (render(each, tansy).travel[-1] for each in (sequence, slower))
    np.testing.assert_allclose(other, one, atol=0.002)


@pytest.mark.parametrize(
    ("walk", "expected"),
    [
        ({"to_ms": 400, "forward_mm_s": 40}, "expected at least 1... ms, to start, step and stand again, found 400"),
        ({"from_ms": 11, "to_ms": 15, "forward_mm_s": 40}, "expected at least .* found 0"),
        ({"to_ms": 5000, "forward_mm_s": 900}, r"expected at most \d+(\.\d)? mm/s forward .* found 900 mm/s"),
        ({"to_ms": 5000, "turn_deg_s": -300}, r"expected at most -\d+(\.\d)? deg/s to the left in .* found -300 deg/s"),
        ({"to_ms": 5000}, "expected a speed"),
        ({"to_ms": 5000, "forward_mm_s": 9, "lift_mm": 300}, "expected a lift and cycle"),
    ],
)  # fmt: skip
def test_a_walk_that_cannot_be_is_refused_by_name(rendered, walk, expected):
    with pytest.raises(InputError, match=r"test\.json: walks\[0\]: " + expected):
        rendered(walks=[{"from_ms": 0} | walk], end_ms=6000)


def test_the_shortest_walk_named_in_a_refusal_is_accepted(rendered):
    with pytest.raises(InputError) as refused:
        rendered(walks=[{"from_ms": 0, "to_ms": 200, "forward_mm_s": 40}])
    least = int(refused.value.expected.split("at least ")[1].split(" ms")[0])
    assert rendered(walks=[{"from_ms": 0, "to_ms": least, "forward_mm_s": 40}]).travel[-1, 0] > 0
    with pytest.raises(InputError):
        rendered(walks=[{"from_ms": 0, "to_ms": least - 20, "forward_mm_s": 40}])


@pytest.mark.parametrize("key", ["forward_mm_s", "left_mm_s", "turn_deg_s"])
@pytest.mark.parametrize("sign", [1, -1])
def test_the_speed_named_in_a_refusal_is_accepted(rendered, key, sign):
    with pytest.raises(InputError) as refused:
        rendered(walks=[{"from_ms": 0, "to_ms": 4000, key: 350 * sign}])
    most = float(refused.value.expected.split("at most ")[1].split()[0])
    assert most * sign > 0
    assert np.abs(rendered(walks=[{"from_ms": 0, "to_ms": 4000, key: most}]).travel[-1]).max() > 0
    with pytest.raises(InputError):
        rendered(walks=[{"from_ms": 0, "to_ms": 4000, key: most + 0.2 * sign}])


@pytest.mark.parametrize("path", sorted(SHIPPED.glob("robots/*.toml")), ids=lambda path: path.stem)
def test_any_number_of_legs_walks_under_keyframes(path):
    robot = description.load(path)
    leg = robot.leg_names[0]
    keyframes = [{"at_ms": 400, "body": {"z_mm": -3}}, {"at_ms": 9000, "feet": {leg: {"z_mm": 0}}, "body": {"z_mm": 0}}]
    walks = [{"from_ms": 600, "to_ms": 8800, "forward_mm_s": 8}]
    data = {"format": "motionhub-sequence/1", "name": "walk", "keyframes": keyframes, "walks": walks}
    frames = render(parse(json.dumps(data), path.name, robot), robot)
    assert frames.joints.shape == (451, robot.joints)
    assert frames.travel[-1, 0] > 0.02
    assert frames.reach_error.max() == 0
    np.testing.assert_allclose(frames.joints[-1], rest_joints(robot), atol=1e-12)
