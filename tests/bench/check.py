"""The whole verdict over a ten-minute move, beside a loop of Pinocchio over the same frames.

The move is made here: keyframes of body, head and tail for ten minutes with stretches of walking between
them, 30,000 frames at 50 Hz. Rendering is timed apart. The reference is what a maker with a general-purpose
library would write: for each frame inverse dynamics (RNEA) and the joint Jacobians, in a loop. Both have one core.
"""

from __future__ import annotations

import json
import random
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from motionhub.check.findings import advised
from motionhub.check.report import Report, check
from motionhub.library.shipped import shipped_folder
from motionhub.link.coder import frame_bytes
from motionhub.motion import documents
from motionhub.motion.frames import Frames
from motionhub.motion.render import render
from motionhub.robot import description, urdf
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

from . import Result
from .long_moves import repeated

MINUTES = 10
ROUNDS = 5
RATE_HZ = 50.0
BODY = ("x_mm", "y_mm", "z_mm", "roll_deg", "pitch_deg", "yaw_deg")


def ten_minutes(minutes: int = MINUTES) -> str:
    """The text of a sequence that long: each minute 40 s of swaying and looking about, then 20 s of walking."""
    dice = random.Random(1)
    keyframes: list[dict[str, Any]] = [{"at_ms": 0, "body": {"z_mm": 0}}]
    walks: list[dict[str, Any]] = []
    for minute in range(minutes):
        start = minute * 60_000
        for i in range(1, 40):
            keyframes.append(
                {
                    "at_ms": start + i * 1000,
                    "body": {
                        "x_mm": dice.uniform(-12, 12),
                        "y_mm": dice.uniform(-12, 12),
                        "z_mm": dice.uniform(-8, 8),
                        "roll_deg": dice.uniform(-3, 3),
                        "pitch_deg": dice.uniform(-3, 3),
                        "yaw_deg": dice.uniform(-5, 5),
                    },
                    "joints_deg": {"head": dice.uniform(-40, 40), "tail": dice.uniform(-30, 30)},
                }
            )
        keyframes.append(
            {
                "at_ms": start + 40_000,
                "body": dict.fromkeys(BODY, 0),
            }
        )
        walks.append(
            {
                "from_ms": start + 40_000,
                "to_ms": start + 60_000,
                "gait": "tripod",
                "forward_mm_s": dice.uniform(-25, 25),
                "left_mm_s": dice.uniform(-10, 10),
                "turn_deg_s": dice.uniform(-5, 5),
            }
        )
    return json.dumps({"format": "motionhub-sequence/1", "name": "ten-minutes", "keyframes": keyframes, "walks": walks})


def _edit_to_verdict(robot: Robot, coder: Callable[[Any], Any]) -> float:
    """Seconds from the changed text of a ten-second move with a walk in it to its whole verdict: the median of edits
    of one keyframe, each another."""
    document = json.loads(ten_minutes(1))
    document["keyframes"] = document["keyframes"][:6]
    document["keyframes"].append({"at_ms": 6000, "body": dict.fromkeys(BODY, 0), "joints_deg": {"head": 0, "tail": 0}})
    document["walks"] = [{**document["walks"][0], "from_ms": 6000, "to_ms": 10_000}]
    times = []
    for i in range(21):
        document["keyframes"][3]["body"]["y_mm"] = 12 - i
        text = json.dumps(document)
        began = time.perf_counter()
        check(render(documents.parse(text, "edit.json", robot, {}), robot, RATE_HZ), frame_bytes=coder)
        times.append(time.perf_counter() - began)
    return sorted(times[1:])[10]  # the first one takes the walk's steps, too, which no edit of a keyframe changes


