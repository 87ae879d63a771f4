"""From stance to stance: nothing that carries weight is dragged, nothing tips over, nothing is faster than stated."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from rehearsal import DT, shipped
from scipy.spatial.transform import Rotation
from test_hub_drive import dragged

from motionhub.hub.bearing import Bearing
from motionhub.hub.figure import Footing
from motionhub.link.plant import lowered_joints
from motionhub.motion.brake import CARRIES
from motionhub.motion.gait import default_gait
from motionhub.motion.handover import NEAR, hand_over, slip
from motionhub.motion.manner import manner_of
from motionhub.motion.odometry import travel
from motionhub.motion.posing import joints_for, rest_joints, standing_feet
from motionhub.motion.restance import PLAY, SAME_PLACE, UNHURRIED, restance
from motionhub.motion.stepper import Stepper
from motionhub.motion.support import rest_on_ground
from motionhub.robot.kinematics import within
from motionhub.robot.limits import top_speed
from motionhub.robot.model import Robot


def mid_walk(robot: Robot, ticks: int, twist: tuple[float, float, float] = (0.06, 0.02, 0.3)) -> np.ndarray:
    stepper = Stepper(robot)
    for _ in range(ticks):
        stance = stepper.step(stepper.limit(twist)[0])
    return joints_for(robot, np.zeros(6), stance.feet)[0]


def held(robot: Robot, start: np.ndarray, path: np.ndarray) -> None:
    """What holds for every way from one stance to another."""
    whole = np.vstack([start, path])
    support = rest_on_ground(robot, whole)
    assert np.isfinite(whole).all()
    assert within(robot, whole).all()
    assert not support.tipped.any()
    # Whenever a foot is up, as steady as a walk is asked to be, or as it was found; 2 mm for what swings meanwhile.
    # Below the play of a servo a foot is not up, only lightly set: legs fold no further, low down.
    up = support.clearance.max(axis=1) > PLAY
    assert support.margin[up].min(initial=np.inf) >= min(robot.walk.margin, support.margin[0]) - 2e-3
    assert support.margin.min() > 0
    assert (np.abs(np.diff(whole, axis=0)) <= top_speed(robot) * DT).all()
    assert np.abs(path[-1] - path[max(len(path) - 2, 0)]).max() < 0.01  # it comes to rest, and does not bump into it
    carries = support.down & (support.clearance <= CARRIES)
    assert dragged(support.level_feet, carries).max() < 0.5e-3


@pytest.mark.parametrize("ticks", range(5, 200, 13))
def test_from_mid_walk_home(robot: Robot, ticks: int) -> None:
    start, rest = mid_walk(robot, ticks), rest_joints(robot)
    path = hand_over(robot, start, rest, DT)
    np.testing.assert_array_equal(path[-1], rest)
    held(robot, start, path)


@pytest.mark.parametrize("ticks", range(20, 200, 31))
def test_from_mid_walk_to_lying_and_up_again(robot: Robot, ticks: int) -> None:
    start, lying, rest = mid_walk(robot, ticks), lowered_joints(robot), rest_joints(robot)
    down = hand_over(robot, start, lying, DT)
    held(robot, start, down)
    up = hand_over(robot, down[-1], rest, DT)
    held(robot, lying, up)
    np.testing.assert_array_equal(up[-1], rest)


def test_where_it_is_already_it_takes_one_tick(robot: Robot) -> None:
    rest = rest_joints(robot)
    path = hand_over(robot, rest + NEAR / 2, rest, DT)
    np.testing.assert_array_equal(path, rest[None])


def test_a_head_alone_turns_straight_there_and_unhurried(tansy: Robot) -> None:
    rest = rest_joints(tansy)
    goal = rest.copy()
    goal[-2] = 1.2
    path = hand_over(tansy, rest, goal, DT)
    held(tansy, rest, path)
    assert np.ptp(path[:, :-2], axis=0).max() == 0
    fastest = np.abs(np.diff(np.vstack([rest, path])[:, -2])).max() / DT
    assert fastest <= UNHURRIED * top_speed(tansy)[-2] * (1 + 1e-6)
    assert (np.diff(path[:, -2]) >= -1e-12).all()


def test_a_raised_foot_goes_down_by_itself(robot: Robot) -> None:
    feet = standing_feet(robot)
    feet[0] += [0.0, 0.0, 0.02]
    start = joints_for(robot, np.zeros(6), feet)[0]
    path = hand_over(robot, start, rest_joints(robot), DT)
    others = np.arange(robot.joints) >= 3
    assert np.abs(path[:, others] - rest_joints(robot)[others]).max() < 1e-6
    held(robot, start, path)


@pytest.mark.parametrize("leg", range(4))
def test_a_foot_that_only_just_hangs_is_lifted_from_feet_that_have_the_margin(leg: int) -> None:
    """As a Stop leaves it: little over the ground, where it keeps the robot from tipping, and not at its place."""
    robot = shipped("trestle")
    feet = standing_feet(robot)
    feet[leg] += [0.01, 0.0, 1.5e-3]
    others = np.arange(4) != leg

    def held_at(share: float) -> np.ndarray:
        """Carried from that foot's side over to the middle of the others'."""
        body = np.zeros(6)
        body[:2] = share * (feet[others, :2].mean(axis=0))
        return joints_for(robot, body, feet)[0]

    starts = [held_at(share) for share in np.linspace(0.0, 1.0, 201)]
    found = rest_on_ground(robot, np.array(starts))
    thin = int(np.flatnonzero(~found.down[:, leg] & (found.margin > 0.4 * robot.walk.margin))[0])
    assert found.margin[thin] < 0.8 * robot.walk.margin
    path = hand_over(robot, starts[thin], rest_joints(robot), DT)
    support = rest_on_ground(robot, path)
    up = support.clearance.max(axis=1) > PLAY
    assert up.any()
    assert support.margin[up].min() >= robot.walk.margin - 1e-4


def test_feet_that_stand_elsewhere_are_lifted_over(tansy: Robot) -> None:
    """Feet spread outward: no turn or shift of the body lays them home, so each has to step."""
    feet = standing_feet(tansy)
    feet[:, :2] *= 1.08
    start = joints_for(tansy, np.zeros(6), feet)[0]
    assert slip(rest_on_ground(tansy, np.linspace(start, rest_joints(tansy), 9))) > SAME_PLACE
    path = restance(tansy, start, rest_joints(tansy), DT)
    held(tansy, start, path)
    support = rest_on_ground(tansy, path)
    assert (~support.down).any(axis=0).all()  # each of them was in the air
    assert support.down.sum(axis=1).min() >= 3  # practice: never fewer than three down


def test_a_shifted_body_moves_back_over_feet_that_stay(robot: Robot) -> None:
    feet = standing_feet(robot)
    start = joints_for(robot, np.array([0.012, -0.008, 0.004, 0.02, -0.02, 0.04]), feet)[0]
    path = restance(robot, start, rest_joints(robot), DT)
    assert rest_on_ground(robot, path).clearance.max() < PLAY
    held(robot, start, path)


body = st.tuples(
    st.floats(-0.02, 0.02), st.floats(-0.02, 0.02), st.floats(-0.015, 0.03),
    st.floats(-0.1, 0.1), st.floats(-0.1, 0.1), st.floats(-0.15, 0.15),
)  # fmt: skip
steps = st.lists(st.tuples(st.floats(-0.02, 0.02), st.floats(-0.02, 0.02)), min_size=6, max_size=6)


@given(body, steps, body, steps)
@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])
def test_between_any_two_stances_that_the_legs_allow(
    held_1: tuple[float, ...], steps_1: list[tuple[float, float]], held_2: tuple[float, ...],
    steps_2: list[tuple[float, float]],
) -> None:  # fmt: skip
    robot = shipped("tansy")
    stances = []
    for carried, moved in ((held_1, steps_1), (held_2, steps_2)):
        feet = standing_feet(robot)
        feet[:, :2] += moved
        joints, missed = joints_for(robot, np.array(carried), feet)
        if missed.any() or not within(robot, joints).all() or rest_on_ground(robot, joints[None]).margin[0] < 0.03:
            assume(False)  # not a stance of this robot's
        stances.append(joints)
    start, goal = stances
    path = restance(robot, start, goal, DT)
    np.testing.assert_array_equal(path[-1], goal)
    whole = np.vstack([start, path])
    support = rest_on_ground(robot, whole)
    assert within(robot, whole).all()
    assert not support.tipped.any()
    assert support.down.sum(axis=1).min() >= 3
    assert (np.abs(np.diff(whole, axis=0)) <= top_speed(robot) * DT).all()
    # Where the legs fall short on the way they drag a little; a whole step it must never be.
    assert dragged(support.level_feet, support.down).max() < 3 * PLAY


# ---------------------------------------------------------------- how far the body may be carried


@given(st.floats(-0.1, 0.1), st.floats(-0.5, 0.5), st.floats(-0.5, 0.5), st.floats(-0.5, 0.5), st.booleans())
@settings(max_examples=60, deadline=None)
def test_an_allowed_posture_is_reached_and_in_range(
    height: float, roll: float, pitch: float, yaw: float, walking: bool
) -> None:
    robot = shipped("tansy")
    asked = np.array([height, roll, pitch, yaw])
    allowed = Bearing(robot).allowed(asked, manner_of(robot, default_gait(robot)) if walking else None)
    assert (
        np.linalg.norm(np.cross(np.append(allowed, 0)[:3], np.append(asked, 0)[:3])) < 1e-9
    )  # the same, or less of it
    assert (np.abs(allowed) <= np.abs(asked)).all()
    feet = standing_feet(robot)
    if walking:
        feet = feet + np.array([0.0, 0.0, robot.walk.lift])
    # scipy's rotation and the robot's own forward kinematics, beside the posing that was used
    turn = Rotation.from_euler("ZYX", [allowed[3], allowed[2], allowed[1]])
    joints, _ = joints_for(robot, np.concatenate([[0.0, 0.0], allowed]), feet)
    from motionhub.robot.kinematics import feet as feet_of

    there = turn.apply(feet_of(robot, joints)) + np.array([0.0, 0.0, robot.rest_height + allowed[0]])
    np.testing.assert_allclose(there, feet, atol=1e-6)
    assert within(robot, joints).all()


def test_what_is_asked_and_possible_is_allowed_as_it_is(robot: Robot) -> None:
    asked = np.array([0.004, 0.02, -0.02, 0.03])
    np.testing.assert_array_equal(Bearing(robot).allowed(asked), asked)


# ---------------------------------------------------------------- how it is seen to stand


def test_a_body_that_sways_over_its_feet_is_seen_where_it_is(robot: Robot) -> None:
    footing, feet = Footing(robot), standing_feet(robot)
    size = 0.3 * min(0.02, robot.walk.stride / 2)
    for phase in np.linspace(0, 2 * np.pi, 60):
        held = np.array([np.sin(phase) * size, (np.cos(phase) - 1) * size, 0.3 * size, 0.0, 0.0, np.sin(phase) * 0.05])
        figure, _ = footing.look(joints_for(robot, held, feet)[0][None])
        expected = held + np.array([0, 0, robot.rest_height, 0, 0, 0])
        np.testing.assert_allclose(figure.body, expected, atol=2e-5)
        assert figure.down.all()
        # The centre of mass of the whole hangs near the middle of the body, and over the feet.
        assert np.hypot(*(figure.com - figure.body[:2])) < 0.05
        assert figure.margin > 0


def test_roll_and_pitch_are_seen_with_their_signs(tansy: Robot) -> None:
    for roll, pitch in ((0.08, 0.0), (0.0, 0.08), (-0.05, 0.06)):
        joints = joints_for(tansy, np.array([0, 0, 0, roll, pitch, 0.0]), standing_feet(tansy))[0]
        body = Footing(tansy).look(joints[None])[0].body
        np.testing.assert_allclose(body[3:5], [roll, pitch], atol=1e-6)


# ---------------------------------------------------------------- legs that hang anywhere, as after a fault


@pytest.mark.parametrize("seed", range(6))
def test_a_leg_that_hangs_anywhere_comes_down_without_whirling(robot: Robot, seed: int) -> None:
    """No joint is asked for more speed than it has, the way ends, and nobody waits for a leg that takes forever."""
    dice = np.random.default_rng(seed)
    rest, legs = rest_joints(robot), 3 * robot.legs
    for _ in range(400):  # a leg that hangs, and three or more that carry
        hangs = dice.integers(robot.legs)
        start, own = rest.copy(), slice(3 * hangs, 3 * hangs + 3)
        start[own] = dice.uniform(robot.lower[:legs][own], robot.upper[:legs][own])
        support = rest_on_ground(robot, start[None])
        if not support.down[0, hangs] and support.margin[0] > 2e-3 and not support.corners.any():
            break
    else:
        pytest.fail("expected a stance to be found")
    path = hand_over(robot, start, rest, DT)
    whole = np.vstack([start, path])
    np.testing.assert_array_equal(path[-1], rest)
    assert within(robot, whole).all()
    assert (np.abs(np.diff(whole, axis=0)) <= top_speed(robot) * DT * 0.5).all()
    assert len(path) * DT < 12
    assert not rest_on_ground(robot, whole).tipped.any()


HANGING = {
    ("trestle", 1): (),
    ("tansy", 2): (149, 194, 174, 133),
    ("tansy", 3): (308, 513),
    ("harrow", 2): (),
    ("harrow", 3): (259,),
    ("harrow", 4): (12,),
}
"""Robots, how many of their legs hang, and stances that were the worst of many: with little margin the robot tipped
over onto a leg that came down, and legs that were gathered together pressed one of them into the ground."""


@pytest.mark.parametrize(("name", "count"), HANGING)
def test_no_foot_that_carries_weight_is_dragged_while_legs_that_hang_come_down(name: str, count: int) -> None:
    """Nor by those themselves, from the moment that they carry any: half a millimetre, from touchdown on."""
    robot = shipped(name)
    rest, tried = rest_joints(robot), 0
    for seed in (*HANGING[name, count], *range(400)):
        dice = np.random.default_rng(100 * seed + count)
        start = rest.copy()
        hangs = dice.choice(robot.legs, count, replace=False)
        for own in (slice(3 * leg, 3 * leg + 3) for leg in hangs):
            start[own] = dice.uniform(robot.lower[own], robot.upper[own])
        first = rest_on_ground(robot, start[None])
        if first.down[0, hangs].any() or first.margin[0] <= 2e-3 or first.corners.any():
            assert seed not in HANGING[name, count]
            continue  # not a stance of this robot's
        whole = np.vstack([start, hand_over(robot, start, rest, DT)])
        support = rest_on_ground(robot, whole)
        loaded = support.down & (support.clearance <= 2e-5)
        slid = travel(support.level_feet[..., :2], loaded, np.where(loaded, 1.0, 0.0)).slip
        assert slid.max() <= 0.5e-3, f"{slid.max() * 1e3:.1f} mm, seed {seed}"
        assert not support.tipped.any()
        # As steady as it was found, but for what the legs weigh on their way; and then as a walk has to be.
        assert support.margin.min() >= min(first.margin[0], robot.walk.margin) - 1e-3
        # Whoever comes down comes down once, and does not brush the ground before.
        assert (np.diff(loaded[:, hangs].astype(int), axis=0) > 0).sum(axis=0).max() <= 1, f"seed {seed}"
        assert (np.abs(np.diff(whole, axis=0)) <= top_speed(robot) * DT * 0.5).all()
        if (tried := tried + 1) == 6 + len(HANGING[name, count]):
            return
    pytest.fail("expected stances to be found")
