from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from rehearsal import DT, Rehearsal, shipped

from motionhub.hub import commands as ask
from motionhub.hub.guard import Guard
from motionhub.hub.sources import Step
from motionhub.hub.stage import Item
from motionhub.motion.posing import rest_joints
from motionhub.robot.model import Robot

TANSY = shipped("tansy")
# Practice: the data sheet's seconds per 60 degrees at the rail's 7 V, straight from the robot file, in rad/s.
WALKER_SPEED, LIGHT_SPEED = (np.pi / 3 / TANSY.servos[0].free_speed[-1], np.pi / 3 / TANSY.servos[-1].free_speed[-1])


def test_a_joint_at_its_servos_own_speed_passes_and_a_little_faster_does_not() -> None:
    guard = Guard(TANSY, DT)
    rest = rest_joints(TANSY)
    for joint, seconds in ((0, WALKER_SPEED), (TANSY.joints - 1, LIGHT_SPEED)):
        fastest = np.pi / 3 / seconds * DT
        moved = rest.copy()
        moved[joint] += fastest
        assert guard.objection(moved, rest) == ""
        moved[joint] = rest[joint] + 1.05 * fastest
        assert TANSY.joint_names[joint] in guard.objection(moved, rest)
        assert "deg/s" in guard.objection(moved, rest)


def test_the_ends_of_a_range_belong_to_it_and_what_is_beyond_does_not() -> None:
    guard = Guard(TANSY, DT)
    for end, sign in ((TANSY.lower, -1), (TANSY.upper, 1)):
        assert guard.objection(end.copy(), end.copy()) == ""
        beyond = end.copy()
        beyond[4] += sign * 1e-3
        assert "left_middle.femur" in guard.objection(beyond, end)
        assert "range" in guard.objection(beyond, end)


@pytest.mark.parametrize("wrong", [np.nan, np.inf, -np.inf])
def test_what_is_no_angle_is_held_back(wrong: float) -> None:
    rest = rest_joints(TANSY)
    bad = rest.copy()
    bad[7] = wrong
    with np.errstate(invalid="ignore"):
        assert "no angle" in Guard(TANSY, DT).objection(bad, rest)


def test_a_frame_of_another_robot_is_held_back() -> None:
    rest = rest_joints(TANSY)
    assert Guard(TANSY, DT).objection(rest[:-1], rest) != ""
    assert Guard(TANSY, DT).objection_to_all(np.zeros((5, 3))) != ""


@given(arrays(np.float64, (6, TANSY.joints), elements=st.floats(-4, 4)))
def test_a_whole_recording_is_judged_as_its_frames_are(joints: np.ndarray) -> None:
    guard = Guard(TANSY, DT)
    one_by_one = [guard.objection(b, a) for a, b in zip(joints[[0, 0, 1, 2, 3, 4]], joints, strict=True)]
    assert bool(guard.objection_to_all(joints)) == any(one_by_one)


class Rogue:
    """A source with a fault: after a while it asks for what it must not."""

    done = False

    def __init__(self, joints: np.ndarray, spoilt: np.ndarray, after: int) -> None:
        self._good, self._bad, self._left = joints, spoilt, after

    def step(self) -> Step:
        self._left -= 1
        return Step(self._good if self._left >= 0 else self._bad)


@pytest.mark.parametrize("wrong", [np.nan, 3.0, -3.0, 0.6])
def test_a_frame_that_is_held_back_is_never_sent_and_the_show_is_at_fault(tansy: Robot, wrong: float) -> None:
    show = Rehearsal(tansy)
    rest = rest_joints(tansy)
    bad = rest.copy()
    bad[-1] = wrong
    show.say(ask.SetOutput("sounder", 1.0))
    show.hub.director.stage.run(Item(lambda: Rogue(rest, bad, 10)))
    show.run(1.0)
    assert show.hub.mode == "fault"
    assert "tail" in show.state.reason
    assert any("guard" in notice for notice in show.notices)
    np.testing.assert_array_equal(show.joints, np.repeat(rest[None], len(show.ticks), axis=0))
    assert np.isfinite(show.pulses).all()
    assert show.ticks[-1].enabled
    assert show.ticks[-1].outputs[1] == 0.0
    assert show.say(ask.Drive(1.0)) == "it is at fault; resume first"
    assert show.say(ask.Stop()) == ""
    show.until("stopped")
    show.say(ask.Resume())
    show.until("rest")
    assert show.state.reason == ""


def test_resume_lifts_a_fault(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    bad = rest_joints(tansy) + 1.0
    show.hub.director.stage.run(Item(lambda: Rogue(bad, bad, 0)))
    show.tick()
    assert show.hub.mode == "fault"
    assert show.say(ask.Resume()) == ""
    show.until("rest")


def test_pulses_are_whole_and_never_beyond_a_servos_ends() -> None:
    from motionhub.hub.core import Hub
    from motionhub.robot.calibration import Calibration

    default = Calibration.default(TANSY)
    pulses = default.pulses(TANSY, rest_joints(TANSY))
    # Ends with a fraction, right at the rest pulse: rounding alone would pass them.
    ends = Calibration(TANSY.name, TANSY.joint_names, default.trim_rad, default.direction, pulses - 50.5, pulses + 0.3)
    tick = Hub(TANSY, ends).tick(0.0)
    assert tick.pulses is not None
    assert (tick.pulses == np.rint(tick.pulses)).all()
    assert (tick.pulses <= ends.high_us).all()
    assert (tick.pulses >= ends.low_us).all()
