"""Following the advice mends it: each kind of advice is read back from its words, done, and checked again."""

import json
import re
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, example, given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from stances import LEFT_TRIPOD, frames, standing

from motionhub.check.machine import stronger
from motionhub.check.report import Report, check
from motionhub.motion import documents
from motionhub.motion.posing import joints_for
from motionhub.motion.render import render
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

DIRECTIONS = {"forward": (1, 0), "back": (-1, 0), "left": (0, 1), "right": (0, -1)}
TILTS = {
    ("lean", "right"): (3, 1),
    ("lean", "left"): (3, -1),
    ("lean", "forward"): (4, 1),
    ("lean", "back"): (4, -1),
    ("turn", "left"): (5, 1),
    ("turn", "right"): (5, -1),
}
"""Roll lowers the right side, pitch the nose, yaw turns to the left (ROS REP 103)."""


class Plan:
    """A move by its body and feet, which advice can be done to."""

    def __init__(self, robot: Robot, feet: Array, body: Array | None = None, volts: float | None = None) -> None:
        self.robot, self.feet, self.volts = robot, feet.copy(), volts
        self.body = np.zeros((len(feet), 6)) if body is None else body.copy()

    def check(self) -> Report:
        joints, error = joints_for(self.robot, self.body, self.feet)
        return check(frames(self.robot, joints, reach_error=error), supply_v=self.volts)

    def do(self, advice: str) -> None:
        """Do the first thing that the advice names, all through the move."""
        words = advice.split(", or ")[0]
        if found := re.fullmatch(r"(lower|raise) the body by ([\d.]+) mm", words):
            self.body[:, 2] += (1 if found[1] == "raise" else -1) * float(found[2]) / 1e3
        elif found := re.fullmatch(r"(?:bring|set) the feet (in|out) by ([\d.]+) mm", words):
            outward = self.robot.rest_feet[:, :2] - self.robot.hip[:, :2]
            outward /= np.linalg.norm(outward, axis=1, keepdims=True)
            self.feet[..., :2] += outward * (1 if found[1] == "out" else -1) * float(found[2]) / 1e3
        elif found := re.fullmatch(r"move the body ([\d.]+) mm (.*)", words):
            for way, (x, y) in DIRECTIONS.items():
                if way in found[2]:
                    self.body[:, :2] += np.array([x, y]) * float(found[1]) / 1e3
        elif found := re.fullmatch(r"(?:lean|turn) the body ([\d.]+) deg (.*)", words):
            axis, sign = TILTS[words.split()[0], found[2].removeprefix("to the ")]
            self.body[:, axis] += sign * np.deg2rad(float(found[1]))
        elif found := re.fullmatch(r"set the rail to ([\d.]+) V.*", words):
            self.volts = float(found[1])
        else:
            raise AssertionError(f"nothing to do in {advice!r}")


def advice_on(report: Report, rule: str) -> str:
    found = [f for f in report.findings if f.rule == rule and not f.way]
    assert found, (rule, [f.rule for f in report.findings])
    return found[0].advice


def broken(report: Report) -> set[str]:
    return {f.rule for f in report.findings if not f.way}


def held_tripod(robot: Robot, volts: float) -> Plan:
    feet = standing(robot, 600)
    feet[:, LEFT_TRIPOD, 2] += 0.03 * np.minimum(np.arange(600) / 50, 1)[:, None]
    return Plan(robot, feet, volts=volts)


def test_a_stance_that_is_too_heavy_for_long(tansy: Robot) -> None:
    plan = held_tripod(tansy, 5.0)
    advice = advice_on(plan.check(), "holding-torque")
    plan.do(advice)
    assert plan.check().fits
    # The other thing that it offers, instead
    other = held_tripod(tansy, 5.0)
    other.do(advice.split(", or ")[1])
    assert 5.0 < (other.volts or 0) <= 7.2
    assert other.check().fits


