"""The shortest timing, beside what others find: toppra's optimum, SciPy's linear programme, and closed forms.

What both can state. toppra is given a path in joint space and times it freely; a sequence keeps, in each stretch,
the approach that its keyframe names, and only the stretch's length is free. With ``linear`` keyframes close together
the two are the same problem, under limits on speed that may depend on the place (for a servo has less speed to give
where it carries more). With one keyframe per movement and minimum jerk they are not: the approach costs its peak
over its mean, 15/8 (Flash & Hogan, J. Neurosci. 5(7), 1985), and toppra, which may go at top speed all the way,
is ahead by exactly that; so there it is told to keep the pace of the approach.
"""

from __future__ import annotations

import json
import os
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import toppra
import toppra.algorithm
import toppra.constraint
from figures import Figures
from hypothesis import Phase, event, given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog
from stances import rotorless
from toppra.interpolator import AbstractGeometricPath

from motionhub.check.report import check
from motionhub.check.retiming import retime
from motionhub.check.slowness import slower_by
from motionhub.check.timeline import work_out
from motionhub.motion import documents
from motionhub.motion.covering import cover
from motionhub.motion.documents import Sequence
from motionhub.motion.gait import gaits
from motionhub.motion.render import render
from motionhub.motion.retime import most, stretched
from motionhub.motion.stepper import Stepper
from motionhub.robot.limits import top_speed
from motionhub.robot.mass import gravity_torques
from motionhub.robot.model import Robot

RATE = 250.0
"""Frames a second: many to a stretch."""
LEG = ("left_front.coxa", "left_front.femur", "left_front.tibia")


@pytest.fixture(scope="module")
def light(tansy: Robot) -> Robot:
    """Links and rotors that weigh next to nothing, on wires that take no voltage: speed is all that counts."""
    tansy = rotorless(tansy)
    supply = replace(tansy.supply, battery_ohm=1e-3, wiring_ohm=1e-4)
    return replace(tansy, link_mass=tansy.link_mass * 1e-6, link_inertia=tansy.link_inertia * 1e-6, supply=supply)


def sequence(robot: Robot, keyframes: list[dict[str, object]], **more: object) -> Sequence:
    text = json.dumps({"format": "motionhub-sequence/1", "name": "test", "keyframes": keyframes, **more})
    return documents.parse(text, "test", robot)


class Corners(AbstractGeometricPath):  # type: ignore[misc]
    """Straight from point to point, a unit of path each."""

    def __init__(self, points: np.ndarray) -> None:
        self.points = points

    def __call__(self, s, order=0):  # type: ignore[no-untyped-def]
        s = np.atleast_1d(s)
        piece = np.clip(np.ceil(s).astype(int) - 1, 0, len(self.points) - 2)
        way = self.points[piece + 1] - self.points[piece]
        found = (self.points[piece] + (s - piece)[:, None] * way, way, 0 * way)[order]
        return found if len(s) > 1 else found[0]

    @property
    def dof(self) -> int:
        return self.points.shape[1]

    @property
    def path_interval(self) -> np.ndarray:
        return np.array([0.0, len(self.points) - 1.0])

    @property
    def waypoints(self) -> tuple[np.ndarray, np.ndarray]:
        return np.arange(len(self.points)), self.points


def toppras(points: np.ndarray, limits: list[object], per_stretch: int) -> float:
    """Its optimum in seconds; a grid of so many points in each stretch."""
    path = Corners(points)
    grid = np.linspace(0, len(points) - 1, per_stretch * (len(points) - 1) + 1)
    instance = toppra.algorithm.TOPPRA(limits, path, gridpoints=grid, solver_wrapper="seidel")
    _, pace, _ = instance.compute_parameterization(0.0, 0.0)
    return float((2 * np.diff(grid) / (pace[1:] + pace[:-1])).sum())


