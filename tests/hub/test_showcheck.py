"""Before a show: each of twelve seeded faults is found and named, and a healthy robot passes, over the simulated robot.

Whoever checks sees what a person could: what the hub says, and which joint did not turn. Time is the test's own.
"""

from __future__ import annotations

import asyncio
import json
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pytest
from rehearsal import Wired, shipped

from motionhub.hub import commands as ask
from motionhub.hub.beforehand import BeforeShow
from motionhub.hub.core import Tick
from motionhub.hub.showcheck import Facts, judge, verdict
from motionhub.hub.verdicts import Verdict, Verdicts
from motionhub.library.shipped import shipped_folder
from motionhub.library.store import Library
from motionhub.link.simulated import SimulatedRobot
from motionhub.link.trouble import Trouble
from motionhub.link.wire import ResetCause
from motionhub.motion import documents
from motionhub.motion.frames import Frames
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

ROUTINE = {
    "format": "motionhub-routine/1",
    "name": "short-show",
    "steps": [{"sequence": "tail-wag"}, {"sequence": "look-about"}],
}


def trimmed(robot: Robot, seed: int = 5) -> Calibration:
    """Of a robot that somebody has trimmed: a few degrees on each joint."""
    trims = np.random.default_rng(seed).uniform(-4, 4, robot.joints)
    return replace(Calibration.default(robot), trim_rad=np.deg2rad(trims))


class Stage(Wired):
    """A show in virtual time, with a library on a disk."""

    def __init__(self, folder: Path, **more: object) -> None:
        robot = shipped("tansy")
        self.calibration_there = trimmed(robot)
        self.library = Library(folder / "library", shipped_folder(), robot)
        self.library.save_calibration(self.calibration_there)
        (folder / "library" / "short-show.json").write_text(json.dumps(ROUTINE), encoding="utf-8")
        self.mismatch = ""
        self.stuck: set[int] = set()
        self.watched: list[np.ndarray] = []
        super().__init__(robot, calibration=more.pop("calibration", self.calibration_there), **more)  # type: ignore[arg-type]

    async def judge(self, name: str, battery_v: float | None, battery_ohm: float | None) -> Verdict:
        options = ["--battery-v", f"{battery_v:.3f}", "--battery-ohm", f"{battery_ohm:.4f}"]
        found = await Verdicts(self.library, lambda: self.calibration, None).check([name], True, options)
        return found[name]

    def perform(self, client: str, frames: Frames) -> None:
        self.repertoire[frames.name] = frames
        assert self.say(ask.Play(frames.name), client) == ""

    async def sleep(self, seconds: float) -> None:
        self.run(seconds)
        await asyncio.sleep(0)

    def tick(self) -> Tick:
        before = self.machine.plant.joints.copy() if hasattr(self, "machine") else None
        tick = super().tick()
        if before is not None and self.stuck:
            held = list(self.stuck)
            self.machine.plant.joints[held] = before[held]
        self.watched.append(self.machine.plant.joints.copy())
        return tick

    def moved(self, since: int) -> list[str]:
        """The joints that a person did not see turn: by less than 5 degrees."""
        turned = np.rad2deg(np.ptp(np.array(self.watched[since:]), axis=0))
        return [name for name, by in zip(self.robot.joint_names, turned, strict=True) if by < 5]


@dataclass
class Outcome:
    go: bool | None
    reason: str
    bad: dict[str, str] = field(default_factory=dict)
    seconds: float = 0.0
    care: dict[str, str] = field(default_factory=dict)


def checked(stage: Stage, routine: str = "", watch: bool = False) -> Outcome:
    """The whole check, as a person does it."""

    async def run() -> Outcome:
        news: list[bool] = []
        before = BeforeShow(stage, lambda: news.append(True), stage.sleep)
        began = stage.now
        await before.look(routine)
        if watch:
            since = len(stage.watched)
            assert before.sweep("bob") == "take control first"
            assert before.sweep("ann") == ""
            for _ in range(1200):
                if before.asks != "sweeping":
                    break
                await stage.sleep(0.05)
                await asyncio.sleep(0.001)  # frames are made in a thread
            assert before.asks == "seen"
            assert before.seen("ann", tuple(stage.moved(since))) == ""
        else:
            before._facts = replace(before._facts, swept=True, seen=True)
        go, reason = before.verdict
        bad, care = ({i.name: i.words for i in before.items if i.state == state} for state in ("bad", "care"))
        return Outcome(go, reason, bad, stage.now - began, care)

    return asyncio.run(run())