def test_the_advice_is_no_more_than_it_takes(tansy: Robot) -> None:
    plan = held_tripod(tansy, 5.0)
    advice = advice_on(plan.check(), "holding-torque")
    millimetres = float(re.findall(r"by ([\d.]+) mm", advice)[0])
    plan.do(re.sub(r"by [\d.]+ mm", f"by {millimetres * 0.6:g} mm", advice))
    assert not plan.check().fits


def test_a_torque_that_the_servo_does_not_have(tansy: Robot) -> None:
    weak = replace(
        tansy, servos=tuple(replace(s, stall_torque=s.stall_torque * 0.27, hold_fraction=1.0) for s in tansy.servos)
    )
    plan = held_tripod(weak, 7.0)
    report = plan.check()
    advice = advice_on(report, "joint-torque")
    plan.do(advice)
    assert "joint-torque" not in broken(plan.check())


@pytest.mark.parametrize("leg", [0, 2])
def test_a_stance_that_is_shaky(trestle: Robot, leg: int) -> None:
    feet = standing(trestle, 60)
    feet[:, leg, 2] += 0.03
    body = np.zeros((60, 6))
    towards = trestle.rest_feet[leg, :2] / np.hypot(*trestle.rest_feet[leg, :2])
    for shift in np.arange(0, 0.04, 0.002):  # towards the lifted foot until it is shaky
        body[:, :2] = shift * towards
        plan = Plan(trestle, feet, body)
        report = plan.check()
        if "stability" in broken(report):
            break
    advice = advice_on(report, "stability")
    assert advice.startswith("move the body")
    plan.do(advice)
    assert not broken(plan.check()) & {"stability", "tip-over"}


def test_a_body_too_high_for_its_legs(robot: Robot) -> None:
    body = np.zeros((50, 6))
    most = float((robot.femur + robot.tibia).min())
    body[:, 2] = most + 0.01 - robot.rest_height  # further than femur and tibia reach straight down
    plan = Plan(robot, standing(robot, 50), body)
    report = plan.check()
    assume_broken = broken(report) & {"reach", "joint-range"}
    assert assume_broken
    rule = "reach" if "reach" in assume_broken else "joint-range"
    advice = advice_on(report, rule)
    plain, _, other = advice.partition(", or ")
    plan.do(other if plain.startswith("keep") else plain)
    assert not broken(plan.check()) & {"reach", "joint-range"}


def test_too_much_current_at_rest_and_while_moving(tansy: Robot) -> None:
    plan = held_tripod(tansy, 7.0)
    drawn = plan.check().peaks.supply_a
    tight = replace(tansy, supply=replace(tansy.supply, regulator_a=drawn * 0.9))
    plan = Plan(tight, plan.feet, volts=7.0)
    advice = advice_on(plan.check(), "supply-current")
    if found := re.fullmatch(r"it takes a regulator of ([\d.]+) A", advice):
        enough = replace(tansy, supply=replace(tansy.supply, regulator_a=float(found[1])))
        plan = Plan(enough, plan.feet, volts=7.0)
    else:
        plan.do(advice)
    assert "supply-current" not in broken(plan.check())


@pytest.mark.parametrize("seed", range(12))
def test_a_foot_out_of_reach_is_put_where_the_advice_says(tansy: Robot, seed: int) -> None:
    """The nearest point that is reached: done as it says the foot gets there, and half of it is not enough."""
    dice = np.random.default_rng(seed)
    leg = int(dice.integers(tansy.legs))
    feet = standing(tansy, 60)
    out = tansy.rest_feet[leg, :2] - tansy.hip[leg, :2]
    feet[:, leg, :2] += out / np.linalg.norm(out) * dice.uniform(0.1, 0.2)
    feet[:, leg, 2] += dice.uniform(0, 0.15)
    advice = advice_on(Plan(tansy, feet).check(), "reach")
    found = re.search(r"\(x ([+-]\d+), y ([+-]\d+), z ([+-]\d+) mm\)", advice)
    assert found
    way = np.array([float(part) for part in found.groups()]) / 1e3
    assert np.linalg.norm(way) * 1e3 == pytest.approx(float(re.findall(r"foot ([\d.]+) mm", advice)[0]), abs=2.5)
    halfway, there = Plan(tansy, feet), Plan(tansy, feet)
    halfway.feet[:, leg] += way / 2
    there.feet[:, leg] += way
    assert "reach" in broken(halfway.check())
    assert "reach" not in broken(there.check())