@pytest.mark.parametrize("seed", range(6))
def test_straight_stretches_take_as_long_as_toppras(light: Robot, seed: int, figures: Figures) -> None:
    """Head and tail through random angles, linear: limits of speed alone. toppra may also set off and arrive slowly;
    with next to no limit on acceleration that costs it nothing."""
    dice = np.random.default_rng(seed)
    points = np.vstack([np.zeros(2), np.deg2rad(dice.uniform(-55, 55, (7, 2)))])
    keys = [
        {"at_ms": 400 * i, "approach": "linear", "joints_deg": {"head": float(a), "tail": float(b)}}
        for i, (a, b) in enumerate(np.rad2deg(points))
    ]
    move = sequence(light, keys)
    top = top_speed(light)[[light.joint_index["head"], light.joint_index["tail"]]]
    speed = toppra.constraint.JointVelocityConstraint(np.stack([-top, top], axis=-1))
    gain = toppra.constraint.JointAccelerationConstraint(np.array([[-1e5, 1e5]] * 2))
    optimum = toppras(points, [speed, gain], 100)
    found = retime(move, light, rate_hz=RATE, fastest=True).sequence
    assert max(slower_by(work_out(render(found, light, RATE)))[0]) <= 1 + 1e-6
    _note(figures, "straight stretches", found.duration_s / optimum)
    assert found.duration_s == pytest.approx(optimum, rel=0.05)
    # Derived: each stretch is as long as the joint that has the most to go, at its top speed
    assert optimum == pytest.approx((np.abs(np.diff(points, axis=0)) / top).max(axis=1).sum(), rel=0.01)


def _note(figures: Figures, what: str, ratio: float) -> None:
    figures.note(f"{what}, times as long as toppra's", ratio)
    figures.note(f"{what}, share of it either way", abs(ratio - 1))


def lifted(robot: Robot, points: np.ndarray) -> Sequence:
    """A front leg in the air, through joint angles (N, 3) rad."""
    keys = [
        {"at_ms": 500 + 250 * i, "approach": "linear", "joints_deg": dict(zip(LEG, map(float, row), strict=True))}
        for i, row in enumerate(np.rad2deg(points))
    ]
    return sequence(robot, keys)


@pytest.mark.parametrize("seed", range(2))
def test_where_a_servo_has_less_speed_to_give_it_is_toppra_that_says_how_much(
    tansy: Robot, seed: int, figures: Figures
) -> None:
    """A heavy leg held up: what gravity takes of each servo changes along the way, and so does its speed
    (a servo's torque falls linearly with its speed; practice). toppra: its velocity limits that vary with the path.
    """
    tansy = rotorless(tansy)
    weak = replace(
        tansy,
        supply=replace(tansy.supply, regulator_a=100.0, battery_ohm=1e-3, wiring_ohm=1e-4),
        servos=tuple(
            # Slow, so that inertia takes nothing worth mentioning: toppra is not told of it.
            replace(s, stall_torque=s.stall_torque * 0.14, free_speed=s.free_speed * 0.1, hold_fraction=1.0)
            if i < 3
            else s
            for i, s in enumerate(tansy.servos)
        ),
    )
    dice = np.random.default_rng(seed)
    ends = np.array(
        [[0.0, 1.0, -1.2], [*dice.uniform(-0.4, 0.4, 1), 0.3, -0.3], [*dice.uniform(-0.4, 0.4, 1), 1.1, -1.5]]
    )
    points = np.vstack([np.linspace(a, b, 12, endpoint=False) for a, b in pairwise(ends)])
    points = np.vstack([points, ends[-1:]])
    move = lifted(weak, points)
    t = work_out(render(move, weak))
    volts = float(np.median(t.rail.steady_volts))
    path = Corners(points)
    free = np.array([float(weak.servos[j].free_speed_at(volts)) for j in range(3)])
    stall = np.array([float(weak.servos[j].stall_torque_at(volts)) for j in range(3)])

    def limits(s: float) -> np.ndarray:
        joints = t.frames.joints[:1].copy()
        joints[0, :3] = path(s)
        # Body level: the other five feet hold it
        held = gravity_torques(weak, joints, np.array([[0.0, 0.0, -1.0]]))[0, :3]
        most = np.minimum(free * (1 - np.abs(held) / stall), top_speed(weak)[:3])
        return np.stack([-most, most], axis=-1)

    speed = toppra.constraint.JointVelocityConstraintVarying(limits)
    gain = toppra.constraint.JointAccelerationConstraint(np.array([[-1e5, 1e5]] * 3))
    optimum = toppras(points, [speed, gain], 8)
    freely = float((np.abs(np.diff(points, axis=0)) / top_speed(weak)[:3]).max(axis=1).sum())
    assert optimum > 1.1 * freely  # the load does matter
    found = retime(move, weak, rate_hz=RATE, fastest=True).sequence
    ours = found.duration_s - (found.document.keyframes[0].at_ms or 0) / 1000
    _note(figures, "under load", ours / optimum)
    assert ours == pytest.approx(optimum, rel=0.05)


