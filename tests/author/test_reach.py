"""The editor's own kinematics, for dragging, say what the hub's do: feet to joints, and keyframes to joints."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

from author import node
from motionhub.library.shipped import shipped_folder
from motionhub.motion import documents
from motionhub.motion.posing import joints_for, standing_feet
from motionhub.motion.render import render
from motionhub.robot.kinematics import leg_angles
from motionhub.robot.model import Robot

pytestmark = pytest.mark.skipif(node.found() is None, reason="needs Node.js and the remote's node_modules")


@pytest.fixture(scope="module")
def answers(robot: Robot, house: dict[str, Any], tmp_path_factory: pytest.TempPathFactory) -> dict[str, Any]:
    dice = np.random.default_rng(7)
    body = dice.uniform(-1, 1, (60, 6)) * [40, 40, 30, 12, 12, 15]
    feet = standing_feet(robot) * 1e3 + dice.uniform(-1, 1, (60, robot.legs, 3)) * [60, 60, 50]
    leg = dice.integers(0, robot.legs, 200)
    # Anywhere near the hip: above and below it, behind it, and beyond reach.
    near = robot.hip[leg] * 1e3 + dice.uniform(-1, 1, (200, 3)) * [260, 260, 220]
    moves = []
    for path in sorted(shipped_folder().glob("*.json")):
        try:
            sequence = documents.parse(path.read_text(), path, robot, {})
        except ValueError:
            continue
        if not sequence.document.walks:
            times = [i * 20.0 for i in range(round(sequence.duration_s * 50) + 1)]
            moves.append({"doc": json.loads(path.read_text()), "times_ms": times})
    task = {
        "house": house,
        "places": [{"body": b.tolist(), "feet": f.tolist()} for b, f in zip(body, feet, strict=True)],
        "feet": [{"leg": int(i), "at": p.tolist()} for i, p in zip(leg, near, strict=True)],
        "moves": moves,
    }
    (found,) = node.run("reach-answers", task, tmp_path_factory.mktemp("node"))
    return {"task": task, "found": found, "leg": leg}


def test_body_and_feet_to_joints(robot: Robot, answers: dict[str, Any]) -> None:
    for asked, found in zip(answers["task"]["places"], answers["found"]["places"], strict=True):
        body, feet = np.array(asked["body"]), np.array(asked["feet"])
        si = np.concatenate([body[:3] * 1e-3, np.deg2rad(body[3:])])
        joints, missed = joints_for(robot, si, feet * 1e-3)
        assert np.array(found["joints_deg"]) == pytest.approx(np.rad2deg(joints), abs=1e-3)  # ranges are sent rounded
        assert np.array(found["misses_mm"]) == pytest.approx(missed * 1e3, abs=1e-6)
        reached = missed < 1e-9
        # And back: where these joints put the feet is where they were asked.
        offsets = np.array(found["offsets"]) + standing_feet(robot) * 1e3
        assert offsets[reached] == pytest.approx(feet[reached], abs=2e-3)


def test_a_foot_anywhere_near_its_hip(robot: Robot, answers: dict[str, Any]) -> None:
    misses = 0
    for asked, found in zip(answers["task"]["feet"], answers["found"]["feet"], strict=True):
        feet = np.zeros((robot.legs, 3))
        feet[asked["leg"]] = np.array(asked["at"]) * 1e-3
        reach = leg_angles(robot, feet)
        assert np.array(found["degrees"]) == pytest.approx(np.rad2deg(reach.joints[asked["leg"]]), abs=1e-5)
        assert found["misses_mm"] == pytest.approx(reach.error[asked["leg"]] * 1e3, abs=1e-6)
        misses += found["misses_mm"] > 0
    assert 0 < misses < 200


def test_shipped_moves_go_as_they_are_rendered(robot: Robot, answers: dict[str, Any]) -> None:
    moves = answers["task"]["moves"]
    if not moves:
        pytest.skip("no shipped move is for this robot")
    for move, found in zip(moves, answers["found"]["moves"], strict=True):
        frames = render(documents.parse(json.dumps(move["doc"]), "move", robot, {}), robot, 50.0)
        assert np.array(found) == pytest.approx(np.rad2deg(frames.joints), abs=2e-3), move["doc"]["name"]


def test_some_robot_has_moves(house: dict[str, Any], answers: dict[str, Any]) -> None:
    if house["robot"]["name"] == "Tansy":
        assert len(answers["task"]["moves"]) >= 5
