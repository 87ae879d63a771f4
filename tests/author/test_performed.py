"""A drive that was performed walks, as the move that became of it, the way that the robot walks under that hand.

The reference is twofold: the path that the courses give by themselves (a unicycle's, integrated here), and the live
stepper fed with them tick by tick.
"""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

from author import node
from motionhub.motion import documents
from motionhub.motion.render import render
from motionhub.motion.stepper import Stepper
from motionhub.robot.model import Robot

pytestmark = pytest.mark.skipif(node.found() is None, reason="needs Node.js and the remote's node_modules")

SAMPLE_MS = 40
ERROR = 2.0
"""mm and degrees, of the way driven forward, aside and turned."""
LIVE_MM, LIVE_DEG = 15.0, 3.0
"""How far the two may be apart at any moment: a foot's turn may come a stride earlier or later."""
PATH_MM, PATH_DEG = 20.0, 5.0
"""How far it may end from where the courses alone lead: it sets out, and stops, with the feet's turns."""
DT = 0.02
COURSE = ("forward_mm_s", "left_mm_s", "turn_deg_s")


def drive(dice: np.random.Generator, most: np.ndarray[Any, Any], cycle_ms: float) -> list[dict[str, Any]]:
    """A finger on a pad: to somewhere, held there, elsewhere, let go, and once more after a pause."""
    places: list[tuple[float, np.ndarray[Any, Any]]] = [(0.0, np.zeros(3))]
    ms = 200.0
    for _ in range(3):
        for _ in range(int(dice.integers(1, 4))):
            ms += dice.uniform(120, 400)  # it takes a finger so long to get there
            there = dice.uniform(-1, 1, 3) * most * 0.4
            places.append((ms, there))
            ms += dice.uniform(300, 2.5 * cycle_ms)
            places.append((ms, there))
        ms += 40
        places.append((ms, np.zeros(3)))
        ms += dice.choice([0.3, 1.0, 4.0]) * cycle_ms
        places.append((ms, np.zeros(3)))
    at = np.arange(0, ms, SAMPLE_MS)
    times = [time for time, _ in places]
    courses = np.column_stack([np.interp(at, times, [place[k] for _, place in places]) for k in range(3)])
    for time, place in places:
        if not place.any():
            courses[np.abs(at - time) < SAMPLE_MS / 2] = 0
    return [
        {"ms": float(t), "course": dict(zip(COURSE, np.round(course, 1).tolist(), strict=True))}
        for t, course in zip(at, courses, strict=True)
    ]


def path(courses: np.ndarray[Any, Any], dt: float) -> np.ndarray[Any, Any]:
    """(T + 1, 3) mm, mm, rad: where a body gets that moves by these courses (mm/s, mm/s, deg/s) for dt s each."""
    yaw = np.concatenate([[0], np.cumsum(np.radians(courses[:, 2]) * dt)])
    middle = (yaw[1:] + yaw[:-1]) / 2
    c, s = np.cos(middle), np.sin(middle)
    steps = np.column_stack([c * courses[:, 0] - s * courses[:, 1], s * courses[:, 0] + c * courses[:, 1]]) * dt
    return np.column_stack([np.concatenate([[[0, 0]], np.cumsum(steps, axis=0)]), yaw])


def test_a_performed_drive_is_walked_as_it_was_driven(robot: Robot, house: dict[str, Any], tmp_path: Any) -> None:
    dice = np.random.default_rng(11)
    gait = house["maker"]["gaits"][0]
    cycle_ms = house["maker"]["cycle_ms"]
    most = np.array([gait["forward_mm_s"], gait["left_mm_s"], gait["turn_deg_s"]])
    drives = [drive(dice, most, cycle_ms) for _ in range(8)]
    (answers,) = node.run("performed", {"house": house, "drives": drives, "error": ERROR}, tmp_path)
    for answer in answers:
        text = json.dumps(answer["doc"])
        frames = render(documents.parse(text, "drive", robot, {}), robot)
        asked = np.array([[moment[name] for name in COURSE] for moment in answer["driven"]])
        ticks = np.repeat(asked, round(SAMPLE_MS / 1000 / DT), axis=0)
        ticks = np.vstack([ticks, np.zeros((max(0, len(frames) - 1 - len(ticks)), 3))])[: len(frames) - 1]

        # The way driven, as the document's stretches sum it up, at every moment; a moment is a whole frame there.
        stretches = np.zeros_like(ticks)
        for walk in answer["doc"]["walks"]:
            own = slice(round(walk["from_ms"] / 20), round(walk["to_ms"] / 20))
            stretches[own] = [walk.get(name, 0) for name in COURSE]
        missed = np.abs(np.cumsum((stretches - ticks) * DT, axis=0)).max(axis=0)
        assert missed.max() < ERROR + 0.5

        live = Stepper(robot, dt=DT)
        stances = [live.step((vx / 1000, vy / 1000, np.radians(w))) for vx, vy, w in ticks]
        travel = np.array([(0.0, 0.0, 0.0), *(stance.travel for stance in stances)])
        apart = np.hypot(*(frames.travel[:, :2] - travel[:, :2]).T) * 1e3
        turned = np.degrees(np.abs(frames.travel[:, 2] - travel[:, 2]))
        assert apart.max() < LIVE_MM
        assert turned.max() < LIVE_DEG
        ideal = path(ticks, DT)
        assert np.hypot(*(frames.travel[-1, :2] * 1e3 - ideal[-1, :2])) < PATH_MM
        assert abs(np.degrees(frames.travel[-1, 2] - ideal[-1, 2])) < PATH_DEG