def slowed(document: dict[str, object], factor: float) -> dict[str, object]:
    keyframes = [{**k, "at_ms": k["at_ms"] * factor} for k in document["keyframes"]]  # type: ignore[attr-defined, index]
    return {**document, "keyframes": keyframes}


def rendered(robot: Robot, document: dict[str, object]) -> Report:
    return check(render(documents.parse(json.dumps(document), "test", robot), robot))


# Not those that peak within one frame, at their start or end: slowing shows more of it than could be seen before.
APPROACHES = st.sampled_from(["minimum-jerk", "linear", "ease", "ease-in-out", "cubic-bezier(0.3, 0.1, 0.6, 0.9)"])


@settings(max_examples=25, deadline=None)
@example(steps=[(457, -29, "minimum-jerk"), (100, 1, "ease")], joint="head")
@given(
    steps=st.lists(st.tuples(st.integers(100, 900), st.integers(-75, 75), APPROACHES), min_size=1, max_size=5),
    joint=st.sampled_from(["head", "left_front.coxa", "left_front.tibia"]),
)
def test_too_fast_is_mended_by_the_factor_that_is_named(
    steps: list[tuple[int, int, str]], joint: str, tansy: Robot
) -> None:
    at, keyframes = 0, []
    for wait, degrees, approach in steps:
        at += wait
        angle = {"head": degrees, "left_front.coxa": degrees / 2, "left_front.tibia": degrees / 2 - 80}[joint]
        keyframes.append({"at_ms": at, "approach": approach, "joints_deg": {joint: angle}})
    document = {"format": "motionhub-sequence/1", "name": "quick", "keyframes": keyframes}
    findings = [f for f in rendered(tansy, document).findings if f.rule == "joint-speed" and not f.way]
    factors = [re.fullmatch(r"([\d.]+) times slower", f.advice) for f in findings]
    assume(findings and all(factors))
    slower = max(float(found[1]) for found in factors if found)
    assert slower > 1
    report = rendered(tansy, slowed(document, slower))
    after = [f for f in report.findings if f.rule == "joint-speed" and not f.way]
    assert not after


def hasty(robot: Robot, kind: str, each_ms: int, approach: str) -> dict[str, object]:
    """Bobbing, swaying or turning on all feet."""
    there = {"bob": {"z_mm": -28}, "sway": {"y_mm": 34}, "turn": {"yaw_deg": 14}}[kind]
    back = {key: -value / 3 for key, value in there.items()}
    keys = [{"at_ms": 0, "body": dict.fromkeys(there, 0)}]
    keys += [{"at_ms": each_ms * i, "approach": approach, "body": back if i % 2 else there} for i in range(1, 6)]
    return {"format": "motionhub-sequence/1", "name": "hasty", "keyframes": keys}


@pytest.mark.parametrize(("kind", "approach"), [("bob", "minimum-jerk"), ("sway", "linear"), ("turn", "ease-in-out")])
@pytest.mark.parametrize("rule", ["supply-current", "joint-torque"])
def test_what_moving_takes_is_mended_by_the_factor_that_is_named(
    rule: str, kind: str, approach: str, tansy: Robot
) -> None:
    """Body, legs and rotors are sped up less: the factor mends it, and a fifth less of it does not."""
    weak = tansy
    if rule == "joint-torque":
        weak = replace(tansy, supply=replace(tansy.supply, regulator_a=100.0, battery_ohm=1e-3, wiring_ohm=1e-4))
        weak = replace(weak, servos=tuple(replace(s, stall_torque=s.stall_torque * 0.6) for s in weak.servos))
    for each_ms in (340, 280, 230, 190, 160, 130):  # until it is broken
        document = hasty(weak, kind, each_ms, approach)
        found = [f for f in rendered(weak, document).findings if f.rule == rule and not f.way]
        if found:
            break
    factors = [re.fullmatch(r"([\d.]+) times slower", f.advice) for f in found]
    assert factors
    assert all(factors), [f.advice for f in found]
    slower = max(float(match[1]) for match in factors if match)
    after, before = (rendered(weak, slowed(document, times)).findings for times in (slower, max(slower - 0.2, 1.0)))
    assert not [f for f in after if f.rule == rule and not f.way]
    assert [f for f in before if f.rule == rule and not f.way]


