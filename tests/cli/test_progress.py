"""Long work says how far it is, where someone looks, and nowhere else."""

import json
import re
from pathlib import Path

import pytest
from test_size import on_a_terminal, run

from motionhub.check.retiming import retime
from motionhub.motion import documents
from motionhub.robot.model import Robot


def shares(seen: str, label: str) -> list[int]:
    """The percentages that were shown behind a label, in order."""
    return [int(percent) for percent in re.findall(rf"{label}[^\r\n]*?(\d+)%", seen)]


@pytest.fixture
def again(tmp_path: Path) -> Path:
    """A routine of many runs, each handed over to the next."""
    file = tmp_path / "again.json"
    steps = [{"sequence": "bow", "times": 3}, {"sequence": "wave", "times": 3}]
    file.write_text(json.dumps({"format": "motionhub-routine/1", "name": "again", "steps": [*steps, *steps]}))
    return file


def test_rendering_a_routine_shows_how_far_it_is(again: Path) -> None:
    _, seen = on_a_terminal("check", again)
    shown = shares(seen, "Rendering again")
    assert len(set(shown)) >= 3
    assert shown == sorted(shown)
    assert shown[-1] == 100


def test_nobody_who_does_not_look_sees_a_bar(again: Path) -> None:
    done = run("check", again)
    assert done.stderr == ""
    assert "%  " not in done.stdout


def test_retiming_says_how_often_it_tried(tansy: Robot) -> None:
    keyframes = [{"at_ms": 250 * i, "joints_deg": {"head": 60 * (-1) ** i}} for i in range(6)]
    text = json.dumps({"format": "motionhub-sequence/1", "name": "quick", "keyframes": keyframes})
    heard: list[tuple[int, int]] = []
    made = retime(documents.parse(text, "quick", tansy), tansy, progress=lambda done, of: heard.append((done, of)))
    assert made.changes
    counts = [done for done, _ in heard]
    assert counts == list(range(1, len(heard) + 1))
    assert all(done <= of for done, of in heard)


def test_retiming_a_long_move_shows_how_far_it_is(tmp_path: Path) -> None:
    move, out = tmp_path / "long.json", tmp_path / "out.json"
    keyframes = [{"at_ms": 0, "joints_deg": {"head": 0}}, {"at_ms": 100, "joints_deg": {"head": 70}}]
    keyframes.append({"at_ms": 61_000, "joints_deg": {"head": 0}})
    move.write_text(json.dumps({"format": "motionhub-sequence/1", "name": "long", "keyframes": keyframes}))
    _, seen = on_a_terminal("retime", move, "--out", out)
    assert out.exists()
    assert "Trying timings" in seen
    assert shares(seen, "Checking long")[-1] == 100
