"""The verdict on whole moves: known facts of such machines, each rule broken on purpose, and the report's contract."""

import json
import math
import re
from dataclasses import replace

import numpy as np
import pytest
from stances import LEFT_TRIPOD, frames, posed, rotorless, standing, tripod

from motionhub.check.details import columns, csv
from motionhub.check.findings import RULES, Finding, stretches
from motionhub.check.report import Report, check
from motionhub.check.rules_joints import moving_rms
from motionhub.library.shipped import shipped_folder
from motionhub.motion import documents
from motionhub.motion.frames import Frames
from motionhub.motion.posing import joints_for, rest_joints
from motionhub.motion.render import render
from motionhub.robot.limits import top_speed
from motionhub.robot.model import Robot


def rules(report: Report) -> set[str]:
    return {finding.rule for finding in report.findings if not finding.way}


def only(report: Report, rule: str) -> list[Finding]:
    found = [finding for finding in report.findings if finding.rule == rule]
    assert found, f"{rule} not found in {rules(report)}"
    return found


def written(robot: Robot, **document: object) -> Frames:
    text = json.dumps({"format": "motionhub-sequence/1", "name": "test", **document})
    return render(documents.parse(text, "test", robot), robot)


def turned(robot: Robot, joint: str, degrees: float, seconds: float) -> Frames:
    """One joint turned evenly from rest."""
    count = round(seconds * 50) + 1
    joints = np.tile(rest_joints(robot), (count, 1))
    joints[:, robot.joint_index[joint]] += np.deg2rad(degrees) * np.linspace(0, 1, count)
    return frames(robot, joints)


# ------------------------------------------------------------------ known facts (practice, references)


def test_on_5_v_a_tripod_is_more_than_the_servos_can_hold_and_on_7_v_it_is_not(tansy: Robot) -> None:
    """A walker too heavy to lift itself with its servos on 5 V did lift itself on 7 V (practice)."""
    move = tripod(tansy, 12)
    low, high = check(move, supply_v=5.0), check(move, supply_v=7.0)
    assert not low.fits
    assert rules(low) == {"holding-torque"}
    worst = only(low, "holding-torque")[0]
    assert worst.subject == "left_middle.femur" or worst.subject == "right_middle.femur"
    # A third of the stall torque, for long (practice)
    stall = tansy.servos[0].stall_torque_at(low.peaks.supply_v_min)
    assert worst.limit == pytest.approx(stall / 3, rel=5e-3)
    assert high.fits
    assert not high.findings


def test_a_tripod_that_is_held_for_a_moment_does_not_overheat(tansy: Robot) -> None:
    # 0.7 N·m for a second and a half, then all six feet again: within the five-second window it is no load.
    feet = standing(tansy, 500)
    feet[100:175, LEFT_TRIPOD, 2] += 0.02
    assert "holding-torque" not in rules(check(frames(tansy, posed(tansy, feet)), supply_v=5.0))


def test_walking_draws_more_than_6_a_at_its_peak_and_fits(tansy: Robot) -> None:
    """Such a walker with eighteen servos needs a regulator of more than 6 A (practice)."""
    walk = written(tansy, walks=[{"from_ms": 0, "to_ms": 8000, "forward_mm_s": 50}])
    report = check(walk)
    assert report.fits, report.findings
    assert report.peaks.supply_a > 6
    starved = replace(tansy, supply=replace(tansy.supply, regulator_a=6.0))
    weak = check(Frames(starved, "walk", 50.0, walk.joints, walk.outputs, walk.reach_error))
    assert "supply-current" in rules(weak)
    assert "supply-voltage" in rules(weak)  # it browns out


def test_an_alternating_tripod_has_three_feet_down_in_the_middle_of_every_step(tansy: Robot) -> None:
    """Three feet down and three in the air (practice); for a moment, while they change over, up to six."""
    report = check(written(tansy, walks=[{"from_ms": 0, "to_ms": 6000, "forward_mm_s": 40}]))
    down = report.timeline.down[60:240].sum(axis=1)
    assert down.min() == 3
    assert (down == 3).mean() > 0.6


def test_a_charged_two_cell_pack_is_more_than_the_servos_take(tansy: Robot) -> None:
    found = only(check(tripod(tansy, 1), supply_v=7.4), "supply-voltage")
    assert found[0].limit == pytest.approx(7.2)
    assert found[0].value == pytest.approx(7.4)


# ------------------------------------------------------------------ each rule, broken on purpose