class Approach(AbstractGeometricPath):  # type: ignore[misc]
    """One stretch of minimum jerk, 10τ³ − 15τ⁴ + 6τ⁵, by its own progress; and that progress as a last coordinate."""

    def __init__(self, way: np.ndarray) -> None:
        self.way = way

    def __call__(self, s, order=0):  # type: ignore[no-untyped-def]
        t = np.atleast_1d(s)
        shape = (
            10 * t**3 - 15 * t**4 + 6 * t**5,
            30 * t**2 - 60 * t**3 + 30 * t**4,
            60 * t - 180 * t**2 + 120 * t**3,
        )
        found = np.hstack([shape[order][:, None] * self.way, (t, 0 * t + 1, 0 * t)[order][:, None]])
        return found if np.ndim(s) else found[0]

    @property
    def dof(self) -> int:
        return len(self.way) + 1

    @property
    def path_interval(self) -> np.ndarray:
        return np.array([0.0, 1.0])

    @property
    def waypoints(self) -> tuple[np.ndarray, np.ndarray]:
        return np.array([0.0, 1.0]), self(np.array([0.0, 1.0]))


def kept_pace(way: np.ndarray, top: np.ndarray) -> float:
    """toppra's optimum in s for one stretch of even progress: the last coordinate may not accelerate."""
    limits = np.append(top, 1e3)
    speed = toppra.constraint.JointVelocityConstraint(np.stack([-limits, limits], axis=-1))
    even = np.append(np.full(len(way), 1e6), 1e-3)
    gain = toppra.constraint.JointAccelerationConstraint(np.stack([-even, even], axis=-1))
    grid = np.linspace(0, 1, 201)
    instance = toppra.algorithm.TOPPRA([speed, gain], Approach(way), gridpoints=grid, solver_wrapper="seidel")
    fastest_start = float(np.sqrt(instance.compute_controllable_sets(0.0, 1e3)[0, 1]))
    return 1 / fastest_start


@pytest.mark.parametrize("seed", range(4))
def test_with_the_pace_of_the_approach_it_is_toppras_too(light: Robot, seed: int, figures: Figures) -> None:
    dice = np.random.default_rng(seed)
    points = np.vstack([np.zeros(2), np.deg2rad(dice.uniform(-55, 55, (6, 2)))])
    keys = [
        {"at_ms": 1200 * i, "joints_deg": {"head": float(a), "tail": float(b)}}
        for i, (a, b) in enumerate(np.rad2deg(points))
    ]
    top = top_speed(light)[[light.joint_index["head"], light.joint_index["tail"]]]
    optimum = sum(kept_pace(way, top) for way in np.diff(points, axis=0))
    found = retime(sequence(light, keys), light, rate_hz=RATE, fastest=True).sequence
    _note(figures, "minimum jerk", found.duration_s / optimum)
    assert found.duration_s == pytest.approx(optimum, rel=0.05)
    # And what toppra may do that an approach may not, is worth 15/8
    freely = (np.abs(np.diff(points, axis=0)) / top).max(axis=1).sum()
    assert optimum / freely == pytest.approx(15 / 8, rel=0.01)


