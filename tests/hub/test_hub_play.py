"""Playing what was rendered, replaying what was recorded: frame for frame, pulse for pulse."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from rehearsal import Rehearsal, clip, shipped

from motionhub.hub import commands as ask
from motionhub.hub.events import Prepare
from motionhub.library import recording as recordings
from motionhub.library.shipped import shipped_folder
from motionhub.motion import documents
from motionhub.motion.formats import SEQUENCE_FORMAT
from motionhub.motion.frames import Frames
from motionhub.motion.posing import rest_joints
from motionhub.motion.render import render
from motionhub.robot.calibration import Calibration
from motionhub.robot.limits import top_speed
from motionhub.robot.model import Robot

MOVES = sorted(path for path in shipped_folder().glob("*.json") if SEQUENCE_FORMAT in path.read_text())


def rendered(path_name: str, robot: Robot) -> Frames:
    path = next(path for path in MOVES if path.stem == path_name)
    return render(documents.parse(path.read_text(), path, robot), robot)


def swing(robot: Robot, seconds: float = 2.0) -> np.ndarray:
    """Joints (T, J) of a nod of the last joint, from rest to rest."""
    t = np.linspace(0, 1, round(seconds * 50) + 1)
    joints = np.repeat(rest_joints(robot)[None], len(t), axis=0)
    joints[:, -1] += 0.3 * np.sin(np.pi * t) ** 2
    return joints


def sent_while(show: Rehearsal, mode: str) -> list[int]:
    return [i for i, m in enumerate(show.modes) if m == mode]


# ---------------------------------------------------------------- playing


@pytest.mark.parametrize("path", MOVES, ids=lambda path: path.stem)
def test_a_shipped_move_is_sent_frame_for_frame(tansy: Robot, path) -> None:  # type: ignore[no-untyped-def]
    frames = rendered(path.stem, tansy)
    show = Rehearsal(tansy)
    show.repertoire["it"] = frames
    assert show.say(ask.Play("it")) == ""
    show.until("playing")
    show.until("moving", frames.duration_s + 1)
    # Playing begins on the tick that reaches the first frame; the frames follow from the next.
    first = sent_while(show, "playing")[0] + 1
    got = show.joints[first : first + len(frames)]
    np.testing.assert_array_equal(got, frames.joints)
    outputs = np.array([tick.outputs for tick in show.ticks[first : first + len(frames)]])
    np.testing.assert_array_equal(outputs, frames.outputs)
    # The pulses are the calibration's, to the microsecond.
    wanted = np.rint(Calibration.default(tansy).pulses(tansy, frames.joints))
    np.testing.assert_array_equal(show.pulses[first : first + len(frames)], wanted)
    show.until("rest")
    np.testing.assert_allclose(show.joints[-1], rest_joints(tansy), atol=1e-9)


def test_progress_is_told_while_it_plays(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    show.repertoire["nod"] = clip(tansy, swing(tansy), "nod")
    show.say(ask.Play("nod"))
    show.until("playing")
    show.run(1.0)
    playing = show.state.playing
    assert playing is not None
    assert playing.name == "nod"
    assert playing.duration_s == 2.0
    assert playing.at_s == pytest.approx(1.0, abs=0.06)
    show.until("rest")
    assert show.state.playing is None


def test_what_cannot_be_prepared_is_refused_with_the_reason(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    show.repertoire["bad"] = "bad does not pass its check: joint-speed"
    show.say(ask.Play("bad"))
    assert show.refusals == ["bad does not pass its check: joint-speed"]
    assert show.hub.mode == "rest"


def test_a_walk_ends_on_its_feet_before_a_move_begins(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    show.run(1.7, ask.Drive(0.9, 0.0, 0.4))
    show.repertoire["nod"] = clip(tansy, swing(tansy), "nod")
    show.say(ask.Play("nod"))
    show.until("playing", 8.0, ask.Drive(0.9))
    assert show.state.down.all()
    np.testing.assert_allclose(show.joints[-1][:-1], rest_joints(tansy)[:-1], atol=1e-6)


def test_a_stop_while_it_is_being_prepared_means_that_it_is_not_played(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    show.say(ask.Play("slow"))  # nothing answers: it is still being rendered
    asked = [e for e in show.events if isinstance(e, Prepare)][-1]
    show.say(ask.Stop())
    show.until("stopped")
    assert show.hub.prepared(asked.job, show.hub.make_ready("it", clip(tansy, swing(tansy))), show.now) == []
    show.run(1.0)
    assert show.hub.mode == "stopped"
    show.say(ask.Resume())
    show.until("rest")
    show.run(1.0)
    assert "playing" not in show.modes


def test_the_later_of_two_is_played(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    show.say(ask.Play("first"))
    show.say(ask.Play("second"))
    jobs = [e.job for e in show.events if isinstance(e, Prepare)]
    show.hub.prepared(jobs[1], show.hub.make_ready("second", clip(tansy, swing(tansy), "second")), show.now)
    show.hub.prepared(jobs[0], show.hub.make_ready("first", clip(tansy, swing(tansy), "first")), show.now)
    show.until("playing")
    assert show.state.playing is not None
    assert show.state.playing.name == "second"


def test_another_move_may_take_over_in_the_middle_and_nothing_jumps(tansy: Robot) -> None:
    frames = rendered("wave", tansy)
    for wait in (0.5, 1.3, 2.2, 3.1):
        show = Rehearsal(tansy)
        show.repertoire |= {"one": frames, "two": rendered("bow", tansy)}
        show.say(ask.Play("one"))
        show.until("playing")
        show.run(wait)
        show.say(ask.Play("two"))
        show.until("moving")
        show.until("playing")
        show.until("rest", 30.0)
        speed = np.abs(np.diff(show.joints, axis=0)) * 50
        assert (speed <= top_speed(tansy)).all()


@pytest.mark.parametrize("wait", np.arange(0.1, 6.0, 0.53))
def test_stop_in_the_middle_of_a_move_holds_and_resume_goes_home(tansy: Robot, wait: float) -> None:
    show = Rehearsal(tansy)
    show.repertoire["wave"] = rendered("wave", tansy)
    show.say(ask.Play("wave"))
    show.until("playing")
    show.run(min(wait, 5.5))
    show.say(ask.Stop())
    show.until("stopped", 0.5)
    show.run(1.0)
    assert np.ptp(show.joints[-40:], axis=0).max() == 0
    show.say(ask.Resume())
    show.until("rest")
    np.testing.assert_allclose(show.joints[-1], rest_joints(tansy), atol=1e-9)


def test_a_routine_waits_for_go_and_goes_on(tansy: Robot) -> None:
    joints = np.concatenate([swing(tansy), swing(tansy)[1:]])
    frames = clip(tansy, joints, "evening", holds=(0, 100))
    show = Rehearsal(tansy)
    show.repertoire["evening"] = frames
    show.say(ask.Play("evening"))
    show.until("waiting")
    show.run(3.0)
    assert show.hub.mode == "waiting"
    assert show.state.playing is not None
    assert show.state.playing.waits_for_go
    assert show.say(ask.Go()) == ""
    show.until("waiting", 3.0)
    assert show.state.playing.at_s == pytest.approx(2.0)
    show.run(1.0)
    assert np.ptp(show.joints[-40:], axis=0).max() == 0
    show.say(ask.Go())
    assert show.say(ask.Go()) == "nothing waits to go on"
    show.until("rest", 5.0)
    # Every frame was sent, in order, and only those at which it waits were sent for longer.
    sent = show.joints[sent_while(show, "waiting")[0] :]
    changes = np.flatnonzero(np.abs(np.diff(sent, axis=0)).max(axis=1) > 1e-12)
    np.testing.assert_array_equal(sent[changes[: len(joints) - 1] + 1], joints[1:])


def test_outputs_without_a_cue_stay_as_set_by_hand(tansy: Robot) -> None:
    frames = clip(tansy, swing(tansy))
    outputs = np.zeros_like(frames.outputs)
    outputs[:, 1] = 0.4
    cued = Frames(tansy, "cued", 50.0, frames.joints, outputs, frames.reach_error)
    show = Rehearsal(tansy)
    show.say(ask.SetOutput("lamp", 0.6))
    show.repertoire["cued"] = cued
    show.say(ask.Play("cued"))
    show.until("playing")
    show.run(1.0)
    assert show.ticks[-1].outputs.tolist() == [0.6, 0.4]
    show.until("rest")
    assert show.ticks[-1].outputs.tolist() == [0.6, 0.0]


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (lambda q: q + 0.0 * np.where(np.arange(len(q))[:, None] == 30, np.nan, 0.0), "no angle at all"),
        (lambda q: q + np.where(np.arange(len(q))[:, None] == 30, 0.4, 0.0), "deg/s"),
        (lambda q: q + np.linspace(0, 3, len(q))[:, None], "outside its range"),
        (lambda q: q[:0], "empty"),
    ],
)
def test_frames_that_the_guard_would_hold_back_are_not_even_begun(tansy: Robot, spoil, words: str) -> None:  # type: ignore[no-untyped-def]
    show = Rehearsal(tansy)
    with np.errstate(invalid="ignore"):
        show.repertoire["bad"] = clip(tansy, spoil(swing(tansy)))
    show.say(ask.Play("bad"))
    assert len(show.refusals) == 1
    assert words in show.refusals[0]
    show.run(0.5)
    assert show.hub.mode == "rest"


def test_frames_at_another_rate_are_refused(tansy: Robot) -> None:
    frames = clip(tansy, swing(tansy))
    show = Rehearsal(tansy)
    show.repertoire["slow"] = Frames(tansy, "slow", 25.0, frames.joints, frames.outputs, frames.reach_error)
    show.say(ask.Play("slow"))
    assert "25 frames a second" in show.refusals[0]


# ---------------------------------------------------------------- recording and replaying


def act(show: Rehearsal) -> None:
    """A little of everything that sends pulses."""
    show.run(1.2, ask.Drive(0.8, 0.2, -0.3))
    show.say(ask.Posture(0.01, 0.05, 0.0, 0.1))
    show.say(ask.SetOutput("lamp", 0.3))
    show.run(1.0)
    show.repertoire["nod"] = clip(show.robot, swing(show.robot), "nod")
    show.say(ask.Play("nod"))
    show.until("playing")
    show.run(0.5)
    show.say(ask.Stop())
    show.run(0.6)
    show.say(ask.Resume())
    show.until("rest")


@pytest.mark.parametrize("trims", [0.0, 0.07])
def test_a_replay_sends_the_same_pulses_and_outputs_to_the_microsecond(tansy: Robot, trims: float) -> None:
    default = Calibration.default(tansy)
    direction = np.where(np.arange(tansy.joints) % 2, -1.0, 1.0) if trims else default.direction
    trim = trims * np.cos(np.arange(tansy.joints))
    calibration = Calibration(
        tansy.name, tansy.joint_names, trim, direction, default.low_us + 0.4, default.high_us - 0.4
    )
    show = Rehearsal(tansy, calibration)
    show.run(0.3)
    assert show.say(ask.RecordStart()) == ""
    began = len(show.ticks)
    act(show)
    ended = len(show.ticks)
    assert show.state.recording_s == pytest.approx((ended - began) / 50)
    assert show.say(ask.RecordStop("evening")) == ""
    assert show.kept == ["evening"]
    kept = show.recording()
    np.testing.assert_array_equal(kept.pulses, show.pulses[began:ended])
    # Through the file and back, as the library keeps it.
    again = recordings.parse(recordings.dump(kept), "evening", tansy)
    show.repertoire["evening"] = again
    show.say(ask.Replay("evening"))
    show.until("playing")
    show.until("moving", kept.duration_s + 1)
    sent = show.pulses[ended:]
    first = next(i for i in range(len(sent)) if np.array_equal(sent[i : i + len(kept.pulses)], kept.pulses))
    outputs = np.array([tick.outputs for tick in show.ticks[ended + first : ended + first + len(kept.pulses)]])
    np.testing.assert_array_equal(outputs, kept.outputs)
    show.until("rest")
    assert show.hub.mode == "rest"


def test_a_recording_says_what_was_asked_and_when(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    show.say(ask.RecordStart())
    show.run(0.1, ask.Drive(0.5))
    show.say(ask.Stop(), "guest")
    show.run(0.1)
    asked = show.recording().asked
    assert [(a.tick, a.client, a.command) for a in asked] == [(0, "ann", "drive"), (5, "guest", "stop")]
    assert asked[0].values == {"forward": 0.5, "left": 0.0, "turn": 0.0}


def test_recordings_are_begun_once_and_ended_once(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    assert show.say(ask.RecordStop("x")) == "nothing is being recorded"
    show.say(ask.RecordStart())
    assert show.say(ask.RecordStop("x")) == "nothing has been recorded yet"
    assert show.say(ask.RecordStart()) == "a recording is being made already"
    show.run(0.1)
    assert show.say(ask.RecordStop("x")) == ""
    assert show.state.recording_s is None


def test_a_recording_ends_where_the_robot_goes_limp(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    show.say(ask.RecordStart())
    show.run(0.5)
    show.say(ask.Limp(sure=True))
    show.run(0.5)
    assert show.say(ask.RecordStart()) != ""
    show.say(ask.Resume())
    show.until("rest")
    assert show.say(ask.RecordStop("short")) == ""
    assert len(show.recording().pulses) == 25


def test_a_recording_of_another_machine_that_leaves_the_ranges_is_refused(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    show.say(ask.RecordStart())
    show.run(0.5)
    made = show.recording()
    made.pulses[10:, 0] = 2500
    show.repertoire["bad"] = made
    show.say(ask.Replay("bad"))
    assert "left_front.coxa" in show.refusals[0]
    assert show.hub.mode == "rest"


sticks = st.floats(-1, 1)
drives = st.builds(ask.Drive, sticks, sticks, sticks)
postures = st.builds(
    ask.Posture, st.floats(-0.05, 0.08), st.floats(-0.4, 0.4), st.floats(-0.4, 0.4), st.floats(-0.4, 0.4)
)


@given(st.lists(st.tuples(st.one_of(drives, postures), st.floats(0.1, 0.9)), min_size=1, max_size=5))
@example([(ask.Posture(0.0, 0.25, 0.390625, 0.0), 0.75), (ask.Posture(0.03515625, -0.25, 0.15625, 0.125), 0.78125)])
@settings(max_examples=15, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_whatever_was_driven_replays_to_the_microsecond(script: list[tuple[ask.Command, float]]) -> None:
    show = Rehearsal(shipped("tansy"))
    show.say(ask.RecordStart())
    for command, seconds in script:
        show.run(seconds, command)
    show.say(ask.RecordStop("it"))
    kept = show.recording()
    show.until("rest")
    show.repertoire["it"] = kept
    since = len(show.ticks)
    show.say(ask.Replay("it"))
    show.until("playing")
    show.until("rest", kept.duration_s + 10)
    sent, length = show.pulses[since:], len(kept.pulses)
    assert any(np.array_equal(sent[i : i + length], kept.pulses) for i in range(len(sent) - length + 1))
