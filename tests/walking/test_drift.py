"""Why a four-legged walk ends some way off its plan, which has no slip in it: its feet roll, and its servos give.

A plan keeps the centre of each standing foot where it is. A foot is a ball, though, fixed to a tibia that is tilted
by the step and by the sway: it rolls, and without slipping its centre goes by ω × r z (the textbook's rolling ball).
Walking straight, most of that comes back with the next step; what the sway adds while other feet stand does not.
And a servo droops under its load, by more and less as the weight goes over from leg to leg.

Both are shown by taking one away: joints held so stiffly that only rolling is left, and feet hardly larger than
points, so that only the servos' give is. Without both, the walk ends where the plan does.
"""

from dataclasses import replace

import numpy as np
import pytest
from check.scene import Scene
from motion.walkers import TRESTLE
from numpy.typing import NDArray

from motionhub.check.loads import loads_at_rest
from motionhub.motion.gait import default_gait
from motionhub.motion.odometry import travel
from motionhub.motion.support import rest_on_ground
from motionhub.robot.model import Robot
from walking import FULL
from walking.servos import BAND, PULSE_S
from walking.walks import WAYS, Plan, Player, steady

Array = NDArray[np.float64]

POINTS = replace(TRESTLE, foot_radius=TRESTLE.foot_radius / 10)
SERVO = float(TRESTLE.servos[1].stall_torque_at(TRESTLE.supply.regulator_v)) / BAND
"""N·m/rad of a servo about where it is told to be."""
GOES = ["forward", "left", "back", "back-right"] if FULL else ["back"]


def planned(robot: Robot, way: str) -> Plan:
    return steady(robot, default_gait(robot), WAYS[way], 1.0)


def off(plan: Plan, servo: float | None) -> Array:
    """(2,) m from where the plan ends to where the robot does, its joints held by such springs, or hardly moved."""
    scene = Scene(plan.robot, friction=0.8, servo=servo)
    scene.model.opt.impratio = 100  # as Player has it
    found: Array = scene.play(plan.joints, 1 / PULSE_S, after_s=0.6).place[-1] - plan.travel[-1, :2]
    return found


def rolled(plan: Plan) -> Array:
    """(2,) m that it is off by where every standing foot rolls, by the odometry of the points that do not move then."""
    robot, joints = plan.robot, plan.joints
    support = rest_on_ground(robot, joints)
    legs = joints[:, : 3 * robot.legs].reshape(len(joints), robot.legs, 3)
    heading = legs[..., 0] + robot.heading
    out = np.stack([np.cos(heading), np.sin(heading)], axis=-1)
    # A tibia lifted by an angle turns the ball about out × z: (out × z) × z = -out, so it rolls inward.
    tilt = np.diff(legs[..., 1] + legs[..., 2], axis=0)[..., None] * (out[1:] + out[:-1]) / 2
    feet = support.level_feet[..., :2].copy()
    feet[1:] += np.cumsum(tilt * robot.foot_radius[:, None], axis=0)
    forces = loads_at_rest(robot, joints, support).feet
    found: Array = travel(feet, support.down, forces).place[-1] - plan.travel[-1, :2]
    return found


@pytest.mark.parametrize("way", GOES)
def test_feet_that_are_balls_roll(way: str) -> None:
    plan, pointed = planned(TRESTLE, way), planned(POINTS, way)
    far = float(np.hypot(*plan.travel[-1, :2]))
    found, foretold, left = off(plan, None), rolled(plan), off(pointed, None)
    rolls, foreseen, rest = (f"{x * 1e3:.1f}, {y * 1e3:.1f} mm" for x, y in (found, foretold, left))
    print(f"{way}, {far * 1e3:.0f} mm: rolls {rolls}; foretold {foreseen}; on points {rest}")
    assert np.hypot(*(found - foretold)) < 0.02 * far
    assert np.hypot(*left) < 0.01 * far
    assert np.hypot(*left) < 0.2 * np.hypot(*found) or np.hypot(*found) < 0.02 * far


@pytest.mark.parametrize("way", GOES)
def test_servos_give(way: str) -> None:
    """On feet like points, with servos as they are and stiffer ones."""
    plan = planned(POINTS, way)
    far = float(np.hypot(*plan.travel[-1, :2]))
    as_it_is = Player(POINTS).play(plan).apart
    stiffer, stiffest = (float(np.hypot(*off(plan, times * SERVO))) for times in (4, 16))
    print(
        f"{way}, {far * 1e3:.0f} mm: off by {as_it_is * 1e3:.1f} mm; stiffer {stiffer * 1e3:.1f}, {stiffest * 1e3:.1f}"
    )
    assert as_it_is > 0.02 * far
    assert stiffer < 0.5 * as_it_is
    assert stiffest < 0.01 * far
