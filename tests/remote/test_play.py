"""``motionhub play``: what it makes of the show's states, and the whole of it as a process."""

from __future__ import annotations

import asyncio
import dataclasses
import json
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from motionhub.cli.group import INTERRUPTED
from motionhub.cli.play import ME, Performance
from motionhub.hub import commands
from motionhub.hub.core import Hub
from motionhub.hub.events import Notice, Refused
from motionhub.hub.snapshot import HubState, LinkView, ProgressView
from motionhub.motion.frames import Frames
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

pytestmark = pytest.mark.alone


class Noted:
    """A show that notes what it is asked."""

    def __init__(self) -> None:
        self.asked: list[Any] = []

    def handle(self, client: str, command: commands.Command) -> None:
        assert client == ME
        self.asked.append(command)

    def perform(self, client: str, frames: Frames) -> None:
        assert client == ME
        self.asked.append(frames)


@pytest.fixture
def frames(robot: Robot) -> Frames:
    count = 51
    return Frames(
        robot=robot,
        name="short",
        rate_hz=50.0,
        joints=np.zeros((count, robot.joints)),
        outputs=np.zeros((count, len(robot.outputs))),
        reach_error=np.zeros((count, robot.legs)),
    )


@pytest.fixture
def state(robot: Robot) -> HubState:
    return dataclasses.replace(Hub(robot, Calibration.default(robot)).state(0.0), mode="rest", link=LinkView(up=True))


def playing(state: HubState, at_s: float, waits: bool = False) -> HubState:
    progress = ProgressView("short", at_s, 1.0, waits)
    return dataclasses.replace(state, mode="waiting" if waits else "playing", playing=progress)


async def outcome(performance: Performance, states: list[HubState]) -> int | None:
    for seen in states:
        performance.see(seen)
    await asyncio.sleep(0)
    return performance.over.result() if performance.over.done() else None


async def test_it_begins_when_the_robot_answers_and_stands_and_ends_when_it_stands_again(
    frames: Frames, state: HubState
) -> None:
    show = Noted()
    performance = Performance(show, frames)  # type: ignore[arg-type]
    quiet = dataclasses.replace(state, link=LinkView(up=False))
    moving = dataclasses.replace(state, mode="moving")
    assert await outcome(performance, [quiet, moving]) is None
    assert show.asked == []
    assert await outcome(performance, [state, state, moving]) is None
    assert show.asked == [commands.Take(), frames]
    assert await outcome(performance, [playing(state, t / 25) for t in range(25)]) is None
    assert await outcome(performance, [moving, state]) == 0


async def test_a_move_that_was_cut_short_is_not_done(
    frames: Frames, state: HubState, capsys: pytest.CaptureFixture[str]
) -> None:
    performance = Performance(Noted(), frames)  # type: ignore[arg-type]
    assert await outcome(performance, [state, playing(state, 0.5), state]) == 1
    assert "not played to its end" in capsys.readouterr().err


@pytest.mark.parametrize("mode", ["stopping", "stopped", "limp", "fault"])
async def test_whatever_holds_the_robot_ends_it_with_the_reason(
    frames: Frames, state: HubState, mode: str, capsys: pytest.CaptureFixture[str]
) -> None:
    performance = Performance(Noted(), frames)  # type: ignore[arg-type]
    held = dataclasses.replace(state, mode=mode, reason="the battery is empty")
    assert await outcome(performance, [state, playing(state, 0.5), held, state]) == 1
    assert "the battery is empty" in capsys.readouterr().err


async def test_a_refusal_ends_it_and_somebody_elses_does_not(
    frames: Frames, state: HubState, capsys: pytest.CaptureFixture[str]
) -> None:
    performance = Performance(Noted(), frames)  # type: ignore[arg-type]
    performance.hear(Refused("b7", "play", "not yours"))
    performance.hear(Notice("warning", "the battery is low"))
    assert await outcome(performance, [state]) is None
    performance.hear(Refused(ME, "play", "short cannot be sent"))
    assert await outcome(performance, []) == 1
    assert capsys.readouterr().err == "the battery is low\nshort: short cannot be sent\n"


async def test_a_routine_that_waits_goes_on_by_itself_where_nobody_can_be_asked(
    frames: Frames, state: HubState, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys.stdin, "isatty", lambda: False, raising=False)
    show = Noted()
    performance = Performance(show, frames)  # type: ignore[arg-type]
    await outcome(performance, [state, playing(state, 0.5, waits=True), playing(state, 0.5, waits=True)])
    assert show.asked.count(commands.Go()) == 1
    await outcome(performance, [playing(state, 0.6), playing(state, 0.7, waits=True)])
    assert show.asked.count(commands.Go()) == 2


async def test_ctrl_c_breaks_off_at_any_time(frames: Frames, state: HubState) -> None:
    for before in ([], [state], [state, playing(state, 0.5)]):
        performance = Performance(Noted(), frames)  # type: ignore[arg-type]
        await outcome(performance, before)
        performance.interrupt()
        performance.interrupt()
        assert await outcome(performance, [state]) == INTERRUPTED


def command(tmp_path: Path, *arguments: str) -> subprocess.Popen[str]:
    return subprocess.Popen(
        [sys.executable, "-m", "motionhub", "play", *arguments],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "XDG_DATA_HOME": str(tmp_path), "XDG_CACHE_HOME": str(tmp_path)},
    )


def write_move(path: Path, **pose: Any) -> Path:
    keyframes = [{"at_ms": 0}, {"at_ms": 400, **pose}, {"at_ms": 800, "joints_deg": {"head": 0}}]
    keyframes[0]["joints_deg"] = {"head": 0}
    document = {"format": "motionhub-sequence/1", "name": path.stem, "about": "A test.", "keyframes": keyframes}
    path.write_text(json.dumps(document))
    return path


def test_a_move_in_a_file_is_played_to_its_end(tmp_path: Path) -> None:
    move = write_move(tmp_path / "nod.json", joints_deg={"head": 10})
    process = command(tmp_path, str(move))
    out, error = process.communicate(timeout=120)
    assert process.returncode == 0, (out, error)
    assert "fits Tansy" in out
    assert "not an emergency stop" in out
    assert out.rstrip().endswith("Done; the robot is at rest.")


def test_a_move_that_does_not_fit_is_not_sent(tmp_path: Path) -> None:
    move = write_move(tmp_path / "high.json", body={"z_mm": 400})
    process = command(tmp_path, str(move))
    out, error = process.communicate(timeout=120)
    assert (process.returncode, error) == (1, "")
    assert "does not fit" in out
    assert "about to move" not in out


def test_ctrl_c_in_the_middle_brings_it_to_rest(tmp_path: Path) -> None:
    process = command(tmp_path, "wave")
    assert process.stdout is not None
    for line in process.stdout:
        if " of " in line:
            break
    process.send_signal(signal.SIGINT)
    out, error = process.communicate(timeout=120)
    assert process.returncode == INTERRUPTED, (out, error)
    assert "at rest" in out


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (["no such move"], "no such move"),
        (["missing.json"], "missing.json"),
        (["wave", "--port", "/dev/no-such-device"], "/dev/no-such-device"),
        (["wave", "--robot", "missing.toml"], "missing.toml"),
        ([], "SEQUENCE"),
        (["wave", "bow"], "bow"),
    ],
)
def test_what_cannot_be_read_is_one_line(tmp_path: Path, arguments: list[str], word: str) -> None:
    process = command(tmp_path, *arguments)
    out, error = process.communicate(timeout=120)
    assert (process.returncode, out) == (2, ""), error
    assert error.count("\n") == 1
    assert word in error
