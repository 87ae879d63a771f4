"""A long drive with everything changed at any moment: what every frame that is sent has to hold, on 4, 6 and 8 legs.

``MOTIONHUB_DRIVE_TICKS`` makes it longer: the full proof is 60000 ticks a robot.
"""

from __future__ import annotations

import os
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from rehearsal import DT, Rehearsal, clip, shipped

from motionhub.hub import commands as ask
from motionhub.hub.bearing import Bearing
from motionhub.hub.effort import effort_of
from motionhub.hub.steps import Steps
from motionhub.motion.gait import default_gait, gaits
from motionhub.motion.manner import manner_of
from motionhub.motion.odometry import travel
from motionhub.motion.polygon import stability_margin
from motionhub.motion.posing import rest_joints
from motionhub.motion.stepper import Stepper
from motionhub.motion.support import rest_on_ground
from motionhub.robot.kinematics import within
from motionhub.robot.limits import top_speed
from motionhub.robot.model import Robot

TICKS = int(os.environ.get("MOTIONHUB_DRIVE_TICKS", "2500"))

SLIP = 0.5e-3
"""m: what a loaded foot may move over the ground from touchdown to lift-off, the stated bound."""

PLAY = 3e-3
"""m that a servo's play moves a foot by (*practice*)."""

LOADED = 2e-5
"""m: a foot this near to the plane that the robot rests on carries weight."""


def nod(robot: Robot) -> np.ndarray:
    joints = np.repeat(rest_joints(robot)[None], 61, axis=0)
    joints[:, -1] += 0.3 * np.sin(np.linspace(0, np.pi, 61)) ** 2
    return joints


def driven(robot: Robot, ticks: int, seed: int, stops: bool = False) -> tuple[Rehearsal, int]:
    """Somebody who tries everything, presses Stop at times or not, and in the end lets go; and how many commands."""
    show = Rehearsal(robot)
    show.repertoire["nod"] = clip(robot, nod(robot), "nod")
    dice, names = np.random.default_rng(seed), list(gaits(robot))
    stick, given = ask.Drive(), 0
    until = 0
    for tick in range(ticks):
        if tick >= until:
            given += 1
            kind = dice.integers(15 if stops else 12)
            if kind < 4:
                stick = ask.Drive(*dice.uniform(-1, 1, 3))
            elif kind == 4:
                stick = ask.Drive()
            elif kind < 7:
                show.say(ask.Gait(names[dice.integers(len(names))]))
            elif kind == 7:
                show.say(ask.Lift(float(dice.uniform(0.005, 0.05))))
            elif kind < 10:
                show.say(ask.Posture(float(dice.uniform(-0.04, 0.04)), *dice.uniform(-0.3, 0.3, 3)))
            elif kind == 10:
                show.say(ask.Pace(float(dice.uniform(0.2, 1))))
            elif kind > 11:
                show.say(ask.Stop())
            elif dice.random() < 0.3:
                show.say(ask.Play("nod"))
            if show.hub.mode == "stopped":
                show.say(ask.Resume())
            until = tick + int(dice.choice([1, 2, 8, 30, 90, 200]))
        if show.hub.mode in ("rest", "driving"):
            show.say(stick)
        else:
            show.say(ask.Ping())
        show.tick()
    if show.hub.mode == "stopping":
        show.until("stopped")
    show.say(ask.Resume())
    show.say(ask.Drive())
    show.say(ask.Posture())
    show.until("rest", 60.0)
    return show, given


