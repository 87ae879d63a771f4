"""Gathers what the show check judges (:mod:`motionhub.hub.showcheck`), and plays the joint sweep for it.

It takes some seconds of the link, the battery as it is, what is on the disk, a check of the routine in a process of its
own on the battery as measured, and what somebody saw. Nothing of it moves the robot but the sweep, which is asked for
apart, by whoever holds control.
"""

from __future__ import annotations

import asyncio
from collections.abc import Awaitable, Callable
from dataclasses import replace
from typing import Literal, Protocol

from motionhub.check.report import check
from motionhub.errors import InputError
from motionhub.hub.core import Hub
from motionhub.hub.errands import Errands
from motionhub.hub.showcheck import Facts, Item, judge, verdict
from motionhub.hub.sources.play import Play
from motionhub.hub.sweep import NAME, sweep
from motionhub.hub.verdicts import Verdict
from motionhub.library.store import Library
from motionhub.motion import documents
from motionhub.motion.frames import Frames
from motionhub.motion.render import render
from motionhub.robot.calibration import Calibration

LISTEN_S = 4.0
EVERY_S = 0.2
START_S = 12.0
"""The sweep has to begin within this: it waits for a walk to end, and steps into the rest stance."""

Asks = Literal["", "sweep", "sweeping", "seen"]


class Stage(Protocol):
    """What it needs of the show; :class:`motionhub.hub.live.Show` is one."""

    hub: Hub
    library: Library
    mismatch: str

    async def judge(self, name: str, battery_v: float | None, battery_ohm: float | None) -> Verdict:
        """What the check says of a move on a battery."""

    def perform(self, client: str, frames: Frames) -> None:
        """Play frames that have passed their check."""


class BeforeShow:
    """One check after another; the last one is what is shown.

    Args:
        stage: The show.
        changed: Called when there is news.
        sleep: Lets so many seconds of the show pass.
    """

    def __init__(
        self, stage: Stage, changed: Callable[[], None], sleep: Callable[[float], Awaitable[None]] = asyncio.sleep
    ) -> None:
        self._stage = stage
        self._sleep = sleep
        self._changed = changed
        self._facts = Facts()
        self._begun = False
        self._errands = Errands("the show check")
        self.running = False
        self.asks: Asks = ""

    @property
    def items(self) -> list[Item]:
        """The list as far as it goes; empty before the first check."""
        return judge(self._facts, self._stage.hub.robot) if self._begun else []

    @property
    def verdict(self) -> tuple[bool | None, str]:
        """Go, no-go or not known yet, and why."""
        return verdict(self.items) if self._begun else (None, "")

    @property
    def routine(self) -> str:
        """The one that is asked about."""
        return self._facts.routine

    # ---------------------------------------------------------------- what is asked

    def begin(self, routine: str) -> None:
        """Look at everything anew. What was seen of the joints counts only for the check that it was seen in."""
        self._errands.cancel()
        self._facts = Facts(routine=routine)
        self._begun, self.running, self.asks = True, True, "sweep"
        self._errands.run(self._look(routine))

    async def look(self, routine: str) -> None:
        """The same, and wait for the end of it."""
        self.begin(routine)
        while self.running:
            await self._sleep(EVERY_S / 4)

    def sweep(self, client: str) -> str:
        """Let every joint move; returns why not, or nothing."""
        if not self._begun:
            return "begin the check first"
        if not self._stage.hub.lease.holds(client):
            return "take control first"
        if self.asks == "sweeping":
            return "it is moving already"
        self._facts = replace(self._facts, swept=None, seen=False, stuck=())
        self.asks = "sweeping"
        self._errands.run(self._sweep(client))
        return ""

    def seen(self, client: str, stuck: tuple[str, ...]) -> str:
        """Somebody says what did not move; nothing if all did. Returns why that is not taken, or nothing."""
        robot = self._stage.hub.robot
        if not self._stage.hub.lease.holds(client):
            return "take control first"
        if self.asks != "seen":
            return "nothing has moved that could have been seen"
        if unknown := [name for name in stuck if name not in robot.joint_index]:
            return f"there is no joint {unknown[0]!r}"
        self._facts = replace(self._facts, seen=True, stuck=stuck)
        self.asks = ""
        self._changed()
        return ""

    async def close(self) -> None:
        """End whatever is on its way."""
        await self._errands.close()

    # ---------------------------------------------------------------- what is done

    async def _look(self, routine: str) -> None:
        hub = self._stage.hub
        links = []
        for _ in range(round(LISTEN_S / EVERY_S)):
            await self._sleep(EVERY_S)
            links.append(hub.link)
        forecast = hub.battery.forecast
        self._facts = replace(
            self._facts,
            links=tuple(links),
            mismatch=self._stage.mismatch,
            telemetry=hub.telemetry,
            battery=hub.battery.view,
            ohm=forecast.ohm,
            kept=hub.kept.view.state,
            calibration=await asyncio.to_thread(self._calibration),
            in_use=hub.calibration,
        )
        self._changed()
        if routine:
            ohm = max(hub.robot.supply.battery_ohm, forecast.ohm[0]) if forecast.ohm else None
            found = await self._stage.judge(routine, forecast.open_v, ohm)
            self._facts = replace(self._facts, fits=found.verdict, why=found.reason, duration_s=found.duration_s)
        self.running = False
        self._changed()

    def _calibration(self) -> Calibration | str:
        try:
            return self._stage.library.calibration()
        except InputError as error:
            return f"{error.place}: {error.expected}" if error.place else error.expected

    async def _sweep(self, client: str) -> None:
        frames = await asyncio.to_thread(self._frames)
        if isinstance(frames, str):
            self._end_sweep(False)
            return
        self._stage.perform(client, frames)
        self._changed()
        await self._follow(lambda: self._player() is not None, START_S)
        player = self._player()
        if player is not None:
            await self._follow(lambda: self._player() is not player, frames.duration_s + START_S)
        # A lost link or another move ends it in the same mode as its own end does.
        self._end_sweep(player is not None and player.done)

    def _end_sweep(self, ended: bool) -> None:
        self._facts = replace(self._facts, swept=ended)
        self.asks = "seen" if ended else "sweep"
        self._changed()

    def _player(self) -> Play | None:
        """What plays the sweep, while it is played."""
        player = self._stage.hub.director.player
        return player if isinstance(player, Play) and player.progress.name == NAME else None

    def _frames(self) -> Frames | str:
        hub = self._stage.hub
        try:
            sequence = documents.parse(sweep(hub.robot), NAME, hub.robot)
        except InputError as error:
            return str(error)
        frames = render(sequence, hub.robot, hub.rate_hz).renamed(NAME)
        report = check(frames)
        return frames if report.fits else report.findings[0].advice

    async def _follow(self, true: Callable[[], bool], seconds: float) -> bool:
        """Wait until this is so; whether it came to that."""
        for _ in range(round(seconds / 0.05)):
            if true():
                return True
            await self._sleep(0.05)
        return False
