"""The show in real time: the 50 Hz loop around the hub's core, the link, the library and whoever looks on.

All decisions are the core's. Here are a clock, a port, threads for what takes time, and the lists of who
wants to be told. Deadlines are absolute: a tick that is late is caught up by the next being early enough,
and lateness never adds up. A frame is worked out a little ahead and goes out at its time; what is not for its
sake comes after it, in the rest of its 20 ms.
"""

from __future__ import annotations

import asyncio
import contextlib
import gc
import logging
import os
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from motionhub.errors import InputError
from motionhub.hub.bringup.view import BringupView
from motionhub.hub.commands import Command, Play
from motionhub.hub.core import Hub, Tick
from motionhub.hub.errands import Errands, report
from motionhub.hub.events import (
    AskCalibration,
    Began,
    BringupChanged,
    Calibrated,
    Event,
    Keep,
    KeepBringup,
    Notice,
    Prepare,
    Refused,
    SendCalibration,
    Think,
)
from motionhub.hub.flight import FlightKeeper, FlightNotes
from motionhub.hub.keeper import Keeper
from motionhub.hub.lateness import Lateness
from motionhub.hub.ready import Ready
from motionhub.hub.repertoire import MoveLine, Repertoire
from motionhub.hub.snapshot import HubState, LinkView
from motionhub.hub.verdicts import Verdict, Verdicts
from motionhub.library.recording import Recording
from motionhub.library.store import Library
from motionhub.link.ports import Port
from motionhub.link.session import Connected, Disconnected, Heard, InUse, Keeping, LinkSession, Mismatch
from motionhub.motion.frames import Frames
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

__all__ = ["MoveLine", "MovesChanged", "News", "RecordingLine", "RecordingsChanged", "Show"]

STATE_EVERY = 2
"""Ticks between two states told: 25 a second, which moves smoothly on a screen."""
STATUS_EVERY = 5
"""Ticks between two looks at how the link is doing."""
FIRST_PACE = 0.6
"""Of the fastest, at which a full stick walks until somebody says otherwise: a first try is a careful one."""
CATCH_UP = 3
"""Ticks that are caught up after being late; what is more was sleep, and the show goes on from there."""
LEAVE_S = 8.0
"""The longest that leaving waits for the robot to come to rest: a long step over, and some patience."""
AHEAD_S = 0.003
"""How long before its time a frame is worked out: what that takes differs from tick to tick, and need not show."""
_TIMER_S = 0.001
"""How late the loop's timers may be: it waits in whole milliseconds."""
_GIVE_WAY_S = 0.0005
"""A moment in which the port's thread can write the frame, before there is more to do here."""
_SWITCH_S = 0.0005
"""How soon a thread that renders or reads lets the tick's thread have its turn; Python's own 5 ms are too long."""

_log = logging.getLogger(__name__)


@dataclass(frozen=True)
class RecordingLine:
    """A line of the list of recordings; ``made`` is local date and time, ISO 8601."""

    name: str
    duration_s: float
    made: str


@dataclass(frozen=True)
class MovesChanged:
    """The list of moves is another one now: ask :meth:`Show.moves`."""


@dataclass(frozen=True)
class RecordingsChanged:
    """The list of recordings is another one now: ask :meth:`Show.recordings`."""


News = Event | MovesChanged | RecordingsChanged


