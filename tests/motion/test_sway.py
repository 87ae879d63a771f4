"""The body over its feet: inside the support polygon, on any number of legs, whatever is commanded."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from scipy.spatial import ConvexHull
from walkers import (
    DT,
    HARROW,
    ROBOTS,
    TANSY,
    TRESTLE,
    WALK_OF,
    every_walk,
    streams,
    walk,
    walk_until_settled,
    walking,
)

from motionhub.motion.gait import Timing, creep, gaits, own_cycle
from motionhub.motion.manner import manner_of
from motionhub.motion.planar import REST
from motionhub.motion.posing import joints_for, rest_joints, standing_feet
from motionhub.motion.stepper import Stepper
from motionhub.motion.sway import HARMONICS, sway_path
from motionhub.robot.mass import centre_of_mass


def margins(robot, walked) -> np.ndarray:
    """Static stability margin at every tick, in m (McGhee & Frank 1968): the polygon is SciPy's convex hull."""
    joints, _ = joints_for(robot, np.zeros(6), walked.feet)
    weight = centre_of_mass(robot, joints)[:, :2]
    return np.array(
        [distance_inside(feet[down, :2], at) for feet, down, at in zip(walked.feet, walked.down, weight, strict=True)]
    )


def distance_inside(feet: np.ndarray, point: np.ndarray) -> float:
    hull = ConvexHull(feet)
    return float(-(hull.equations[:, :2] @ point + hull.equations[:, 2]).max())


@every_walk
def test_a_walk_at_full_speed_keeps_the_robots_margin_from_its_start_to_its_end(robot, gait):
    for angle in np.arange(4) * np.pi / 2:
        stepper = Stepper(robot, gait, DT)
        top, _ = stepper.limit((9 * np.cos(angle), 9 * np.sin(angle), 0.0))
        walked = walk_until_settled(stepper, [top] * 2 * stepper.timing.cycle)
        assert margins(robot, walked).min() >= robot.walk.margin
    for turn in (-9.0, 9.0):
        stepper = Stepper(robot, gait, DT)
        walked = walk_until_settled(stepper, [stepper.limit((0, 0, turn))[0]] * 2 * stepper.timing.cycle)
        assert margins(robot, walked).min() >= robot.walk.margin


@settings(max_examples=40, deadline=None)
@given(walking, streams())
def test_any_stream_of_commands_is_walked_inside_the_polygon(which, commands):
    robot, gait = WALK_OF[which]
    walked = walk_until_settled(Stepper(robot, gait, DT), commands)
    assert margins(robot, walked).min() >= robot.walk.margin


def test_without_its_sway_the_four_legged_robot_would_stand_outside_its_polygon():
    """That the sway is needed, and that the test above could fail."""
    stepper = Stepper(TRESTLE, None, DT)
    assert stepper.manner.sway
    stepper.manner = replace(stepper.manner, sway=())
    unaware = stepper.copy()
    walked = walk(stepper, [(0.01, 0, 0)] * 2 * stepper.timing.cycle)
    assert walked.down.all()  # it does not lift a leg that its weight needs
    unaware._spares = lambda leg: True
    walked = walk(unaware, [(0.01, 0, 0)] * 2 * stepper.timing.cycle)
    assert margins(TRESTLE, walked).min() < TRESTLE.walk.margin


def test_who_stands_well_does_not_sway():
    for robot in (TANSY, HARROW):
        for gait in gaits(robot).values():
            assert sway_path(robot, gait.timing(own_cycle(robot, gait), DT), robot.walk.margin) == ()
            assert manner_of(robot, gait, DT).sway == ()


