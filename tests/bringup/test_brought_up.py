"""Robots with hidden faults, brought up by somebody who sees no more than a person can.

``MOTIONHUB_BRINGUPS=200`` brings up as many; a few are enough to see that it works. ``pytest -s`` shows how close they
came. What the noise allows: a protractor read to a degree either way leaves 0.58 degrees of standard deviation a
reading, a ruler to a millimetre either way 0.58 mm.
"""

from __future__ import annotations

import os
from dataclasses import replace

import numpy as np
import pytest
from person import Person, faulty, meet, off_deg, over_the_travel, shipped

from motionhub.hub.bringup import asks
from motionhub.motion.posing import rest_joints
from motionhub.motion.support import rest_on_ground
from motionhub.robot.calibration import Calibration
from motionhub.robot.kinematics import feet

MANY = int(os.environ.get("MOTIONHUB_BRINGUPS", "4"))


@pytest.mark.parametrize("seed", range(MANY))
def test_every_fault_is_found_and_it_stands_level(seed: int) -> None:
    brought_up(seed, 1.0)


@pytest.mark.parametrize("seed", range(max(MANY // 4, 2)))
def test_a_protractor_read_to_half_a_degree_needs_less_than_half_the_readings(seed: int) -> None:
    """And each stance is measured once instead of twice."""
    person = brought_up(seed, 0.5)
    assert person.readings < 4.5 * person.robot.joints, "it is about 8 with one that is read to a degree"
    assert person.rulers == person.robot.legs * len(person.screen.stances)


def brought_up(seed: int, read_to_deg: float) -> Person:
    robot = shipped(("tansy", "trestle")[seed % 2])
    dice = np.random.default_rng(seed)
    truth = faulty(robot, dice)
    world = meet(robot, truth, divider=float(dice.choice([0.96, 1.04])))
    person = Person(world, dice, read_to_deg)
    person.bring_up()
    known = world.hub.calibration
    assert known.connector == truth.connector
    np.testing.assert_array_equal(known.direction, truth.direction)
    other = truth.scale != 1
    np.testing.assert_allclose(known.scale[other], truth.scale[other], rtol=0.04)
    np.testing.assert_allclose(known.scale[~other], 1, atol=0.04)
    assert len(person.screen.found) == 2 + 3 + 1
    assert person.screen.problems == ()
    assert known.battery_scale * world.divider == pytest.approx(1, abs=0.005)
    rest = rest_joints(robot)
    standing, worst = off_deg(robot, truth, known, rest).max(), over_the_travel(robot, truth, known)
    truly = truth.angles(robot, known.pulses(robot, rest))
    down = np.abs((feet(robot, truly) - feet(robot, rest))[:, 2]).max() * 1000
    stood = rest_on_ground(robot, np.stack([truly, rest]))
    hips = np.einsum("ti,li->tl", stood.normal, robot.hip) + stood.height[:, None]
    level = np.abs(hips[0] - hips[1]).max() * 1000
    print(
        f"{robot.name}: worst joint {worst:.2f} deg over its travel, {standing:.2f} where it stands; "
        f"feet {down:.2f} mm, hips {level:.2f} mm; "
        f"{person.readings} angles, {person.rulers} heights, {person.looks} looks"
    )
    assert worst < 1
    assert level < 1
    return person


@pytest.mark.parametrize("seed", range(max(MANY // 2, 3)))
def test_the_first_run_alone_finds_servos_that_sit_mirrored_and_plugs_that_are_swapped(seed: int) -> None:
    """Nobody has looked before at what moves; each leg is asked to go each way, on the stand."""
    robot = shipped(("trestle", "tansy")[seed % 2])
    dice = np.random.default_rng(100 + seed)
    own = 3 * robot.legs
    direction, connector = np.ones(robot.joints), list(range(robot.joints))
    direction[dice.choice(own, 3, replace=False)] = -1
    a, b = int(dice.integers(own)), int(dice.integers(robot.joints - 1))
    b += b >= a
    connector[a], connector[b] = connector[b], connector[a]
    trim = np.deg2rad(dice.uniform(-5, 5, robot.joints))
    truth = replace(Calibration.default(robot), direction=direction, connector=tuple(connector), trim_rad=trim)
    world = meet(robot, truth)
    person = Person(world, dice)
    asked = 0
    while missing := [item for item in person.screen.items["legs"] if item not in person.screen.done["legs"]]:
        person._legs(missing[0])
        asked += 1
        assert asked < 2 * own
    print(f"{robot.name}: {asked} questions; {robot.joint_names[a]} and {robot.joint_names[b]} were swapped")
    assert world.hub.calibration.connector == truth.connector
    np.testing.assert_array_equal(world.hub.calibration.direction[:own], direction[:own])
    assert person.screen.problems == ()


def test_what_was_said_by_mistake_in_the_first_run_can_be_taken_back() -> None:
    world = meet(shipped("trestle"), Calibration.default(shipped("trestle")))
    person = Person(world, np.random.default_rng(0))
    before = world.hub.calibration
    person.setup()
    person.say(asks.BringupWent("left_front", "up", False, "left_front.tibia", "more"))
    assert world.hub.calibration.connector != before.connector
    person.say(asks.BringupBack())
    assert world.hub.calibration.connector == before.connector
    refused = world.take(world.hub.handle("ann", asks.BringupWent("left_front", "up", False, "tail"), world.now))
    assert refused == ["there is no joint 'tail'"]
    refused = world.take(world.hub.handle("ann", asks.BringupWent("left_front", "up", False, "head"), world.now))
    assert refused == ["which way did it move?"]


def test_it_begins_limp_until_it_was_on_the_floor_and_again_once_a_plug_is_another() -> None:
    """A servo taken for another has that one's trim; with such a leg a robot is not to stand up by itself."""
    robot = shipped("trestle")
    world = meet(robot, Calibration.default(robot))
    person = Person(world, np.random.default_rng(0))

    def begins() -> str:
        return meet(robot, world.truth, world.hub.calibration, world.kept.notebook).hub.mode

    person.say(asks.BringupDone("ready", "ready"))
    assert begins() == "limp"
    person.say(asks.BringupDone("floor", "floor"))
    assert begins() == "moving"
    person.say(asks.BringupSaw("left_front.coxa", "left_front.coxa", "more"))
    assert begins() == "moving", "its plug is where it was"
    person.say(asks.BringupSaw("left_front.femur", "left_front.tibia", "more"))
    assert begins() == "limp"
    person.say(asks.BringupBack())
    assert begins() == "moving"


def test_taken_up_again_wherever_it_was_left() -> None:
    """Every tenth answer the hub is killed, and all that is left is what it had asked to have kept."""
    robot = shipped("trestle")
    dice = np.random.default_rng(8)
    truth = faulty(robot, dice)
    world = meet(robot, truth)
    person = Person(world, dice)
    starts = 0

    def killed() -> None:
        nonlocal starts
        starts += 1
        text, known = world.kept.notebook.dump(), world.hub.calibration.dump()
        again = meet(
            robot,
            truth,
            Calibration.parse(known, "calibration", robot),
            type(world.kept.notebook).parse(text, "bring-up", robot),
        )
        before = world.hub.workbench.view()
        world.hub = again.hub
        world.now = 0.0
        finished = before.next is None
        assert world.hub.mode == ("moving" if finished else "limp"), "half known, it does not stand up by itself"
        after = world.hub.workbench.view()
        assert (after.done, after.found, after.back) == (before.done, before.found, before.back)
        for was, now in zip(before.joints, after.joints, strict=True):
            assert now.readings == was.readings
            assert now.trim == pytest.approx(was.trim, abs=1e-7)

    person.bring_up(interrupted=killed)
    assert starts > 8
    assert off_deg(robot, truth, world.hub.calibration, rest_joints(robot)).max() < 1
    assert len(person.screen.found) == 6
