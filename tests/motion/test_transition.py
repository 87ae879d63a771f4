"""Transitions: there as fast as the limits allow, never outside a joint's range, never an exception."""

import numpy as np
import pytest
import ruckig
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from walkers import ROBOTS, TANSY

from motionhub.motion import transition
from motionhub.motion.posing import rest_joints
from motionhub.motion.transition import SHARPEST, Limits, Transition
from motionhub.robot.limits import top_speed

LIMITS = Limits.of(TANSY)
J = TANSY.joints
TINY = 1e-9


def states(hurry: float):
    """Where the joints are: anywhere in range, as fast and as accelerated as ``hurry`` times the limits."""

    def make(seed: int):
        rng = np.random.default_rng(seed)
        scale = rng.choice([0.0, 0.3, 1.0]) * hurry
        return (
            rng.uniform(TANSY.lower, TANSY.upper),
            rng.uniform(-1, 1, J) * LIMITS.speed * scale,
            rng.uniform(-1, 1, J) * LIMITS.acceleration * scale * rng.choice([0.0, 1.0]),
        )

    return st.integers(0, 2**32).map(make)


targets = st.integers(0, 2**32).map(lambda seed: np.random.default_rng(seed).uniform(TANSY.lower, TANSY.upper))


def sampled(way: Transition, dt: float = 0.001):
    times = np.arange(0, way.duration + dt, dt)
    return times, *(np.array(part) for part in zip(*(way.at(t) for t in times), strict=True))


def assert_moves_as_it_says(way: Transition, dt: float = 0.001):
    """Velocity and acceleration are the derivatives of position: the ends of the code agree with each other."""
    times, q, v, a = sampled(way, dt)
    inside = slice(1, -2)
    held = (np.abs(v) < TINY) & (np.abs(a) < TINY)
    top = np.abs(np.diff(a, axis=0)).max(initial=0.0)
    assert np.allclose(np.gradient(q, times, axis=0)[inside], v[inside], atol=2 * dt * top + 1e-6)
    free = ~(held[:-2] | held[1:-1] | held[2:])
    slope = (v[2:] - v[:-2]) / (2 * dt)
    assert np.abs(slope - a[1:-1])[free].max(initial=0.0) <= top * 2 + 1e-6


@settings(max_examples=60, deadline=None)
@given(states(1.0), targets)
def test_it_starts_in_the_state_and_ends_at_rest_at_the_target(state, target):
    way = Transition.plan(TANSY, *state, target)
    assert np.allclose(way.at(0.0)[0], state[0], atol=1e-9)
    assume(way.kind == "planned")
    for got, given_ in zip(way.at(0.0), state, strict=True):
        assert np.allclose(got, given_, atol=1e-9)
    for late in (way.duration, way.duration + 1, 1e9):
        q, v, a = way.at(late)
        assert np.array_equal(q, target)
        assert not v.any()
        assert not a.any()
    q, v, a = way.at(way.duration - 1e-6)
    assert np.allclose(q, target, atol=1e-6)
    assert np.abs(v).max() < 1e-3
    assert_moves_as_it_says(way)


@settings(max_examples=60, deadline=None)
@given(states(1.0), targets)
def test_limits_hold_by_numerical_differentiation(state, target):
    way = Transition.plan(TANSY, *state, target)
    assume(way.kind == "planned")
    dt = 0.0005
    _, q, _, _ = sampled(way, dt)
    v = np.diff(q, axis=0) / dt
    a = np.diff(v, axis=0) / dt
    j = np.diff(a, axis=0) / dt
    # The start may be at a limit with an acceleration that carries it over before jerk can turn it round.
    over = state[2] ** 2 / (2 * LIMITS.jerk)
    assert (np.abs(v) <= LIMITS.speed + over + 1e-6).all()
    assert (np.abs(a) <= np.maximum(LIMITS.acceleration, np.abs(state[2])) + 1e-4).all()
    assert (np.abs(j[:-3]) <= LIMITS.jerk * (1 + 1e-3) + 1).all()


