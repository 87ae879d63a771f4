"""Falls that the check predicts, and falls of the exported URDF in MuJoCo: the same ones.

A pose is put down as the check says that it rests, and stays so, or it does not. A slow move is played, and
the body's turning is watched. To fall is to turn by what the joints did not ask for, and it shows in two ways.
Over an edge the lean grows as e^(t·√(g/h)), so that a robot whose weight is 80 to 100 mm up does most of a roll
in its last fifth of a second; and a fall is as fast in a move that is three times slower, while a body that is leant
by its legs leans three times slower too. The check calls a roll of less than 2 degrees its feet settling, so
a simulated turn counts as a fall from 2 degrees on, and as none below 1.2; the few between count as neither.

Where the margin is below 5 mm as the body goes, friction and the way it came there decide; such a turn is neither
called a fall nor called safe, and there are few. Joints are held, whatever that takes: a servo that gives
way is the torque rules' affair.
"""

from collections import Counter
from collections.abc import Callable

import numpy as np
import pytest
from numpy.typing import NDArray
from scene import Scene
from stances import frames, standing

from motionhub.check.attitude import ROLL
from motionhub.check.rules_ground import fallen
from motionhub.check.timeline import work_out
from motionhub.motion.easing import ease
from motionhub.motion.facets import UPRIGHT
from motionhub.motion.posing import joints_for, rest_joints
from motionhub.motion.support import rest_on_ground
from motionhub.robot.kinematics import within
from motionhub.robot.model import Robot

Array = NDArray[np.float64]
Maker = Callable[[Robot, np.random.Generator], Array]

RATE = 50.0
WINDOW = 10
"""Frames: a fifth of a second."""
STOOD = np.deg2rad(1.2)
SLOWER = 3
MOVES = {"Tansy": {"to a pose": 60, "over its feet": 120}}
"""Of each kind; 15 for the others. With the poses well over 300 in all."""
BORDER = 5e-3
"""m: this near to an edge, friction and the way it came there decide, and the check says so by its margin."""


def eased(start_s: float, end_s: float, until_s: float) -> Array:
    """(T, 1) from 0 to 1 between two times."""
    times = np.arange(round(until_s * RATE) + 1) / RATE
    return np.asarray(ease("minimum-jerk")(np.clip((times - start_s) / (end_s - start_s), 0, 1)))[:, None]


def to_a_pose(robot: Robot, rng: np.random.Generator) -> Array:
    """All joints from rest to somewhere within their range, feet dragged as they are."""
    target = rest_joints(robot) + rng.normal(0, rng.uniform(0.1, 0.9), robot.joints)
    share = eased(0, 6, 6)
    return rest_joints(robot) * (1 - share) + np.clip(target, robot.lower, robot.upper) * share


def over_its_feet(robot: Robot, rng: np.random.Generator) -> Array:
    """Some feet are lifted, and the body moves and leans over those that are left: within them or beyond."""
    while True:
        lift, sweep = eased(0, 2.5, 6), eased(2.5, 6, 6)
        feet = standing(robot, len(lift))
        feet[..., :2] += rng.uniform(-0.012, 0.012, (robot.legs, 2))
        up = rng.choice(robot.legs, rng.integers(1, robot.legs // 2 + 1), replace=False)
        feet[:, up, 2] += rng.uniform(0.012, 0.025) * lift
        body = np.zeros((len(lift), 6))
        where = rng.uniform(0, 2 * np.pi)
        body[:, :2] = rng.uniform(0.02, 0.075) * sweep * [np.cos(where), np.sin(where)]
        body[:, 2:] = sweep * rng.uniform(-1, 1, 4) * [0.01, 0.05, 0.05, 0.08]
        joints, error = joints_for(robot, body, feet)
        if error.max() < 1e-9 and within(robot, joints).all():
            return joints


def slowed(joints: Array) -> Array:
    """The same move, so much slower."""
    at = np.arange((len(joints) - 1) * SLOWER + 1) / SLOWER
    low = np.minimum(at.astype(int), len(joints) - 2)
    share = (at - low)[:, None]
    return joints[low] * (1 - share) + joints[low + 1] * share


def fastest_turn(scene: Scene, joints: Array) -> tuple[float, int]:
    """rad: the most that the body's up axis turns within the window, and the frame in the middle of it."""
    up = scene.play(joints, RATE, after_s=0.5, upright=float(UPRIGHT)).up
    turns = np.arccos(np.clip((up[:-WINDOW] * up[WINDOW:]).sum(axis=1), -1, 1))
    return float(turns.max()), int(turns.argmax()) + WINDOW // 2


def simulated(scene: Scene, joints: Array) -> tuple[bool | None, int]:
    """Whether it falls, and when; None where it turns too little to be called one, and too much to be called none."""
    turn, when = fastest_turn(scene, joints)
    if turn > STOOD and (slower := fastest_turn(scene, slowed(joints))[0]) < 0.6 * turn:
        turn = slower
    return True if turn > ROLL else False if turn < STOOD else None, when


@pytest.mark.parametrize("kind", [to_a_pose, over_its_feet], ids=["to a pose", "over its feet"])
def test_moves(kind: Maker, robot: Robot, request: pytest.FixtureRequest) -> None:
    name = kind.__name__.replace("_", " ")
    count = MOVES.get(robot.name, {}).get(name, 15)
    rng = np.random.default_rng(41)
    scene = Scene(robot, friction=0.8, step_s=0.004)
    seen: Counter[tuple[bool, bool | None]] = Counter()
    edge = 0
    for _ in range(count):
        joints = kind(robot, rng)
        t = work_out(frames(robot, joints, RATE))
        predicted = bool(fallen(t).any())
        fell, when = simulated(scene, joints)
        if fell and not predicted and t.margin[max(when - 50, 0) : when + 10].min() < BORDER:
            edge += 1  # not called a fall, but not called safe
            continue
        seen[predicted, fell] += 1
    called, safe = ({fell: seen[predicted, fell] for fell in (True, False, None)} for predicted in (True, False))
    print(f"{robot.name}, {name}: called falls {called}, called safe {safe}, fell off an edge {edge}")
    assert safe[True] == 0
    # All of them, those within 5 mm of the edge too: stricter than it has to be
    assert called[False] <= 0.05 * count
    assert called[None] + safe[None] <= max(1, 0.08 * count)
    assert edge <= max(1, 0.05 * count)
    if robot.name == "Tansy":
        assert called[True] >= 5
        assert safe[False] >= 40


def test_poses(tansy: Robot) -> None:
    """It rests as the check says that it rests; what tips by the check, falls from there further than 50 degrees."""
    rng = np.random.default_rng(43)
    joints = rest_joints(tansy) + rng.normal(0, 1, (9000, tansy.joints)) * rng.uniform(0.2, 1.2, (9000, 1))
    s = rest_on_ground(tansy, joints)
    scene = Scene(tansy, friction=0.8, step_s=0.004)
    tips = np.flatnonzero(s.tipped)[:30]
    holds = np.flatnonzero(~s.tipped & (s.margin > BORDER))[:100]
    assert len(tips) >= 15
    assert len(holds) == 100
    print(f"{len(tips)} poses that tip, {len(holds)} that rest")
    for t in tips:
        assert scene.settle(joints[t], 1500, float(UPRIGHT), s.normal[t]).normal[2] < UPRIGHT, t
    for t in holds:
        found = scene.settle(joints[t], 1500, float(UPRIGHT), s.normal[t])
        assert found.normal @ s.normal[t] > np.cos(ROLL), t