@settings(max_examples=60, deadline=None)
@given(data=st.data())
def test_covering_costs_what_the_linear_programme_costs(data: st.DataObject, figures: Figures) -> None:
    count = data.draw(st.integers(1, 7))
    least = np.array(data.draw(st.lists(st.floats(0.05, 2), min_size=count, max_size=count)))
    run = st.tuples(st.integers(0, count - 1), st.integers(1, count)).filter(lambda ab: ab[0] < ab[1])
    runs = data.draw(st.dictionaries(run, st.floats(0.1, 6), max_size=8))
    found = cover(least, runs)
    assert (found >= least - 1e-9).all()
    for (first, end), length in runs.items():
        assert found[first:end].sum() >= length - 1e-7
    rows = [[-1.0 if first <= k < end else 0.0 for k in range(count)] for first, end in runs]
    best = linprog(
        np.ones(count),
        A_ub=np.array(rows) if rows else None,
        b_ub=[-length for length in runs.values()] if rows else None,
        bounds=[(low, None) for low in least],
    )
    figures.note("s longer than the linear programme's covering", found.sum() - best.fun)
    assert found.sum() == pytest.approx(best.fun, abs=1e-6)


def test_what_is_missing_is_shared_by_the_pieces_that_may_have_it() -> None:
    np.testing.assert_allclose(cover(np.array([1.0, 2.0, 1.0]), {(0, 3): 6.0}), [1.5, 3.0, 1.5], atol=1e-4)
    # Both runs take it in the piece that they share, since twice would be longer.
    np.testing.assert_allclose(cover(np.array([1.0, 1.0, 1.0]), {(0, 2): 3.0, (1, 3): 3.0}), [1, 2, 1], atol=1e-9)


@pytest.mark.parametrize("seed", range(8))
def test_channels_that_overlap_take_as_long_as_the_linear_programme(light: Robot, seed: int, figures: Figures) -> None:
    """Head and tail, each with keys of its own: the time between two keys has to be 15/8 of way over top speed at
    least, times between keyframes are not to shrink, and the sum is to be least (HiGHS, by SciPy)."""
    dice = np.random.default_rng(seed)
    knots, names = 7, ("head", "tail")
    angles: dict[int, dict[str, float]] = {k: {} for k in range(1, knots)}
    for k in range(1, knots):
        for name in names if dice.random() < 0.3 else (names[dice.integers(2)],):
            angles[k][name] = float(dice.uniform(-55, 55))
    least = dice.uniform(0.02, 0.1, knots - 1)
    at = np.concatenate([[0.0], np.cumsum(least)])
    move = sequence(light, [{"at_ms": at[k] * 1000, "joints_deg": angles[k]} for k in range(1, knots)])
    rows, lengths = [], []
    for name in names:
        before, angle = 0, 0.0
        for k in range(1, knots):
            if name in angles[k]:
                way = abs(np.deg2rad(angles[k][name] - angle))
                rows.append([-1.0 if before <= i < k else 0.0 for i in range(knots - 1)])
                lengths.append(-15 / 8 * way / top_speed(light)[light.joint_index[name]])
                before, angle = k, angles[k][name]
    best = linprog(np.ones(knots - 1), A_ub=rows, b_ub=lengths, bounds=[(low, None) for low in least])
    assert best.fun > 1.1 * least.sum()  # it is too fast as it is
    found = retime(move, light, rate_hz=RATE)
    figures.note("times as long as the linear programme's", found.sequence.duration_s / best.fun)
    assert found.sequence.duration_s == pytest.approx(best.fun, rel=0.01)


def test_current_is_used_up_to_what_there_is(tansy: Robot) -> None:
    """Bobbing on all feet until the regulator gives no more: its limit is met, and hardly less."""

    def bobbing(robot: Robot, each_ms: float) -> Sequence:
        return sequence(robot, [{"at_ms": each_ms * i, "body": {"z_mm": -22 if i % 2 else 8}} for i in range(1, 6)])

    quick, slow = (check(render(bobbing(tansy, ms), tansy)).peaks.supply_a for ms in (240, 4000))
    limit = (quick + slow) / 2
    tight = replace(tansy, supply=replace(tansy.supply, regulator_a=limit))
    found = retime(bobbing(tight, 240), tight).sequence
    report = check(render(found, tight))
    assert 0.98 * limit < report.peaks.supply_a <= limit
    assert report.fits