@settings(max_examples=40, deadline=None)
@given(states(1.0), targets)
def test_it_is_as_quick_as_ruckig_by_itself(state, target):
    """The reference: ruckig's own offline result for the same numbers, set up here anew."""
    way = Transition.plan(TANSY, *state, target)
    assume(way.kind == "planned")
    wanted = ruckig.InputParameter(J)
    wanted.current_position, wanted.current_velocity, wanted.current_acceleration = (list(x) for x in state)
    wanted.target_position = list(target)
    wanted.max_velocity = list(LIMITS.speed)
    wanted.max_acceleration = list(LIMITS.acceleration)
    wanted.max_jerk = list(LIMITS.jerk)
    reference = ruckig.Trajectory(J)
    ruckig.Ruckig(J).calculate(wanted, reference)
    assert way.duration == pytest.approx(reference.duration)
    for t in np.linspace(0, way.duration, 7)[:-1]:
        assert np.allclose(way.at(t)[0], reference.at_time(t)[0], atol=1e-8)


def test_from_rest_over_a_long_way_it_takes_the_time_of_a_seven_part_profile():
    """Rest to rest at full speed v: T = d/v + v/a + a/j (double-S profile; Biagiotti & Melchiorri 2008, §3.4, memory).

    Derived: the ramp's time is v/a + a/j, its mean speed v/2, and there are two of them.
    """
    lower, upper = np.full(J, -50.0), np.full(J, 50.0)
    limits = Limits(LIMITS.speed, LIMITS.acceleration, LIMITS.jerk, lower, upper)
    for joint in (0, J - 1):
        end = np.zeros(J)
        end[joint] = 40.0
        v, a, j = LIMITS.speed[joint], LIMITS.acceleration[joint], LIMITS.jerk[joint]
        way = Transition.plan(TANSY, np.zeros(J), np.zeros(J), np.zeros(J), end, limits)
        assert way.duration == pytest.approx(40.0 / v + v / a + a / j)


@settings(max_examples=120, deadline=None)
@given(states(2.5), targets)
def test_no_joint_ever_leaves_its_range(state, target):
    way = Transition.plan(TANSY, *state, target)
    _, q, v, _ = sampled(way, 0.002)
    assert (q >= TANSY.lower - TINY).all()
    assert (q <= TANSY.upper + TINY).all()
    assert np.isfinite(v).all()


def test_a_joint_that_cannot_stop_in_time_stops_quicker_and_the_others_do_not():
    middle = (TANSY.lower + TANSY.upper) / 2
    q0, v0 = middle.copy(), np.zeros(J)
    v0[:2] = LIMITS.speed[:2]
    normal = Transition.plan(TANSY, middle, v0, np.zeros(J), middle)
    assert normal.kind == "planned"
    runs_on = sampled(normal)[1][:, 0].max() - middle[0]
    # By hand: from v to rest it takes v/a + a/j, at v/2; who turns back needs not let go of the brake first.
    ramp = LIMITS.speed / LIMITS.acceleration + LIMITS.acceleration / LIMITS.jerk
    assert 0.9 < runs_on / (LIMITS.speed * ramp / 2)[0] < 1
    q0[0] = TANSY.upper[0] - runs_on / 3
    way = Transition.plan(TANSY, q0, v0, np.zeros(J), middle)
    assert way.kind == "sharpened"
    _, q, _, a = sampled(way)
    # Quicker only as far as it takes: it stops not far short of the end of the range.
    assert TANSY.upper[0] - runs_on / 3 * 0.5 < q[:, 0].max() <= TANSY.upper[0] + TINY
    assert np.abs(a[:, 1]).max() <= LIMITS.acceleration[1] * (1 + 1e-9)


def test_a_joint_that_cannot_stop_at_all_is_held_at_the_end_of_its_range():
    q0 = (TANSY.lower + TANSY.upper) / 2
    v0 = np.zeros(J)
    q0[0] = TANSY.upper[0] - 1e-4
    v0[0] = LIMITS.speed[0] * SHARPEST
    way = Transition.plan(TANSY, q0, v0, np.zeros(J), q0)
    _, q, v, a = sampled(way)
    assert q[:, 0].max() == TANSY.upper[0]
    held = q[:, 0] == TANSY.upper[0]
    assert not v[held, 0].any()
    assert not a[held, 0].any()


def test_a_joint_outside_its_range_comes_back_and_goes_no_further():
    q0 = (TANSY.lower + TANSY.upper) / 2
    q0[0] = TANSY.upper[0] + 0.2
    way = Transition.plan(TANSY, q0, np.zeros(J), np.zeros(J), rest_joints(TANSY))
    _, q, _, _ = sampled(way)
    assert q[:, 0].max() <= q0[0]
    assert np.allclose(way.at(0.0)[0], q0)
    assert np.allclose(way.end, rest_joints(TANSY))


