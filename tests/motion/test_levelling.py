"""Trims from hip heights: against statistics, and against a robot that rests on the ground by the check's own rule."""

from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from motionhub.motion.levelling import RULER, Reading, heights, level_stances, solve
from motionhub.motion.posing import rest_joints
from motionhub.motion.support import rest_on_ground
from motionhub.robot import description
from motionhub.robot.kinematics import feet
from motionhub.robot.model import Robot

ROBOTS = sorted((Path(__file__).parents[2] / "sequences" / "robots").glob("*.toml"))


@pytest.fixture(scope="module", params=ROBOTS, ids=lambda path: path.stem)
def robot(request: pytest.FixtureRequest) -> Robot:
    return description.load(request.param)


def _crooked(robot: Robot, dice: np.random.Generator, degrees: float) -> np.ndarray:
    trims = np.zeros(robot.joints)
    for leg in range(robot.legs):
        trims[3 * leg + 1 : 3 * leg + 3] = np.deg2rad(dice.uniform(-degrees, degrees, 2))
    return trims


def test_the_stances_stand_on_the_three_feet_that_they_say_and_use_every_leg(robot: Robot) -> None:
    """By the lower hull of all that may touch the ground, also when every joint is 3 degrees off."""
    stances = level_stances(robot)
    dice = np.random.default_rng(5)
    used = dict.fromkeys(range(robot.legs), 0)
    for stance in stances:
        for crooked in (np.zeros(robot.joints), *(_crooked(robot, dice, 3.0) for _ in range(10))):
            support = rest_on_ground(robot, (stance.joints + crooked)[None])
            assert not support.tipped[0]
            assert set(support.facet[0].tolist()) == set(stance.standing)
            hips = robot.hip @ support.normal[0] + support.height[0]
            np.testing.assert_allclose(heights(robot, stance, stance.joints + crooked), hips, atol=1e-9)
        for leg in stance.standing:
            used[leg] += 1
    assert min(used.values()) >= 2


def test_trims_are_found_within_what_the_solver_says_of_itself(robot: Robot) -> None:
    """The normalised squared error over many crooked robots follows chi-squared: neither vain nor shy."""
    dice = np.random.default_rng(11)
    stances = level_stances(robot)
    scores = []
    for _ in range(30):
        true = np.zeros(robot.joints)
        unknown = [3 * leg + part for leg in range(robot.legs) for part in (1, 2)]
        true[unknown] = dice.normal(0, np.deg2rad(5), len(unknown)).clip(-0.14, 0.14)
        readings = [
            Reading(stance, heights(robot, stance, stance.joints + true) + dice.normal(0, RULER, robot.legs))
            for stance in stances
        ]
        found = solve(robot, readings)
        scores += (((found.trims - true) / found.spread)[unknown]).tolist()
    # Trims of one robot depend on each other a little, so the bounds are wider than for independent ones
    mean = float(np.mean(np.square(scores)))
    low, high = stats.chi2.ppf([1e-6, 1 - 1e-6], len(scores)) / len(scores)
    assert 0.9 * low < mean < 1.1 * high


def test_a_robot_measured_three_times_stands_level(robot: Robot) -> None:
    """A ruler read to ±1 mm. The feet then reach down alike within a millimetre, four times out of four."""
    dice = np.random.default_rng(23)
    stances = level_stances(robot)
    rest = rest_joints(robot)
    for _ in range(4):
        true = _crooked(robot, dice, 6.0)
        readings = [
            Reading(stance, heights(robot, stance, stance.joints + true) + dice.uniform(-1e-3, 1e-3, robot.legs))
            for stance in stances
            for _ in range(3)
        ]
        left = true - solve(robot, readings).trims
        assert np.abs((feet(robot, rest + left) - feet(robot, rest))[:, 2]).max() < 1e-3


def test_a_misread_height_is_named_and_does_no_harm(robot: Robot) -> None:
    dice = np.random.default_rng(31)
    true = _crooked(robot, dice, 4.0)
    readings = [
        Reading(stance, heights(robot, stance, stance.joints + true) + dice.normal(0, RULER / 2, robot.legs))
        for stance in level_stances(robot)
        for _ in range(2)
    ]
    clean = solve(robot, readings)
    assert clean.odd == ()
    readings[1].heights[2] += 0.015
    found = solve(robot, readings)
    assert found.odd == ((1, 2),)
    assert found.residuals[1][2] == pytest.approx(0.015, abs=0.003)
    np.testing.assert_allclose(found.trims, clean.trims, atol=np.deg2rad(0.6))


def test_without_enough_heights_nothing_is_made_up(robot: Robot) -> None:
    stance = level_stances(robot)[0]
    with pytest.raises(ValueError, match="at least three heights"):
        solve(robot, [Reading(stance, np.full(robot.legs, np.nan))])
    some = heights(robot, stance, stance.joints)
    found = solve(robot, [Reading(stance, some)])
    assert np.isinf(found.spread[[joint for joint in range(robot.joints) if joint // 3 not in stance.standing]]).all()
