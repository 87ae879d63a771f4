"""Gaits: which legs step together, and that they change over on whole ticks."""

from fractions import Fraction
from itertools import pairwise
from math import factorial

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import expm
from walkers import ROBOTS, TANSY

from motionhub.motion.gait import GAITS, Gait, creep, default_gait, gaits, sides
from motionhub.motion.planar import compose, displacement, inward, outward


def test_every_robot_walks_by_the_gait_that_suits_its_legs():
    assert {robot.legs: list(gaits(robot)) for robot in ROBOTS} == {
        4: ["creep"],
        6: ["tripod", "tetrapod", "ripple", "wave", "creep"],
        8: ["tetrapod", "ripple", "wave", "creep"],
    }
    for robot in ROBOTS:
        assert default_gait(robot) == next(iter(gaits(robot).values()))


def test_tripod_is_front_and_rear_of_one_side_with_the_middle_of_the_other():
    # Practice: the alternating tripod, known from insects as from machines.
    phases = dict(zip(TANSY.leg_names, gaits(TANSY)["tripod"].phases, strict=True))
    one = {name for name, phase in phases.items() if phase == phases["left_front"]}
    assert one == {"left_front", "left_rear", "right_middle"}
    assert gaits(TANSY)["tripod"].duty == 0.5


def test_neighbours_on_a_side_and_opposite_legs_never_step_together():
    for robot in ROBOTS:
        if robot.legs == 4:
            continue
        gait = default_gait(robot)
        left, right = sides(robot)
        for side in (left, right):
            assert all(gait.phases[a] != gait.phases[b] for a, b in pairwise(side))
        assert all(gait.phases[a] != gait.phases[b] for a, b in zip(left, right, strict=True))


def test_a_gait_refuses_a_robot_it_does_not_suit():
    for robot in ROBOTS:
        for name, make in GAITS.items():
            if name not in gaits(robot):
                with pytest.raises(ValueError, match="legs on each side"):
                    make(robot)


def test_creep_goes_from_rear_to_front_on_each_side_and_one_at_a_time():
    for robot in ROBOTS:
        gait = creep(robot)
        timing = gait.timing(8.0, 0.02)
        up = np.array(
            [
                [timing.since_touchdown(tick, leg) >= timing.stance for leg in range(robot.legs)]
                for tick in range(timing.cycle)
            ]
        )
        assert up.sum(axis=1).max() == 1
        order = [int(np.argmax(row)) for row in up if row.any()]
        turns = [leg for leg, before in zip(order, [-1, *order], strict=False) if leg != before]
        left, right = sides(robot)
        assert turns == [*reversed(left), *reversed(right)]


@pytest.mark.parametrize("duty", [0.0, 1.0, -0.1, float("nan")])
def test_a_duty_factor_is_between_nothing_and_all(duty):
    with pytest.raises(ValueError, match="duty"):
        Gait("x", duty, (0.0, 0.5))


@pytest.mark.parametrize("phases", [(), (1.0,), (-0.1,), (float("nan"),)])
def test_phases_are_shares_of_the_cycle(phases):
    with pytest.raises(ValueError, match="phases"):
        Gait("x", 0.5, phases)


@settings(deadline=None)
@given(
    duty=st.floats(0.05, 0.95),
    phases=st.lists(st.floats(0, 0.99), min_size=4, max_size=8),
    cycle=st.floats(0.2, 20.0),
    dt=st.sampled_from([0.005, 0.01, 0.02]),
)
def test_any_gait_comes_out_in_whole_ticks(duty, phases, cycle, dt):
    timing = Gait("x", duty, tuple(phases)).timing(cycle, dt)
    assert 1 <= timing.stance < timing.cycle
    assert all(0 <= tick < timing.cycle for tick in timing.touchdown)
    assert 0 <= timing.first < timing.cycle
    assert any(timing.since_touchdown(timing.first, leg) == timing.stance for leg in range(len(phases)))
    # Off by a tick or two, or by half the grain where that is coarse.
    assert abs(timing.cycle * dt - cycle) <= max(2 * dt, cycle / 4 + dt)


finite = st.floats(-2, 2)


@settings(deadline=None)
@given(twist=st.tuples(finite, finite, finite), seconds=st.floats(0, 3))
def test_displacement_is_the_exponential_of_the_twist(twist, seconds):
    vx, vy, wz = twist
    generator = np.array([[0, -wz, vx], [wz, 0, vy], [0, 0, 0]])
    expected = expm(generator * seconds)
    x, y, yaw = displacement(twist, seconds)
    assert np.allclose([x, y], expected[:2, 2], atol=1e-12)
    assert np.allclose([np.cos(yaw), np.sin(yaw)], expected[:2, 0], atol=1e-12)


@settings(deadline=None)
@given(vx=finite, vy=finite, wz=st.floats(-2e-3, 2e-3), seconds=st.floats(0, 1))
def test_small_turns_join_the_straight_line_without_a_step(vx, vy, wz, seconds):
    # The Maclaurin series of sin(a)/a and (1 - cos(a))/a, in exact fractions.
    a, t = Fraction(wz) * Fraction(seconds), Fraction(seconds)
    along = t * sum((-1) ** k * a ** (2 * k) / factorial(2 * k + 1) for k in range(6))
    across = t * sum((-1) ** k * a ** (2 * k + 1) / factorial(2 * k + 2) for k in range(6))
    expected = [
        float(Fraction(vx) * along - Fraction(vy) * across),
        float(Fraction(vx) * across + Fraction(vy) * along),
    ]
    # What the closed form loses to cancellation just outside the series' span is 1e-16 / 1e-3.
    assert np.allclose(displacement((vx, vy, wz), seconds)[:2], expected, rtol=0, atol=1e-12)


@settings(deadline=None)
@given(a=st.tuples(finite, finite, finite), b=st.tuples(finite, finite, finite), p=st.tuples(finite, finite))
def test_poses_compose_and_undo(a, b, p):
    assert np.allclose(outward(compose(a, b), *p), outward(a, *outward(b, *p)), atol=1e-12)
    assert np.allclose(inward(a, *outward(a, *p)), p, atol=1e-12)
