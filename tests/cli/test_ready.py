"""The show check from a terminal: what it prints, how it ends, and that nothing moves unless it is asked."""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from bench.hub_process import HubProcess, free_port
from bench.tcp_robot import TcpRobot

from motionhub.library.shipped import shipped_folder
from motionhub.library.store import Library

pytestmark = pytest.mark.alone


def ready(*arguments: str, typed: str = "") -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "motionhub", "ready", *arguments]
    return subprocess.run(command, input=typed, capture_output=True, text=True, timeout=120)


@pytest.fixture(scope="module")
def robot() -> Iterator[TcpRobot]:
    """The shipped robot whose sweep is over soonest."""
    with TcpRobot("trestle") as robot:
        yield robot


@pytest.fixture(scope="module")
def hub(robot: TcpRobot, tmp_path_factory: pytest.TempPathFactory) -> Iterator[HubProcess]:
    """Of a robot that somebody has trimmed."""
    folder: Path = tmp_path_factory.mktemp("library")
    trims = np.full(robot.robot.joints, 0.01)
    Library(folder, shipped_folder(), robot.robot).save_calibration(replace(robot.calibration, trim_rad=trims))
    with HubProcess(folder, robot.port, robot.file) as hub:
        yield hub


def sent(robot: TcpRobot) -> set[tuple[int, ...] | None]:
    with robot.lock:
        return {entry.frame.pulses for entry in list(robot.simulated.decoded)[-100:]}


def test_nothing_moves_unasked_and_what_is_open_is_no_go(hub: HubProcess, robot: TcpRobot) -> None:
    done = ready("--hub", hub.pair_url)
    assert done.returncode == 1, done.stderr
    assert done.stdout.splitlines()[-1].startswith(("Not known yet: Every joint", "No-go: "))
    assert "Radio" in done.stdout
    assert len(sent(robot)) == 1
    refused = ready("--hub", hub.pair_url, "--sweep", typed="n\n")
    assert refused.returncode == 1
    assert "Fingers" in refused.stderr
    assert len(sent(robot)) == 1


def test_a_sweep_that_was_seen_leads_to_a_verdict(hub: HubProcess, robot: TcpRobot) -> None:
    done = ready("wave", "--hub", hub.pair_url, "--sweep", "--json", typed="y\nleft_elbow\n\n")
    assert "there is no joint 'left_elbow'; there are: left_front.coxa, " in done.stderr
    found = json.loads(done.stdout)
    states = {line["name"]: line["state"] for line in found["lines"]}
    assert states["Every joint"] == "good", done.stdout
    assert states["Trims"] == "good"
    assert done.returncode == (0 if found["go"] else 1)
    assert found["go"] is not ("bad" in states.values())
    with robot.lock:
        rows = np.array([each.frame.pulses for each in robot.simulated.decoded if each.frame.pulses is not None])
    assert (np.ptp(rows, axis=0) > 20).all(), "every joint moved"


@pytest.mark.parametrize(
    ("at", "words"),
    [
        (f"127.0.0.1:{free_port()}#key=aaaaaaaaaaaaaaaaaaaaaaaa", "expected a hub at 127.0.0.1"),
        ("not an address", "expected HOST:PORT or the address that the hub shows"),
        ("{hub}#key=aaaaaaaaaaaaaaaaaaaaaaaa", "expected the key of that hub"),
    ],
)
def test_what_cannot_be_asked_is_one_line(hub: HubProcess, at: str, words: str) -> None:
    done = ready("--hub", at.replace("{hub}", hub.address))
    assert (done.returncode, done.stdout) == (2, "")
    assert words in done.stderr
    assert done.stderr.count("\n") == 1
