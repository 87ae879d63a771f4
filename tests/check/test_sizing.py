"""What supply a move needs: that what is named fits, that a tenth less does not, and known facts of such machines.

Whether a supply does is asked of the whole check on a robot that has it, which the sizing is not told about.
"""

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from motionhub.check.report import Report, check
from motionhub.check.sizing import RULES, Sizing, batteries, set_points, size, under_supply
from motionhub.check.timeline import work_out
from motionhub.library.shipped import shipped_folder
from motionhub.motion import documents
from motionhub.motion.frames import Frames
from motionhub.motion.posing import rest_joints
from motionhub.motion.render import render
from motionhub.robot.kinematics import leg_angles
from motionhub.robot.model import Robot

AMPLE = 1e4


def move(robot: Robot, *keyframes: dict[str, object], **more: object) -> Report:
    text = json.dumps({"format": "motionhub-sequence/1", "name": "test", "keyframes": keyframes, **more})
    return check(render(documents.parse(text, "test", robot), robot))


def shipped(robot: Robot, name: str) -> Report:
    text = (shipped_folder() / f"{name}.json").read_text()
    return check(render(documents.parse(text, name, robot), robot))


def on_three_feet(robot: Robot, seconds: float = 6.0) -> Report:
    """Held on a tripod, as in every walk, for longer than a servo may be overloaded."""
    feet = robot.rest_feet.copy()
    feet[[1, 3, 5], 2] += robot.walk.lift
    joints = np.append(leg_angles(robot, feet).joints.ravel(), np.zeros(len(robot.extra)))
    count = round(seconds * 50)
    return check(
        Frames(robot, "tripod", 50.0, np.tile(joints, (count, 1)), np.zeros((count, 2)), np.zeros((count, robot.legs)))
    )


def fails(report: Report, rail_v: float, regulator_a: float, ways: bool = True) -> set[str]:
    """The rules that the whole check finds broken, of those that a supply can mend, on a robot that has it."""
    frames = report.timeline.frames
    supply = replace(frames.robot.supply, regulator_v=rail_v, regulator_a=regulator_a)
    anew = check(replace(frames, robot=replace(frames.robot, supply=supply)))
    return {f.rule for f in anew.findings if f.severity == "error" and (ways or not f.way)} & set(RULES)


LOW = {"at_ms": 900, "body": {"z_mm": -30}, "feet": {"left_front": {"z_mm": 25}}}
HEAD = {"at_ms": 300, "joints_deg": {"head": 55}}


@pytest.mark.parametrize(
    "keyframes",
    [[LOW, {"at_ms": 1500, "body": {"z_mm": 0}}], [HEAD, {"at_ms": 700, "joints_deg": {"head": 0}}]],
    ids=["crouch", "fast head"],
)
def test_a_tenth_less_does_not_do(tansy: Robot, keyframes: list[dict[str, object]]) -> None:
    report = move(tansy, *keyframes)
    found = size([report])
    small, least = found.smallest, found.least_current
    assert small is not None
    assert least is not None
    assert small.regulator_a is not None
    assert least.regulator_a is not None
    for point in (small, least):
        assert fails(report, point.rail_v, point.regulator_a) == set()
        assert "supply-current" in fails(report, point.rail_v, point.regulator_a - 0.1)
    assert least.regulator_a <= small.regulator_a
    below = round(small.rail_v - 0.1, 6)
    assert below < max(servo.min_v for servo in tansy.servos) or fails(report, below, AMPLE)


def test_every_set_point_is_what_the_rules_of_the_supply_say(tansy: Robot) -> None:
    """Through the whole check without the ways around a move, which begins and ends at rest."""
    reports = [shipped(tansy, "sway"), on_three_feet(tansy)]
    found = size(reports)
    assert [point.rail_v for point in found.set_points] == [round(4.8 + 0.1 * i, 1) for i in range(25)]
    assert not all(point.fits for point in found.set_points)

    def broken(rail_v: float, regulator_a: float) -> list[set[str]]:
        return [fails(report, rail_v, regulator_a, ways=False) for report in reports]

    for point in found.set_points[::8]:
        if point.regulator_a is not None:
            assert broken(point.rail_v, point.regulator_a) == [set(), set()]
        else:
            named = {finding.rule for _, finding in point.failing}
            assert named
            assert named <= set.union(*broken(point.rail_v, AMPLE))