def test_joint_range(tansy: Robot) -> None:
    report = check(turned(tansy, "head", 85, 2))
    (found,) = report.findings
    assert (found.rule, found.subject, found.unit) == ("joint-range", "head", "deg")
    assert found.value == pytest.approx(85)
    assert found.limit == pytest.approx(80)
    assert found.end_s == 2.0
    assert found.start_s == pytest.approx(80 / 85 * 2, abs=0.03)
    assert "5 deg less" in found.advice


def test_joint_speed_is_judged_against_the_free_speed(tansy: Robot) -> None:
    limit = np.rad2deg(top_speed(tansy)[tansy.joint_index["tail"]])
    assert "joint-speed" not in rules(check(turned(tansy, "tail", 0.1 * limit * 0.99, 0.1)))
    report = check(turned(tansy, "tail", 0.1 * limit * 1.3, 0.1))
    (found,) = only(report, "joint-speed")
    assert found.value == pytest.approx(1.3 * limit)
    assert found.limit == pytest.approx(limit)
    assert re.fullmatch(r"1\.[3-5] times slower", found.advice)
    assert report.peaks.joint_speed_dps["tail"] == pytest.approx(1.3 * limit)


def test_a_jump_is_not_told_to_go_slower(tansy: Robot) -> None:
    joints = np.tile(rest_joints(tansy), (50, 1))
    joints[25:, tansy.joint_index["tail"]] += 0.5
    (found,) = check(frames(tansy, joints)).findings
    assert "jumps" in found.advice
    assert "slower" not in found.advice


def test_joint_torque_counts_what_speed_leaves(tansy: Robot) -> None:
    """Torque falls linearly to nothing at no-load speed: a loaded leg cannot turn as fast as a free one.

    With servos so slow that what it takes to speed up is next to nothing, and no rotors to speed up either.
    """
    tansy = rotorless(tansy)
    tansy = replace(tansy, servos=tuple(replace(s, free_speed=s.free_speed * 0.05) for s in tansy.servos))
    top = top_speed(tansy)[1]
    feet = standing(tansy, 100)
    feet[:, LEFT_TRIPOD, 2] += 0.03
    joints = posed(tansy, feet)
    middle = tansy.joint_index["left_middle.femur"]
    report = check(frames(tansy, joints))
    torque, volts = report.timeline.torques[50, middle], report.timeline.rail.steady_volts[50]
    stall = tansy.servos[middle].stall_torque_at(volts)
    enough = top * (1 - abs(torque) / stall)
    for share, fits in ((0.9, True), (1.15, False)):
        pushed = joints.copy()
        pushed[:, middle] += share * enough / 50 * np.clip(np.arange(100) - 50, 0, 20)
        found = {f.subject for f in check(frames(tansy, pushed)).findings if f.rule == "joint-torque"}
        assert ("left_middle.femur" not in found) == fits


def test_reach(tansy: Robot) -> None:
    feet = standing(tansy, 3)
    feet[1, 0, 0] += 0.2
    joints, error = joints_for(tansy, np.zeros((3, 6)), feet)
    found = only(check(frames(tansy, joints, reach_error=error)), "reach")[0]
    assert found.subject == "left_front"
    assert found.value == pytest.approx(error[1, 0] * 1e3)
    assert found.limit == 0
    assert "nearer to its hip" in found.advice


def test_stability_and_tip_over(trestle: Robot) -> None:
    # A four-legged robot that lifts one foot without moving its weight away first
    feet = standing(trestle, 100)
    feet[:, 0, 2] += 0.03 * np.minimum(np.arange(100) / 50, 1)
    report = check(frames(trestle, posed(trestle, feet)))
    found = only(report, "stability")[0]
    assert found.limit == pytest.approx(trestle.walk.margin * 1e3)
    assert found.value < found.limit
    assert report.peaks.stability_margin_mm == pytest.approx(found.value)
    # and takes it the wrong way then, over the diagonal: it falls onto the lifted foot.
    body = np.zeros((100, 6))
    body[50:, :2] = np.linspace(0, 0.03, 50)[:, None] * trestle.rest_feet[0, :2] / np.hypot(*trestle.rest_feet[0, :2])
    fallen = check(frames(trestle, posed(trestle, feet, body)))
    assert fallen.findings[0].rule == "tip-over"
    assert not fallen.fits


def test_ground_is_where_a_knee_would_be_below_it(tansy: Robot) -> None:
    joints = np.tile(rest_joints(tansy), (3, 1))
    low = tansy.joint_index["left_front.femur"]
    joints[1, low] = tansy.lower[low]
    joints[1, low + 1] = np.deg2rad(-20)
    t = check(frames(tansy, joints)).timeline
    assert t.parts[0].min() > 0
    # By hand: the rest knee's height less the capsule's radius
    femur = joints[0, low]
    knee = tansy.rest_height + tansy.femur[0] * np.sin(femur) - tansy.link_radius[1]
    assert t.parts[0, 0] == pytest.approx(knee, abs=1e-9)


