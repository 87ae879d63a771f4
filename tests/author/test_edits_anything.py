"""Whatever is done in the editor, what comes out is a sequence that the Python models take; and undo leads back.

The edits are made at random by the remote's own code in Node.js (web_remote/test/any-edits.ts), which also holds
undo and redo against the very objects that there were. ``MOTIONHUB_EDITS`` makes it longer, for instance 20000.
"""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Any

import pytest

from author import node
from motionhub.library.shipped import shipped_folder
from motionhub.motion import documents
from motionhub.motion.formats import Pose
from motionhub.robot.model import Robot

pytestmark = pytest.mark.skipif(node.found() is None, reason="needs Node.js and the remote's node_modules")

EDITS = int(os.environ.get("MOTIONHUB_EDITS", "1500"))
PER_VISIT = 60


def starts(robot: Robot) -> list[Any]:
    """Shipped moves that this robot can do, or their keys for body alone."""
    found = []
    for path in sorted(shipped_folder().glob("*.json")):
        try:
            documents.parse(path.read_text(), path, robot, {})
        except ValueError:
            continue
        found.append(json.loads(path.read_text()))
    leg, output = robot.leg_names[0], robot.outputs[0].name
    found.append(
        {
            "format": "motionhub-sequence/1",
            "name": "in beats",
            "tempo_bpm": 96,
            "poses": {"low": {"body": {"z_mm": -12}, "feet": {leg: {"z_mm": 8}}}},
            "keyframes": [
                {"at_beat": 1, "pose": "low", "joints_deg": {f"{leg}.coxa": 4}},
                {"at_beat": 2.5, "pose": "ready", "approach": "ease-in-out"},
            ],
            "walks": [{"from_beat": 4, "to_beat": 12, "forward_mm_s": 6}],
            "cues": [{"at_beat": 2, "output": output, "level": 1, "for_ms": 300}],
            "end_beat": 14,
        }
    )
    return found


def test_every_document_is_valid_and_undo_leads_back(robot: Robot, house: dict[str, Any], tmp_path: Path) -> None:
    library = {name: Pose.model_validate(pose) for name, pose in house["poses"].items()}
    first = starts(robot)
    for document in first:
        documents.parse(json.dumps(document), "start", robot, library)
    seeds = list(range(EDITS // PER_VISIT))
    task = {"house": house, "starts": first, "seeds": seeds, "edits": PER_VISIT}
    *made, last = node.run("any-edits", task, tmp_path)
    for i, document in enumerate(made):
        text = json.dumps(document, ensure_ascii=False)
        try:
            documents.parse(text, f"edit {i}", robot, library)
        except ValueError as error:
            raise AssertionError(f"{error}\n{text}") from None
    tally = last["tally"]
    wanted = "key set unkey remove move paste approach stretch insert trim end beats milliseconds tempo walk set-walk"
    wanted += " remove-walks cue set-cue remove-cues name-pose use-pose mirror copy-leg rest ground name about sound"
    missing = [name for name in (*wanted.split(), "become") if name not in tally]
    assert not missing, f"never done: {missing}"
    assert tally["refused"] < len(made)