def _gone_wrong(robot: Robot, coder: Callable[[Any], Any]) -> tuple[float, float, float]:
    """Seconds to the verdict on ten seconds of body and feet flung about; then, the median, on edits of one keyframe of
    them; and to the advice on all of it.
    """
    sides = {"x_mm": 40, "y_mm": 30, "z_mm": 25, "yaw_deg": 18}
    keyframes: list[dict[str, Any]] = [
        {"at_ms": 250 * i, "body": {key: size * (-1) ** (i // (k + 1)) for k, (key, size) in enumerate(sides.items())}}
        for i in range(1, 40)
    ]
    document = {"format": "motionhub-sequence/1", "name": "flung", "keyframes": keyframes, "end_ms": 10_000}

    def verdict() -> tuple[float, Report]:
        began = time.perf_counter()
        frames = render(documents.parse(json.dumps(document), "flung.json", robot, {}), robot, RATE_HZ)
        report = check(frames, frame_bytes=coder, advise=False)
        return time.perf_counter() - began, report

    first, report = verdict()
    edits = []
    for i in range(1, 16):
        keyframes[20]["body"]["z_mm"] = 25 - i
        seconds, report = verdict()
        edits.append(seconds)
    began = time.perf_counter()
    for finding in report.findings:
        advised(finding)
    return first, sorted(edits)[len(edits) // 2], time.perf_counter() - began


def _long(what: str) -> dict[str, float]:
    """What a child of its own, with nothing else in its memory, says of a long move."""
    command = [sys.executable, str(Path(__file__).with_name("long_moves.py")), what]
    found: dict[str, float] = json.loads(subprocess.run(command, check=True, capture_output=True, text=True).stdout)
    return found


GROWTH = (7_500, 15_000, 30_000, 60_000)
"""Frames that the growth of the check's cost is shown at."""


def _growth(robot: Robot, frames: Frames) -> dict[str, tuple[float, str]]:
    """µs of a check for each frame: of moves of more and more frames, and of the shipped robots while they walk."""
    found = {}
    for count in GROWTH:
        found[f"check of {count} frames"] = (_per_frame(repeated(frames, count)), "µs/frame")
    for path in sorted((shipped_folder() / "robots").glob("*.toml")):
        other = description.load(path)
        words = {"from_ms": 0, "to_ms": 60_000, "forward_mm_s": 10}
        text = json.dumps({"format": "motionhub-sequence/1", "name": "walk", "walks": [words]})
        walk = render(documents.parse(text, "walk.json", other, {}), other, RATE_HZ)
        label = f"walk of {other.legs} legs, {other.joints} joints ({path.stem})"
        found[label] = (_per_frame(walk), "µs/frame")
    return found


def _per_frame(frames: Frames) -> float:
    """µs; without advice, which costs what is wrong and not what is long. The second time, as a robot is known then."""
    check(frames, advise=False)
    began = time.perf_counter()
    check(frames, advise=False)
    return (time.perf_counter() - began) / len(frames) * 1e6


def measure(say: Callable[[str], None]) -> Result:
    """Check and reference one after the other, so that both meet the same machine; of the rounds the median ratio."""
    import pinocchio as pin  # of the test extra

    robot = description.load(shipped_folder() / "robots" / "tansy.toml")
    sequence = documents.parse(ten_minutes(), "ten-minutes.json", robot, {})
    began = time.perf_counter()
    frames = render(sequence, robot, RATE_HZ)
    rendered = time.perf_counter() - began
    count = len(frames.joints)
    coder = frame_bytes(robot, Calibration.default(robot), RATE_HZ)
    model = pin.buildModelFromXML(urdf.export(robot), pin.JointModelFreeFlyer())
    data = model.createData()
    place = [model.joints[model.getJointId(name)].idx_q for name in robot.joint_names]
    q = np.zeros((count, model.nq))
    q[:, 6] = 1
    q[:, place] = frames.joints
    v = np.zeros((count, model.nv))
    v[1:, 6:] = np.diff(q[:, 7:], axis=0) * RATE_HZ
    a = np.zeros((count, model.nv))
    a[1:] = np.diff(v, axis=0) * RATE_HZ
    times = []
    for i in range(ROUNDS):
        say(f"check and reference, {i + 1} of {ROUNDS}")
        began = time.perf_counter()
        report = check(frames, frame_bytes=coder)
        ours = time.perf_counter()
        for row in range(count):
            pin.rnea(model, data, q[row], v[row], a[row])
            pin.computeJointJacobians(model, data, q[row])
        times.append((ours - began, time.perf_counter() - ours))
    checked, reference = sorted(times, key=lambda pair: pair[0] / pair[1])[ROUNDS // 2]

    say("an edit of ten seconds")
    edited = _edit_to_verdict(robot, coder)

    found, again, advice = _gone_wrong(robot, coder)

    say("growth")
    growth = _growth(robot, frames)

    say("two hours, and fifty minutes retimed")
    hours, retimed = _long("check"), _long("retime")

    return Result(
        "check",
        {
            "render": (rendered, "s"),
            "check": (checked, "s"),
            "render and check": (rendered + checked, "s"),
            "check throughput": (count / checked, "frames/s"),
            "frames": (float(count), "frames"),
            "findings": (float(len(report.findings)), "findings"),
            "edit of ten seconds to verdict": (edited * 1e3, "ms"),
            "ten seconds gone wrong to verdict": (found * 1e3, "ms"),
            "one key of them edited, to verdict": (again * 1e3, "ms"),
            "all advice on them, after that": (advice * 1e3, "ms"),
            **growth,
            "check of two hours": (hours["s"], "s"),
            "peak resident memory of that": (hours["MB"], "MB"),
            "fifty minutes retimed": (retimed["s"], "s"),
            "stretches changed": (retimed["changes"], "stretches"),
            "peak resident memory of retiming": (retimed["MB"], "MB"),
            "peak resident memory": (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, "MB"),
        },
        ("a Python loop of Pinocchio's RNEA and joint Jacobians", reference, "s"),
        checked / reference,
        {
            "check": 2.0,
            "render and check": 2.0,
            "edit of ten seconds to verdict": 50.0,
            "one key of them edited, to verdict": 50.0,
            "peak resident memory of that": 1024.0,
        },
    )