@pytest.mark.parametrize("name", ["trestle", "tansy", "harrow"])
def test_whatever_is_asked_of_a_walk_every_frame_is_sound(name: str) -> None:
    robot = shipped(name)
    show, given = driven(robot, TICKS, 5)
    assert given > TICKS / 120
    assert "fault" not in show.modes
    joints = show.joints
    assert within(robot, joints).all()
    speed = np.diff(joints, axis=0) / DT
    assert (np.abs(speed) <= top_speed(robot) * (1 + 1e-9)).all()
    # No joint jumps in speed: from rest to its top speed it takes at least some ticks. Nor is one held at its end,
    # which it is where more was planned than its range leaves.
    assert (np.abs(np.diff(speed, axis=0)) <= top_speed(robot) * 0.4).all()
    assert not ((joints == robot.lower) | (joints == robot.upper))[:, : 3 * robot.legs].any()
    support = rest_on_ground(robot, joints)
    assert not support.tipped.any()
    # A foot that is being lifted or set down counts for nothing, however near to the ground.
    loaded = support.down & (support.clearance <= LOADED)
    margin = stability_margin(support.level_feet[..., :2].transpose(2, 1, 0), loaded.T, support.com.T)
    assert margin.min() >= robot.walk.margin
    assert loaded.sum(axis=1).min() >= {4: 3, 6: 3, 8: 4}[robot.legs]
    slid = travel(support.level_feet[..., :2], loaded, np.where(loaded, 1.0, 0.0)).slip
    assert slid.max() < SLIP
    np.testing.assert_allclose(joints[-1], rest_joints(robot), atol=1e-9)


@pytest.mark.parametrize("name", ["trestle", "tansy", "harrow"])
def test_with_stop_pressed_at_any_moment_it_stands_as_it_has_to(name: str) -> None:
    """And no foot that carries weight moves by more than in a walk, neither in the stop nor on the way home. A foot
    that is no higher over the ground than a servo's play moves it keeps the robot from tipping: it rocks onto it.
    """
    robot = shipped(name)
    show, given = driven(robot, TICKS, 6, stops=True)
    assert "fault" not in show.modes
    joints = show.joints
    assert within(robot, joints).all()
    speed = np.diff(joints, axis=0) / DT
    assert (np.abs(speed) <= top_speed(robot) * (1 + 1e-9)).all()
    assert (np.abs(np.diff(speed, axis=0)) <= top_speed(robot) * 0.4).all()
    support = rest_on_ground(robot, joints)
    stops = sum(mode == "stopping" != before for before, mode in pairwise(show.modes))
    loaded = support.down & (support.clearance <= LOADED)
    slid = travel(support.level_feet[..., :2], loaded, np.where(loaded, 1.0, 0.0)).slip
    near = (support.clearance <= PLAY).T
    margin = stability_margin(support.level_feet[..., :2].transpose(2, 1, 0), near, support.com.T).min()
    print(f"{name}: {stops} stops, margin {margin * 1e3:.1f} mm, slip {slid.max() * 1e3:.2f} mm")
    assert stops > given / 20
    assert not support.tipped.any()
    assert margin >= robot.walk.margin
    assert slid.max() < SLIP
    np.testing.assert_allclose(joints[-1], rest_joints(robot), atol=1e-9)