def test_the_body_leans_over_before_the_first_foot_lifts_and_comes_back_after_the_last_is_down():
    stepper = Stepper(TRESTLE, None, DT)
    walked = walk_until_settled(stepper, [(0.015, 0, 0)] * 500)
    lifted = np.flatnonzero(~walked.down.all(axis=1))
    first, last = lifted[0], lifted[-1]
    assert first > 10
    assert walked.travel[first - 1, 1] ** 2 > 0.01**2  # to one side
    assert len(walked.travel) - last > 10
    # From the first tick on: a command is seen to be taken.
    assert abs(walked.travel[1, 1]) > 0
    assert np.array_equal(stepper.stance.feet, standing_feet(TRESTLE))


def test_letting_go_while_it_still_leans_over_brings_it_back_without_a_step():
    stepper = Stepper(TRESTLE, None, DT)
    walked = walk_until_settled(stepper, [(0.015, 0, 0)] * 12)
    assert walked.down.all()
    assert walked.travel[-1] == pytest.approx(0, abs=1e-12)
    assert np.abs(walked.travel[:, 1]).max() > 1e-3


def test_asking_again_while_it_leans_back_leans_over_again_without_a_jump():
    stepper = Stepper(TRESTLE, None, DT)
    walked = walk_until_settled(stepper, [(0.015, 0, 0)] * 25 + [REST] * 10 + [(0, 0.01, 0)] * 60)
    speed = np.diff(walked.travel[:, :2], axis=0) / DT
    assert np.linalg.norm(np.diff(speed, axis=0), axis=1).max() / DT < 2.0  # m/s²
    assert np.linalg.norm(speed, axis=1).max() < 0.4


@pytest.mark.parametrize("margin", [0.005, 0.01, 0.02, 0.03])
def test_the_sway_keeps_the_margin_it_was_asked_for_and_is_smooth(margin):
    timing = creep(TRESTLE).timing(2.4, DT)
    path = np.array(sway_path(TRESTLE, timing, margin))
    assert len(path) == timing.cycle
    weight = centre_of_mass(TRESTLE, rest_joints(TRESTLE))[:2]
    for tick, at in enumerate(path):
        down = [leg for leg in range(4) if timing.since_touchdown(tick, leg) < timing.stance]
        assert distance_inside(TRESTLE.rest_feet[down, :2], weight + at) >= margin - 2e-4
    spectrum = np.abs(np.fft.rfft(path, axis=0))
    assert spectrum[HARMONICS + 1 :].max() < 1e-12


def test_what_no_way_can_keep_comes_out_as_near_as_may_be():
    timing = creep(TRESTLE).timing(2.4, DT)
    path = np.array(sway_path(TRESTLE, timing, 0.5))
    assert np.isfinite(path).all()


def test_a_gait_that_never_lifts_a_needed_leg_has_its_path_in_the_middle():
    """All feet of four down but one for a single tick: the body need only be there then."""
    timing = Timing(100, 99, (0, 25, 50, 75))
    for robot in ROBOTS:
        if robot.legs == 4:
            path = np.array(sway_path(robot, timing, 0.008))
            assert np.abs(path).max() < 0.05


@every_walk
def test_a_slower_walk_may_always_have_the_same_strides(robot, gait):
    """Nothing in where feet reach and what they carry knows how long a cycle takes: what can be walked can be walked
    more slowly, down to the last rounding."""
    own = manner_of(robot, gait, DT)
    for ticks in range(own.timing.cycle, 10 * own.timing.cycle, own.timing.cycle // 7):
        slower = manner_of(robot, gait, DT, ticks * DT)
        assert min(slower.pace) * slower.timing.cycle >= min(own.pace) * own.timing.cycle * (1 - 1e-12)


def test_the_sway_is_the_same_way_however_many_ticks_it_takes():
    fine, coarse = (creep(TRESTLE).timing(seconds, DT) for seconds in (9.6, 2.4))
    assert fine.finer(120) == coarse.finer(120)
    slow, quick = (np.array(manner_of(TRESTLE, creep(TRESTLE), DT, seconds).sway) for seconds in (9.6, 2.4))
    np.testing.assert_allclose(slow[::4], quick, atol=1e-12)
