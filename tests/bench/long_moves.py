"""A child of the check's benchmark, for its own memory: two hours checked, or fifty minutes retimed. Prints JSON.

    python long_moves.py check|retime

Two hours are ten minutes there and back, over and over. The fifty minutes (an hour is the most that a move may take)
are poses alone, every fifth of them too soon.
"""

from __future__ import annotations

import json
import random
import resource
import sys
import time
from typing import Any

import numpy as np

from motionhub.check.report import check
from motionhub.check.retiming import retime
from motionhub.library.shipped import shipped_folder
from motionhub.link.coder import frame_bytes
from motionhub.motion import documents
from motionhub.motion.documents import Sequence
from motionhub.motion.frames import Frames
from motionhub.motion.render import render
from motionhub.robot import description
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

RATE_HZ = 50.0
TWO_HOURS = round(2 * 3600 * RATE_HZ)


def swaying(robot: Robot, minutes: int, hasty: bool = False) -> Sequence:
    """A move of poses of body, head and tail, one a second; when ``hasty``, every fifth comes after 0.15 s."""
    dice = random.Random(1)
    keyframes: list[dict[str, Any]] = [{"at_ms": 0, "body": {"z_mm": 0}}]
    for i in range(1, 60 * minutes):
        at = i * 1000 - (850 if hasty and not i % 5 else 0)
        body = {key: dice.uniform(-12, 12) for key in ("x_mm", "y_mm", "z_mm")}
        joints = {"head": dice.uniform(-40, 40), "tail": dice.uniform(-30, 30)}
        keyframes.append({"at_ms": at, "body": body, "joints_deg": joints})
    text = json.dumps({"format": "motionhub-sequence/1", "name": "swaying", "keyframes": keyframes})
    return documents.parse(text, "swaying.json", robot, {})


def repeated(frames: Frames, count: int) -> Frames:
    """The move there and back, over and over, so that it is nowhere broken off, ``count`` frames of it."""
    n = len(frames)
    at = np.arange(count) % (2 * n - 2)
    at = np.minimum(at, 2 * n - 2 - at)
    return Frames(
        frames.robot, frames.name, frames.rate_hz, frames.joints[at], frames.outputs[at], frames.reach_error[at]
    )


def main(what: str) -> dict[str, float]:
    """Do it, and say how long it took and how much memory."""
    robot = description.load(shipped_folder() / "robots" / "tansy.toml")
    found: dict[str, float] = {}
    if what == "check":
        long = repeated(render(swaying(robot, 10), robot, RATE_HZ), TWO_HOURS)
        coder = frame_bytes(robot, Calibration.default(robot), RATE_HZ)
        began = time.perf_counter()
        found["frames"] = check(long, frame_bytes=coder).frames
    else:
        move = swaying(robot, 50, hasty=True)
        began = time.perf_counter()
        found["changes"] = len(retime(move, robot, RATE_HZ).changes)
    found["s"] = time.perf_counter() - began
    found["MB"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return found


if __name__ == "__main__":
    print(json.dumps(main(sys.argv[1])))