def test_a_stop_that_drags_feet_is_mended_by_going_there_as_slowly_as_is_named(tansy: Robot) -> None:
    document = hasty(tansy, "bob", 190, "minimum-jerk")
    dragged = [f for f in rendered(tansy, document).findings if f.rule == "foot-slip"]
    assert dragged
    assert all(f.way.startswith("stopping") for f in dragged)
    (times,) = {float(n) for f in dragged for n in re.findall(r"go there ([\d.]+) times slower", f.advice)}
    assert not [f for f in rendered(tansy, slowed(document, times)).findings if f.rule == "foot-slip"]


def test_a_jump_is_mended_by_the_time_that_is_named(tansy: Robot) -> None:
    document = {
        "format": "motionhub-sequence/1",
        "name": "jump",
        "keyframes": [
            {"at_ms": 500, "joints_deg": {"tail": 0}},
            {"at_ms": 1000, "joints_deg": {"tail": 50}, "approach": "hold"},
        ],
    }
    advice = advice_on(rendered(tansy, document), "joint-speed")
    (milliseconds,) = re.findall(r"at least (\d+) ms", advice)
    keyframes = [
        {"at_ms": 1000 - float(milliseconds), "joints_deg": {"tail": 0}},
        {"at_ms": 1000, "joints_deg": {"tail": 50}},
    ]
    assert rendered(tansy, {**document, "keyframes": keyframes}).fits


def test_ground_is_mended_by_raising_the_body(tansy: Robot) -> None:
    # A tail that hangs 80 mm below its joint, on a body that goes down
    tail = replace(tansy.extra[1], tip=np.array([-0.11, 0.0, -0.08]))
    robot = replace(tansy, extra=(tansy.extra[0], tail))
    body = np.zeros((60, 6))
    body[:, 2] = np.linspace(0, -0.025, 60)
    plan = Plan(robot, standing(robot, 60), body)
    report = plan.check()
    found = next(f for f in report.findings if f.rule == "ground")
    # By hand: 84 mm less 25, the joint 12 mm up, the tip 80 mm down and 10 mm thick
    assert found.subject == "tail"
    assert found.value == pytest.approx(84 - 25 + 12 - 80 - 10, abs=1e-6)
    plan.do(found.advice)
    assert "ground" not in broken(plan.check())


@pytest.mark.parametrize(
    ("attitude", "rule", "words"),
    [
        ((0.0, 0.0, 0.5), "joint-range", "turn the body .* to the right"),
        ((0.0, 0.0, -0.5), "joint-range", "turn the body .* to the left"),
        ((0.0, 0.5, 0.0), "joint-range", "lean the body .* back"),
        ((0.0, -0.3, 0.0), "ground", "lean the body .* forward"),
        ((0.62, 0.0, 0.0), "joint-range", "lean the body .* to the left"),
        ((-0.62, 0.0, 0.0), "joint-range", "lean the body .* to the right"),
    ],
)
def test_a_body_turned_or_leant_too_far_is_told_to_turn_or_lean_less(
    attitude: tuple[float, float, float], rule: str, words: str, tansy: Robot
) -> None:
    """Where that is a smaller change than any shift; done as it says, it is mended."""
    tail = replace(tansy.extra[1], tip=np.array([-0.16, 0.0, -0.05]))
    robot = replace(tansy, extra=(tansy.extra[0], tail))
    body = np.zeros((40, 6))
    body[:, 3:] = attitude
    plan = Plan(robot, standing(robot, 40), body)
    # Each joint's finding names what mends that joint: one after the other, then.
    for _ in range(4):
        advice = advice_on(plan.check(), rule)
        assert re.match(words, advice), advice
        plan.do(advice)
        if rule not in broken(plan.check()):
            return
    raise AssertionError(f"it is still there: {advice}")


