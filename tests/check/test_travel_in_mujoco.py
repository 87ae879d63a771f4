"""Where the shipped walks and turns lead, by the check's odometry and by MuJoCo on the exported URDF.

The joints follow by position actuators as soft, as late and at most as strong as the robot's servos (the URDF
carries their stall torque), the feet hold by friction of 0.8 (rubber on a dry floor is 0.6 to 1: *practice*). Bounds:
10 % of the way and 5 degrees; where it is further off, because feet slide, the check must have found
``foot-slip``. What difference there is on the shipped walks comes of the feet being spheres that roll a little.
"""

import json
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray
from scene import Played, Scene
from stances import frames, standing

from motionhub.check.report import Report, check
from motionhub.motion.documents import parse
from motionhub.motion.easing import ease
from motionhub.motion.frames import Frames
from motionhub.motion.posing import joints_for
from motionhub.motion.render import render
from motionhub.robot.kinematics import within
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

SHIPPED = Path(__file__).parents[2] / "sequences"
WALKS = ("lantern-walk", "turn-left", "turn-right", "march-on-the-spot")
LEAST = 3e-3
"""m: what servos that follow late and feet that roll make of any way, however short."""


def played(move: Frames, **scene: float) -> Played:
    robot = Scene(move.robot, friction=scene.get("friction", 0.8), servo=scene.get("servo", 200.0), step_s=0.002)
    return robot.play(move.joints, move.rate_hz, after_s=0.5)


def off(report: Report, found: Played) -> tuple[float, float, float]:
    """How far apart they end, m; how long the way is, m; and how differently they face, rad."""
    t = report.timeline
    # MuJoCo has the body's place; the body is over the level frame's origin.
    apart = float(np.linalg.norm(t.travel.place[-1] - found.place[-1]))
    way = float(np.linalg.norm(t.travel.place, axis=1).max())
    faces = float(t.travel.heading[-1] + t.yaw[-1] - t.travel.heading[0] - t.yaw[0])
    return apart, way, abs(faces - float(found.heading[-1] - found.heading[0]))


def agrees(report: Report, found: Played) -> bool:
    apart, way, turned = off(report, found)
    return apart <= max(0.1 * way, LEAST) and turned <= np.deg2rad(5)


def slips(report: Report) -> bool:
    return any(finding.rule == "foot-slip" for finding in report.findings)


def test_every_walk_that_ships_is_played() -> None:
    moves = {path.stem: json.loads(path.read_text(encoding="utf-8")) for path in SHIPPED.glob("*.json")}
    assert {name for name, move in moves.items() if move.get("walks")} <= set(WALKS)


@pytest.mark.parametrize("name", WALKS)
def test_shipped_walks_and_turns(name: str, tansy: Robot) -> None:
    move = render(parse((SHIPPED / f"{name}.json").read_text(encoding="utf-8"), name, tansy), tansy)
    report, found = check(move), played(move)
    apart, way, turned = off(report, found)
    print(f"{name}: {apart * 1e3:.1f} mm apart after {way * 1e3:.0f} mm, {np.rad2deg(turned):.2f} degrees")
    assert not slips(report)
    assert agrees(report, found)


@pytest.mark.parametrize(
    "walk", [{"forward_mm_s": 14}, {"left_mm_s": 10}, {"turn_deg_s": 4}, {"forward_mm_s": 7, "turn_deg_s": 2.2}]
)
def test_walks_of_every_robot(walk: dict[str, float], robot: Robot) -> None:
    document = {
        "format": "motionhub-sequence/1", "name": "walk", "walks": [{"from_ms": 0, "to_ms": 9000, **walk}],
    }  # fmt: skip
    move = render(parse(json.dumps(document), "walk", robot), robot)
    report, found = check(move), played(move)
    apart, way, turned = off(report, found)
    print(f"{robot.name} {walk}: {apart * 1e3:.1f} mm apart after {way * 1e3:.0f} mm, {np.rad2deg(turned):.2f} degrees")
    assert agrees(report, found) or slips(report)
    if not slips(report):
        assert apart <= max(0.1 * way, LEAST)


def dragging(robot: Robot, rng: np.random.Generator, most: float) -> Frames:
    """The body sways over its feet while some of them are dragged over the ground, no further than ``most``, m."""
    share = np.asarray(ease("minimum-jerk")(np.arange(101) / 100))[:, None]
    while True:
        feet = standing(robot, len(share))
        for leg in rng.choice(robot.legs, rng.integers(1, robot.legs), replace=False):
            feet[:, leg, :2] += rng.uniform(-most, most, 2) * share
        body = share * rng.uniform(-1, 1, 6) * [0.015, 0.015, 0.005, 0.03, 0.03, 0.08]
        joints, error = joints_for(robot, body, feet)
        if error.max() < 1e-9 and within(robot, joints).all():
            return frames(robot, joints)


def test_where_slip_leads_astray_the_check_has_said_so(tansy: Robot) -> None:
    """Feet dragged by up to 25 mm: odometry can be wrong about those, but not in silence."""
    rng = np.random.default_rng(17)
    seen = {(a, b): 0 for a in (True, False) for b in (True, False)}
    for _ in range(40):
        move = dragging(tansy, rng, rng.choice([0.003, 0.025]))
        report = check(move)
        seen[agrees(report, played(move, servo=1000.0)), slips(report)] += 1
    print(f"(agrees, foot-slip): {seen}")
    assert seen[False, False] == 0
    assert seen[True, False] >= 8
    assert seen[True, True] + seen[False, True] >= 10
