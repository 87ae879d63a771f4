"""A stop: everything together, as quick as the limits allow, and no foot dragged by it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import ruckig
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull

from motionhub.motion.brake import BRAKE_S, CARRIES, ONSET_S, SHARPEST, STANDSTILL_S, brake, run_out
from motionhub.motion.gait import gaits
from motionhub.motion.odometry import travel
from motionhub.motion.over_ground import DRAGS
from motionhub.motion.planar import REST
from motionhub.motion.posing import joints_for, rest_joints, standing_feet
from motionhub.motion.stepper import Stepper
from motionhub.motion.support import rest_on_ground
from motionhub.robot import description
from motionhub.robot.kinematics import feet, within
from motionhub.robot.limits import top_speed
from motionhub.robot.mass import centre_of_mass

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
    assert (np.abs(speed) <= top * (1 + 1e-9)).all()
    assert np.abs(speed[-1]).max() < 0.05
    up = rest_on_ground(robot, joints[None]).clearance[0] > 2e-5
    if not dragged(robot, joints, velocity, ~up):
        return
    assert (np.abs(speed) <= np.abs(velocity) + 1e-9).all()
    free = np.abs(run_out(robot, velocity)) < np.where(velocity > 0, robot.upper - joints, joints - robot.lower)
    if free.all():
        # In proportion: the rows lie on one line; a leg in the air on one of its own, and it may be sooner there.
        along, legs = rows - joints, 3 * robot.legs
        air = np.zeros(robot.joints, dtype=bool)
        air[:legs] = np.repeat(up, 3)
        for own in (~air, *(np.arange(robot.joints) // 3 == leg for leg in np.flatnonzero(air[:legs:3]))):
            line = along[:, own] @ velocity[own] / max(velocity[own] @ velocity[own], 1e-12)
            np.testing.assert_allclose(along[:, own], np.outer(line, velocity[own]), atol=1e-9)
            if np.abs(velocity[~air]).max() > 1e-5:
                assert (line <= along[:, ~air] @ velocity[~air] / (velocity[~air] @ velocity[~air]) + 1e-9).all()
        gain = np.abs(np.diff(speed, axis=0)) / FINE
        sharpest = np.where(air, SHARPEST, 1.0)
        assert (gain <= sharpest * top / BRAKE_S * 1.01 + 1e-6).all()


def dragged(robot, joints, velocity, stands):
    """Whether feet that stand come nearer to each other, or part: on a floor they cannot but slide then."""
    near, later = (feet(robot, at)[stands] for at in (joints, joints + 1e-4 * velocity))
    apart = [np.linalg.norm(at[:, None] - at[None], axis=2) for at in (near, later)]
    return len(near) < 3 or np.abs(apart[1] - apart[0]).max() / 1e-4 > 4 * DRAGS


def test_standing_still_it_is_over_at_once(tansy):
    none = np.zeros(tansy.joints)
    rest = rest_joints(tansy)
    np.testing.assert_array_equal(brake(tansy, DT, rest, none, none), rest[None])


@pytest.mark.parametrize("name", ["tansy", "trestle", "harrow"])
@pytest.mark.parametrize("seed", range(3))
def test_stopped_in_the_middle_of_a_walk_no_foot_is_dragged(name, seed):
    """As little as in the walk itself, whose plan lets no foot that carries weight move by more than 0.5 mm a step."""
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
        carries = support.down & (support.clearance <= CARRIES)
        assert travel(support.level_feet[..., :2], carries, carries * 1.0).slip.max() < 0.5e-3


@pytest.mark.parametrize("name", ["tansy", "trestle", "harrow"])
def test_stopped_just_before_it_lands_a_foot_does_not_press_another_off_the_ground(name):
    """At every tick of every gait, start and end included. A walk is level and keeps its height, so where the ground is
    follows from the stance alone; the margin is McGhee & Frank's (Math. Biosci. 3, 1968) to SciPy's hull of the feet
    that stood at that moment, and is not to fall below the stated one. Practice: a print gives by some tenths of a mm.
    """
    robot = description.load(ROBOTS / f"{name}.toml")
    ways = ((0.01, 0.0, 0.0), (0.0, -9.0, 0.0), (-9.0, 0.0, 3.0))
    for k, gait in enumerate(gaits(robot).values()):
        stepper = Stepper(robot, gait, DT)
        twist = stepper.limit(ways[k % len(ways)])[0]
        stances = [stepper.stance] * 3
        stances += [stepper.step(twist) for _ in range(2 * stepper.timing.cycle)]
        while not stepper.settled:
            stances.append(stepper.step(REST))
        joints = joints_for(robot, np.zeros(6), np.array([stance.feet for stance in stances]))[0]
        pressed = 0.0
        for i in range(2, len(joints)):
            velocity, earlier = (joints[i] - joints[i - 1]) / DT, (joints[i - 1] - joints[i - 2]) / DT
            rows = brake(robot, DT, joints[i], velocity, (velocity - earlier) / DT)
            steps = np.abs(np.diff(np.vstack([joints[i], rows]), axis=0))
            assert (steps <= top_speed(robot) * DT * (1 + 1e-9)).all()
            ends, down = feet(robot, rows), stances[i].down
            low = ends[..., 2] - standing_feet(robot)[:, 2] + robot.rest_height
            pressed = max(pressed, -low[:, ~down].min(initial=0.0))
            hull = ConvexHull(ends[-1, down, :2])
            weight = centre_of_mass(robot, rows[-1])[:2]
            margin = -(hull.equations[:, :2] @ weight + hull.equations[:, 2]).max()
            assert margin >= robot.walk.margin, f"{margin * 1e3:.1f} mm, {gait.name}, tick {i}"
        assert pressed < 0.5e-3, f"{pressed * 1e3:.2f} mm, {gait.name}"