def test_tail_on_the_ground(tansy: Robot) -> None:
    # Nose up as far as it goes, tail's tip low: its tip is 45 mm up and 240 mm behind the body's middle
    count = 100
    body = np.zeros((count, 6))
    body[:, 4] = np.linspace(0, -0.2, count)
    body[:, 2] = np.linspace(0, -0.02, count)
    joints, error = joints_for(tansy, body, standing(tansy, count))
    t = check(frames(tansy, joints, reach_error=error)).timeline
    tail = tansy.extra[1]
    tip = tail.at + tail.tip
    height = tansy.rest_height - 0.02 + np.cos(0.2) * tip[2] + np.sin(0.2) * tip[0]
    assert t.parts[-1, -1] == pytest.approx(height - tail.radius, abs=1e-6)


def test_link_rate_and_what_is_not_checked(tansy: Robot) -> None:
    move = tripod(tansy, 2)
    assert check(move).not_checked == ("link-rate",)
    assert check(move).peaks.link_bytes_s == 0
    slow = check(move, frame_bytes=lambda pulses: np.full(len(pulses), 120.0))
    assert slow.not_checked == ()
    found = only(slow, "link-rate")[0]
    # 50 frames of 120 bytes; 57600 baud at 8N1 is 5760 bytes a second, of which three quarters are for frames
    assert found.value == pytest.approx(6000)
    assert found.limit == pytest.approx(57600 / 10 * 0.75)
    assert found.advice == "set the radio to 115200 baud"  # 6000·10/0.75 = 80000
    assert check(move, frame_bytes=lambda pulses: np.full(len(pulses), 80.0)).fits


def test_frames_that_a_slow_radio_leaves_out_are_a_warning(tansy: Robot) -> None:
    move = tripod(tansy, 2)
    every_second = check(move, frame_bytes=lambda pulses: np.where(np.arange(len(pulses)) % 2, 20.0, 0.0))
    (found,) = only(every_second, "link-rate")
    assert every_second.fits
    assert found.severity == "warning"
    # Of 50 frames a second every other one is sent.
    assert found.value == pytest.approx(25, rel=0.01)
    assert (found.limit, found.unit) == (50, "frames/s")
    assert (found.start_s, found.end_s) == (0, pytest.approx(move.duration_s, abs=0.021))
    assert "115200 baud or more" in found.advice
    # Too much for the line all the same: that is an error besides.
    flooded = check(move, frame_bytes=lambda pulses: np.where(np.arange(len(pulses)) % 2, 300.0, 0.0))
    assert [f.severity for f in only(flooded, "link-rate")] == ["error", "warning"]
    assert not flooded.fits


def test_charge(tansy: Robot) -> None:
    small = replace(tansy, supply=replace(tansy.supply, capacity_c=5 * 3.6))
    move = tripod(tansy, 8)
    report = check(Frames(small, "test", 50.0, move.joints, move.outputs, move.reach_error))
    found = only(report, "charge")[0]
    assert found.limit == pytest.approx(0.8 * 5)
    amps = report.timeline.rail.battery_amps
    assert report.peaks.charge_mah == pytest.approx(amps.sum() / 50 / 3.6)
    assert report.peaks.charge_mah == pytest.approx(found.value)


def test_foot_slip_names_the_foot_that_is_dragged(tansy: Robot) -> None:
    feet = standing(tansy, 100)
    feet[:, 2, 0] += np.linspace(0, 0.03, 100)
    found = only(check(frames(tansy, posed(tansy, feet))), "foot-slip")
    # The one that is dragged, by what it is dragged: not the five that hold still and yet are pulled along
    assert {f.subject for f in found} == {"left_rear"}
    assert found[0].value == pytest.approx(30, rel=0.02)
    assert re.fullmatch("lift left_rear while it moves, or move it 2[67] mm less", found[0].advice)
    feet[:, 3, 1] += np.linspace(0, 0.02, 100)
    both = only(check(frames(tansy, posed(tansy, feet))), "foot-slip")
    assert {f.subject for f in both} == {"left_rear", "right_front"}
    assert sorted(f.value for f in both) == pytest.approx([20, 30], rel=0.03)


