"""Posing: axes, signs and order of rotations against SciPy, and feet that end where they were wanted."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from motionhub.motion.frames import Frames
from motionhub.motion.posing import joints_for, rest_joints, rotation, standing_feet
from motionhub.robot import kinematics

angle = st.floats(-np.pi, np.pi)


@given(roll=angle, pitch=angle, yaw=angle)
def test_attitude_is_yaw_after_pitch_after_roll_about_fixed_axes(roll, pitch, yaw):
    # SciPy: lower-case letters are fixed axes; fixed x then y then z is Rz Ry Rx. Signs: ROS REP 103.
    expected = Rotation.from_euler("xyz", [roll, pitch, yaw]).as_matrix()
    np.testing.assert_allclose(rotation(np.array(roll), np.array(pitch), np.array(yaw)), expected, atol=1e-14)


def test_signs_are_those_of_rep_103():
    # x forward, y left, z up, right-handed: yaw goes to the left, pitch puts the nose down, roll the right side.
    forward, left = np.array([1.0, 0, 0]), np.array([0, 1.0, 0])
    zero, some = np.array(0.0), np.array(0.1)
    assert (rotation(zero, zero, some) @ forward)[1] > 0
    assert (rotation(zero, some, zero) @ forward)[2] < 0
    assert (rotation(some, zero, zero) @ left)[2] > 0


def test_rest_is_the_stance_of_the_robot_file(tansy):
    joints = rest_joints(tansy)
    np.testing.assert_allclose(kinematics.feet(tansy, joints), tansy.rest_feet, atol=1e-12)
    assert kinematics.within(tansy, joints).all()
    np.testing.assert_allclose(standing_feet(tansy)[:, 2], tansy.foot_radius, atol=1e-15)


small = st.floats(-0.02, 0.02)
tilt = st.floats(-0.12, 0.12)


@given(body=st.tuples(small, small, small, tilt, tilt, tilt))
def test_planted_feet_stay_planted_whatever_the_body_does(body, tansy):
    """Forward kinematics and SciPy's rotation put every foot back where it stands."""
    joints, missed = joints_for(tansy, np.array(body), standing_feet(tansy))
    assert (missed == 0).all()
    turn = Rotation.from_euler("xyz", body[3:])
    place = np.add(body[:3], [0, 0, tansy.rest_height])
    np.testing.assert_allclose(turn.apply(kinematics.feet(tansy, joints)) + place, standing_feet(tansy), atol=1e-10)


def test_a_foot_out_of_reach_says_how_far_and_is_no_nan(tansy):
    feet = standing_feet(tansy)
    far = feet.copy()
    far[0] += [1.0, 0, 0]
    joints, missed = joints_for(tansy, np.zeros(6), far)
    assert np.isfinite(joints).all()
    assert missed[0] > 0.5
    assert (missed[1:] == 0).all()


def test_leading_dimensions_broadcast(tansy):
    bodies = np.zeros((4, 6))
    bodies[:, 2] = [0, -0.01, -0.02, -0.03]
    extra = np.array([[0.1, 0.2]])
    joints, missed = joints_for(tansy, bodies, standing_feet(tansy), extra)
    assert joints.shape == (4, tansy.joints)
    assert missed.shape == (4, tansy.legs)
    for row, body in zip(joints, bodies, strict=True):
        np.testing.assert_array_equal(row, joints_for(tansy, body, standing_feet(tansy), extra[0])[0])


def test_frames_hold_together(tansy):
    joints = np.repeat(rest_joints(tansy)[None], 51, axis=0)
    frames = Frames(tansy, "still", 50.0, joints, np.zeros((51, 2)), np.zeros((51, 6)))
    assert frames.duration_s == 1.0
    assert frames.times[-1] == 1.0
    assert len(frames) == 51
    assert frames.travel.shape == (51, 3)
    with pytest.raises(ValueError, match="read-only"):
        frames.joints[0, 0] = 1.0
    joints[0, 0] = 1.0  # whoever made the array keeps the right to write to it
    with pytest.raises(ValueError, match="outputs"):
        Frames(tansy, "still", 50.0, joints, np.zeros((51, 3)), np.zeros((51, 6)))