def test_a_finger_lifted_at_any_moment_ends_the_walk_within_half_a_cycle(robot: Robot) -> None:
    """Feet down and the body still; that feet then go home, on the spot, is tidying up."""
    for gait in gaits(robot).values():
        half = manner_of(robot, gait, DT).timing.cycle // 2
        stepper = Stepper(robot, gait, DT)
        for _ in range(4 * half):
            stepper.step((9.0, 3.0, 0.2))
        for late in range(0, 2 * half, max(1, half // 8)):
            trial = stepper.copy()
            for _ in range(late):
                trial.step((9.0, 3.0, 0.2))
            ticks = 1
            while not (trial.step((0.0, 0.0, 0.0)).down.all() and trial.twist == (0.0, 0.0, 0.0)):
                ticks += 1
            assert ticks <= half + 1, (gait.name, late)


def test_another_gait_on_the_move_goes_on_walking(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    show.run(3.0, ask.Drive(forward=1.0))
    for name in ("wave", "tripod", "ripple", "tetrapod", "creep", "tripod"):
        show.say(ask.Gait(name))
        show.run(6.0, ask.Drive(forward=1.0))
        feet = rest_on_ground(tansy, show.joints[-120:]).clearance <= LOADED
        assert show.hub.mode == "driving"
        assert show.state.gait == name
        duty = gaits(tansy)[name].duty
        # After some steps at the new gait, as many feet stand as its duty factor says.
        assert feet.sum(axis=1).mean() == pytest.approx(6 * duty, abs=0.6), name
    assert "no gait 'gallop'; there are: tripod" in show.say(ask.Gait("gallop"))


def test_feet_are_lifted_as_high_as_asked(tansy: Robot) -> None:
    for lift in (0.010, 0.040):
        show = Rehearsal(tansy)
        show.say(ask.Lift(lift))
        show.run(4.0, ask.Drive(forward=0.5))
        assert rest_on_ground(tansy, show.joints[-60:]).clearance.max() == pytest.approx(lift, rel=0.03)
        assert show.state.lift == pytest.approx(lift)


def test_the_head_turns_into_the_turn_before_the_body_does(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    head = tansy.joint_index["head"]
    show.run(0.6, ask.Drive(turn=1.0))
    assert show.joints[-1, head] > np.deg2rad(10)
    assert show.state.body[5] < show.joints[-1, head]
    show.run(3.0, ask.Drive(turn=-0.5))
    assert show.joints[-1, head] == pytest.approx(-np.deg2rad(10), abs=np.deg2rad(0.5))
    show.say(ask.Drive())
    show.until("rest")
    assert show.joints[-1, head] == 0


def test_a_recorded_drive_is_driven_again_to_the_same_pulses(robot: Robot) -> None:
    show = Rehearsal(robot)
    show.say(ask.RecordStart())
    began = len(show.ticks)
    show.run(1.0, ask.Drive(0.8, 0.3, -0.2))
    show.say(ask.Gait(list(gaits(robot))[-1]))
    show.say(ask.Posture(0.005, 0.02, 0.0, 0.05))
    show.run(2.0, ask.Drive(-0.4, 0.1, 0.9))
    show.say(ask.Lift(0.015))
    show.run(1.0, ask.Drive(0.2))
    recorded = show.recording(began)
    again = Rehearsal(robot)
    kinds = {kind.__name__.lower(): kind for kind in (ask.Drive, ask.Gait, ask.Posture, ask.Lift)}
    asked = list(recorded.asked)
    for tick in range(len(recorded.pulses)):
        while asked and asked[0].tick == tick:
            line = asked.pop(0)
            again.say(kinds[line.command](**line.values))
        again.say(ask.Ping())
        np.testing.assert_array_equal(again.tick().pulses, recorded.pulses[tick])


def test_less_is_asked_of_servos_that_a_low_voltage_makes_slow(tansy: Robot) -> None:
    """A cycle that needs nearly all of the servos' speed: on less voltage, less of it; and it says for want of what."""
    strong = replace(tansy, supply=replace(tansy.supply, regulator_a=60.0))  # a current that is no limit
    effort = effort_of(strong, manner_of(strong, default_gait(strong), DT, 0.6))
    full, low = effort.given(8.4), effort.given(6.4)
    assert low.share < full.share <= 1
    assert low.short_of == "torque"
    weak = replace(tansy, supply=replace(tansy.supply, regulator_a=4.0))
    given = effort_of(weak, manner_of(weak, default_gait(weak), DT)).given()
    assert given.short_of == "current"
    assert given.share < 1


def test_a_heavier_robot_speeds_up_more_slowly(tansy: Robot) -> None:
    """Half of what the servos have left of their stall torque pushes a mass: F = m a."""
    gait = default_gait(tansy)
    found = [
        manner_of(robot, gait).acceleration
        for robot in (tansy, *(replace(tansy, body_mass=times * tansy.body_mass) for times in (1.5, 3.0, 6.0)))
    ]
    assert found == sorted(found, reverse=True)
    assert found[-1] < found[0] / 2


def test_the_choice_outlasts_a_stop_and_a_move(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    show.say(ask.Gait("ripple"))
    show.say(ask.Lift(0.02))
    show.run(1.0, ask.Drive(forward=0.5))
    show.say(ask.Stop())
    show.until("stopped")
    show.say(ask.Resume())
    show.until("rest")
    assert (show.state.gait, show.state.lift) == ("ripple", 0.02)


def test_all_that_may_be_chosen_can_be_learnt_beforehand(robot: Robot) -> None:
    steps = Steps(robot, DT)
    steps.learn(Bearing(robot))
    for name in steps.names:
        steps.by(name)
        assert steps.manner.gait.name == name
