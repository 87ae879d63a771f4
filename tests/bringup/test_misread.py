"""What was misread is named, left out, and read again: angles by a protractor, heights by a ruler.

The machine is that of the person's; readings are uniform within what a scale is read to, as there.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from person import faulty, off_deg, over_the_travel, shipped

from motionhub.hub.bringup.course import Course
from motionhub.hub.bringup.minutes import READINGS_EACH, minutes, readings_left
from motionhub.hub.bringup.view import view
from motionhub.library.notebook import Notebook
from motionhub.motion.levelling import heights
from motionhub.motion.posing import rest_joints
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot


class Reader:
    """Reads angles of a machine with hidden faults, whose plugs and directions are known by now."""

    def __init__(self, robot: Robot, seed: int, to_deg: float = 1.0) -> None:
        self.robot, self.dice, self.to = robot, np.random.default_rng(seed), np.deg2rad(to_deg)
        self.truth = faulty(robot, self.dice)
        plugs = replace(Calibration.default(robot), direction=self.truth.direction, connector=self.truth.connector)
        self.course = Course(robot, plugs)
        self.course.protractor(self.to)
        self.readings = 0

    def stands(self, joint: str, pulse: float) -> float:
        pulses = np.full(self.robot.joints, pulse)
        return float(self.truth.angles(self.robot, pulses)[self.robot.joint_index[joint]])

    def read(self, joint: str, wrong_deg: float = 0.0) -> float:
        pulse = self.course.next_pulse(joint)
        assert pulse is not None
        angle = self.stands(joint, pulse) + self.dice.uniform(-self.to, self.to) + np.deg2rad(wrong_deg)
        self.course.read(joint, pulse, angle)
        self.readings += 1
        return pulse

    def read_all(self, joint: str) -> None:
        while self.course.next_pulse(joint) is not None:
            self.read(joint)


@pytest.mark.parametrize("at", range(4))
@pytest.mark.parametrize("seed", range(3))
def test_a_misread_angle_is_named_and_read_again(seed: int, at: int) -> None:
    reader = Reader(shipped("tansy"), seed)
    course, joint = reader.course, "left_front.femur"
    for _ in range(at):
        reader.read(joint)
    wrong = reader.read(joint, wrong_deg=8.0)
    (words,) = view(course).problems or ("",)
    while not words and course.next_pulse(joint) is not None:
        reader.read(joint)
        (words,) = view(course).problems or ("",)
    assert words, "named before it is asked for no more"
    shown = next(each for each in view(course).joints if each.name == joint)
    assert words.startswith(f"{joint}: the reading of ")
    assert (
        f" at {wrong:g} µs is 7°" in words or f" at {wrong:g} µs is 8°" in words or f" at {wrong:g} µs is 9°" in words
    )
    assert [i for i, _ in shown.odd] == [at]
    before = len(course.notebook.read[joint])
    course.read(joint, wrong, reader.stands(joint, wrong))
    assert view(course).problems == ()
    assert len(course.notebook.read[joint]) == before, "in place of the one that was misread"
    # And as near as all others.
    reader.read_all(joint)
    i = reader.robot.joint_index[joint]
    line = np.linspace(reader.robot.lower[i], reader.robot.upper[i], 9)
    joints = np.tile(reader.robot.mid, (9, 1))
    joints[:, i] = line
    off = reader.truth.angles(reader.robot, course.calibration.pulses(reader.robot, joints))[:, i] - line
    assert np.abs(np.rad2deg(off)).max() < 1


def test_nobody_is_told_of_a_misread_angle_that_was_none() -> None:
    """Nor is a servo of another kind one, or a horn a tooth off."""
    for seed in range(6):
        reader = Reader(shipped("trestle"), seed)
        for joint in reader.robot.joint_names:
            reader.read_all(joint)
            assert view(reader.course).problems == ()


def test_of_few_readings_that_disagree_more_are_asked_for() -> None:
    """Nobody can say which of three is wrong, but that one of them is."""
    for seed in range(5):
        reader = Reader(shipped("tansy"), seed, to_deg=0.5)
        reader.read("left_front.tibia")
        reader.read("left_front.tibia")
        reader.read("left_front.tibia", wrong_deg=4.0)
        assert reader.course.next_pulse("left_front.tibia") is not None
        reader.read_all("left_front.tibia")
        (words,) = view(reader.course).problems
        assert words.startswith("left_front.tibia: the reading of ")


def test_a_protractor_read_to_half_a_degree_asks_for_less_than_half_the_readings() -> None:
    """And what is said beforehand of how many there will be is about true."""
    robot, counts = shipped("tansy"), {}
    for to in READINGS_EACH:
        counts[to] = 0
        for seed in range(4):
            reader = Reader(robot, seed, to)
            foretold = sum(readings_left(reader.course, joint) for joint in robot.joint_names)
            for joint in robot.joint_names:
                reader.read_all(joint)
            counts[to] += reader.readings
            assert over_the_travel(robot, reader.truth, reader.course.calibration) < 1
            assert reader.readings == pytest.approx(foretold, rel=0.2)
            assert minutes(reader.course)["angles"] == 0
    print({to: count / 4 / robot.joints for to, count in counts.items()}, "readings a joint")
    assert counts[0.5] < 0.45 * counts[1.0]


def test_readings_keep_how_closely_they_were_read() -> None:
    """A better protractor that turns up later does not make the older readings better."""
    reader = Reader(shipped("trestle"), 1)
    reader.read("head")
    reader.course.protractor(np.deg2rad(0.5))
    reader.read("head")
    kept = Notebook.parse(reader.course.notebook.dump(), "bring-up", reader.robot)
    assert [each.to_deg for each in kept.read["head"]] == [1.0, 0.5]
    assert kept.read_to_deg == 0.5


def measured(course: Course, joints_off: np.ndarray, stance: int, dice: np.random.Generator) -> list[float | None]:
    robot, level = course.robot, course.stances[stance]
    true = heights(robot, level, level.joints + joints_off)
    return [float(each) for each in true + dice.uniform(-1e-3, 1e-3, robot.legs)]


def test_a_misread_height_is_named_and_measured_again_alone() -> None:
    robot, dice = shipped("tansy"), np.random.default_rng(4)
    course = Course(robot, Calibration.default(robot))
    off = np.deg2rad(dice.uniform(-2, 2, robot.joints))
    for _ in range(2):
        for stance in range(len(course.stances)):
            told = measured(course, off, stance, dice)
            if stance == 2 and not course.done("level").count("2.0"):
                told[4] = float(told[4] or 0) + 0.012
            assert course.heights(stance, tuple(told)) == ""
    course.reckoned = course.levelling()
    level = view(course).level
    assert level is not None
    ((_, stance, leg, far),) = level.odd
    assert (stance, leg) == (2, robot.leg_names[4])
    assert far == pytest.approx(0.012, abs=0.003)
    count = len(course.notebook.heights)
    alone: list[float | None] = [None] * robot.legs
    alone[0] = 0.1
    assert course.heights(2, tuple(alone)) == "expected the heights of three hips at least"
    alone[0], alone[4] = None, measured(course, off, 2, dice)[4]
    assert course.heights(2, tuple(alone)) == ""
    assert len(course.notebook.heights) == count, "in place of the one that was misread"
    course.reckoned = course.levelling()
    level = view(course).level
    assert level is not None
    assert level.odd == ()
    assert level.residual < 1e-3


@pytest.mark.parametrize("wrong", ["right_rear.femur", "left_middle.tibia", "left_front.femur"])
def test_ruler_and_protractor_that_contradict_each_other_are_named(wrong: str) -> None:
    """A protractor held to the wrong edge reads every angle of a joint alike wrong: the ruler alone can tell.

    It is not the heights that are blamed for it, but for the one that was misread as well.
    """
    reader = Reader(shipped("tansy"), 2)
    course, robot = reader.course, reader.robot
    for joint in robot.joint_names:
        while course.next_pulse(joint) is not None:
            reader.read(joint, wrong_deg=7.0 if joint == wrong else 0.0)
    assert view(course).problems == ()
    i, at = robot.joint_index[wrong], rest_joints(robot)
    assert off_deg(robot, reader.truth, course.calibration, at)[i] > 5
    for turn in range(2):
        for stance, level in enumerate(course.stances):
            true = reader.truth.angles(robot, course.calibration.pulses(robot, level.joints))
            told = heights(robot, level, true) + reader.dice.uniform(-1e-3, 1e-3, robot.legs)
            told[1] += 0.012 * (turn == 1 and stance == 3)
            course.heights(stance, tuple(float(each) for each in told))
    course.reckoned = course.levelling()
    found = view(course).level
    assert found is not None
    ((joint, far),) = found.against
    assert joint == wrong
    assert np.rad2deg(far) == pytest.approx(7, abs=1.5)
    assert [(stance, leg) for _, stance, leg, _ in found.odd] == [(3, robot.leg_names[1])]
    course.level(course.reckoned)
    assert off_deg(robot, reader.truth, course.calibration, at)[i] < 1