def test_foot_slip_blames_the_foot_that_moved_and_not_those_with_little_weight(tansy: Robot) -> None:
    """The middle foot carries what the lifted front one would, so it takes the body along and the rest slide more."""
    feet = standing(tansy, 100)
    feet[:, 0, 2] += 0.03 * np.minimum(np.arange(100) / 30, 1)
    feet[40:, 1, 0] += np.linspace(0, 0.03, 60)
    report = check(frames(tansy, posed(tansy, feet)))
    slip = report.timeline.travel.slip[-1]
    assert slip.argmax() != 1
    (found,) = only(report, "foot-slip")
    assert found.subject == "left_middle"
    assert found.value == pytest.approx(30, rel=0.02)


def test_what_is_too_fast_and_what_comes_of_being_late_is_one_finding(tansy: Robot) -> None:
    """A leg swept back and forth so fast that it lags and then drags, told in one sentence."""
    joints = np.tile(rest_joints(tansy), (100, 1))
    j = tansy.joint_index["left_front.coxa"]
    joints[20:, j] += 0.6 * np.sin(np.arange(80) / 2.5)
    found = [f for f in check(frames(tansy, joints)).findings if f.rule == "joint-speed" and not f.way]
    assert [f.subject for f in found] == ["left_front.coxa"]


def test_falls_and_feet_that_do_not_reach_are_told_before_what_follows_from_them(tansy: Robot) -> None:
    feet = standing(tansy, 50)
    feet[20:, 0, 0] += 0.2
    joints, error = joints_for(tansy, np.zeros((50, 6)), feet)
    rules = [f.rule for f in check(frames(tansy, joints, reach_error=error)).findings]
    assert rules[0] == "reach"
    assert "joint-speed" in rules


def test_clearance_names_the_two_that_meet(tansy: Robot) -> None:
    feet = standing(tansy, 60)
    gap = feet[0, 1] - feet[0, 0]
    feet[:, 0] += np.linspace(0, 0.45, 60)[:, None] * gap
    feet[:, 1] -= np.linspace(0, 0.45, 60)[:, None] * gap
    feet[:, :2, 2] += 0.03
    joints, error = joints_for(tansy, np.zeros((60, 6)), feet)
    found = only(check(frames(tansy, joints, reach_error=error)), "clearance")[0]
    assert found.subject in ("left_front", "left_middle")
    assert "left_front" in found.advice
    assert "left_middle" in found.advice
    assert found.value < 2


# ------------------------------------------------------------------ findings


def test_breaches_of_one_walk_are_one_finding_and_far_ones_are_two() -> None:
    broken = np.zeros(1000, dtype=bool)
    broken[[100, 101, 130, 149, 300, 990]] = True
    badness = np.arange(1000.0)
    assert [(s.first, s.last, s.worst) for s in stretches(broken, badness, 50.0)] == [
        (100, 149, 149),
        (300, 300, 300),
        (990, 990, 990),
    ]


def test_moving_rms_is_the_mean_over_the_window() -> None:
    rng = np.random.default_rng(11)
    load = rng.uniform(0, 1, 300)
    ours = moving_rms(load, 40, float(load[0]))
    for t in (0, 10, 39, 40, 41, 150, 299):
        window = [load[max(i, 0)] for i in range(t - 39, t + 1)]
        assert ours[t] == pytest.approx(math.sqrt(sum(v * v for v in window) / 40))


# ------------------------------------------------------------------ the report


def finite(value: object) -> bool:
    if isinstance(value, float):
        return math.isfinite(value)
    if isinstance(value, dict):
        return all(finite(v) for v in value.values())
    return all(finite(v) for v in value) if isinstance(value, list) else True


FINDING = {
    "rule": str, "severity": str, "start_s": float, "end_s": float, "subject": (str, type(None)),
    "value": float, "limit": float, "unit": str, "advice": str,
}  # fmt: skip