def test_three_feet_need_more_than_five_volts_and_six_amps(tansy: Robot) -> None:
    """Too heavy on 5 V, up on 7 V; eighteen such servos take a regulator of more than 6 A (practice)."""
    found = size([on_three_feet(tansy), shipped(tansy, "stand-up"), shipped(tansy, "lantern-walk")])
    by_volts = {point.rail_v: point for point in found.set_points}
    assert "holding-torque" in {finding.rule for _, finding in by_volts[5.0].failing}
    assert by_volts[7.0].fits
    assert found.least_current is not None
    assert (found.least_current.regulator_a or 0) > 6
    assert found.own.fits  # Tansy's own 7 V and 12 A
    assert found.own_regulator_a == 12


def test_a_charged_pack_on_the_servos_is_too_much(tansy: Robot) -> None:
    """Two full cells are 8.4 V, servos of that class take 7.2 V at most (practice)."""
    report = move(tansy, {"at_ms": 500, "body": {"z_mm": 5}})
    assert max(set_points(tansy)) == 7.2
    found = size([report], set_v=tansy.supply.battery_full_v)
    assert not found.fits
    assert [(f.rule, f.subject, f.limit) for _, f in found.set_points[0].failing] == [
        ("supply-voltage", "regulator", 7.2)
    ]


def test_where_no_voltage_does_it_says_which_rule_fails_at_the_highest(tansy: Robot) -> None:
    heavy = replace(tansy, body_mass=3 * tansy.body_mass)
    report = on_three_feet(heavy)
    found = size([report])
    assert (found.smallest, found.least_current, found.fits) == (None, None, False)
    last = found.set_points[-1]
    assert last.rail_v == 7.2
    rules = {finding.rule for _, finding in last.failing}
    assert rules <= fails(report, 7.2, AMPLE)
    assert "holding-torque" in rules


def test_what_no_supply_mends_is_named_apart(tansy: Robot) -> None:
    report = move(tansy, {"at_ms": 800, "feet": {"left_front": {"z_mm": 400}}}, {"at_ms": 2000, "body": {"z_mm": 0}})
    found = size([report])
    assert "reach" in {finding.rule for _, finding in found.beyond}
    assert not {finding.rule for _, finding in found.beyond} & set(RULES)
    assert not found.fits


def test_a_library_needs_what_its_hungriest_moves_need(tansy: Robot) -> None:
    reports = [shipped(tansy, "wave"), shipped(tansy, "startle"), shipped(tansy, "turn-left")]
    for volts in (5.0, 7.2):
        (point,) = size(reports, set_v=volts).set_points
        alone = [size([report], set_v=volts).set_points[0] for report in reports]
        assert point.fits == all(p.fits for p in alone)
        if point.fits:
            assert point.regulator_a == max(p.regulator_a or 0 for p in alone)


def test_the_answers_have_passed_the_whole_check(tansy: Robot) -> None:
    """Stopped in mid-move some joints ask for more than the move itself, and a slower servo falls behind."""
    report = shipped(tansy, "startle")
    found = size([report])
    assert found.smallest is not None
    assert found.least_current is not None
    for point in (found.smallest, found.least_current):
        assert point.whole_check
        assert fails(report, point.rail_v, point.regulator_a or 0) == set()
    for point in found.set_points:
        assert point.rail_v >= found.smallest.rail_v or not point.fits
        assert (point.regulator_a or np.inf) >= (found.least_current.regulator_a or 0)


def test_progress_rises_to_the_end(tansy: Robot) -> None:
    seen: list[tuple[int, int]] = []
    size([move(tansy, {"at_ms": 500, "body": {"z_mm": 5}})], progress=lambda done, of: seen.append((done, of)))
    assert [done for done, _ in seen] == list(range(1, len(seen) + 1))
    assert seen[-1][0] == seen[-1][1]


@settings(max_examples=8, deadline=None)
@example(depth=0.0, head=1e-169, pause=150, rail_v=5.0, regulator_a=1.0, battery_v=7.0)  # it once overflowed
@given(
    depth=st.floats(0, 45),
    head=st.floats(-60, 60),
    pause=st.integers(150, 900),
    rail_v=st.floats(4.8, 7.2),
    regulator_a=st.floats(1, 20),
    battery_v=st.floats(6.6, 8.4),
)
def test_another_supply_is_as_working_it_all_out_anew(
    depth: float, head: float, pause: int, rail_v: float, regulator_a: float, battery_v: float, tansy: Robot
) -> None:
    t = move(tansy, {"at_ms": pause, "body": {"z_mm": -depth}, "joints_deg": {"head": head}}).timeline
    quick = under_supply(t, rail_v, regulator_a, battery_v)
    anew = work_out(replace(t.frames, robot=tansy.on_supply(rail_v, regulator_a)), battery_v)
    for name, values in vars(anew.rail).items():
        assert getattr(quick.rail, name) == pytest.approx(values, abs=1e-6), name
    assert quick.set_v == anew.set_v == rail_v
    assert quick.torques == pytest.approx(anew.torques)


