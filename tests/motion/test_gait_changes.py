"""One gait to another on the move, at every moment of the cycle: no leg lifts that the support polygon needs.

By default some moments of each pair; with MOTIONHUB_GAIT_CHANGES=all every tick of the cycle, each while going three
ways (ten minutes). The static stability margin is McGhee & Frank's (Math. Biosci. 3, 1968). Shipped robots stand far
inside their feet, so some are asked for nearly all of the margin that their gaits have; and one sways.
"""

import os
from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest
from scipy.spatial import ConvexHull
from walkers import DT, HARROW, TANSY, Walked, text_of, walk

from motionhub.motion.gait import gaits
from motionhub.motion.manner import manner_of
from motionhub.motion.planar import Twist
from motionhub.motion.polygon import stability_margin
from motionhub.motion.posing import joints_for
from motionhub.motion.stepper import Stepper
from motionhub.robot import description
from motionhub.robot.limits import top_speed
from motionhub.robot.mass import centre_of_mass
from motionhub.robot.model import Robot

ALL = os.environ.get("MOTIONHUB_GAIT_CHANGES") == "all"
WAYS: tuple[Twist, ...] = ((9.0, 0.0, 0.0), (-3.0, 4.0, 12.0), (0.0, 0.0, -9.0))
"""Each far beyond what a robot can: it goes that way as fast as it may."""


def tight(robot: Robot, margin: float) -> Robot:
    """The same robot, asked to stay so many metres inside its feet."""
    return replace(robot, name=f"Tight {robot.name}", walk=replace(robot.walk, margin=margin))


SLOWER = """
[gaits.slower]               # creep with a longer pause on all four feet
duty = 0.9
touchdown = { left_rear = 0.15, left_front = 0.3, right_rear = 0.65, right_front = 0.8 }
"""
SWAYING = Robot.from_file(description.parse(text_of("trestle") + SLOWER, "trestle.toml"))
CHANGES = [
    pytest.param(robot, before, after, i % len(WAYS), id=f"{robot.name}-{before}-{after}")
    for robot in (TANSY, HARROW, tight(TANSY, 0.062), tight(HARROW, 0.096), SWAYING)
    for i, (before, after) in enumerate(permutations(gaits(robot), 2))
]
FIELDS = ("feet", "down", "travel", "twists")


def margins(robot: Robot, walked: Walked) -> np.ndarray:
    """The static stability margin in m, tick by tick; where it is least, held against SciPy's convex hull."""
    joints, _ = joints_for(robot, np.zeros(6), walked.feet)
    weight = centre_of_mass(robot, joints)[:, :2]
    found = stability_margin(walked.feet[..., :2].transpose(2, 1, 0), walked.down.T, weight.T)
    least = int(found.argmin())
    hull = ConvexHull(walked.feet[least, walked.down[least], :2])
    by_scipy = -(hull.equations[:, :2] @ weight[least] + hull.equations[:, 2]).max()
    assert found[least] == pytest.approx(by_scipy, abs=1e-9)
    return found


@pytest.mark.parametrize(("robot", "before", "after", "moved"), CHANGES)
def test_a_change_at_any_moment_lifts_no_leg_that_the_weight_needs(
    robot: Robot, before: str, after: str, moved: int
) -> None:
    old, new = (manner_of(robot, gaits(robot)[name], DT) for name in (before, after))
    assert old.able
    assert new.able
    cycle = old.timing.cycle
    least, slowest = np.inf, 0
    for way in WAYS if ALL else WAYS[moved : moved + 1]:
        stepper = Stepper(robot, old.gait, DT)
        for _ in range(2 * cycle):
            stepper.step(way)
        for moment in range(cycle):
            if ALL or moment % max(1, cycle // 4) == moved:
                trial = stepper.copy()
                trial.change(new)
                parts = []
                while trial.manner is not new:
                    parts.append(walk(trial, [way]))
                    assert len(parts) <= 2 * cycle, "expected the new gait within two cycles of the old one"
                slowest = max(slowest, len(parts))
                # A foot that misses its turn for the weight's sake holds the body up until its next one.
                parts.append(walk(trial, [way] * 2 * new.timing.cycle))
                walked = Walked(*(np.concatenate([getattr(part, field) for part in parts]) for field in FIELDS))
                found = margins(robot, walked)
                least = min(least, float(found.min()))
                assert found.min() >= robot.walk.margin, f"{moment} ticks into the cycle, going {way}"
                assert walked.down.sum(axis=1).min() >= 3
                joints, short = joints_for(robot, np.zeros(6), walked.feet)
                assert short.max() == 0
                assert (np.abs(np.diff(joints, axis=0)) <= top_speed(robot) * DT).all()
                assert trial.twist != (0.0, 0.0, 0.0), "expected it to walk on"
            stepper.step(way)
    print(f"{robot.name} {before} to {after}: margin {least * 1e3:.1f} mm, {slowest * DT:.2f} s until it begins")
