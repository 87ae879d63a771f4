"""The robot's calibration beside the hub's: compared, told, and changed only when somebody says so."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest
from rehearsal import DT, Rehearsal, Wired

from motionhub.hub import commands as ask
from motionhub.hub.pulses import GLIDE_US_S
from motionhub.link import kept
from motionhub.link.simulated import SimulatedRobot
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot


def trimmed(robot: Robot, degrees: float = 4.0, **other: object) -> Calibration:
    """One joint is trimmed."""
    trim = np.zeros(robot.joints)
    trim[1] = np.deg2rad(degrees)
    return dataclasses.replace(Calibration.default(robot), trim_rad=trim, **other)


def show(robot: Robot, here: Calibration, there: Calibration) -> Wired:
    """A hub and a robot whose program was built with another calibration."""
    return Wired(robot, calibration=here, machine=SimulatedRobot(robot, there))


def test_the_same_calibration_is_no_news(tansy: Robot) -> None:
    wired = show(tansy, trimmed(tansy), trimmed(tansy))
    wired.run(2)
    assert wired.state.kept.state == "same"
    assert not any("calibration" in text for text in wired.notices)


def test_a_difference_is_told_once_and_neither_is_changed(tansy: Robot) -> None:
    here, there = Calibration.default(tansy), trimmed(tansy)
    wired = show(tansy, here, there)
    wired.run(5)
    view = wired.state.kept
    assert (view.state, view.sent) == ("differs", False)
    (only,) = view.differences
    assert only.joint == tansy.joint_names[1]
    # 4 degrees of a servo that turns 180 degrees in 2000 us (its data sheet) are 44 us.
    assert (only.ours, only.theirs) == ("trim 0.0° (+0 µs)", "trim 4.0° (+44 µs)")
    told = [text for text in wired.notices if "another calibration" in text]
    assert len(told) == 1
    assert only.joint in told[0]
    assert "was built with" in told[0]
    assert wired.hub.calibration is here
    assert wired.machine.keeper.digest == kept.digest(kept.image(tansy, there))
    assert not wired.saved


def test_ours_is_sent_when_somebody_says_so(tansy: Robot) -> None:
    wired = show(tansy, trimmed(tansy), Calibration.default(tansy))
    wired.run(3)
    assert wired.say(ask.SendCalibration(), "bob") == "take control first"
    assert wired.say(ask.SendCalibration()) == ""
    assert wired.say(ask.SendCalibration()) == "it is on its way already"
    assert wired.state.kept.state == "sending"
    wired.run(6)
    assert (wired.state.kept.state, wired.state.kept.sent) == ("same", True)
    assert wired.notices[-1] == "The robot keeps this hub's calibration now"
    assert wired.machine.keeper.digest == kept.digest(kept.image(tansy, trimmed(tansy)))
    # After a restart of the robot there is nothing to be told.
    wired.plugged = False
    wired.run(2)
    assert wired.state.kept.state == "unknown"
    wired.plugged = True
    wired.run(3)
    assert wired.state.kept.state == "same"


def test_the_robots_is_taken_and_no_servo_leaps(tansy: Robot) -> None:
    there = trimmed(tansy, 9.0, connector=(*range(tansy.joints - 2), tansy.joints - 1, tansy.joints - 2))
    wired = show(tansy, Calibration.default(tansy), there)
    wired.run(3)
    before = len(wired.ticks)
    assert wired.say(ask.TakeCalibration()) == ""
    wired.run(4)
    (saved,) = wired.saved
    assert wired.hub.calibration is saved
    assert kept.image(tansy, saved) == kept.image(tansy, there)
    assert wired.state.kept.state == "same"
    steps = np.abs(np.diff(wired.pulses[before - 1 :], axis=0))
    assert steps.max() <= GLIDE_US_S * DT + 1
    joints = wired.ticks[-1].joints
    np.testing.assert_array_equal(wired.ticks[-1].pulses, np.rint(saved.pulses(tansy, joints)))


@pytest.mark.parametrize("mode", ["driving", "unlinked"])
def test_when_it_may_not_be_taken(tansy: Robot, mode: str) -> None:
    wired = show(tansy, Calibration.default(tansy), trimmed(tansy))
    wired.run(3)
    if mode == "driving":
        wired.until("driving", 5, ask.Drive(forward=0.5))
        assert wired.say(ask.TakeCalibration()) == "wait until the robot stands still"
    else:
        wired.plugged = False
        wired.run(2)
        assert wired.say(ask.TakeCalibration()) == wired.say(ask.SendCalibration()) == "there is no link to the robot"
    assert not wired.saved


def test_ends_that_the_robot_refuses(tansy: Robot) -> None:
    default = Calibration.default(tansy)
    wide = dataclasses.replace(default, low_us=default.low_us - 1)
    wired = show(tansy, wide, default)
    wired.run(3)
    assert wired.say(ask.SendCalibration()) == ""
    wired.run(6)
    assert wired.state.kept.state == "refused"
    assert wired.machine.keeper.digest == kept.digest(kept.image(tansy, default))


def test_narrower_ends_are_come_into_slowly(tansy: Robot) -> None:
    """Held beyond a new end, the pulse comes in at the speed of all others, and is never beyond the old one."""
    hall = Rehearsal(tansy)
    joints = hall.ticks[-1].joints
    at = hall.ticks[-1].pulses
    assert at is not None
    default = Calibration.default(tansy)
    low = default.low_us.copy()
    low[2] = at[2] + 50.0
    before = len(hall.ticks)
    hall.hub.use(dataclasses.replace(default, low_us=low))
    hall.run(1.0)
    pulses = hall.pulses[before - 1 :, 2]
    assert np.abs(np.diff(pulses)).max() <= GLIDE_US_S * DT + 1
    assert (pulses[0], pulses[-1]) == (at[2], low[2])
    np.testing.assert_array_equal(hall.ticks[-1].joints, joints)


def test_without_pulses_there_is_nothing_to_go_over_from(tansy: Robot) -> None:
    hall = Rehearsal(tansy)
    hall.hub.use(trimmed(tansy, 5.0))
    hall.run(0.1)
    hall.say(ask.Limp(sure=True))
    hall.run(0.1)
    hall.hub.use(trimmed(tansy, 10.0))
    hall.say(ask.Resume())
    tick = hall.tick()
    np.testing.assert_array_equal(tick.pulses, np.rint(trimmed(tansy, 10.0).pulses(tansy, tick.joints)))