def test_report_has_exactly_the_keys_of_the_contract(tansy: Robot) -> None:
    feet = standing(tansy, 300)
    feet[100:, LEFT_TRIPOD, 2] += 0.03
    feet[150:, 0, 0] += 0.3
    joints, error = joints_for(tansy, np.zeros((300, 6)), feet)
    report = check(frames(tansy, joints, reach_error=error), supply_v=5.0)
    data = json.loads(json.dumps(report.to_json(), allow_nan=False))
    assert list(data) == ["sequence", "robot", "fits", "duration_s", "frames", "findings", "peaks", "not_checked"]
    assert (data["sequence"], data["robot"], data["fits"], data["frames"]) == ("test", "Tansy", False, 300)
    assert data["duration_s"] == pytest.approx(299 / 50)
    assert len(data["findings"]) > 3
    for finding in data["findings"]:
        assert list(finding) == list(FINDING)
        for key, kind in FINDING.items():
            assert isinstance(finding[key], kind), key
        assert finding["rule"] in RULES
        assert finding["severity"] in ("error", "warning")
        assert 0 <= finding["start_s"] <= finding["end_s"] <= data["duration_s"]
        assert finding["advice"] == finding["advice"].strip() != ""
    peaks = data["peaks"]
    assert list(peaks) == [
        "joint_torque_nm", "joint_speed_dps", "supply_a", "supply_v_min", "stability_margin_mm", "clearance_mm",
        "charge_mah", "link_bytes_s",
    ]  # fmt: skip
    assert list(peaks["joint_torque_nm"]) == list(tansy.joint_names) == list(peaks["joint_speed_dps"])
    assert finite(data)
    assert set(data["not_checked"]) <= set(RULES)


def test_worst_comes_first(tansy: Robot) -> None:
    count = 60
    joints = np.tile(rest_joints(tansy), (count, 1))
    joints[:, tansy.joint_index["head"]] += np.deg2rad(81) * np.linspace(0, 1, count)
    joints[:, tansy.joint_index["tail"]] += np.deg2rad(120) * np.linspace(0, 1, count)
    found = [f for f in check(frames(tansy, joints)).findings if f.rule == "joint-range"]
    assert [f.subject for f in found] == ["tail", "head"]


def test_one_frame_is_a_move_too(robot: Robot) -> None:
    report = check(frames(robot, rest_joints(robot)[None]))
    assert report.fits
    assert report.frames == 1
    assert report.duration_s == 0


def test_details_are_the_contracts_columns_one_row_a_frame(tansy: Robot) -> None:
    report = check(written(tansy, walks=[{"from_ms": 0, "to_ms": 5000, "forward_mm_s": 40}]))
    lines = "".join(csv(report.timeline)).splitlines()
    names = lines[0].split(",")
    assert names == columns(report.timeline)
    assert names[:7] == ["t_s", "x_mm", "y_mm", "z_mm", "roll_deg", "pitch_deg", "yaw_deg"]
    assert names[7:11] == ["margin_mm", "clearance_mm", "supply_a", "supply_v"]
    assert names[11:31] == [f"{joint}.torque_nm" for joint in tansy.joint_names]
    assert names[31:33] == ["left_front.down", "left_front.force_n"]
    rows = np.array([[float(v) for v in line.split(",")] for line in lines[1:]])
    assert rows.shape == (report.frames, len(names))
    column = dict(zip(names, rows.T, strict=True))
    assert np.diff(column["t_s"]) == pytest.approx(0.02)
    assert set(column["left_front.down"]) == {0.0, 1.0}
    assert column["supply_a"].max() == pytest.approx(report.peaks.supply_a, rel=1e-5)
    # It ends as high as it began, and at rest; on the way it presses now more and now less.
    total = sum(column[f"{leg}.force_n"] for leg in tansy.leg_names)
    assert total.mean() == pytest.approx(tansy.mass * 9.80665, rel=1e-3)
    assert total == pytest.approx(tansy.mass * 9.80665, rel=0.1)
    assert column["left_front.force_n"][column["left_front.down"] == 0].max() == 0


def test_blocks_make_no_difference(tansy: Robot, monkeypatch: pytest.MonkeyPatch) -> None:
    from motionhub.check import timeline

    move = written(tansy, walks=[{"from_ms": 0, "to_ms": 5000, "forward_mm_s": 30, "turn_deg_s": 5}])
    whole = check(move)
    monkeypatch.setattr(timeline, "BLOCK", 37)
    done: list[tuple[int, int]] = []
    parts = check(move, progress=lambda now, of: done.append((now, of)))
    assert done[-1] == (len(move), len(move))
    assert len(done) == -(-len(move) // 37)
    for name in ("margin", "torques", "forces", "height", "clearance", "rolled", "speeds"):
        assert getattr(parts.timeline, name) == pytest.approx(getattr(whole.timeline, name), abs=1e-9), name
    assert parts.timeline.rail.volts == pytest.approx(whole.timeline.rail.volts, abs=1e-8)


def test_shipped_moves_fit(tansy: Robot) -> None:
    found = list((shipped_folder()).rglob("*.json"))
    assert len(found) >= 12
    for path in found:
        text = path.read_text(encoding="utf-8")
        if "motionhub-sequence/1" in text:
            report = check(render(documents.parse(text, path, tansy), tansy))
            assert report.fits, (path.name, report.findings)
