"""Walking: what every walk has to do, whatever is commanded, on six, four and eight legs."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.linalg import expm
from scipy.spatial import ConvexHull
from walkers import DT, HARROW, TANSY, TRESTLE, WALK_OF, every_walk, longest, streams, walk, walk_until_settled, walking

from motionhub.motion.gait import gaits
from motionhub.motion.planar import REST, outward
from motionhub.motion.posing import joints_for, standing_feet
from motionhub.motion.steady import swing_height
from motionhub.motion.stepper import STILL, Stepper
from motionhub.motion.velocity import share_of
from motionhub.motion.workspace import SPEED_SHARE
from motionhub.robot.kinematics import within
from motionhub.robot.limits import top_speed

# ------------------------------------------------------------------ starting and stopping


@every_walk
def test_it_starts_standing_at_rest_and_stays_so_without_a_command(robot, gait):
    stepper = Stepper(robot, gait, DT)
    assert stepper.settled
    assert np.array_equal(stepper.stance.feet, standing_feet(robot))
    stance = stepper.step(REST)
    assert stepper.settled
    assert stance.down.all()
    assert np.array_equal(stance.feet, standing_feet(robot))
    assert stance.travel == (0, 0, 0)


@settings(max_examples=40, deadline=None)
@given(walking, streams())
def test_it_settles_after_a_stop_with_every_foot_exactly_home(which, commands):
    robot, gait = WALK_OF[which]
    stepper = Stepper(robot, gait, DT)
    walked = walk(stepper, commands)
    cycle = stepper.timing.cycle
    ticks = stepper.ticks_to_settle()
    # Brake, smooth, and one swing for every foot after the last that was already landing when the stop came.
    assert ticks <= 2.5 * cycle
    end = walk(stepper, [REST] * ticks)
    assert stepper.settled
    assert stepper.stance.down.all()
    assert np.array_equal(stepper.stance.feet, standing_feet(robot))
    # It did not snap there: the last tick moved no foot by more than rounding.
    if ticks > 1:
        assert np.abs(end.ground[-1] - end.ground[-2])[:, :2].max() < 1e-3
    if ticks:
        assert not np.array_equal(end.travel[-1], walked.travel[0]) or np.allclose(walked.twists, 0)


@every_walk
def test_no_foot_is_moved_by_settling(robot, gait):
    """A foot that is home may still be shifted by rounding, and by no more."""
    stepper = Stepper(robot, gait, DT)
    walked = walk_until_settled(stepper, [(0.05, 0.02, 0.3)] * 300)
    steps = np.abs(np.diff(walked.ground[-2:], axis=0))[0]
    still = walked.down[-2]
    assert steps[still].max() < 1e-9


def test_a_stopped_tripod_stands_within_two_half_cycles_and_braking():
    # Both groups step once after the body has come to rest, or their landing has been planned for it.
    for late in range(60):
        stepper = Stepper(TANSY, None, DT)
        walk(stepper, [(1, 0, 0)] * (200 + late))
        assert stepper.ticks_to_settle() <= 1.5 * stepper.timing.cycle


# ------------------------------------------------------------------ feet on the ground


@settings(max_examples=60, deadline=None)
@given(walking, streams())
def test_feet_that_stand_do_not_slip(which, commands):
    robot, gait = WALK_OF[which]
    walked = walk_until_settled(Stepper(robot, gait, DT), commands)
    ground = walked.ground
    stays = walked.down[:-1] & walked.down[1:]
    moved = np.linalg.norm(np.diff(ground, axis=0), axis=2)[:-1]
    assert moved[stays[:-1]].max(initial=0.0) < 1e-12
    level = np.broadcast_to(standing_feet(robot)[:, 2], walked.down.shape)
    assert np.array_equal(walked.feet[..., 2][walked.down], level[walked.down])


@settings(max_examples=40, deadline=None)
@given(walking, st.tuples(st.floats(-1, 1), st.floats(-1, 1), st.floats(-3, 3)))
def test_stance_feet_move_as_the_exponential_of_the_twist_says(which, twist):
    """In the stance frame a standing foot is carried by exp(-twist dt), SE(2) (Lynch & Park 2017, §3.3)."""
    robot, gait = WALK_OF[which]
    walked = walk(Stepper(robot, gait, DT), [twist] * 100)
    for i in range(1, 100):
        if gait.name != "creep":  # where the body also sways
            vx, vy, wz = walked.twists[i]
            carry = expm(-DT * np.array([[0, -wz, vx], [wz, 0, vy], [0, 0, 0]]))
            stays = walked.down[i] & walked.down[i - 1]
            expected = walked.feet[i - 1][stays, :2] @ carry[:2, :2].T + carry[:2, 2]
            assert np.allclose(walked.feet[i][stays, :2], expected, atol=1e-12)


@settings(max_examples=30, deadline=None)
@given(walking, streams())
def test_the_walk_travels_by_the_integral_of_its_twist(which, commands):
    robot, gait = WALK_OF[which]
    walked = walk_until_settled(Stepper(robot, gait, DT), commands)
    pose = np.eye(3)
    for vx, vy, wz in walked.twists[1:]:
        pose = pose @ expm(DT * np.array([[0, -wz, vx], [wz, 0, vy], [0, 0, 0]]))
    assert np.allclose(walked.travel[-1, :2], pose[:2, 2], atol=1e-9)
    assert np.isclose(walked.travel[-1, 2], walked.twists[:, 2].sum() * DT, atol=1e-9)


@every_walk
def test_a_steady_walk_covers_its_speed_times_the_time(robot, gait):
    stepper = Stepper(robot, gait, DT)
    twist, _ = stepper.limit((0.8 * longest(stepper) / 3, 0, 0))
    walk(stepper, [twist] * 10 * stepper.timing.cycle)
    before = stepper.stance.travel[0]
    walk(stepper, [twist] * stepper.timing.cycle)
    assert stepper.stance.travel[0] - before == pytest.approx(twist[0] * stepper.timing.cycle * DT, rel=1e-9)


# ------------------------------------------------------------------ feet in the air


@pytest.mark.parametrize("robot", [TANSY, HARROW], ids=lambda robot: robot.name)
def test_half_the_legs_are_down_and_half_up_at_every_tick_of_an_alternating_walk(robot):
    # Practice: a walk by the alternating tripod always has three feet down and three in the air.
    walked = walk(Stepper(robot, None, DT), [(0.05, 0.03, 0.2)] * 400)
    assert (walked.down[1:].sum(axis=1) == robot.legs // 2).all()
    groups = {tuple(row) for row in walked.down[1:]}
    assert len(groups) == 2
    assert np.array_equal(*(np.array(sorted(groups)) ^ np.array([[True], [False]])))


@settings(max_examples=30, deadline=None)
@given(streams())
def test_never_fewer_feet_down_than_the_gait_says(commands):
    for robot, least in ((TANSY, 3), (TRESTLE, 3), (HARROW, 4)):
        walked = walk_until_settled(Stepper(robot, None, DT), commands)
        assert walked.down.sum(axis=1).min() >= least


@every_walk
def test_a_swing_is_minimum_jerk_over_the_ground(robot, gait):
    """From rest to rest: s(τ) = 10τ³ - 15τ⁴ + 6τ⁵ (Flash & Hogan 1985), so lift-off and touchdown are without speed."""
    stepper = Stepper(robot, gait, DT)
    walked = walk(stepper, [(0.6 * longest(stepper) / 3, 0, 0)] * 10 * stepper.timing.cycle)
    swing = stepper.timing.swing
    ground = walked.ground[-3 * stepper.timing.cycle :]
    down = walked.down[-3 * stepper.timing.cycle :]
    for leg in range(robot.legs):
        starts = [i for i in range(1, len(down)) if down[i - 1, leg] and not down[i, leg]]
        start = starts[0]
        path = ground[start : start + swing + 1, leg]
        assert down[start + swing, leg]
        s = np.arange(swing + 1) / swing
        ease = s**3 * (10 - 15 * s + 6 * s**2)
        assert np.allclose(path[:, :2], path[0, :2] + ease[:, None] * (path[-1, :2] - path[0, :2]), atol=1e-9)
        assert path[:, 2].max() == pytest.approx(robot.foot_radius[leg] + robot.walk.lift, rel=0.02)


@settings(max_examples=60, deadline=None)
@given(walking, streams())
def test_feet_leave_and_meet_the_ground_without_speed(which, commands):
    """About what a quintic from rest has covered after a tick: 10 (1/n)³ of its way of two strides.

    Five times that, because a landing place that moved until it was frozen leaves more of the way to the end:
    in 1,300 random and held commands on all walks the most was 4.1 times (measured, not derived).
    """
    robot, gait = WALK_OF[which]
    stepper = Stepper(robot, gait, DT)
    walked = walk_until_settled(stepper, commands)
    ground = walked.ground
    moved = np.linalg.norm(np.diff(ground, axis=0), axis=2)
    touching = ground[..., 2] <= standing_feet(robot)[:, 2]
    most = 50 / stepper.timing.swing**3 * 2 * robot.walk.stride + 64 * robot.walk.lift / stepper.timing.swing**3
    assert moved[touching[:-1] & ~touching[1:]].max(initial=0.0) <= most
    assert moved[~touching[:-1] & touching[1:]].max(initial=0.0) <= most


def test_the_lift_is_smooth_and_reaches_its_height():
    s = np.linspace(0, 1, 2001)
    z = swing_height(s)
    assert z[0] == z[-1] == 0
    assert z.max() == pytest.approx(1)
    slope = np.gradient(z, s, edge_order=2)
    bend = np.gradient(slope, s, edge_order=2)
    assert np.abs([slope[0], slope[-1]]).max() < 1e-2
    assert np.abs([bend[0], bend[-1]]).max() < 1


# ------------------------------------------------------------------ smooth, in reach, whatever is commanded


@settings(max_examples=80, deadline=None)
@given(walking, streams())
def test_any_stream_of_commands_is_walked_smoothly_and_within_the_joints(which, commands):
    robot, gait = WALK_OF[which]
    stepper = Stepper(robot, gait, DT)
    walked = walk_until_settled(stepper, commands)
    joints, short = joints_for(robot, np.zeros(6), walked.feet)
    assert short.max() == 0
    assert within(robot, joints).all()
    speed = np.diff(joints, axis=0) / DT
    assert (np.abs(speed) <= top_speed(robot)).all()
    # No foot jumps: neither in place nor in speed. Minimum-jerk over the longest way that a swing can be
    # asked to go (two strides) peaks at 10/√3 d/T² (Flash & Hogan 1985); re-planning may double that.
    swing_s = stepper.timing.swing * DT
    bend = 2 * (10 / np.sqrt(3)) * 2 * robot.walk.stride / swing_s**2 + 24 * robot.walk.lift / swing_s**2
    velocity = np.diff(walked.feet, axis=0) / DT
    assert np.linalg.norm(np.diff(velocity, axis=0) / DT, axis=2).max(initial=0.0) <= bend


@settings(max_examples=40, deadline=None)
@given(walking, streams())
def test_the_bodys_acceleration_does_not_jump(which, commands):
    """From full speed it brakes in a quarter of a cycle; in one tick a quarter of that acceleration may come or go."""
    robot, gait = WALK_OF[which]
    stepper = Stepper(robot, gait, DT)
    walked = walk_until_settled(stepper, commands)
    braking = 1 / (stepper.timing.cycle / 4)  # shares of the limit a tick
    change = np.diff(walked.twists, axis=0)
    assert max(share_of(stepper.manner, tuple(c)) for c in change) <= braking * (1 + 1e-9)
    jumps = np.diff(change, axis=0, prepend=np.zeros((1, 3)))
    assert max(share_of(stepper.manner, tuple(c)) for c in jumps) <= braking / 4 * (1 + 1e-9)


@settings(max_examples=60, deadline=None)
@given(walking, streams())
def test_standing_feet_stay_near_home(which, commands):
    robot, gait = WALK_OF[which]
    stepper = Stepper(robot, gait, DT)
    walked = walk_until_settled(stepper, commands)
    away = np.linalg.norm((walked.feet - standing_feet(robot))[..., :2], axis=2)
    sway = max((np.hypot(x, y) for x, y in stepper.manner.sway), default=0.0)
    assert (away[walked.down] <= np.broadcast_to(stepper.manner.space.reach, away.shape)[walked.down] + sway).all()


@settings(max_examples=60, deadline=None)
@given(walking, st.tuples(st.floats(-2, 2), st.floats(-2, 2), st.floats(-9, 9)), st.floats(0, 1))
def test_the_limit_is_a_norm(which, twist, share):
    robot, gait = WALK_OF[which]
    stepper = Stepper(robot, gait, DT)
    most, limited = stepper.limit(twist)
    again, still_limited = stepper.limit(most)
    assert np.allclose(again, most, rtol=1e-12)
    if limited:
        assert np.allclose(np.cross(np.array(most), np.array(twist)), 0, atol=1e-12)
        assert stepper.limit(tuple(v * 1.001 for v in most))[1]
    else:
        assert most == twist
        assert not still_limited
    inside = tuple(v * share * 0.999 for v in most)
    assert stepper.limit(inside) == (inside, False)


@every_walk
def test_a_walk_at_the_limit_uses_the_stride_and_no_more_joint_speed_than_allowed(robot, gait):
    stepper = Stepper(robot, gait, DT)
    for angle in np.arange(8) * np.pi / 4:
        top, limited = stepper.limit((5 * np.cos(angle), 5 * np.sin(angle), 0.0))
        assert limited
        walked = walk(stepper.copy(), [top] * 6 * stepper.timing.cycle)
        steady = walked.feet[-2 * stepper.timing.cycle :]
        joints, _ = joints_for(robot, np.zeros(6), steady)
        speed = np.abs(np.diff(joints, axis=0)) / DT
        share = (speed / top_speed(robot)).max()
        reach = np.linalg.norm((steady - standing_feet(robot))[..., :2], axis=2).max()
        assert share <= SPEED_SHARE * 1.02
        # One of the two is what limits it.
        assert share >= SPEED_SHARE * 0.6 or reach >= 0.95 * robot.walk.stride / 2


@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -float("inf")])
def test_a_twist_that_is_no_number_means_standing_still(bad):
    stepper = Stepper(TANSY, None, DT)
    assert stepper.limit((0.05, bad, 0)) == (REST, True)
    walk(stepper, [(0.05, 0, 0)] * 50)
    walk(stepper, [(bad, 0, 0)] * 150)
    assert stepper.settled


def test_a_command_too_small_to_see_means_standing_still():
    stepper = Stepper(TANSY, None, DT)
    speed = stepper.limit((9, 0, 0))[0][0] * STILL / 2
    assert stepper.step((speed, 0, 0)) is stepper.stance
    assert stepper.settled


def test_a_robot_whose_legs_cannot_lift_that_high_stands_still():
    stepper = Stepper(TANSY, None, DT, lift=0.5)
    assert stepper.limit((0.05, 0, 0)) == (REST, True)
    stepper.step((0.05, 0, 0))
    assert stepper.settled


# ------------------------------------------------------------------ the same again


@settings(max_examples=20, deadline=None)
@given(walking, streams(), streams())
def test_the_same_commands_give_the_same_walk_to_the_last_bit(which, first, second):
    robot, gait = WALK_OF[which]
    one, two = Stepper(robot, gait, DT), Stepper(robot, gait, DT)
    a, b = walk(one, first), walk(two, first)
    assert np.array_equal(a.feet, b.feet)
    branch = one.copy()
    walk(branch, [(0.03, -0.02, -0.4)] * 37)  # what a copy does is its own business
    a, b = walk(one, second), walk(two, second)
    assert np.array_equal(a.feet, b.feet)
    assert np.array_equal(a.travel, b.travel)
    assert np.array_equal(a.down, b.down)


def test_what_it_gave_away_it_does_not_change():
    stepper = Stepper(TANSY, None, DT)
    stance = stepper.step((0.05, 0, 0))
    kept = stance.feet.copy()
    walk(stepper, [(0.05, 0, 0)] * 10)
    assert np.array_equal(stance.feet, kept)
    with pytest.raises(ValueError, match="read-only"):
        stance.feet[0, 0] = 1


# ------------------------------------------------------------------ stability


@pytest.mark.parametrize("share", [0.4, 0.8])
@pytest.mark.parametrize("name", ["tripod", "ripple", "wave"])
def test_the_margin_of_a_straight_wave_gait_is_the_published_one(name, share):
    """S = P/2 + (1 - 3/(4β))·R, legs a pitch P apart, stroke R, duty factor β (Song & Waldron 1987, memory)."""
    pitch = 0.08
    x = np.array([pitch, 0, -pitch] * 2)
    side = np.array([1.0, 1, 1, -1, -1, -1])
    robot = replace(
        TANSY,
        hip=np.stack([x, side * 0.06, np.zeros(6)], axis=1),
        heading=side * np.pi / 2,
        stand_turn=np.zeros(6),
        walk=replace(TANSY.walk, stride=share * pitch, margin=0.0),
    )
    stepper = Stepper(robot, gaits(robot)[name], DT)
    duty = stepper.manner.gait.duty
    twist, _ = stepper.limit((9, 0, 0))
    cycle = stepper.timing.cycle
    walked = walk(stepper, [twist] * 6 * cycle)
    stroke = twist[0] * stepper.timing.stance * DT
    stances = zip(walked.feet[-cycle:], walked.down[-cycle:], strict=True)
    least = min(longitudinal_margin(feet[down, :2]) for feet, down in stances)
    assert stroke == pytest.approx(share * pitch)
    assert least == pytest.approx(pitch / 2 + (1 - 3 / (4 * duty)) * stroke, abs=1e-6)


def longitudinal_margin(feet: np.ndarray) -> float:
    """From the origin, forward or backward, to where the support polygon ends: SciPy's convex hull."""
    a, _, c = ConvexHull(feet).equations.T
    forward, backward = a > 1e-12, a < -1e-12
    return float(min((-c[forward] / a[forward]).min(), (c[backward] / a[backward]).min()))


def test_ground_points_come_back():
    walked = walk(Stepper(TANSY, None, DT), [(0.05, 0.01, 0.3)] * 60)
    last = outward(tuple(walked.travel[-1]), *walked.feet[-1, 2, :2])
    assert np.allclose(walked.ground[-1, 2, :2], last)
