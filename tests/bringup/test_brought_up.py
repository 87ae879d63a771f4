"""Robots with hidden faults, brought up by somebody who sees no more than a person can.

``MOTIONHUB_BRINGUPS=200`` brings up as many; a few are enough to see that it works. ``pytest -s`` shows how close they
came. What the noise allows: a protractor read to a degree either way leaves 0.58 degrees of standard deviation a
reading, a ruler to a millimetre either way 0.58 mm.
"""

from __future__ import annotations

import os

import numpy as np
import pytest
from person import Person, faulty, meet, shipped

from motionhub.motion.posing import rest_joints
from motionhub.motion.support import rest_on_ground
from motionhub.robot.calibration import Calibration
from motionhub.robot.kinematics import feet
from motionhub.robot.model import Robot

MANY = int(os.environ.get("MOTIONHUB_BRINGUPS", "4"))


def off_deg(robot: Robot, truth: Calibration, known: Calibration, joints: np.ndarray) -> np.ndarray:
    """How far the machine really is from where the hub has it, (..., J) degrees."""
    return np.abs(np.rad2deg(truth.angles(robot, known.pulses(robot, joints)) - joints))


@pytest.mark.parametrize("seed", range(MANY))
def test_every_fault_is_found_and_it_stands_level(seed: int) -> None:
    robot = shipped(("tansy", "trestle")[seed % 2])
    dice = np.random.default_rng(seed)
    truth = faulty(robot, dice)
    world = meet(robot, truth)
    person = Person(world, dice)
    person.bring_up()
    known = world.hub.calibration
    assert known.connector == truth.connector
    np.testing.assert_array_equal(known.direction, truth.direction)
    other = truth.scale != 1
    np.testing.assert_allclose(known.scale[other], truth.scale[other], rtol=0.04)
    np.testing.assert_allclose(known.scale[~other], 1, atol=0.04)
    assert len(person.screen.found) == 2 + 3 + 1
    assert person.screen.problems == ()
    # Every joint, where it stands and up to where it was measured.
    rest = rest_joints(robot)
    worst = off_deg(robot, truth, known, rest).max()
    truly = truth.angles(robot, known.pulses(robot, rest))
    down = np.abs((feet(robot, truly) - feet(robot, rest))[:, 2]).max() * 1000
    stood = rest_on_ground(robot, np.stack([truly, rest]))
    hips = np.einsum("ti,li->tl", stood.normal, robot.hip) + stood.height[:, None]
    level = np.abs(hips[0] - hips[1]).max() * 1000
    print(
        f"{robot.name}: worst joint {worst:.2f} deg, feet {down:.2f} mm, hips {level:.2f} mm; "
        f"{person.readings} angles, {person.rulers} heights, {person.looks} looks"
    )
    assert worst < 1
    assert level < 1


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
        assert world.hub.mode == "limp", "half known, it does not stand up by itself"
        after = world.hub.workbench.view()
        assert (after.done, after.found, after.back) == (before.done, before.found, before.back)
        for was, now in zip(before.joints, after.joints, strict=True):
            assert now.readings == was.readings
            assert now.trim == pytest.approx(was.trim, abs=1e-7)

    person.bring_up(interrupted=killed)
    assert starts > 8
    assert off_deg(robot, truth, world.hub.calibration, rest_joints(robot)).max() < 1
    assert len(person.screen.found) == 6
