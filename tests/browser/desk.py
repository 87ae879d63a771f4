"""A laptop on a desk: a person with a mouse, or with the keyboard alone, and what they read on the screen."""

from __future__ import annotations

import csv
import subprocess
import sys
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np
from bench.hub_process import HubProcess
from bench.tcp_robot import TcpRobot
from numpy.typing import NDArray
from playwright.sync_api import Browser, Locator, expect

WIDE = {"width": 1280, "height": 800}
MOST_TABS = 250
"""As many presses of Tab as a person would have left the screen after."""


class Desk:
    """One browser with a mouse and a keyboard; ``faults`` holds what its console complained of."""

    def __init__(self, browser: Browser, hub: HubProcess) -> None:
        self._browser, self.hub = browser, hub
        self.faults: list[str] = []

    def __enter__(self) -> Self:
        self.context = self._browser.new_context(viewport=WIDE, reduced_motion="reduce")
        self.page = self.context.new_page()
        self.page.set_default_timeout(15_000)
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self.page.goto(self.hub.pair_url)
        expect(self.page.get_by_test_id("link")).to_contain_text("Linked", timeout=20_000)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.context.close()

    # ------------------------------------------------------------------ reading

    def keys(self) -> int:
        """How many keyframes there are."""
        return self.row("all at once").locator("[role=gridcell]").count()

    def row(self, words: str) -> Locator:
        header = self.page.locator("[role=rowheader]", has_text=words)
        return self.page.get_by_role("grid", name="Keys in time").locator("[role=row]").filter(has=header)

    def until_mode(self, words: str, seconds: float = 30) -> None:
        """The stage says so of the robot: read on the Drive card's line when no move is being made."""
        expect(self.page.get_by_test_id("mode")).to_contain_text(words, timeout=seconds * 1e3)

    # ------------------------------------------------------------------ the keyboard

    def reach(self, name: str, role: str = "", back: bool = False) -> None:
        """Press Tab, or Shift Tab, until something of that name has the focus, as somebody without a mouse does."""
        for _ in range(MOST_TABS):
            self.page.keyboard.press("Shift+Tab" if back else "Tab")
            found = self.page.evaluate(
                """() => { const e = document.activeElement; if (!e) return ["", ""];
                const label = e.closest("label")?.innerText.trim().split("\\n")[0];
                const own = e.getAttribute("aria-label") ?? label ?? e.textContent ?? "";
                return [own.replace(/\\s+/g, " ").trim(), e.getAttribute("role") ?? e.tagName.toLowerCase()]; }"""
            )
            if found[0] == name and (not role or found[1] == role):
                return
        gates = self.page.locator(".gate").all_inner_texts()
        raise AssertionError(f"expected to come to {name!r} by Tab, and never did; the screen says {gates}")

    def have_control(self) -> None:
        """Take it again where it has lapsed: it does when a browser hangs for two seconds, as one that draws in
        software may on a busy machine."""
        take = self.page.get_by_role("button", name="Take control here")
        if take.is_visible():
            take.press("Enter")

    def press(self, *keys: str) -> None:
        for key in keys:
            self.page.keyboard.press(key)


def came_as_saved(robot: TcpRobot, start: int, saved: Path, folder: Path) -> float:
    """Which share of the frames that `motionhub frames` writes of a saved move the robot decoded, in order and in time.

    Frames are numbered on the wire, so one that was lost on the way leaves the others where they were. A pulse is a
    whole number of microseconds and the table has degrees, so they may differ by one.
    """
    table = folder / "frames.csv"
    command = [sys.executable, "-m", "motionhub", "frames", str(saved), "--rate", "50", "--out", str(table)]
    subprocess.run(command, check=True)
    with table.open() as file:
        rows = list(csv.DictReader(file))
    degrees = np.array([[float(row[name]) for name in robot.robot.joint_names] for row in rows])
    wanted: NDArray[np.float64] = np.rint(robot.calibration.pulses(robot.robot, np.radians(degrees)))
    entries = [entry for entry in robot.decoded()[start:] if entry.frame.pulses is not None]
    numbers = np.array([entry.number for entry in entries])
    pulses = np.array([entry.frame.pulses for entry in entries], dtype=np.float64)
    best = 0.0
    for first in range(numbers[0], numbers[-1] - len(wanted) // 2):
        within = (numbers >= first) & (numbers < first + len(wanted))
        if (np.abs(pulses[within] - wanted[numbers[within] - first]) <= 1).all():
            best = max(best, within.sum() / len(wanted))
    return best