def test_a_healthy_robot_passes_in_under_a_minute(tmp_path: Path) -> None:
    stage = Stage(tmp_path)
    found = checked(stage, "short-show", watch=True)
    assert found.go is True, found
    assert found.bad == {}
    assert found.seconds < 60
    assert stage.hub.mode in ("rest", "moving")


# ---------------------------------------------------------------- seeded faults


def lossy(stage: Stage) -> None:
    trouble, receive = Trouble(lost=0.15, seed=3), stage.machine.receive
    stage.machine.receive = lambda data, now: receive(trouble.pass_on(data), now)  # type: ignore[method-assign]


def slow(stage: Stage) -> None:
    waiting: deque[tuple[float, bytes]] = deque()
    receive = stage.machine.receive

    def late(data: bytes, now: float) -> bytes:
        waiting.append((now + 0.3, data))
        out = b""
        while waiting and waiting[0][0] <= now:
            out += receive(waiting.popleft()[1], now)
        return out

    stage.machine.receive = late  # type: ignore[method-assign]


def low(stage: Stage) -> None:
    stage.machine.plant.battery.charge = 0.025


def sags(stage: Stage) -> None:
    battery = stage.machine.plant.battery
    battery.supply = replace(battery.supply, battery_ohm=5 * battery.supply.battery_ohm)
    stage.run(5.0)
    stage.say(ask.Limp(sure=True))
    stage.run(8.0)
    stage.say(ask.Resume())
    stage.until("rest")


def foreign(stage: Stage) -> None:
    path = next((stage.library.folder / "calibration").glob("*.json"))
    path.write_text(path.read_text(encoding="utf-8").replace('"Tansy"', '"Harrow"'), encoding="utf-8")


def changed(stage: Stage) -> None:
    stage.library.save_calibration(trimmed(stage.robot, seed=6))


def hung(stage: Stage) -> None:
    stage.machine.reset(ResetCause.WATCHDOG)


def whipped(stage: Stage) -> None:
    whip = {
        "format": "motionhub-sequence/1",
        "name": "tail-wag",
        "keyframes": [{"at_ms": 40, "joints_deg": {"tail": 55}}, {"at_ms": 80, "joints_deg": {"tail": -55}}],
    }
    (stage.library.folder / "tail-wag.json").write_text(json.dumps(whip), encoding="utf-8")


def missing(stage: Stage) -> None:
    text = json.dumps({**ROUTINE, "steps": [*ROUTINE["steps"], {"sequence": "encore"}]})
    (stage.library.folder / "short-show.json").write_text(text, encoding="utf-8")


def unplugged(stage: Stage) -> None:
    stage.plugged = False


