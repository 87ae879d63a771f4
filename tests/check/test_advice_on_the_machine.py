"""What the machine is said to need, it is given, and the whole check finds it enough; and less of it not, where that
can be asked. Numbers read back from the words of the advice."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from stances import LEFT_TRIPOD, frames, posed, standing

from motionhub.check.findings import Finding
from motionhub.check.report import Report, check
from motionhub.motion import documents
from motionhub.motion.render import render
from motionhub.robot.model import Robot
from motionhub.robot.servo import KGF_CM, Servo

Array = NDArray[np.float64]


def one(report: Report, rule: str, subject: str | None = None, severity: str = "error") -> Finding:
    found = [f for f in report.findings if f.rule == rule and not f.way and f.severity == severity]
    found = [f for f in found if subject is None or f.subject == subject]
    assert found, (rule, [(f.rule, f.subject, f.advice) for f in report.findings])
    return found[0]


def left(report: Report, like: Finding) -> bool:
    return any(
        (f.rule, f.subject, f.severity) == (like.rule, like.subject, like.severity)
        for f in report.findings
        if not f.way
    )


def number(pattern: str, advice: str) -> float:
    found = re.search(pattern, advice)
    assert found, advice
    return float(found[1])


def tripod(robot: Robot, count: int = 600) -> Array:
    """On three feet from a second on, (count, J)."""
    feet = standing(robot, count)
    feet[:, LEFT_TRIPOD, 2] += 0.03 * np.minimum(np.arange(count) / 50, 1)[:, None]
    return posed(robot, feet)


def with_supply(robot: Robot, **changes: float) -> Robot:
    return replace(robot, supply=replace(robot.supply, **changes))


def scaled(robot: Robot, j: int, stall_nm: float) -> Robot:
    """With a servo of that stall torque at the set-point in one joint, of the same kind otherwise."""
    servo: Servo = robot.servos[j]
    times = stall_nm / float(servo.stall_torque_at(robot.supply.regulator_v))
    stronger = replace(servo, stall_torque=servo.stall_torque * times)
    return replace(robot, servos=tuple(stronger if i == j else s for i, s in enumerate(robot.servos)))


@pytest.mark.parametrize("rule", ["holding-torque", "joint-torque"])
@pytest.mark.parametrize("wiring_ohm", [0.005, 0.08])
def test_a_servo_of_that_stall_torque_is_enough(rule: str, wiring_ohm: float, tansy: Robot) -> None:
    """At the set-point, as a data sheet has it: what the wiring takes of it under load is counted."""
    weaker = 0.2 if rule == "joint-torque" else 0.8
    kinds = {
        # Already at the highest voltage that they take, so that no higher rail is offered.
        id(s): replace(s, stall_torque=s.stall_torque * weaker, max_v=7.0, hold_fraction=1.0 if weaker < 0.5 else 1 / 3)
        for s in tansy.servos
    }
    robot = with_supply(tansy, wiring_ohm=wiring_ohm, regulator_a=100.0, battery_ohm=1e-3, regulator_v=7.0)
    robot = replace(robot, servos=tuple(kinds[id(s)] for s in tansy.servos))
    joints = tripod(robot)
    joints[:, 3 * 1 + 2] = joints[:, 3 * 1 + 2]
    report = check(frames(robot, joints))
    found = one(report, rule)
    need = number(r"it takes a servo of ([\d.]+) kgf·cm stall torque at 7 V", machine_words(report, found))
    j = robot.joint_index[found.subject or ""]
    assert not left(check(frames(scaled(robot, j, need * KGF_CM), joints)), found)
    # Rounded up to a whole one, and with 3 % to spare
    assert left(check(frames(scaled(robot, j, (0.96 * need - 1) * KGF_CM), joints)), found)


def machine_words(report: Report, finding: Finding) -> str:
    """What the machine needs is said where no change of the stance is enough; here it is asked for at any rate."""
    from motionhub.check.machine import some_of, stronger
    from motionhub.check.rules_joints import held_load

    t = report.timeline
    j = t.robot.joint_index[finding.subject or ""]
    first, last = (round(at * t.frames.rate_hz) for at in (finding.start_s, finding.end_s))
    rows = some_of(first, last, first)
    servo = t.robot.servos[j]
    if finding.rule == "joint-torque":
        return stronger(t, j, rows, np.abs(t.torques[rows, j]))
    return stronger(
        t, j, rows, (held_load(t, j) * servo.stall_torque_at(t.rail.steady_volts))[rows], servo.hold_fraction
    )


@pytest.mark.parametrize("rule", ["supply-current", "supply-voltage"])
def test_a_regulator_of_that_current_is_enough(rule: str, tansy: Robot) -> None:
    """Of so little current that no other stance is one that it has enough for."""
    robot = with_supply(tansy, regulator_a=0.5)
    found = one(check(frames(robot, tripod(robot, 120))), rule)
    enough = number(r"a regulator of ([\d.]+) A", found.advice)
    assert not left(check(frames(with_supply(robot, regulator_a=enough), tripod(robot, 120))), found)
    assert left(check(frames(with_supply(robot, regulator_a=0.85 * enough), tripod(robot, 120))), found)


def test_wires_of_that_resistance_are_enough(tansy: Robot) -> None:
    """Servos that take no higher rail than theirs, on wires that take too much of it."""
    kinds = {id(s): replace(s, min_v=6.2, max_v=7.0) for s in tansy.servos}
    robot = replace(tansy, servos=tuple(kinds[id(s)] for s in tansy.servos))
    robot = with_supply(robot, wiring_ohm=0.2, regulator_a=100.0, regulator_v=7.0, battery_ohm=1e-3)
    joints = tripod(robot, 120)
    found = one(check(frames(robot, joints)), "supply-voltage", "rail")
    ohm = number(r"use wires of ([\d.]+) mΩ in all, where there are 200 now", found.advice) / 1e3
    assert not left(check(frames(with_supply(robot, wiring_ohm=ohm), joints)), found)
    # Said in halves: with twice as much it is not enough.
    assert left(check(frames(with_supply(robot, wiring_ohm=2 * ohm), joints)), found)


def test_a_rail_that_is_too_high_is_set_as_low_as_is_said(tansy: Robot) -> None:
    joints = posed(tansy, standing(tansy, 60))
    high = with_supply(tansy, regulator_v=8.4, battery_nominal_v=11.1)
    found = one(check(frames(high, joints)), "supply-voltage", "regulator")
    volts = number(r"set the rail to ([\d.]+) V or less", found.advice)
    assert not left(check(frames(high, joints), supply_v=volts), found)
    assert left(check(frames(high, joints), supply_v=volts + 0.1), found)


def test_a_pack_of_that_capacity_is_enough(tansy: Robot) -> None:
    joints = tripod(tansy, 400)
    found = one(check(frames(with_supply(tansy, capacity_c=1 * 3.6), joints)), "charge")
    mah = number(r"use one of (\d+) mAh", found.advice)
    assert not left(check(frames(with_supply(tansy, capacity_c=mah * 3.6), joints)), found)


def test_a_radio_of_that_speed_is_enough(tansy: Robot) -> None:
    own = frames(tansy, tripod(tansy, 100))
    found = one(check(own, frame_bytes=lambda pulses: np.full(len(pulses), 120.0)), "link-rate")
    baud = int(number(r"set the radio to (\d+) baud", found.advice))
    faster = replace(own, robot=replace(tansy, link=replace(tansy.link, baud=baud)))
    assert not left(check(faster, frame_bytes=lambda pulses: np.full(len(pulses), 120.0)), found)


def test_a_full_battery_is_what_the_warning_asks_for(tansy: Robot) -> None:
    low = with_supply(tansy, battery_warn_v=7.25)
    own = frames(low, tripod(low, 100))
    found = one(check(own), "supply-voltage", "battery", "warning")
    assert "start with a full battery" in found.advice
    assert not left(check(own, battery_v=8.4), found)  # of two cells: practice


@pytest.mark.parametrize("beyond", [3.0, 11.4])
def test_a_joint_turned_so_many_degrees_less_is_in_its_range(beyond: float, tansy: Robot) -> None:
    joints = np.tile(posed(tansy, standing(tansy)), (60, 1))
    j = tansy.joint_index["head"]
    joints[:, j] = tansy.upper[j] + np.deg2rad(beyond)
    found = one(check(frames(tansy, joints)), "joint-range", "head")
    less = number(r"turn head ([\d.]+) deg less", found.advice)
    for share, still in ((1.0, False), (0.9, True)):
        joints[:, j] = tansy.upper[j] + np.deg2rad(beyond - share * less)
        assert left(check(frames(tansy, joints)), found) == still


def test_a_part_kept_so_much_higher_is_off_the_ground(tansy: Robot) -> None:
    """A tail that no raising and no leaning of the body gets off it: it is mounted as much higher as is said."""

    def with_tail(deep: float) -> Robot:
        tail = replace(tansy.extra[1], tip=np.array([-0.02, 0.0, -deep]), at=np.array([0.0, 0.0, -0.03]))
        return replace(tansy, extra=(tansy.extra[0], tail))

    deep = 0.3
    joints = np.tile(posed(tansy, standing(tansy)), (20, 1))
    found = one(check(frames(with_tail(deep), joints)), "ground", "tail")
    higher = number(r"keep it (\d+) mm higher", found.advice) / 1e3
    assert not left(check(frames(with_tail(deep - higher), joints)), found)
    assert left(check(frames(with_tail(deep - higher + 0.003), joints)), found)


def test_a_part_kept_so_much_further_away_is_clear(tansy: Robot) -> None:
    """The head's mount goes straight away from the leg that it touches. Both are convex, so by as much as the one goes
    straight away from the other, the gap between them grows."""
    joints = np.tile(posed(tansy, standing(tansy)), (20, 1))
    leg = tansy.leg_names.index("left_front")
    joints[:, 3 * leg] += 0.7 * np.sign(tansy.heading[leg]) * -1  # the leg turns in front of the body

    def with_head(away: Array) -> Robot:
        head = tansy.extra[0]
        beside = replace(head, tip=np.array([0.02, 0.06, 0.0]), at=head.at + np.array([0.04, 0.045, 0.0]) + away)
        return replace(tansy, extra=(beside, tansy.extra[1]))

    def gap(away: Array) -> float:
        return check(frames(with_head(away), joints)).peaks.clearance_mm

    away, step, said = np.zeros(3), 1e-5, []
    # Each time it is the link that is nearest which is named, and another one may come near.
    while clash := [f for f in check(frames(with_head(away), joints)).findings if f.rule == "clearance" and not f.way]:
        said.append(number(r"keep \S+ (\d+) mm further from", clash[0].advice) / 1e3)
        assert {"head", "left_front"} <= set(re.findall(r"head|left_front", clash[0].advice))
        way = np.array([gap(away + step * axis) - gap(away - step * axis) for axis in np.eye(3)])
        way /= np.linalg.norm(way)
        before, away = gap(away), away + said[-1] * way
        short = 2.0 - before
        # Rounded up to a millimetre: so much less than that is not enough.
        assert gap(away - (said[-1] - short / 1e3 + 1e-4) * way) < 2.0
        assert len(said) <= 8


@pytest.mark.parametrize("each_ms", [240, 300])
def test_what_moving_heats_too_much_is_mended_by_the_factor_that_is_named(each_ms: int, tansy: Robot) -> None:
    """Bobbing for longer than a servo's window, with servos that may hold a little less than that takes."""
    supplied = with_supply(tansy, regulator_a=100.0, battery_ohm=1e-3)

    def hot(times: float, fraction: float) -> list[Finding]:
        keys = [{"at_ms": each_ms * times * i, "body": {"z_mm": -20 if i % 2 else 6}} for i in range(1, 40)]
        text = json.dumps({"format": "motionhub-sequence/1", "name": "hot", "keyframes": keys})
        kinds = {id(s): replace(s, hold_fraction=fraction, hold_window_s=3.0) for s in tansy.servos}
        robot = replace(supplied, servos=tuple(kinds[id(s)] for s in tansy.servos))
        report = check(render(documents.parse(text, "hot", robot), robot))
        return [f for f in report.findings if f.rule == "holding-torque" and not f.way]

    fraction = next(share for share in np.arange(0.6, 0.05, -0.02) if hot(1, share))
    slower = max(number(r"^([\d.]+) times slower", f.advice) for f in hot(1, fraction))
    assert slower > 1
    assert not hot(slower, fraction)