@st.composite
def documents_of(draw: st.DrawFn, robot: Robot) -> dict[str, object]:
    """A move by times, by beats, or with a walk in it: a few keyframes of body, feet, heads and tails."""
    kind = draw(st.sampled_from(["times", "beats", "walk"]))
    sizes = {"x_mm": 25, "y_mm": 25, "z_mm": 18, "roll_deg": 6, "pitch_deg": 6, "yaw_deg": 8}
    at, keyframes = 0.0, []
    for _ in range(draw(st.integers(1, 6))):
        at += draw(st.sampled_from([0.25, 0.5, 1.0]) if kind == "beats" else st.integers(60, 700))
        pose: dict[str, object] = {}
        axes = draw(st.sets(st.sampled_from(sorted(sizes)), max_size=3))
        if axes:
            pose["body"] = {axis: draw(st.integers(-sizes[axis], sizes[axis])) for axis in sorted(axes)}
        if kind != "walk" and draw(st.booleans()):
            pose["feet"] = {draw(st.sampled_from(robot.leg_names)): {"z_mm": draw(st.integers(0, 35))}}
        if not pose or draw(st.booleans()):
            joint = draw(st.integers(3 * robot.legs, robot.joints - 1))
            low, high = (round(float(np.rad2deg(side[joint]) * 0.8)) for side in (robot.lower, robot.upper))
            pose["joints_deg"] = {robot.joint_names[joint]: draw(st.integers(low, high))}
        approach = draw(st.sampled_from(["minimum-jerk", "linear", "ease-in-out", "ease"]))
        keyframes.append({("at_beat" if kind == "beats" else "at_ms"): at, "approach": approach, **pose})
    document = {"format": "motionhub-sequence/1", "name": "test", "keyframes": keyframes}
    if kind == "beats":
        return {**document, "tempo_bpm": draw(st.integers(100, 300))}
    if kind == "walk":
        # Of any gait, up to as fast as it goes, for long enough to set off and to stand again.
        gait = draw(st.sampled_from(list(gaits(robot))))
        stepper = Stepper(robot, gaits(robot)[gait])
        ahead, around = draw(st.floats(-1, 1)), draw(st.floats(-1, 1))
        wanted = stepper.limit((ahead, 0.0, 5 * around))[0] if max(abs(ahead), abs(around)) > 0.01 else (0.004, 0, 0)
        share = draw(st.sampled_from([1.0, 1.0, 0.6, 0.2]))
        cycle = stepper.timing.cycle * stepper.dt * 1000
        start, long = round(at / 2), round(cycle * draw(st.floats(2.5, 4)))
        walk = {"forward_mm_s": wanted[0] * share * 1000, "turn_deg_s": float(np.rad2deg(wanted[2] * share))}
        walks = [{"gait": gait, "from_ms": start, "to_ms": start + long, **walk}]
        return {**document, "walks": walks, "end_ms": max(start + long, at) + 200}
    return document


def ten_times_slower(move: Sequence, robot: Robot) -> Sequence:
    """Or so much slower as it may be written."""
    return stretched(move, robot, np.minimum(10.0, 0.99 * most(move, robot)))


TIMED = {"joint-speed", "joint-torque", "holding-torque", "supply-current", "supply-voltage"}
UNSTEADY = {"stability", "tip-over"}
MOVES = int(os.environ.get("MOTIONHUB_RETIMED_MOVES", "4"))


