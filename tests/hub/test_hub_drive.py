"""Driving, standing and being stopped, through the core and in virtual time."""

from __future__ import annotations

import numpy as np
import pytest
from rehearsal import DOWN, DT, Rehearsal, shipped
from scipy.spatial.transform import Rotation

from motionhub.hub import commands as ask
from motionhub.hub.battery import WORDS
from motionhub.hub.core import DEAD_MAN_S
from motionhub.hub.lease import QUIET_S
from motionhub.motion.brake import STANDSTILL_S
from motionhub.motion.posing import rest_joints, standing_feet
from motionhub.motion.stepper import Stepper
from motionhub.motion.support import rest_on_ground
from motionhub.robot.kinematics import feet, within
from motionhub.robot.limits import top_speed
from motionhub.robot.model import Robot

FORWARD = ask.Drive(forward=0.8)


def settle_s(robot: Robot) -> float:
    """The longest that a walk may take to end: every foot takes at most one more step, and one to come home."""
    return 2.5 * Stepper(robot).timing.cycle * DT


def test_at_rest_nothing_moves_and_every_foot_carries(robot: Robot) -> None:
    show = Rehearsal(robot)
    show.run(1.0)
    assert np.ptp(show.joints, axis=0).max() == 0
    np.testing.assert_allclose(show.ticks[-1].joints, rest_joints(robot))
    state = show.state
    assert state.down.all()
    assert state.margin > 0
    np.testing.assert_allclose(state.body, [0, 0, robot.rest_height, 0, 0, 0], atol=1e-9)


@pytest.mark.parametrize("name", ["tansy", "harrow"])
def test_where_it_is_agrees_with_the_stepper_whichever_way_it_goes(name: str) -> None:
    """The hub finds out from the joints alone what the stepper knows; a crooked walk, and the end of it."""
    robot = shipped(name)
    show = Rehearsal(robot)
    stepper = Stepper(robot)
    tops = [stepper.limit(tuple(100.0 * (i == k) for i in range(3)))[0][k] for k in range(3)]  # type: ignore[arg-type]
    shares = (0.3, -0.2, 0.4)
    wanted = tuple(share * top for share, top in zip(shares, tops, strict=True))
    body = show.state.body
    for _ in range(400):
        show.say(ask.Drive(*shares))
        show.tick()
        stance = stepper.step(wanted)  # type: ignore[arg-type]
        body = show.state.body
    np.testing.assert_allclose(body[[0, 1, 5]], stance.travel, atol=1e-3)
    assert np.hypot(*stance.travel[:2]) > 0.05
    show.say(ask.Drive())
    while not stepper.settled:
        show.tick()
        stance = stepper.step((0.0, 0.0, 0.0))
        body = show.state.body
    show.tick()
    assert show.hub.mode == "rest"
    np.testing.assert_allclose(body[[0, 1, 5]], stance.travel, atol=1e-3)
    np.testing.assert_allclose(show.ticks[-1].joints, rest_joints(robot), atol=1e-9)


