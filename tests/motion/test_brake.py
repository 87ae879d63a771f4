"""A stop: everything together, as quick as the limits allow, and no foot dragged by it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import ruckig
from hypothesis import given, settings
from hypothesis import strategies as st

from motionhub.motion.brake import BRAKE_S, ONSET_S, STANDSTILL_S, brake, run_out
from motionhub.motion.odometry import travel
from motionhub.motion.planar import REST
from motionhub.motion.posing import joints_for, rest_joints
from motionhub.motion.stepper import Stepper
from motionhub.motion.support import rest_on_ground
from motionhub.robot import description
from motionhub.robot.kinematics import within
from motionhub.robot.limits import top_speed

ROBOTS = Path(__file__).parents[2] / "sequences" / "robots"
DT = 0.02
FINE = 1e-3

shares = st.lists(st.floats(-1, 1), min_size=20, max_size=20)


def far_from_its_end(robot, velocity):
    """The whole range before each joint."""
    return np.where(velocity > 0, robot.lower, robot.upper)


def quickest(robot, velocity, slowing=0.0):
    """The shortest stop of the joint that has the longest way, by ruckig: (seconds, rad)."""
    top = top_speed(robot)
    j = int((np.abs(velocity) / top).argmax())
    asked = ruckig.InputParameter(1)
    asked.control_interface = ruckig.ControlInterface.Velocity
    asked.current_position, asked.current_velocity = [0.0], [abs(velocity[j])]
    asked.current_acceleration = [-slowing * abs(velocity[j])]
    most = top[j] / BRAKE_S
    asked.max_velocity, asked.max_acceleration, asked.max_jerk = [top[j]], [most], [most / ONSET_S]
    path = ruckig.Trajectory(1)
    assert ruckig.Ruckig(1).calculate(asked, path) in (ruckig.Result.Working, ruckig.Result.Finished)
    return path.duration, j, path.at_time(path.duration)[0][0]


@pytest.mark.parametrize("share", [0.02, 0.1, 0.29, 0.31, 0.6, 1.0])
@pytest.mark.parametrize("slowing", [0.0, 1.0, 4.0])
def test_the_fastest_joint_stops_as_ruckig_would_stop_it(tansy, share, slowing):
    """Time-optimal under limits of acceleration and jerk: Berscheid & Kröger, RSS 2021, the ``ruckig`` package."""
    velocity = np.zeros(tansy.joints)
    velocity[3], velocity[7] = share * top_speed(tansy)[3], -share * top_speed(tansy)[7] / 3
    start = far_from_its_end(tansy, velocity)
    rows = brake(tansy, FINE, start, velocity, -slowing * velocity)
    seconds, j, way = quickest(tansy, velocity, slowing)
    assert len(rows) == pytest.approx(seconds / FINE, abs=1.01)
    assert rows[-1, j] - start[j] == pytest.approx(way, abs=1e-9)
    if not slowing:
        np.testing.assert_allclose(rows[-1], start + run_out(tansy, velocity), atol=1e-9)


@settings(max_examples=80, deadline=None)
@given(fast=shares, bend=st.floats(-30, 30), place=st.floats(0.05, 0.95))
def test_joints_keep_their_proportion_their_limits_and_their_range(fast, bend, place, tansy):
    robot = tansy
    top = top_speed(robot)
    joints = robot.lower + place * (robot.upper - robot.lower)
    velocity = np.array(fast) * top
    rows = np.vstack([joints, brake(robot, FINE, joints, velocity, bend * velocity)])
    assert within(robot, rows).all()
    assert len(rows) * FINE <= STANDSTILL_S
    speed = np.diff(rows, axis=0) / FINE
    assert (np.abs(speed) <= np.abs(velocity) + 1e-9).all()
    assert np.abs(speed[-1]).max() < 0.05
    free = np.abs(run_out(robot, velocity)) < np.where(velocity > 0, robot.upper - joints, joints - robot.lower)
    if free.all():
        # In proportion: the rows lie on one line
        along = rows - joints
        np.testing.assert_allclose(
            along, np.outer(along @ velocity / max(velocity @ velocity, 1e-12), velocity), atol=1e-9
        )
        gain = np.diff(speed, axis=0) / FINE
        assert (np.abs(gain) <= top / BRAKE_S * 1.01 + 1e-6).all()


def test_standing_still_it_is_over_at_once(tansy):
    none = np.zeros(tansy.joints)
    rest = rest_joints(tansy)
    np.testing.assert_array_equal(brake(tansy, DT, rest, none, none), rest[None])


@pytest.mark.parametrize("name", ["tansy", "trestle", "harrow"])
@pytest.mark.parametrize("seed", range(3))
def test_stopped_in_the_middle_of_a_walk_no_foot_is_dragged(name, seed):
    """Practice: a servo's play moves a foot by some 3 mm, so less than that is not seen."""
    robot, dice = description.load(ROBOTS / f"{name}.toml"), np.random.default_rng(seed)
    stepper = Stepper(robot)
    twist = stepper.limit(tuple(dice.uniform(-1, 1, 3) * (1.0, 1.0, 4.0)))[0]
    assert twist != REST
    walk = [rest_joints(robot)]
    walk += [joints_for(robot, np.zeros(6), stepper.step(twist).feet)[0] for _ in range(120)]
    for frame in range(10, 120, 3):
        before, last, now = walk[frame - 2 : frame + 1]
        velocity, earlier = (now - last) / DT, (last - before) / DT
        rows = np.vstack([now, brake(robot, DT, now, velocity, (velocity - earlier) / DT)])
        support = rest_on_ground(robot, rows)
        even = np.ones_like(support.clearance)
        assert travel(support.level_feet[..., :2], support.down, even).slip.max() < 3e-3
