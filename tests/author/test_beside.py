"""The process beside the hub works for the calibration that the hub has now, and ends quietly without the hub."""

from __future__ import annotations

import dataclasses
import json
import os
import pickle
import subprocess
import sys
from pathlib import Path

import msgpack
import numpy as np

from motionhub.library.recording import Recording
from motionhub.library.store import Library
from motionhub.remote.beside import Beside
from motionhub.remote.pipe import Setup, framed
from motionhub.robot import description
from motionhub.robot.calibration import Calibration

SHIPPED = Path(__file__).parents[2] / "sequences"
TANSY = description.load(SHIPPED / "robots" / "tansy.toml")
HEAD = TANSY.joint_names.index("head")
TRIM_DEG = 5.0


async def head_of(beside: Beside) -> float:
    """Where the head is in what the process makes of the recording, degrees."""
    job = {
        "do": "transcribe",
        "name": "taken",
        "recording": "take",
        "from_s": 0.0,
        "to_s": None,
        "error_deg": 0.5,
    }
    answer = await beside.ask(job)
    assert answer is not None
    document = json.loads(msgpack.unpackb(answer["send"])["text"])
    return float(document["keyframes"][-1].get("joints_deg", {}).get("head", 0.0))


async def test_a_recording_means_what_todays_calibration_makes_of_it(tmp_path: Path) -> None:
    before = Calibration.default(TANSY)
    trim = np.zeros(TANSY.joints)
    trim[HEAD] = np.deg2rad(TRIM_DEG)
    after = dataclasses.replace(before, trim_rad=trim)
    joints = np.zeros((100, TANSY.joints))
    joints[:, HEAD] = np.deg2rad(20)
    library = Library(tmp_path, SHIPPED, TANSY)
    pulses = np.rint(before.pulses(TANSY, joints)).astype(np.int16)
    outputs = tuple(output.name for output in TANSY.outputs)
    made = "2026-05-04T19:30:12+02:00"
    levels = np.zeros((100, len(outputs)))
    library.save_recording("take", Recording(TANSY.name, made, 50.0, TANSY.joint_names, outputs, pulses, levels))

    now = before
    beside = Beside(lambda: Setup(TANSY, now, tmp_path, SHIPPED))
    try:
        assert abs(await head_of(beside) - 20) < 0.6
        now = after
        # The same pulses, on a servo that is trimmed by 5 degrees: by hand, 20 - 5.
        assert abs(await head_of(beside) - (20 - TRIM_DEG)) < 0.6
    finally:
        await beside.close()


def test_a_hub_that_is_killed_while_it_waits_for_an_answer_leaves_no_complaint(tmp_path: Path) -> None:
    job = framed(msgpack.packb({"do": "open_move", "name": "greeting"}))
    setup = framed(pickle.dumps(Setup(TANSY, Calibration.default(TANSY), tmp_path, SHIPPED)))
    reads, writes = os.pipe()
    command = [sys.executable, "-m", "motionhub.remote.worker"]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=writes, stderr=subprocess.PIPE) as process:
        os.close(writes)
        os.close(reads)
        _, said = process.communicate(setup + job, timeout=60)
    assert said == b""
    assert process.returncode == 0