def test_a_walking_robot_stands_on_enough_feet_all_the_time(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    downs = []
    for _ in range(300):
        show.run(DT, ask.Drive(0.7, 0.2, 0.3))
        downs.append(int(show.state.down.sum()))
    # Practice: a walk by the alternating tripod always has three feet down.
    assert min(downs) >= 3
    assert show.state.margin > 0


def test_the_dead_man_ends_the_walk_feet_down(robot: Robot) -> None:
    show = Rehearsal(robot)
    show.run(2.0, FORWARD)
    assert show.hub.mode == "driving"
    show.say(FORWARD)
    # From here on only pings: the phone is there, but nobody holds the stick.
    took = show.until("rest", DEAD_MAN_S + settle_s(robot) + 0.1)
    assert took > DEAD_MAN_S - 0.1
    assert show.state.down.all()
    assert show.state.driver is not None


def test_a_phone_that_vanishes_while_driving_leaves_a_robot_at_rest(robot: Robot) -> None:
    show = Rehearsal(robot)
    show.run(2.0, FORWARD)
    for _ in range(round((QUIET_S + settle_s(robot)) / DT)):
        show.tick()
    assert show.hub.mode == "rest"
    assert show.state.driver is None
    assert show.state.down.all()
    np.testing.assert_allclose(show.ticks[-1].joints, rest_joints(robot), atol=1e-9)


def test_a_phone_that_says_goodbye_stops_the_walk_at_once(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    show.run(2.0, FORWARD)
    show.say(FORWARD)
    show.hub.left("ann", show.now)
    gone = len(show.ticks)
    speeds = []
    for _ in range(round(settle_s(tansy) / DT)):
        show.tick()
        speeds.append(np.abs(show.joints[-1] - show.joints[-2]).max())
    assert show.hub.mode == "rest"
    assert show.modes[gone + round(0.3 / DT)] == "driving"  # not cut off in mid-step
    assert speeds[-1] == 0


def test_letting_go_of_the_stick_is_never_refused(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    show.say(ask.Stop())
    assert show.say(ask.Drive()) == ""
    assert show.say(FORWARD) != ""


def test_nobody_drives_a_robot_that_is_not_there(tansy: Robot) -> None:
    show = Rehearsal(tansy, ready=False)
    show.say(ask.Take())
    assert show.say(FORWARD) == "there is no link to the robot"
    assert show.say(ask.Play("wave")) == "there is no link to the robot"
    show.run(2.0)
    assert show.hub.mode == "moving"  # it waits for the robot to follow


# ---------------------------------------------------------------- posture


def test_the_body_is_carried_as_asked_over_feet_that_stay(robot: Robot) -> None:
    show = Rehearsal(robot)
    up = min(0.01, show.hub.height_range[1] / 2)
    show.say(ask.Posture(height=up, roll=0.04, pitch=-0.03, yaw=0.05))
    show.until("rest", 5.0)
    body = np.array([0.0, 0.0, robot.rest_height + up])
    turn = Rotation.from_euler("ZYX", [0.05, -0.03, 0.04])  # scipy's, beside our own
    there = turn.apply(feet(robot, show.joints[-1])) + body
    np.testing.assert_allclose(there, standing_feet(robot), atol=1e-6)
    assert not show.state.limit


def test_more_than_the_legs_allow_is_cut_and_said(robot: Robot) -> None:
    show = Rehearsal(robot)
    show.say(ask.Posture(height=0.09, roll=0.5, pitch=0.5, yaw=0.5))
    show.until("rest", 5.0)
    assert show.state.limit
    assert within(robot, show.joints).all()


def test_the_height_range_is_where_the_legs_end(robot: Robot) -> None:
    show = Rehearsal(robot)
    low, high = show.hub.height_range
    assert low < 0 < high
    for height in (low, high):
        show.say(ask.Posture(height=height))
        show.until("rest", 5.0)
        assert not show.state.limit
        assert show.state.body[2] == pytest.approx(robot.rest_height + height, abs=1e-6)
    show.say(ask.Posture(height=high + 0.02))
    show.until("rest", 5.0)
    assert show.state.limit or high >= 0.1 - 1e-9


def test_walking_out_of_a_crouch_rises_first_and_crouches_again_after(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    low = show.hub.height_range[0]
    show.say(ask.Posture(height=low))
    show.until("rest", 5.0)
    crouched = show.state.body[2]
    show.run(3.0, FORWARD)
    assert show.state.body[2] > crouched + 0.005
    assert show.state.limit
    show.until("rest", 6.0)
    assert show.state.body[2] == pytest.approx(crouched, abs=1e-6)
    assert within(tansy, show.joints).all()


def test_posture_does_not_outlive_a_stop(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    show.say(ask.Posture(height=0.02))
    show.until("rest", 5.0)
    show.say(ask.Stop())
    show.until("stopped")
    show.say(ask.Resume())
    show.until("rest")
    assert show.state.body[2] == pytest.approx(tansy.rest_height, abs=1e-6)


def test_pace_scales_the_walk(tansy: Robot) -> None:
    went = []
    for share in (1.0, 0.5):
        show = Rehearsal(tansy)
        show.say(ask.Pace(share))
        for _ in range(200):
            show.run(DT, ask.Drive(0.6))
            show.state  # noqa: B018
        went.append(show.state.body[0])
    assert went[1] == pytest.approx(went[0] / 2, rel=0.1)


# ---------------------------------------------------------------- stop, resume, limp


@pytest.mark.parametrize("after_s", np.arange(0.0, 2.4, 0.22))
def test_stop_brings_a_walking_robot_to_a_standstill_in_the_stated_time(tansy: Robot, after_s: float) -> None:
    show = Rehearsal(tansy)
    show.run(1.0 + after_s, ask.Drive(1.0, 0.2, 0.5))
    show.say(ask.Stop())
    assert show.until("stopped", STANDSTILL_S + 2 * DT) <= STANDSTILL_S + DT
    held = show.joints[-1]
    show.run(3.0, FORWARD)
    assert show.hub.mode == "stopped"
    np.testing.assert_array_equal(show.joints[-1], held)
    assert within(tansy, show.joints).all()


def test_resume_from_mid_walk_steps_the_legs_over_without_dragging_any(robot: Robot) -> None:
    for walked in np.arange(1.0, 3.0, 0.37):
        show = Rehearsal(robot)
        show.run(walked, ask.Drive(0.9, 0.3, 0.3))
        show.say(ask.Stop())
        show.until("stopped")
        stopped = len(show.ticks)
        show.say(ask.Resume())
        show.until("rest")
        np.testing.assert_allclose(show.joints[-1], rest_joints(robot), atol=1e-9)
        joints = show.joints[stopped - 1 :]
        support = rest_on_ground(robot, joints)
        assert not support.tipped.any()
        assert dragged(support.level_feet, support.down).max() < 5e-3


def dragged(level: np.ndarray, down: np.ndarray) -> np.ndarray:
    """How far each foot (L,) goes over the ground while it stands, m: rigid fits by scipy, frame to frame."""
    total = np.zeros(level.shape[1])
    for t in range(len(level) - 1):
        stood = down[t] & down[t + 1]
        if stood.sum() < 2:
            continue  # it rocks from some feet onto others, and a foot alone says nothing
        a, b = level[t, stood] * [1, 1, 0], level[t + 1, stood] * [1, 1, 0]
        turn, _ = Rotation.align_vectors(a - a.mean(axis=0), b - b.mean(axis=0))
        total[stood] += np.linalg.norm(turn.apply(b - b.mean(axis=0)) + a.mean(axis=0) - a, axis=1)
    return total


def test_limp_asks_twice_and_then_sends_no_pulse(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    assert "sure" in show.say(ask.Limp())
    assert show.hub.mode == "rest"
    assert show.say(ask.Limp(sure=True)) == ""
    tick = show.tick()
    assert tick.pulses is None
    assert not tick.enabled
    show.run(1.0, FORWARD)
    assert show.hub.mode == "limp"
    assert show.say(ask.Stop(), "guest") == ""
    assert show.hub.mode == "limp"
    assert show.tick().pulses is None
    show.say(ask.Resume())
    show.until("rest")
    assert show.ticks[-1].enabled


def test_what_sounds_is_silent_after_a_stop_and_what_shines_shines_on(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    show.say(ask.SetOutput("lamp", 0.7))
    show.say(ask.SetOutput("sounder", 0.5))
    assert "no output 'hooter'" in show.say(ask.SetOutput("hooter", 0.5))
    assert show.tick().outputs.tolist() == [0.7, 0.5]
    show.say(ask.Stop())
    assert show.tick().outputs.tolist() == [0.7, 0.0]


# ---------------------------------------------------------------- the battery


def test_a_low_battery_is_said_and_an_empty_one_lies_the_robot_down(robot: Robot) -> None:
    show = Rehearsal(robot)
    supply = robot.supply
    show.run(2.0, FORWARD)

    def at(volts: float, seconds: float) -> None:
        for _ in range(round(seconds / 0.1)):
            show.run(0.1, FORWARD)
            show.robot_says(volts=volts)

    at(supply.battery_cut_off_v - 0.1, 0.5)  # a step's sag
    at(supply.battery_nominal_v, 0.3)
    assert show.state.battery.level == "ok"
    assert show.hub.mode == "driving"
    at((supply.battery_warn_v + supply.battery_cut_off_v) / 2, 1.5)
    assert show.state.battery.level == "low"
    assert any(notice.startswith(WORDS["low"]) for notice in show.notices)
    at(supply.battery_cut_off_v - 0.05, 1.5)
    assert show.state.battery.level == "empty"
    show.until("stopping", 1.0)
    show.until("limp", 10.0)
    assert show.tick().pulses is None, "once it lies, its servos are let go"
    assert WORDS["empty"] in show.notices
    assert show.state.reason == f"{WORDS['empty']}."
    assert show.state.body[2] < robot.rest_height / 2
    assert show.say(ask.Resume()) == "the battery is empty"
    assert show.hub.mode == "limp"
    assert within(robot, show.joints).all()
    at(supply.battery_full_v, 2.0)
    assert show.say(ask.Resume()) == ""
    show.until("rest")


def test_every_joint_stays_within_its_servo_through_all_of_it(robot: Robot) -> None:
    show = Rehearsal(robot)
    show.run(1.5, ask.Drive(1.0, 1.0, 1.0))
    show.say(ask.Posture(height=0.03, roll=0.3, pitch=0.3, yaw=0.5))
    show.run(1.5, ask.Drive(-1.0, -1.0, 1.0))
    show.say(ask.Stop())
    show.until("stopped")
    show.say(ask.Resume())
    show.until("rest")
    show.link(DOWN)
    show.run(1.0)
    speed = np.abs(np.diff(show.joints, axis=0)) / DT
    assert (speed <= top_speed(robot) * (1 + 1e-9)).all()
    assert within(robot, show.joints).all()
    assert show.hub.mode != "fault"
