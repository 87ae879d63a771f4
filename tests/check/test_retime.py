"""Retiming: what comes out fits, keeps its poses, beats and steps, and is no longer than it has to be."""

import json

import numpy as np
import pytest
from hypothesis import Phase, given, settings
from hypothesis import strategies as st
from stances import rotorless

from motionhub.check.report import check
from motionhub.check.retiming import retime
from motionhub.motion import documents
from motionhub.motion.documents import Sequence
from motionhub.motion.gait import gaits
from motionhub.motion.render import render
from motionhub.motion.retime import knots, stretched
from motionhub.motion.stepper import Stepper
from motionhub.robot.limits import top_speed
from motionhub.robot.model import Robot


def sequence(robot: Robot, **document: object) -> Sequence:
    text = json.dumps({"format": "motionhub-sequence/1", "name": "test", **document})
    return documents.parse(text, "test", robot)


def head(at: float, degrees: float, **more: object) -> dict[str, object]:
    return {"at_ms": at, "joints_deg": {"head": degrees}, **more}


def broken(move: Sequence, robot: Robot) -> set[str]:
    return {finding.rule for finding in check(render(move, robot)).findings}


def test_what_fits_is_left_alone(tansy: Robot) -> None:
    move = sequence(tansy, keyframes=[head(1000, 40)])
    result = retime(move, tansy)
    assert result.changes == ()
    assert result.sequence is move


def test_only_what_is_too_fast_is_stretched_and_by_as_little_as_it_takes(tansy: Robot) -> None:
    tansy = rotorless(tansy)
    move = sequence(tansy, keyframes=[head(1000, 40), head(1100, -40), head(2100, 0)])
    assert broken(move, tansy) == {"joint-speed"}
    result = retime(move, tansy)
    assert broken(result.sequence, tansy) == set()
    (change,) = result.changes
    assert (change.from_s, change.to_s) == (1.0, 1.1)
    # Minimum jerk peaks at 15/8 of its mean speed (Flash & Hogan 1985), and that peak is the servo's top speed now.
    least = 15 / 8 * np.deg2rad(80) / top_speed(tansy)[tansy.joint_index["head"]]
    assert change.factor * 0.1 == pytest.approx(least, rel=0.03)
    times = [keyframe.at_ms for keyframe in result.sequence.document.keyframes]
    assert times[0] == 1000
    assert times[2] - times[1] == pytest.approx(1000, abs=0.01)


def test_cues_stay_with_their_keyframes(tansy: Robot) -> None:
    move = sequence(
        tansy,
        keyframes=[head(1000, 40), head(2000, -40)],
        cues=[{"at_ms": 1500, "output": "lamp", "level": 1, "fade_ms": 200, "for_ms": 400}],
        end_ms=2500,
    )
    document = stretched(move, tansy, [1, 2, 1]).document
    (cue,) = document.cues
    assert (cue.at_ms, cue.fade_ms, cue.for_ms) == (2000, 400, 800)
    assert document.end_ms == 3500
    assert [k.at_ms for k in document.keyframes] == [1000, 3000]


def test_beats_stay_on_beats(tansy: Robot) -> None:
    keyframes = [{"at_beat": b, "joints_deg": {"head": d}} for b, d in ((1, 60), (1.5, -60), (4, 0))]
    move = sequence(tansy, tempo_bpm=150, keyframes=keyframes)
    assert "joint-speed" in broken(move, tansy)
    result = retime(move, tansy)
    assert broken(result.sequence, tansy) == set()
    assert [k.at_beat for k in result.sequence.document.keyframes] == [1, 1.5, 4]
    tempo = result.sequence.document.tempo_bpm
    assert tempo is not None
    assert tempo == pytest.approx(150 / result.changes[0].factor)


