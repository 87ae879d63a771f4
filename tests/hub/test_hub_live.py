"""The loop itself, with the simulated robot on its wire: what it does, not how fast it is."""

from __future__ import annotations

import asyncio
import json
import shutil
import time
from collections.abc import AsyncIterator, Callable
from pathlib import Path

import numpy as np
import pytest
import pytest_asyncio
from rehearsal import clip

from motionhub.hub import commands as ask
from motionhub.hub.bringup.asks import BringupTrim
from motionhub.hub.core import Tick
from motionhub.hub.events import Notice, Refused
from motionhub.hub.lateness import Lateness
from motionhub.hub.live import MovesChanged, News, RecordingsChanged, Show
from motionhub.hub.snapshot import HubState
from motionhub.library.shipped import shipped_folder
from motionhub.library.store import Library
from motionhub.link.simulated_port import SimulatedPort
from motionhub.motion.posing import rest_joints
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

pytestmark = pytest.mark.alone

PATIENCE_S = 60.0
"""Only for a show that hangs; a busy machine may take its time."""

FAST = {
    "format": "motionhub-sequence/1",
    "name": "whip",
    "keyframes": [{"at_ms": 40, "joints_deg": {"tail": 55}}, {"at_ms": 80, "joints_deg": {"tail": -55}}],
}
NOD = {
    "format": "motionhub-sequence/1",
    "name": "nod",
    "keyframes": [{"at_ms": 600, "joints_deg": {"head": 20}}, {"at_ms": 1200, "joints_deg": {"head": 0}}],
}


class Stage:
    """A show in a folder of its own, with Ann at a remote."""

    def __init__(self, robot: Robot, folder: Path) -> None:
        self.folder = folder / "library"
        self.shipped = folder / "shipped"
        shutil.copytree(shipped_folder() / "robots", self.shipped / "robots")
        self.robot = robot
        self.calibration = Calibration.default(robot)
        self.cache = folder / "cache"
        self.news: list[News] = []
        self.states: list[HubState] = []

    def write(self, document: dict[str, object], name: str | None = None) -> None:
        self.folder.mkdir(exist_ok=True)
        (self.folder / f"{name or document['name']}.json").write_text(json.dumps(document))

    async def open(self) -> None:
        library = Library(self.folder, self.shipped, self.robot)
        self.port = SimulatedPort(self.robot, self.calibration)
        self.show = Show(self.robot, self.calibration, library, self.port, cache=self.cache)
        self.show.listen(self.news.append)
        self.show.subscribe(self.states.append)
        await self.show.start()
        self.show.join("ann", "Ann", operator=True)
        self.say(ask.Take())

    def say(self, command: ask.Command) -> None:
        self.show.handle("ann", command)

    async def until(self, true: Callable[[], bool], *commands: ask.Command) -> None:
        async with asyncio.timeout(PATIENCE_S):
            while not true():
                for command in (ask.Ping(), *commands):
                    self.say(command)
                await asyncio.sleep(0.05)

    async def rest(self, *commands: ask.Command) -> None:
        await self.until(lambda: self.show.hub.mode == "rest", *commands)

    def verdict(self, name: str) -> str:
        return next((line.verdict for line in self.show.moves() if line.name == name), "")


@pytest_asyncio.fixture
async def stage(tansy: Robot, tmp_path: Path) -> AsyncIterator[Stage]:
    stage = Stage(tansy, tmp_path)
    stage.write(NOD)
    await stage.open()
    yield stage
    await stage.show.stop()


async def test_it_comes_up_drives_and_leaves_the_robot_standing(stage: Stage) -> None:
    await stage.rest()
    await stage.until(lambda: stage.states[-1].body[0] > 0.01, ask.Drive(0.6))
    assert stage.states[-1].mode == "driving"
    assert stage.states[-1].link.up
    await stage.show.stop()  # in the middle of a step
    assert stage.show.hub.mode == "rest"
    np.testing.assert_allclose(stage.show.hub.state(0.0).joints, rest_joints(stage.robot), atol=1e-9)
    assert not stage.port.connected


async def test_what_is_recorded_is_what_the_robot_was_sent_and_is_sent_again(stage: Stage) -> None:
    await stage.rest()
    stage.say(ask.RecordStart())
    for _ in range(20):
        stage.say(ask.Drive(0.6, 0.0, 0.2))
        await asyncio.sleep(0.05)
    await stage.rest()
    stage.say(ask.RecordStop("a walk"))
    await stage.until(lambda: [line.name for line in stage.show.recordings()] == ["a walk"])
    assert any(isinstance(news, RecordingsChanged) for news in stage.news)
    kept = Library(stage.folder, stage.shipped, stage.robot).recording("a walk")
    assert kept.asked[0].command == "drive"
    with stage.port.holding():
        stage.port.robot.decoded.clear()
    sent: list[list[int]] = []
    tick = stage.show.hub.tick

    def spied(now: float) -> Tick:
        made = tick(now)
        assert made.pulses is not None
        sent.append(made.pulses.astype(int).tolist())
        return made

    stage.show.hub.tick = spied  # type: ignore[method-assign]
    stage.say(ask.Replay("a walk"))
    await stage.until(lambda: stage.show.hub.mode == "playing")
    await stage.rest()
    rows = kept.pulses.tolist()
    assert any(sent[i : i + len(rows)] == rows for i in range(len(sent) - len(rows) + 1))
    # A radio may lose a frame, but what the robot decoded are frames that were sent.
    with stage.port.holding():
        decoded = [list(taken.frame.pulses or ()) for taken in stage.port.robot.decoded]
    assert len(decoded) > len(rows) / 2
    assert all(pulses in sent for pulses in decoded[5:-5])