@settings(max_examples=8, deadline=None)
@given(depth=st.floats(0, 40), tilt=st.floats(-10, 10), rail_v=st.floats(4.8, 7.2))
def test_the_regulator_is_what_is_asked_rounded_up(depth: float, tilt: float, rail_v: float, tansy: Robot) -> None:
    report = move(tansy, {"at_ms": 1500, "body": {"z_mm": -depth, "roll_deg": tilt}})
    (point,) = size([report], set_v=rail_v).set_points
    if point.regulator_a is not None:
        assert point.regulator_a >= under_supply(report.timeline, rail_v, AMPLE).rail.amps.max()
        assert point.regulator_a == pytest.approx(round(point.regulator_a, 1), abs=1e-9)
        assert "supply-current" in fails(report, rail_v, point.regulator_a - 0.1)


def test_a_move_fits_for_as_many_runs_as_its_rail_holds_up(tansy: Robot) -> None:
    """A regulator set to the highest voltage that the pack has at nominal sags first; the runs end where it fails."""
    report = on_three_feet(replace(tansy, supply=replace(tansy.supply, capacity_c=200 * 3.6)), seconds=1.0)
    (found,) = batteries([report])
    assert 0 < found.fitting_runs <= found.pack.runs
    assert batteries([on_three_feet(replace(tansy, body_mass=3 * tansy.body_mass), 1.0)])[0].fitting_runs == 0


def test_the_runs_that_fit_end_where_the_check_says_so(tansy: Robot) -> None:
    """With a weak battery the load pulls the rail down, until the legs cannot hold."""
    weak = replace(tansy, supply=replace(tansy.supply, battery_ohm=0.2, capacity_c=300 * 3.6, battery_cut_off_v=1.0))
    report = on_three_feet(weak, seconds=2.0)
    (found,) = batteries([report])
    assert 0 < found.fitting_runs < found.pack.runs
    # The battery's voltage before the last run that fits, and before the one after the next
    volts = dict(zip(found.pack.after.tolist(), found.pack.open_v.tolist(), strict=True))
    frames = report.timeline.frames

    def errors(battery_v: float) -> set[str]:
        supply = replace(weak.supply, battery_nominal_v=battery_v)
        anew = check(replace(frames, robot=replace(weak, supply=supply)))
        return {f.rule for f in anew.findings if f.severity == "error"} & set(RULES)

    assert errors(volts[found.fitting_runs - 1]) == set()
    assert errors(volts[found.fitting_runs + 2]) != set()


def test_a_joint_too_fast_for_what_the_load_leaves_of_the_rail_is_found(tansy: Robot) -> None:
    """No rule is passed by between the speed at the set-point and the speed at the sagging rail."""
    servo = tansy.servos[tansy.joint_index["head"]]
    at_set, at_rail = (float(servo.free_speed_at(v)) for v in (7.0, move(tansy, HEAD).timeline.rail.steady_volts.min()))
    peak = (at_set + at_rail) / 2
    joints = np.repeat(rest_joints(tansy)[None], 51, axis=0)
    joints[:, tansy.joint_index["head"]] = np.radians(np.linspace(-50, 50, 51))
    rate = peak / np.abs(np.diff(joints, axis=0)).max()
    report = check(Frames(tansy, "turn", float(rate), joints, np.zeros((51, 2)), np.zeros((51, 6))))
    assert at_rail < np.abs(report.timeline.speeds).max() < at_set
    # The limit is nothing where the rail does not let it turn as fast at all.
    assert ("head", 0.0) in {(f.subject, f.limit) for f in report.findings if f.rule == "joint-torque"}
    assert "joint-speed" not in {f.rule for f in report.findings if f.subject == "head" and not f.way}


def test_rest_joints_are_a_move_too(tansy: Robot) -> None:
    """One frame: nothing moves, and the smallest supply is the one that stands."""
    report = check(Frames(tansy, "rest", 50.0, rest_joints(tansy)[None], np.zeros((1, 2)), np.zeros((1, 6))))
    found: Sizing = size([report])
    assert found.smallest is not None
    assert fails(report, found.smallest.rail_v, found.smallest.regulator_a or 0) == set()
