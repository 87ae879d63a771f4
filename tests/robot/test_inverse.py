"""Inverse kinematics: what is reached is reached, what is not is missed by exactly the true nearest distance."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from numpy.typing import NDArray
from scipy.optimize import minimize

from motionhub.robot.kinematics import feet, leg_angles, within
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

ANY_FLOAT = st.floats(allow_nan=True, allow_infinity=True, width=64)
ONE_LEG = 0


def whole(robot: Robot, legs: Array) -> Array:
    """Joint angles (…, J) with the legs' (…, L, 3) and every extra joint at zero."""
    joints = np.zeros((*legs.shape[:-2], robot.joints))
    joints[..., : 3 * robot.legs] = legs.reshape(*legs.shape[:-2], 3 * robot.legs)
    return joints


def around(robot: Robot, count: int, seed: int) -> Array:
    """Points around each leg's hip, (count, L, 3): within reach, out of it, and too near."""
    rng = np.random.default_rng(seed)
    size = 1.2 * (robot.coxa + robot.femur + robot.tibia)
    return robot.hip + rng.uniform(-1, 1, (count, robot.legs, 3)) * size[:, None]


def test_what_is_reached_is_where_it_was_asked_and_the_rest_is_off_by_the_error(robot: Robot) -> None:
    asked = around(robot, 10_000, 1)
    reach = leg_angles(robot, asked)
    missed = np.linalg.norm(feet(robot, whole(robot, reach.joints)) - asked, axis=-1)
    assert 0.1 < reach.ok.mean() < 0.9  # both kinds are in the sample
    assert missed[reach.ok].max() < 1e-9
    np.testing.assert_allclose(missed, reach.error, rtol=0, atol=1e-9)


def test_every_posture_within_the_ranges_comes_back_as_itself(robot: Robot) -> None:
    """Also with a foot drawn in past the coxa's axis, where facing it would turn the coxa half around."""
    rng = np.random.default_rng(2)
    joints = rng.uniform(robot.lower, robot.upper, (10_000, robot.joints))
    # Straight knees are a double root: an angle there is known to the square root of the rounding
    joints[:, 2 : 3 * robot.legs : 3] = np.minimum(joints[:, 2 : 3 * robot.legs : 3], -0.01)
    reach = leg_angles(robot, feet(robot, joints))
    assert reach.ok.all()
    found = whole(robot, reach.joints)[:, : 3 * robot.legs]
    # An axis that the foot is on says nothing of the coxa; nearly on it, little
    turn = robot.hip[:, :2] - feet(robot, joints)[..., :2]
    clear = np.repeat(np.linalg.norm(turn, axis=-1) > 1e-5, 3, axis=-1)
    assert np.abs(found - joints[:, : 3 * robot.legs])[clear].max() < 1e-8


def nearest_by_search(robot: Robot, leg: int, asked: Array, facing: float) -> float:
    """Distance from ``asked`` to the nearest point of the leg, by minimising it from many starts."""
    turn_0, hip = robot.heading[leg], robot.hip[leg]
    lengths = robot.coxa[leg], robot.femur[leg], robot.tibia[leg]

    def distance_squared(angles: Array) -> float:
        turn, femur, tibia = turn_0 + angles[0], angles[1], angles[1] + angles[2]
        out = lengths[0] + lengths[1] * np.cos(femur) + lengths[2] * np.cos(tibia)
        up = lengths[1] * np.sin(femur) + lengths[2] * np.sin(tibia)
        foot = hip + np.array([out * np.cos(turn), out * np.sin(turn), up])
        return 1e4 * float(((foot - asked) ** 2).sum())

    free = (-2 * np.pi, 2 * np.pi)
    starts = [np.array([facing, b, c]) for b in (-2.0, -0.5, 0.8, 2.2) for c in (-2.9, -1.5, -0.2)]
    bounds = [(facing - np.pi / 2, facing + np.pi / 2), free, free]
    found = [minimize(distance_squared, start, bounds=bounds, method="L-BFGS-B", tol=1e-14).fun for start in starts]
    return float(np.sqrt(min(found) / 1e4))


def test_the_error_is_the_true_nearest_distance(robot: Robot) -> None:
    """Against scipy.optimize; the coxa on the side that the leg faces, knee and femur anywhere at all."""
    rng = np.random.default_rng(3)
    asked = around(robot, 400, 3)
    # Also points in the hollow that the folded leg leaves around the femur's axis
    hollow = np.abs(robot.femur - robot.tibia)
    inner = rng.normal(size=(400, robot.legs, 3))
    inner *= (hollow * rng.uniform(0.1, 0.95, (400, robot.legs)) / np.linalg.norm(inner, axis=-1))[..., None]
    inner[..., 0] += robot.coxa * np.cos(robot.heading)
    inner[..., 1] += robot.coxa * np.sin(robot.heading)
    for points in (asked, inner + robot.hip):
        reach = leg_angles(robot, points)
        out_of_reach = np.argwhere(~reach.ok)
        for t, leg in out_of_reach[rng.permutation(len(out_of_reach))[:12]]:
            near = nearest_by_search(robot, leg, points[t, leg], reach.joints[t, leg, 0])
            assert reach.error[t, leg] == pytest.approx(near, abs=1e-6)