def test_a_foot_that_slides_may_be_lifted_if_the_others_carry_and_else_goes_less_far(tansy: Robot) -> None:
    """Both things that are named are done; and of a foot that the weight needs, lifting is not named."""

    def sliding(by: float, up: tuple[int, ...] = ()) -> Array:
        feet = standing(tansy, 100)
        feet[:, 2, 0] += np.linspace(0, by, 100)
        feet[:, up, 2] += 0.03 * np.minimum(np.arange(100) / 20, 1)[:, None]
        return feet

    needed = "over the ground: the weight needs left_rear, so that it cannot be lifted there"
    for up, words in (
        ((), r"lift left_rear while it moves, or move it (\d+) mm less"),
        ((1, 3, 5), rf"move it (\d+) mm less {needed}"),
    ):
        advice = advice_on(Plan(tansy, sliding(0.03, up)).check(), "foot-slip")
        found = re.fullmatch(words, advice)
        assert found, advice
        less = float(found[1]) / 1e3
        assert "foot-slip" not in broken(Plan(tansy, sliding(0.03 - less, up)).check())
        # A short slide is shared with feet that hold still, so that of three a little less than is named would do.
        assert "foot-slip" in broken(Plan(tansy, sliding(0.03 - 0.7 * less, up)).check())
        lifted = sliding(0.03, up)
        lifted[20:, 2, 2] += 0.02 * np.sin(np.linspace(0, np.pi, 80))
        assert bool(broken(Plan(tansy, lifted).check()) & {"foot-slip", "stability", "tip-over"}) == bool(up)


@pytest.mark.parametrize("wiring_ohm", [0.02, 0.06])
@pytest.mark.parametrize("rule", ["joint-torque", "supply-voltage"])
def test_a_higher_rail_is_named_by_what_the_wiring_leaves_and_what_speed_takes(
    rule: str, wiring_ohm: float, tansy: Robot
) -> None:
    """The set-point that is named is enough by the whole check, and a tenth of a volt or two less is not."""
    supply = replace(tansy.supply, wiring_ohm=wiring_ohm, regulator_a=100.0, battery_ohm=1e-3, regulator_dropout_v=0.1)
    feet = standing(tansy, 200)
    feet[:, LEFT_TRIPOD, 2] += 0.03 * np.minimum(np.arange(200) / 50, 1)[:, None]
    turn = np.zeros((200, 6))
    turn[:, 5] = 0.15 * np.sin(np.arange(200) / 8)
    for weaker in np.arange(1.0, 0.1, -0.02):
        kinds = {id(s): replace(s, stall_torque=s.stall_torque * weaker, min_v=5.17) for s in tansy.servos}
        robot = replace(tansy, supply=supply, servos=tuple(kinds[id(s)] for s in tansy.servos))
        plan = Plan(robot, feet, turn, volts=5.2)
        report = plan.check()
        if rule in broken(report):
            break
    t = report.timeline
    if rule == "joint-torque":
        joint = next(f.subject for f in report.findings if f.rule == rule and not f.way)
        j = robot.joint_index[joint or ""]
        words = stronger(t, j, np.arange(200), np.abs(t.torques[:, j]))
    else:
        words = advice_on(report, rule)
    found = re.match(r"set the rail to ([\d.]+) V", words)
    assert found, words
    enough = float(found[1])

    def left(volts: float) -> bool:
        findings = Plan(robot, feet, turn, volts=volts).check().findings
        return any(f.rule == rule and (rule != "joint-torque" or f.subject == joint) for f in findings if not f.way)

    assert not left(enough)
    assert left(enough - 0.2)
