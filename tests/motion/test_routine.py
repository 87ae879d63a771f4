"""A routine is its sequences in order, and nothing jumps where they meet."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from motionhub.check.report import check
from motionhub.errors import InputError
from motionhub.motion.documents import parse, parse_routine
from motionhub.motion.handover import hand_over
from motionhub.motion.render import render
from motionhub.motion.restance import UNHURRIED
from motionhub.motion.routine import render_routine
from motionhub.robot.limits import top_speed


def _outward(robot, mm):
    """Every foot so far further out."""
    out = robot.rest_feet[:, :2] / np.linalg.norm(robot.rest_feet[:, :2], axis=1, keepdims=True) * mm
    return {leg: {"x_mm": x, "y_mm": y} for leg, (x, y) in zip(robot.leg_names, out.tolist(), strict=True)}


@pytest.fixture(scope="module")
def moves(tansy):
    def move(name, *keyframes, **more):
        data = {"format": "motionhub-sequence/1", "name": name, "keyframes": list(keyframes)} | more
        return parse(json.dumps(data), name, tansy)

    lamp = [{"at_ms": 0, "output": "lamp", "level": 0.6}]
    return {
        "nod": move("nod", {"at_ms": 500, "joints_deg": {"head": 30}}, {"at_ms": 1000, "joints_deg": {"head": 0}}),
        "crouch": move("crouch", {"at_ms": 800, "body": {"z_mm": -35}}, cues=lamp),
        "rise": move("rise", {"at_ms": 0, "body": {"z_mm": -35}}, {"at_ms": 600, "body": {"z_mm": 0}}, cues=lamp),
        "spread": move("spread", {"at_ms": 0, "feet": _outward(tansy, 15)}, {"at_ms": 500, "joints_deg": {"tail": 9}}),
        "walk": move("walk", walks=[{"from_ms": 0, "to_ms": 3000, "forward_mm_s": 40, "turn_deg_s": 10}]),
    }


@pytest.fixture(scope="module")
def fastest(moves, tansy):
    """The furthest that any joint goes between two frames in any of the moves alone."""
    return max(np.abs(np.diff(render(move, tansy).joints, axis=0)).max() for move in moves.values())


@pytest.fixture
def performed(tansy, moves):
    def perform(*steps, rate_hz=50.0):
        data = {"format": "motionhub-routine/1", "name": "show", "steps": list(steps)}
        return render_routine(parse_routine(json.dumps(data), "show.json"), "show.json", moves, tansy, rate_hz)

    return perform


def test_one_step_is_the_sequence_itself(performed, moves, tansy):
    once, alone = performed({"sequence": "walk"}), render(moves["walk"], tansy)
    np.testing.assert_array_equal(once.joints, alone.joints)
    np.testing.assert_array_equal(once.travel, alone.travel)
    assert once.name == "show"
    assert once.holds == ()


def test_sequences_that_meet_at_rest_are_joined_without_a_gap(performed, moves, tansy):
    both, nod = performed({"sequence": "nod", "times": 3}), render(moves["nod"], tansy)
    assert both.duration_s == 3.0
    for repeat in range(3):
        np.testing.assert_array_equal(both.joints[50 * repeat : 50 * repeat + 51], nod.joints)


def test_a_pause_stands_still_after_every_repeat_with_the_lamp_as_it_was(performed):
    frames = performed({"sequence": "rise", "times": 1, "pause_ms": 400}, {"sequence": "nod"})
    assert (frames.joints[30:51] == frames.joints[30]).all()
    assert (frames.outputs[30:51, 0] == 0.6).all()
    assert performed({"sequence": "nod", "times": 2, "pause_ms": 100}).duration_s == pytest.approx(2.2)


def test_it_waits_before_the_step_that_says_so_and_once_for_all_repeats(performed):
    frames = performed(
        {"sequence": "nod", "wait": True, "times": 2}, {"sequence": "walk"}, {"sequence": "nod", "wait": True}
    )
    assert frames.holds == (0, 250)
    for hold in frames.holds:
        assert (frames.joints[hold] == frames.joints[0]).all()


def test_stances_that_match_are_not_handed_over(performed):
    assert performed({"sequence": "crouch"}, {"sequence": "rise"}).duration_s == pytest.approx(1.4)


def test_stances_that_differ_are_handed_over_without_hurry(performed, tansy):
    frames = performed({"sequence": "crouch"}, {"sequence": "nod"})
    assert frames.duration_s > 1.8
    moved = np.abs(np.diff(frames.joints[40:-50], axis=0)) * 50
    assert (moved <= UNHURRIED * top_speed(tansy) * 1.001).all()
    np.testing.assert_array_equal(frames.joints[-51], frames.joints[0])
    # The lamp goes over evenly too.
    lamp = frames.outputs[40:-50, 0]
    assert lamp[0] == 0.6
    assert (np.diff(lamp) < 0).all()
    assert lamp[-1] == pytest.approx(0)


@pytest.mark.parametrize("pair", [("nod", "spread"), ("spread", "crouch"), ("crouch", "nod")])
def test_it_hands_over_as_the_live_show_does(performed, moves, tansy, pair):
    first, second = (render(moves[name], tansy) for name in pair)
    between = performed(*({"sequence": name} for name in pair)).joints[len(first) : -len(second) + 1]
    np.testing.assert_array_equal(between, hand_over(tansy, first.joints[-1], second.joints[0], 0.02))


@pytest.mark.parametrize("more", [{}, {"hand_over_ms": 6000}])
def test_feet_that_stand_elsewhere_are_not_dragged_there(performed, more):
    """What a report says of dragging: practice, a printed foot on a table top."""
    report = check(performed({"sequence": "nod"}, {"sequence": "spread", **more}, {"sequence": "nod", **more}))
    assert "foot-slip" not in {finding.rule for finding in report.findings}
    assert report.timeline.travel.slip.max() < 3e-3
    assert not report.timeline.down.all()


def test_a_hand_over_takes_as_long_as_it_is_told(performed):
    frames = performed({"sequence": "crouch"}, {"sequence": "nod", "hand_over_ms": 1200})
    assert frames.duration_s == pytest.approx(0.8 + 1.2 + 1.0)


def test_walks_go_on_from_where_the_last_one_led(performed):
    frames = performed({"sequence": "walk", "times": 4})
    (x, y, yaw), twice = frames.travel[150], frames.travel[300]
    c, s = np.cos(yaw), np.sin(yaw)
    np.testing.assert_allclose(twice, [x + c * x - s * y, y + s * x + c * y, 2 * yaw], atol=1e-12)
    assert np.abs(np.diff(frames.travel, axis=0)).max() < 0.01


@settings(max_examples=40, deadline=None)
@given(
    steps=st.lists(
        st.fixed_dictionaries(
            {"sequence": st.sampled_from(("nod", "crouch", "rise"))},
            optional={"times": st.integers(1, 2), "wait": st.booleans(), "pause_ms": st.floats(0, 500)},
        ),
        min_size=1,
        max_size=5,
    )
)
def test_nothing_jumps_where_sequences_meet(steps, moves, fastest, tansy):
    data = {"format": "motionhub-routine/1", "name": "show", "steps": steps}
    frames = render_routine(parse_routine(json.dumps(data), "x"), "x", moves, tansy)
    handed_over = (UNHURRIED * top_speed(tansy) / 50).max()
    assert np.abs(np.diff(frames.joints, axis=0)).max() <= max(fastest, handed_over) + 1e-9
    assert len(frames.holds) == sum(step.get("wait", False) for step in steps)


def test_what_cannot_be_performed_is_refused_by_step(performed, moves, tansy):
    with pytest.raises(InputError, match=r"show\.json: steps\[1\]\.sequence: .*'nodd'.*'nod'"):
        performed({"sequence": "nod"}, {"sequence": "nodd"})
    with pytest.raises(InputError, match=r"show\.json: steps\[1\]: expected a routine of at most 3600 s"):
        performed({"sequence": "nod"}, {"sequence": "walk", "times": 1000, "pause_ms": 1000})