async def test_a_move_is_checked_and_played_and_one_that_fails_is_refused_with_the_reason(stage: Stage) -> None:
    stage.write(FAST)
    await stage.rest()
    stage.say(ask.Play("nod"))
    await stage.until(lambda: stage.show.hub.mode == "playing")
    await stage.rest()
    stage.say(ask.Play("whip"))
    await stage.until(lambda: any(isinstance(news, Refused) for news in stage.news))
    refused = next(news for news in stage.news if isinstance(news, Refused))
    assert refused.client == "ann"
    assert refused.to == "play"
    assert "does not pass its check: joint-speed (tail)" in refused.text
    stage.say(ask.Play("nothing of the kind"))
    await stage.until(lambda: sum(isinstance(news, Refused) for news in stage.news) == 2)
    assert stage.show.hub.mode == "rest"


async def test_frames_at_hand_are_performed_without_being_in_the_library(stage: Stage) -> None:
    await stage.rest()
    joints = np.repeat(rest_joints(stage.robot)[None], 40, axis=0)
    joints[:, -1] += 0.2 * np.sin(np.linspace(0, np.pi, 40)) ** 2
    stage.show.perform("ann", clip(stage.robot, joints, "by hand"))
    await stage.until(lambda: any(s.playing is not None and s.playing.name == "by hand" for s in stage.states))
    await stage.rest()
    assert not [news for news in stage.news if isinstance(news, Refused)]


async def test_the_list_fills_with_verdicts_and_they_are_remembered(stage: Stage, tansy: Robot) -> None:
    await stage.until(lambda: stage.verdict("nod") == "checking")
    stage.write(FAST)
    stage.write({"format": "motionhub-sequence/1", "name": "odd", "keyframes": []})
    await stage.until(lambda: stage.verdict("whip") == "fails" and stage.verdict("nod") == "fits")
    assert stage.verdict("odd") == "unreadable"
    assert any(isinstance(news, MovesChanged) for news in stage.news)
    line = next(line for line in stage.show.moves() if line.name == "whip")
    assert "joint-speed" in line.reason
    assert line.kind == "sequence"
    assert not line.shipped
    nod = next(line for line in stage.show.moves() if line.name == "nod")
    assert nod.duration_s == pytest.approx(1.2)
    await stage.show.stop()
    await stage.open()
    await stage.until(lambda: bool(stage.show.moves()))
    # At the first reading already: nothing had to be checked again.
    assert stage.verdict("whip") == "fails"
    assert stage.verdict("nod") == "fits"
    stage.write(NOD | {"end_ms": 2000})
    await stage.until(lambda: stage.verdict("nod") == "checking")


async def test_what_was_measured_last_is_on_the_disk_last_however_slow_it_is(
    stage: Stage, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A meter's value and a trim are kept for different reasons; a disk that takes its time must not swap them."""
    await stage.rest()
    await stage.until(lambda: stage.show.hub.battery.view.volts is not None)
    save, saves = stage.show.library.save_calibration, 0

    def slow(calibration: Calibration) -> None:
        nonlocal saves
        saves += 1
        if saves == 1:
            time.sleep(0.5)
        save(calibration)

    monkeypatch.setattr(stage.show.library, "save_calibration", slow)
    stage.say(ask.MeterShows(stage.show.hub.battery.view.volts * 1.04))
    stage.say(BringupTrim("head", 0.05))
    await stage.until(lambda: saves == 2)
    await stage.show.stop()
    assert saves == 2
    kept = stage.show.library.calibration()
    assert kept.battery_scale == pytest.approx(1.04, abs=0.01)
    assert kept.trim_rad[stage.robot.joint_index["head"]] == pytest.approx(0.05, abs=1e-6)


async def test_the_link_lost_is_told_and_found_again(stage: Stage) -> None:
    await stage.rest()
    stage.port.unplug()
    await stage.until(lambda: not stage.states[-1].link.up)
    assert any(isinstance(news, Notice) and "quiet" in news.text for news in stage.news)
    stage.port.plug_in()
    await stage.rest()
    assert stage.states[-1].link.up


async def test_leaving_twice_or_without_a_robot_is_no_trouble(stage: Stage) -> None:
    stage.port.unplug()
    await stage.until(lambda: not stage.show.hub.link.up)
    await stage.show.stop()
    await stage.show.stop()


def test_lateness_counts_what_it_is_told() -> None:
    delays = np.random.default_rng(7).exponential(0.002, 20_000)
    late = Lateness()
    for delay in delays:
        late.add(float(delay))
    assert late.ticks == len(delays)
    for share in (0.5, 0.9, 0.99):
        # numpy's quantile of the numbers themselves; ours is to the upper end of a bin of 0.1 ms
        assert 0 <= late.quantile(share) - np.quantile(delays, share) <= 1.0001e-4
    assert late.worst_s == delays.max()


async def test_a_fault_of_the_program_in_the_tick_is_told_to_whoever_waits_for_it(
    stage: Stage, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    await stage.rest()
    waiting = asyncio.create_task(stage.show.broken())
    await asyncio.sleep(0.1)
    assert not waiting.done()

    def fail(now: float) -> Tick:
        raise ZeroDivisionError("a fault of the program")

    monkeypatch.setattr(stage.show.hub, "tick", fail)
    async with asyncio.timeout(PATIENCE_S):
        await waiting
    assert "tick has failed" in caplog.text
