"""A real Chromium with a phone's screen and touch, a hub in a process of its own, and a robot at the far end.

The robot is simulated in this process behind a TCP port (`tests/bench/tcp_robot.py`), so a test sees which
frames came out at its end of the wire, and can cut that wire. Everything in between is real.
"""

from __future__ import annotations

import shutil
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from bench.hub_process import HubProcess
from bench.tcp_robot import TcpRobot
from playwright.sync_api import Browser, sync_playwright

from browser.phone import ARGUMENTS, Phone

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """All in this folder drive a browser; where there is none they say so instead of passing."""
    for item in items:
        if Path(__file__).parent in item.path.parents:
            item.add_marker(pytest.mark.browser)
            if CHROMIUM is None:
                item.add_marker(pytest.mark.skip(reason="Chromium is not on this machine (Debian: chromium)"))


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser
        browser.close()


@pytest.fixture
def machine() -> str:
    """Which shipped robot; a test that wants another one is parametrized by this name."""
    return "tansy"


@pytest.fixture
def robot(machine: str) -> Iterator[TcpRobot]:
    with TcpRobot(machine) as robot:
        yield robot


@pytest.fixture
def beforehand() -> dict[str, str]:
    """What is in the library before the hub begins, text by path; tests that want some are parametrized by its name."""
    return {}


@pytest.fixture
def hub(tmp_path: Path, robot: TcpRobot, beforehand: dict[str, str]) -> Iterator[HubProcess]:
    folder = tmp_path / "library"
    folder.mkdir()
    for path, text in beforehand.items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_text(text)
    with HubProcess(folder, robot.port, robot.file) as hub:
        yield hub
    log = hub.log.read_text(errors="replace")
    assert "Traceback" not in log, log


@pytest.fixture
def phone(chromium: Browser, hub: HubProcess) -> Iterator[Phone]:
    """Paired, in control, and the robot standing; limp where its bring-up had begun before."""
    with Phone(chromium, hub) as phone:
        phone.pair()
        phone.until_mode("Limp" if (hub.folder / "bringup").exists() else "Standing, ready.")
        phone.take_control()
        yield phone
        assert phone.faults == [], phone.faults


@pytest.fixture
def until() -> Callable[[Callable[[], bool], float, str], float]:
    """Wait for something outside the browser; returns how long it took, in seconds."""

    def wait(true: Callable[[], bool], seconds: float, what: str) -> float:
        began = time.monotonic()
        while not true():
            assert time.monotonic() - began < seconds, f"after {seconds} s still not: {what}"
            time.sleep(0.02)
        return time.monotonic() - began

    return wait