@settings(max_examples=MOVES, deadline=None, phases=[Phase.explicit, Phase.reuse, Phase.generate])
@given(data=st.data(), fastest=st.booleans())
def test_after_mending_the_check_passes(data: st.DataObject, fastest: bool, robot: Robot, figures: Figures) -> None:
    """Nothing is left wrong but what is wrong when all is done ten times as slowly, too: in all rules, stops included.

    What is not steady lies one way or the other by how it came there, so of such a move only what time mends is asked.
    A few moves of each robot in each run; for as many as you like, set MOTIONHUB_RETIMED_MOVES.
    """
    document = data.draw(documents_of(robot))
    move = documents.parse(json.dumps(document), "test", robot)
    before = errors(move, robot)
    slowly = errors(ten_times_slower(move, robot), robot)
    found = retime(move, robot, fastest=fastest)
    event("retimed" if found.changes else "as it was")
    event("time mends all of it" if not slowly else "time does not mend it")
    left = errors(found.sequence, robot)
    # A walk's feet come down elsewhere when it is slower, so it may also keep what was wrong with it and is no matter
    # of time.
    left -= slowly | (before - TIMED)
    wrong = left & TIMED - {"holding-torque"} if slowly & UNSTEADY else left
    kind = "that time mends" if found.changes and not slowly else "that fit or that time does not mend"
    figures.note(f"{robot.name}: rules left broken after retiming moves {kind}", len(wrong))
    assert not wrong
    if not fastest:
        assert found.sequence.duration_s >= move.duration_s - 1e-9
    assert [k.model_copy(update={"at_ms": None}) for k in found.sequence.document.keyframes] == [
        k.model_copy(update={"at_ms": None}) for k in move.document.keyframes
    ]


def errors(move: Sequence, robot: Robot) -> set[str]:
    return {f.rule for f in check(render(move, robot)).findings if f.severity == "error"}


def test_no_piece_becomes_longer_than_it_may_be_written(tansy: Robot) -> None:
    """A tempo and a walk's cycle have limits of their own; in search of what time mends, they are kept."""
    starved = tansy.on_supply(regulator_a=1.0)  # at rest, too: no time mends that
    beats = [{"at_beat": 1, "joints_deg": {"head": 70}}, {"at_beat": 1.5, "joints_deg": {"head": -70}}]
    slow = retime(sequence(starved, beats, tempo_bpm=101), starved).sequence
    assert 10 <= (slow.document.tempo_bpm or 0) < 101
    for cycle in (1200, 15000):
        walk = {"from_ms": 500, "to_ms": 30500, "forward_mm_s": 3, "cycle_ms": cycle}
        keys = [{"at_ms": 200, "joints_deg": {"head": 70}}, {"at_ms": 300, "joints_deg": {"head": -70}}]
        found = retime(sequence(starved, keys, walks=[walk]), starved)
        assert found.changes
    quick = [{"at_beat": 1, "joints_deg": {"head": 1}}, {"at_beat": 2, "joints_deg": {"head": -1}}]
    assert (retime(sequence(tansy, quick, tempo_bpm=60), tansy, fastest=True).sequence.document.tempo_bpm or 0) <= 400


def test_only_when_told_to_it_gets_faster_and_pauses_stay(tansy: Robot) -> None:
    keys = [
        {"at_ms": 2000, "body": {"x_mm": 15}},
        {"at_ms": 3500, "body": {"x_mm": 15}},
        {"at_ms": 6000, "body": {"x_mm": 0}},
    ]
    move = sequence(tansy, keys)
    assert retime(move, tansy).sequence is move
    found = retime(move, tansy, fastest=True)
    times = [k.at_ms or 0 for k in found.sequence.document.keyframes]
    assert times[0] < 1000
    assert times[1] - times[0] == pytest.approx(1500, abs=0.01)
    assert times[2] - times[1] < 1000
    assert check(render(found.sequence, tansy)).fits
    assert [change.factor < 1 for change in found.changes] == [True, True]


def test_as_fast_as_can_be_beats_stay_on_beats(light: Robot) -> None:
    keys = [{"at_beat": b, "joints_deg": {"head": d}} for b, d in ((1, 30), (2, -30), (4, 0))]
    move = sequence(light, keys, tempo_bpm=40)
    found = retime(move, light, rate_hz=RATE, fastest=True).sequence
    assert [k.at_beat for k in found.document.keyframes] == [1, 2, 4]
    # The quickest of them, 60 degrees in one beat, at 15/8 of its mean speed (Flash & Hogan 1985)
    beat = 15 / 8 * np.deg2rad(60) / top_speed(light)[light.joint_index["head"]]
    assert found.document.tempo_bpm == pytest.approx(60 / beat, rel=0.01)
