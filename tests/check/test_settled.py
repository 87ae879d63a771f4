"""The robot let down onto a floor in MuJoCo: where it comes to rest, what its feet carry, what its joints hold.

The exported URDF falls from a millimetre above the floor with its body level, its joints held, until it is
still. The floor is without friction, as the check's forces are at rest: what friction locks in sideways depends
on how a robot came down, not on its pose.

Bounds on torques: 1 % of the pose's largest on three feet, where statics leaves no choice; 3 % on more, where
it is the share of equal springs. What difference there is comes of MuJoCo's contacts being soft: feet sink in,
unlike deep, and the body leans. :func:`test_the_difference_is_softness` shows it by stiffening them.
"""

from dataclasses import dataclass

import numpy as np
import pytest
from numpy.typing import NDArray
from scene import Scene
from stances import random_stances

from motionhub.check.loads import loads_at_rest
from motionhub.motion.support import rest_on_ground
from motionhub.robot.model import STANDARD_GRAVITY, Robot

Array = NDArray[np.float64]

WANTED = {"Tansy": 210, "Trestle": 50, "Harrow": 50}
"""Poses compared; of the six-legged robot the most, on three to six feet."""


@dataclass
class Difference:
    """Between the check and MuJoCo, of one pose."""

    feet: int
    torque: float
    """Share of the pose's largest torque."""
    force: float
    """Share of the weight."""
    height: float
    normal: float


def difference(scene: Scene, joints: Array) -> Difference | None:
    """None where MuJoCo itself may rest one way or another."""
    robot = scene.robot
    found = scene.settle(joints)
    assert found.still
    # Where two facets would carry it, it rests on the one that it happened to fall on.
    s = rest_on_ground(robot, joints[None], near=found.normal)
    # A foot that hangs within the contact tolerance may or may not take part in MuJoCo: leave those out.
    if s.margin[0] < 0.004 or ((s.clearance[0] > 2e-5) & (s.clearance[0] < 1.5e-3)).any():
        return None
    loads = loads_at_rest(robot, joints[None], s)
    return Difference(
        int(s.down[0].sum()),
        float(np.abs(found.torques - loads.torques[0]).max() / np.abs(loads.torques[0]).max()),
        float(np.abs(found.forces - loads.feet[0]).max() / (robot.mass * STANDARD_GRAVITY)),
        abs(found.height - float(s.height[0])),
        float(np.abs(found.normal - s.normal[0]).max()),
    )


def carried(robot: Robot, seed: int) -> Array:
    """Random poses that stand on feet alone, and not on an edge."""
    joints = random_stances(robot, 400, seed=seed)
    s = rest_on_ground(robot, joints)
    return joints[~s.tipped & ~s.belly & (s.margin > 0.004)]


def test_settled_poses(robot: Robot) -> None:
    scene = Scene(robot)
    seen: list[Difference] = []
    for joints in carried(robot, seed=31):
        if (one := difference(scene, joints)) is not None:
            seen.append(one)
        if len(seen) == WANTED[robot.name]:
            break
    assert len(seen) == WANTED[robot.name]
    for feet in sorted({one.feet for one in seen}):
        these = [one for one in seen if one.feet == feet]
        worst = max(one.torque for one in these)
        print(f"{robot.name}: {len(these)} poses on {feet} feet, torques within {worst:.2%} of the largest")
        assert worst < (0.01 if feet == 3 else 0.03)
        assert max(one.force for one in these) < 0.01
        if robot.legs == 6:
            assert len(these) >= 25, feet
    assert max(one.height for one in seen) < 5e-4
    assert max(one.normal for one in seen) < 3e-3
    if robot.legs == 6:
        assert {one.feet for one in seen} == {3, 4, 5, 6}


def test_the_difference_is_softness(tansy: Robot) -> None:
    """Contacts twice as stiff: half the difference, in torque and in height, on three feet and on more."""
    poses = carried(tansy, seed=32)[:40]
    medians = []
    for spring in (5e3, 1e4, 2e4, 4e4):
        scene = Scene(tansy, spring=spring)
        found = [difference(scene, joints) for joints in poses]
        three = [one for one in found if one is not None and one.feet == 3]
        more = [one for one in found if one is not None and one.feet in (4, 5)]
        assert len(three) >= 5
        assert len(more) >= 5
        torque = [float(np.median([one.torque for one in some])) for some in (three, more)]
        medians.append([*torque, float(np.median([one.height for one in three + more]))])
        print(f"{spring:.0f} N/m: {medians[-1][0]:.2%} on three feet, {medians[-1][1]:.2%} on four and five")
    ratio = np.array(medians[:-1]) / np.array(medians[1:])
    assert ratio[:, [0, 2]] == pytest.approx(np.full((3, 2), 2.0), rel=0.15)
    assert ratio[:, 1].min() > 1.3