FAULTS: dict[str, tuple[Callable[[Stage], None], str, str]] = {
    "a radio that loses": (lossy, "Radio", "too much is lost"),
    "a slow radio": (slow, "Radio", "too slow"),
    "no answer": (unplugged, "Radio", "does not answer"),
    "a low battery": (low, "Battery", "Battery low"),
    "a pack that sags": (sags, "Battery", "it sags by"),
    "trims of another robot": (foreign, "Trims", "expected the calibration of 'Tansy', found 'Harrow'"),
    "trims that were changed": (changed, "Trims", "end the hub and start it again"),
    "a program that hung": (hung, "Robot's program", "its watchdog ended that"),
    "a move that no longer fits": (whipped, "Routine", "does not fit on this battery"),
    "a move that is not there": (missing, "Routine", "encore"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_a_seeded_fault_is_found_and_named(fault: str, tmp_path: Path) -> None:
    seed, item, words = FAULTS[fault]
    stage = Stage(tmp_path)
    stage.run(2.0)
    seed(stage)
    stage.run(2.0)
    found = checked(stage, "short-show" if item == "Routine" else "")
    assert found.go is False, found
    assert words in found.bad[item], found
    assert found.reason


def test_no_trims_at_all(tmp_path: Path) -> None:
    robot = shipped("tansy")
    stage = Stage(tmp_path, calibration=Calibration.default(robot))
    stage.library.save_calibration(Calibration.default(robot))
    found = checked(stage)
    assert found.go is False
    assert "nobody has trimmed" in found.bad["Trims"]


def test_a_joint_without_a_trim_among_others_is_named_and_no_reason_to_stay_at_home(tmp_path: Path) -> None:
    """Practice: no horn lands exactly on centre, so a trim of nothing at all is one that nobody has set."""
    robot = shipped("tansy")
    known = trimmed(robot)
    some = known.trim_rad.copy()
    some[4] = 0.0
    known = replace(known, trim_rad=some)
    stage = Stage(tmp_path, calibration=known, machine=SimulatedRobot(robot, known))
    stage.library.save_calibration(known)
    found = checked(stage, "short-show", watch=True)
    assert found.go is True, found
    assert "19 of 20 joints trimmed" in found.care["Trims"]
    assert "left_middle.femur" in found.care["Trims"]


def test_settings_on_the_robot_that_are_not_the_hubs(tmp_path: Path) -> None:
    robot = shipped("tansy")
    found = checked(Stage(tmp_path, machine=SimulatedRobot(robot, trimmed(robot, seed=9))))
    assert found.go is False
    assert "other trims" in found.bad["Settings on the robot"]


def test_a_servo_that_does_not_turn_is_named_by_whoever_watches(tmp_path: Path) -> None:
    stage = Stage(tmp_path)
    stage.stuck = {stage.robot.joint_index["left_middle.coxa"]}
    found = checked(stage, watch=True)
    assert found.go is False
    assert found.bad == {"Every joint": "did not move: left_middle.coxa; look at its plug, its horn and its wire"}


def test_a_robot_of_another_version_is_named() -> None:
    words = "the robot speaks version 1 of the link, this hub version 2"
    items = judge(Facts(mismatch=words), shipped("tansy"))
    assert verdict(items) == (False, f"Radio: {words}")


@pytest.mark.parametrize("name", ["tansy", "trestle", "harrow"])
def test_the_sweep_fits_every_shipped_robot_and_turns_every_joint(name: str) -> None:
    from motionhub.check.report import check
    from motionhub.hub.sweep import sweep
    from motionhub.motion.render import render

    robot = shipped(name)
    report = check(render(documents.parse(sweep(robot), "sweep", robot), robot, 50.0))
    assert report.fits, [f.advice for f in report.findings]
    assert report.duration_s < 40
    assert np.rad2deg(np.ptp(report.timeline.frames.joints, axis=0)).min() > 10


def stop(stage: Stage) -> None:
    stage.say(ask.Stop(), client="guest")


def lose_the_link(stage: Stage) -> None:
    stage.plugged = False


def play_another(stage: Stage) -> None:
    stage.repertoire["bow"] = stage.repertoire["joint-sweep"].renamed("bow")
    stage.say(ask.Play("bow"))


@pytest.mark.parametrize("end", [stop, lose_the_link, play_another])
def test_a_sweep_that_is_broken_off_is_no_sweep(end: Callable[[Stage], None], tmp_path: Path) -> None:
    stage = Stage(tmp_path)

    async def run() -> None:
        before = BeforeShow(stage, lambda: None, stage.sleep)
        await before.look("")
        assert before.sweep("ann") == ""
        playing = 0
        for _ in range(1200):
            if before.asks != "sweeping":
                break
            await stage.sleep(0.05)
            await asyncio.sleep(0.001)
            playing += stage.hub.mode == "playing"
            if playing == 20:
                end(stage)
        assert before.asks == "sweep"
        assert before.verdict[0] is False
        assert "broken off" in before.verdict[1] or end is lose_the_link
        assert before.seen("ann", ()) == "nothing has moved that could have been seen"

    asyncio.run(run())