def test_a_target_outside_the_range_is_drawn_into_it():
    way = Transition.plan(TANSY, rest_joints(TANSY), np.zeros(J), np.zeros(J), np.full(J, 9.0))
    assert np.array_equal(way.end, TANSY.upper)


def test_standing_still_takes_no_time():
    rest = rest_joints(TANSY)
    way = Transition.plan(TANSY, rest, np.zeros(J), np.zeros(J), rest)
    assert way.duration == pytest.approx(0)
    assert np.array_equal(way.at(0.5)[0], rest)


@settings(max_examples=100, deadline=None)
@given(states(1.5), targets)
def test_the_extremes_of_a_path_are_those_of_its_samples(state, target):
    path = transition._ruckig(state, target, LIMITS)
    q = np.array([path.at(t)[0] for t in np.linspace(0, path.duration, 1500)])
    least, most = path.extremes()
    # A turning point lies at most half a sample off: a (dt/2)²/2.
    coarse = LIMITS.acceleration * 2.5 * (path.duration / 1500) ** 2
    assert (least <= q.min(axis=0) + TINY).all()
    assert (most >= q.max(axis=0) - TINY).all()
    assert (least >= q.min(axis=0) - coarse - TINY).all()
    assert (most <= q.max(axis=0) + coarse + TINY).all()


def test_the_limits_follow_the_servos():
    for robot in ROBOTS:
        limits = Limits.of(robot)
        assert (limits.speed < top_speed(robot)).all()
        assert np.allclose(Limits.of(robot, 1.0).speed, top_speed(robot))
        assert (limits.acceleration > 0).all()
        assert (limits.jerk > 0).all()


class TestWhenThePlannerFails:
    """Then a polynomial steps in; the show goes on."""

    @pytest.fixture(params=["raises", "answers with an error", "goes elsewhere"])
    def broken(self, request, monkeypatch):
        original = ruckig.Ruckig

        class Broken:
            def __init__(self, joints):
                self.real = original(joints)

            def calculate(self, wanted, trajectory):
                if request.param == "raises":
                    raise RuntimeError("no solution")
                if request.param == "answers with an error":
                    return ruckig.Result.ErrorExecutionTimeCalculation
                wanted.current_position = [q + 0.1 for q in wanted.current_position]
                return self.real.calculate(wanted, trajectory)

        monkeypatch.setattr(transition.ruckig, "Ruckig", Broken)

    @settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
    @given(state=states(1.0), target=targets)
    def test_it_still_gets_there(self, broken, state, target):
        way = Transition.plan(TANSY, *state, target)
        assert way.kind == "plain"
        assert np.allclose(way.at(0.0)[0], state[0], atol=1e-9)
        assert np.array_equal(way.at(way.duration)[0], target)
        _, q, v, _ = sampled(way, 0.005)
        assert (q >= TANSY.lower - TINY).all()
        assert (q <= TANSY.upper + TINY).all()
        # Starts at full speed with the end of the range ahead leave no good answer; none is faster than this.
        assert (np.abs(v) <= top_speed(TANSY) * 1.5).all()

    @settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
    @given(start=targets, target=targets)
    def test_from_rest_it_keeps_the_limits(self, broken, start, target):
        way = Transition.plan(TANSY, start, np.zeros(J), np.zeros(J), target)
        _, _, v, a = sampled(way, 0.005)
        assert (np.abs(v) <= LIMITS.speed * 1.001).all()
        assert (np.abs(a) <= LIMITS.acceleration * 1.02).all()

    def test_from_rest_it_is_minimum_jerk(self, broken):
        """10τ³ - 15τ⁴ + 6τ⁵ (Flash & Hogan 1985)."""
        start, end = rest_joints(TANSY), (TANSY.lower + TANSY.upper) / 2
        way = Transition.plan(TANSY, start, np.zeros(J), np.zeros(J), end)
        for s in (0.1, 0.5, 0.9):
            ease = 10 * s**3 - 15 * s**4 + 6 * s**5
            assert np.allclose(way.at(s * way.duration)[0], start + ease * (end - start))


def test_a_speed_that_is_no_number_counts_as_none():
    rest = rest_joints(TANSY)
    way = Transition.plan(TANSY, rest, np.full(J, np.nan), np.zeros(J), rest)
    assert np.array_equal(way.end, rest)
    with pytest.raises(ValueError, match="finite"):
        Transition.plan(TANSY, np.full(J, np.nan), np.zeros(J), np.zeros(J), rest)