@given(st.data())
@settings(max_examples=300, deadline=None)
def test_never_not_a_number(robot: Robot, data: st.DataObject) -> None:
    asked = data.draw(arrays(np.float64, (robot.legs, 3), elements=ANY_FLOAT))
    with np.errstate(invalid="raise", divide="raise", over="raise"):
        reach = leg_angles(robot, asked)
    assert np.isfinite(reach.joints).all()
    assert np.isfinite(reach.error).all()
    assert (reach.error >= 0).all()
    assert (np.abs(reach.joints) <= np.pi).all()
    assert not reach.ok[~np.isfinite(asked).all(axis=-1)].any()
    assert np.isfinite(feet(robot, whole(robot, reach.joints))).all()


@given(
    st.lists(
        st.sampled_from([0.0, -0.0, 1e-300, 5e-324, 1e-9, -1e-9, 0.04, 0.1, 1e8, -1e300, 1.7e308]),
        min_size=3,
        max_size=3,
    )
)
@settings(deadline=None)
def test_special_places_have_an_answer_that_is_as_near_as_it_says(tansy: Robot, offset: list[float]) -> None:
    asked = tansy.hip + np.array(offset)
    reach = leg_angles(tansy, asked)
    reached = feet(tansy, whole(tansy, reach.joints))
    assert np.isfinite(reached).all()
    near = np.abs(asked).max(axis=-1) < 1e6
    missed = np.linalg.norm((reached - asked)[near], axis=-1)
    np.testing.assert_allclose(missed, reach.error[near], rtol=1e-12, atol=1e-9)


def test_a_foot_on_the_coxa_axis_leaves_the_coxa_at_zero(robot: Robot) -> None:
    asked = robot.hip - [0, 0, 0.1]
    assert (leg_angles(robot, asked).joints[:, 0] == 0).all()


def test_a_foot_asked_onto_the_femur_axis_is_missed_by_the_hollow(robot: Robot) -> None:
    asked = robot.hip + robot.coxa[:, None] * np.stack(
        [robot.heading_cos, robot.heading_sin, 0 * robot.heading], axis=-1
    )
    reach = leg_angles(robot, asked)
    np.testing.assert_allclose(reach.error, np.abs(robot.tibia - robot.femur), atol=1e-12)


def test_equal_femur_and_tibia_reach_the_femur_axis(tansy: Robot) -> None:
    even = replace(tansy, femur=tansy.tibia)
    asked = even.hip + even.coxa[:, None] * np.stack([even.heading_cos, even.heading_sin, 0 * even.heading], axis=-1)
    reach = leg_angles(even, asked)
    assert reach.ok.all()
    np.testing.assert_allclose(feet(even, whole(even, reach.joints)), asked, atol=1e-9)


def test_the_limit_of_reach_is_the_straight_leg(robot: Robot) -> None:
    out = robot.coxa + robot.femur + robot.tibia
    ray = np.stack([robot.heading_cos, robot.heading_sin, 0 * robot.heading], axis=-1)
    straight = leg_angles(robot, robot.hip + out[:, None] * ray)
    assert straight.ok.all()
    np.testing.assert_allclose(straight.joints, 0, atol=1e-6)
    beyond = leg_angles(robot, robot.hip + (out + 0.025)[:, None] * ray)
    assert not beyond.ok.any()
    np.testing.assert_allclose(beyond.error, 0.025, atol=1e-12)
    np.testing.assert_allclose(beyond.joints, 0, atol=1e-6)


def test_drawing_a_foot_in_past_the_coxa_axis_does_not_spin_the_leg(tansy: Robot) -> None:
    """Along the leg's own line under the hip, nothing jumps: at most what the geometry itself asks for."""
    along = np.linspace(0.12, -0.03, 1501)
    ray = np.stack([tansy.heading_cos, tansy.heading_sin, 0 * tansy.heading], axis=-1)
    asked = tansy.hip + along[:, None, None] * ray
    asked[..., 2] = -0.09
    reach = leg_angles(tansy, asked)
    assert reach.ok.all()
    np.testing.assert_allclose(reach.joints[..., 0], 0, atol=1e-12)
    assert np.abs(np.diff(reach.joints, axis=0)).max() < 0.01


@pytest.mark.parametrize("batch", [(), (1,), (7,), (2, 3)])
def test_any_leading_dimensions(robot: Robot, batch: tuple[int, ...]) -> None:
    asked = np.resize(around(robot, 7, 5), (*batch, robot.legs, 3))
    reach = leg_angles(robot, asked)
    assert reach.joints.shape == asked.shape
    assert reach.error.shape == reach.ok.shape == (*batch, robot.legs)
    flat, one = asked.reshape(-1, robot.legs, 3), reach.joints.reshape(-1, robot.legs, 3)
    for t in range(len(flat)):
        np.testing.assert_array_equal(leg_angles(robot, flat[t]).joints, one[t])


def test_ranges_include_their_ends_and_nothing_more(robot: Robot) -> None:
    assert within(robot, robot.lower).all()
    assert within(robot, robot.upper).all()
    assert not within(robot, robot.lower - 1e-6).any()
    assert not within(robot, robot.upper + 1e-6).any()