def test_a_walk_keeps_its_path_and_its_steps(tansy: Robot) -> None:
    move = sequence(
        tansy,
        keyframes=[head(500, 20), head(3000, -20), head(7000, 0)],
        walks=[{"from_ms": 1000, "to_ms": 6000, "forward_mm_s": 40, "turn_deg_s": 3}],
    )
    assert knots(move).tolist() == [0, 0.5, 1, 6, 7]
    slow = stretched(move, tansy, [1, 1, 1.5, 1])
    (walk,) = slow.document.walks
    assert (walk.from_ms, walk.to_ms) == (1000, 8500)
    assert walk.forward_mm_s == pytest.approx(40 / 1.5)
    assert walk.cycle_ms == pytest.approx(1.5 * tansy.walk.cycle_s * 1000)
    assert slow.document.keyframes[1].at_ms == 4000
    before, after = render(move, tansy), render(slow, tansy)
    assert after.travel[-1] == pytest.approx(before.travel[-1], abs=8e-3)


def test_what_time_does_not_mend_is_left(tansy: Robot) -> None:
    move = sequence(tansy, keyframes=[head(1000, 40, approach="hold"), {"at_ms": 2000, "body": {"z_mm": 90}}])
    result = retime(move, tansy)
    assert broken(result.sequence, tansy) & {"joint-speed", "reach", "joint-range"}


def test_factors_are_checked(tansy: Robot) -> None:
    move = sequence(tansy, keyframes=[head(1000, 40)])
    for wrong in ([], [1, 1], [0.0], [-1.0], [float("nan")]):
        with pytest.raises(ValueError, match="factors"):
            stretched(move, tansy, wrong)


@settings(max_examples=40, deadline=None, phases=[Phase.explicit, Phase.reuse, Phase.generate])
@given(
    steps=st.lists(
        st.tuples(
            st.integers(80, 800),
            st.fixed_dictionaries(
                {},
                optional={
                    "joints_deg": st.fixed_dictionaries({"head": st.integers(-75, 75)}),
                    "body": st.fixed_dictionaries({"y_mm": st.integers(-25, 25)}),
                    "feet": st.fixed_dictionaries({"left_front": st.fixed_dictionaries({"z_mm": st.integers(0, 30)})}),
                },
            ),
            st.sampled_from(["minimum-jerk", "linear", "ease-in-out"]),
        ),
        min_size=1,
        max_size=6,
    )
)
def test_after_retiming_every_limit_that_time_can_mend_is_kept(
    steps: list[tuple[int, dict[str, object], str]], tansy: Robot
) -> None:
    at, keyframes = 0, []
    for wait, pose, approach in steps:
        at += wait
        keyframes.append({"at_ms": at, "approach": approach, **(pose or {"joints_deg": {"tail": 10}})})
    move = sequence(tansy, keyframes=keyframes)
    result = retime(move, tansy)
    assert not broken(result.sequence, tansy) & {"joint-speed", "joint-torque", "supply-current"}
    # The same poses, in the same order
    assert [k.model_copy(update={"at_ms": 0.0}) for k in result.sequence.document.keyframes] == [
        k.model_copy(update={"at_ms": 0.0}) for k in move.document.keyframes
    ]
    assert result.sequence.duration_s >= move.duration_s - 1e-9


def test_a_walk_stretched_takes_no_longer_strides_and_keeps_its_gaits_own_cycle(robot: Robot) -> None:
    """However its cycle comes out in whole ticks; and a gait that is not the robot's first has a cycle of its own."""
    for gait in gaits(robot).values():
        stepper = Stepper(robot, gait)
        top = stepper.limit((1.0, 0, 0))[0][0] * 1000
        seconds = 4 * stepper.timing.cycle * stepper.dt
        walk = {"gait": gait.name, "from_ms": 0, "to_ms": seconds * 1000, "forward_mm_s": top}
        move = sequence(robot, walks=[walk])
        own = stepper.timing.cycle * stepper.dt * 1000
        for factor in (1.01, 1.04, 1.3, 2.2):
            slow = stretched(move, robot, [factor])
            assert own * factor - 250 < (slow.document.walks[0].cycle_ms or 0) <= own * factor + 1e-3
            render(slow, robot)  # and is not refused