class Show:
    """A robot, its hub and its loop. All calls are for the event loop that :meth:`start` ran in.

    Args:
        robot: The robot.
        calibration: Of this very machine.
        library: Moves and recordings.
        port: Where the robot is; opened by :meth:`start`, closed by :meth:`stop`.
        cache: Where verdicts are remembered; in the user's own cache when not given.
    """

    def __init__(
        self, robot: Robot, calibration: Calibration, library: Library, port: Port, cache: Path | None = None
    ) -> None:
        self.hub = Hub(robot, calibration, notebook=library.notebook())
        self.hub.pace = FIRST_PACE
        self.lateness = Lateness()
        self.library = library
        self._port = port
        self.mismatch = ""
        """Why the robot that answered is not this hub's; nothing while it is, or nobody answers."""
        self._session = LinkSession(robot, int.from_bytes(os.urandom(2), "little"))
        self._verdicts = Verdicts(library, lambda: self.hub.calibration, _user_cache() if cache is None else cache)
        self._repertoire = Repertoire(library, self._verdicts, lambda: self._tell(MovesChanged()))
        self._recordings: list[RecordingLine] = []
        self._watching: list[Callable[[HubState], None]] = []
        self._listening: list[Callable[[News], None]] = []
        self._stances_known = False
        self._asked_bringup = self._kept_bringup = 0
        self._at_hand: Frames | None = None
        self._flight = FlightNotes(self.hub, lambda line: self._flight_keeper.write(line))
        self._errands = Errands("an errand of the show")
        self._ticking: asyncio.Task[None] | None = None

    # ---------------------------------------------------------------- from start to end

    async def start(self) -> None:
        """Open the port and begin to tick.

        Raises:
            InputError: if the port cannot be opened.
        """
        loop = self._loop = asyncio.get_running_loop()
        self._keeper = Keeper(self.library, self.hub.rate_hz, lambda text: self._soon(self._tell, _trouble(text)))
        header = self._flight.header(datetime.now().astimezone())
        self._flight_keeper = FlightKeeper(
            self.library.folder, header, lambda text: self._soon(self._tell, Notice("warning", text))
        )
        self._port.open(lambda: self._soon(self._read_soon))
        sys.setswitchinterval(_SWITCH_S)
        gc.collect()
        gc.freeze()  # what is there now stays, and need not be looked through again and again
        self._ticking = loop.create_task(self._tick_on(), name="tick")
        self._ticking.add_done_callback(report)
        self._errands.run(self._repertoire.keep_up())
        self._errands.run(self._rescue())
        self._errands.run(self._know_stances())
        # Who chooses a gait would else have the tick wait for what it comes to, which takes a good part of a second.
        self._errands.run(asyncio.to_thread(self.hub.director.steps.learn, self.hub.director.bearing))

    async def stop(self) -> None:
        """Bring the robot to rest, in at most :data:`LEAVE_S` seconds, and leave."""
        if self._ticking is None:
            return
        self._publish(self.hub.leave())
        until = self._loop.time() + LEAVE_S
        while self.hub.link.up and not self.hub.at_rest and self._loop.time() < until and not self._ticking.done():
            await asyncio.sleep(0.05)
        self._ticking.cancel()
        await asyncio.gather(self._ticking, self._errands.close(), return_exceptions=True)
        self._ticking = None
        gc.unfreeze()
        await asyncio.to_thread(self._port.close)
        self._flight.left(self._loop.time())
        await asyncio.to_thread(self._keeper.close)
        await asyncio.to_thread(self._flight_keeper.close)

    async def broken(self) -> None:
        """Returns when the tick has died of a fault of the program, which is in the log by then; else never.

        Nothing is sent any more, so the robot eases to rest by its own failsafe.
        """
        assert self._ticking is not None, "the show has not been started"
        await asyncio.wait([self._ticking])

    def _soon(self, call: Callable[..., None], *args: object) -> None:
        """From any thread: call this in the loop."""
        with contextlib.suppress(RuntimeError):  # the loop has ended before the thread
            self._loop.call_soon_threadsafe(call, *args)

    # ---------------------------------------------------------------- people

    def join(self, client: str, name: str, *, operator: bool) -> None:
        """Somebody has connected and been paired."""
        self._publish(self.hub.joined(client, name, operator, self._loop.time()))

    def leave(self, client: str) -> None:
        """Somebody has gone."""
        self._publish(self.hub.left(client, self._loop.time()))

    def handle(self, client: str, command: Command) -> None:
        """Take a command. Whatever comes of it, refusals too, is told to those who :meth:`listen`."""
        self._flight.asked(client, command, self._loop.time())
        self._publish(self.hub.handle(client, command, self._loop.time()))

    async def judge(self, name: str, battery_v: float | None, battery_ohm: float | None) -> Verdict:
        """What the check says of a move on a battery of so many volts without load and so many ohms."""
        options: list[str] = []
        if battery_v is not None:
            options += ["--battery-v", f"{battery_v:.3f}"]
        if battery_ohm is not None:
            options += ["--battery-ohm", f"{min(battery_ohm, 2.0):.4f}"]
        found = await self._verdicts.check([name], hurry=True, options=options)
        return found.get(name, Verdict("unreadable", None, "the check could not be run"))

    def perform(self, client: str, frames: Frames) -> None:
        """Play frames that are at hand and have passed their check; in all else as a Play by name."""
        self._at_hand = frames
        self.handle(client, Play(frames.name))
        self._at_hand = None

    def subscribe(self, on_state: Callable[[HubState], None]) -> Callable[[], None]:
        """Call ``on_state`` 25 times a second. Returns what ends it."""
        self._watching.append(on_state)
        return lambda: _discard(self._watching, on_state)

    def listen(self, on_news: Callable[[News], None]) -> Callable[[], None]:
        """Call ``on_news`` with refusals (which name their client), notices, changes of lists. Returns what ends it."""
        self._listening.append(on_news)
        return lambda: _discard(self._listening, on_news)

    def moves(self) -> list[MoveLine]:
        """What can be played, by name, with verdicts as far as they are known."""
        return self._repertoire.lines()

    def recordings(self) -> list[RecordingLine]:
        """What can be replayed, newest first."""
        return self._recordings

    def bringup(self) -> BringupView | None:
        """How the bring-up stands; None until its stances have been worked out, shortly after the start."""
        if not self._stances_known:
            return None
        return replace(self.hub.workbench.view(), saved=self._kept_bringup == self._asked_bringup)

    def _tell(self, news: News) -> None:
        for listener in tuple(self._listening):
            listener(news)

    def _publish(self, events: list[Event] | tuple[Event, ...]) -> None:
        """Do what the core asks for, and tell people the rest."""
        for event in events:
            self._flight.heard(event, self._loop.time())
            if isinstance(event, Prepare):
                self._errands.run(self._prepare(event, self._at_hand))
            elif isinstance(event, Began):
                self._keeper.begin()
            elif isinstance(event, Keep):
                self._keep(event)
            elif isinstance(event, AskCalibration):
                self._session.ask()
            elif isinstance(event, SendCalibration):
                self._session.keep(event.image)
            elif isinstance(event, Calibrated):
                self._keeper.keep_calibration(event.calibration, lambda text: self._soon(self._not_kept, text))
            elif isinstance(event, Think):
                self._errands.run(self._think(event))
            elif isinstance(event, KeepBringup):
                self._keep_bringup(event)
            else:
                self._tell(event)

    # ---------------------------------------------------------------- what takes time

    def _not_kept(self, refused: str) -> None:
        if refused:
            self._tell(_trouble(f"What was measured could not be kept: {refused}"))

    async def _prepare(self, asked: Prepare, at_hand: Frames | None) -> None:
        try:
            found: Frames | Recording | str
            if at_hand is not None:
                found = at_hand
            elif asked.kind == "move":
                found = await self._repertoire.frames(asked.name, self.hub.rate_hz)
            else:
                found = await asyncio.to_thread(self.library.recording, asked.name)
            ready: Ready | str
            ready = found if isinstance(found, str) else await asyncio.to_thread(self.hub.make_ready, asked.name, found)
        except InputError as error:
            ready = str(error)
        self._publish(self.hub.prepared(asked.job, ready, self._loop.time()))

    def _keep(self, asked: Keep) -> None:
        def done(refused: str) -> None:
            if refused:
                self._tell(Refused(asked.client, "record_stop", refused))
            self._errands.run(self._list_recordings())

        self._keeper.keep(asked.name, lambda refused: self._soon(done, refused))

    async def _think(self, asked: Think) -> None:
        found = await asyncio.to_thread(asked.work)
        self._publish(self.hub.thought(asked, found, self._loop.time()))

    async def _know_stances(self) -> None:
        """Which stances a robot can be measured in takes a moment to find, so not within a tick."""
        await asyncio.to_thread(lambda: self.hub.workbench.course.stances)
        self._stances_known = True
        self._tell(BringupChanged())

    def _keep_bringup(self, asked: KeepBringup) -> None:
        """Both files, the calibration first: without its notebook it is still true, and not the other way round."""
        self._asked_bringup += 1
        number = self._asked_bringup

        def done(refused: str) -> None:
            if refused:
                self._tell(_trouble(refused))
                return
            self._kept_bringup = max(self._kept_bringup, number)
            if self._kept_bringup == self._asked_bringup:
                self._tell(BringupChanged())

        self._keeper.keep_bringup(asked.notebook, asked.calibration, lambda refused: self._soon(done, refused))

    async def _rescue(self) -> None:
        try:
            for name in await asyncio.to_thread(self.library.rescue):
                self._tell(Notice("info", f"A recording that was cut short has been kept as {name}"))
        except InputError as error:
            self._tell(_trouble(str(error)))
        await self._list_recordings()

    async def _list_recordings(self) -> None:
        entries = await asyncio.to_thread(self.library.recordings)
        self._recordings = [RecordingLine(e.name, e.duration_s, e.made) for e in entries if not e.unreadable]
        self._tell(RecordingsChanged())

    # ---------------------------------------------------------------- the tick

    async def _tick_on(self) -> None:
        loop, period = self._loop, 1 / self.hub.rate_hz
        due = loop.time() + AHEAD_S
        while True:
            await asyncio.sleep(max(due - AHEAD_S - loop.time(), 0.0))  # even 0 gives everybody a turn
            if (behind := loop.time() - due) > CATCH_UP * period:
                missed = int(behind / period)
                self.lateness.skipped += missed
                due += missed * period
            now = max(loop.time(), due)
            tick, data = self._make(now)
            # The loop's own timers are up to a millisecond late, so the last of it is slept out to the point.
            if (early := due - loop.time()) > _TIMER_S:
                await asyncio.sleep(early - _TIMER_S)
            if (early := due - loop.time()) > 0:
                time.sleep(early)
            self._port.write(data)
            self.lateness.add(max(loop.time() - due, behind))
            due += period
            await asyncio.sleep(_GIVE_WAY_S)
            self._follow_up(tick, now)

    def _make(self, now: float) -> tuple[Tick, bytes]:
        """What goes out at this time."""
        self._read(now)
        tick = self.hub.tick(now)
        if tick.recorded is not None:
            self._keeper.tick(tick.recorded)
        return tick, self._session.send_frame(tick.pulses, tick.outputs, now)

    def _follow_up(self, tick: Tick, now: float) -> None:
        """What can wait until the frame is out."""
        self._flight.tick(tick.joints, now)
        self._publish(tick.events)
        self._hear(self._session.tick(now), now)
        if self.hub.ticks % STATUS_EVERY == 0:
            self._look_at_link(now)
        if self._watching and self.hub.ticks % STATE_EVERY == 0:
            state = self.hub.state(now)
            for watcher in tuple(self._watching):
                watcher(state)

    def _read_soon(self) -> None:
        """Bytes have come: read them now, for how long they took is measured."""
        self._read(self._loop.time())

    def _read(self, now: float) -> None:
        if data := self._port.read():
            self._hear(self._session.receive(data, now), now)

    def _hear(self, events: list[Any], now: float) -> None:
        for event in events:
            if isinstance(event, Heard):
                self._publish(self.hub.robot_says(event.telemetry, now))
            elif isinstance(event, Connected | Disconnected):
                self._look_at_link(now)
                if isinstance(event, Connected):
                    self.mismatch = ""
                    self._publish(self.hub.connected(event.welcome, now))
            elif isinstance(event, Keeping | InUse):
                self._publish(self.hub.robot_keeps(event, now))
            elif isinstance(event, Mismatch):
                self.mismatch = event.text
                self._tell(Notice("error", event.text))

    def _look_at_link(self, now: float) -> None:
        s = self._session.status(now)
        view = LinkView(s.up, s.round_trip_s, s.lost_share, s.bytes_s, s.budget_bytes_s, s.together, s.thinned)
        self._publish(self.hub.link_is(view, now))


def _discard(calls: list[Any], call: object) -> None:
    with contextlib.suppress(ValueError):
        calls.remove(call)


def _trouble(text: str) -> Notice:
    return Notice("error", text)


def _user_cache() -> Path:
    import platformdirs

    return Path(platformdirs.user_cache_dir("motionhub", appauthor=False)) / "verdicts"
