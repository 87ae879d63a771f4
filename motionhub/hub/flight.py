"""What the flight recorder notes: lines of :mod:`motionhub.library.flight`, made while the show runs.

A tick costs it an entry in a list; all else is done ten times a second, after the frame is out, and in the thread
that writes. It notes what people asked (Drive as part of the samples, for a held stick says so many times a second),
what was refused, what everybody was told, and what changed the mode; and it says which of these is a fault.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from motionhub.errors import InputError
from motionhub.hub import commands as ask
from motionhub.hub.events import Event, Notice, Refused
from motionhub.hub.faults import RESTARTS
from motionhub.library.flight import FORMAT, TEXT_AT_MOST, TOLD_A_SECOND, FlightWriter, Line

if TYPE_CHECKING:
    from motionhub.hub.core import Hub

Array = NDArray[np.float64]

EVERY = 5
"""Ticks from one sample to the next."""
QUIET_COMMANDS = (ask.Ping, ask.Drive, ask.Posture, ask.Pace)
"""Of these there are many a second: the samples have what they come to."""


class FlightNotes:
    """Turns a show into lines, without I/O.

    Args:
        hub: The show.
        write: Takes each line, and returns at once. ``joints_cdeg`` holds arrays (J,) in rad until :func:`plain`.
    """

    def __init__(self, hub: Hub, write: Callable[[Line], None]) -> None:
        self._hub = hub
        self._write = write
        self._began: float | None = None
        self._ticks: list[Array] = []
        self._mode: str = hub.mode
        self._up = False
        self._second = 0
        self._told = 0

    def header(self, began: datetime) -> Line:
        """The first line of each file."""
        robot = self._hub.robot
        return {
            "format": FORMAT,
            "robot": robot.name,
            "joints": list(robot.joint_names),
            "began": began.isoformat(timespec="milliseconds"),
        }

    def tick(self, joints: Array, now: float) -> None:
        """A tick has been sent; joints (J,) rad."""
        self._ticks.append(joints)
        if len(self._ticks) >= EVERY:
            self._sample(now)

    def _sample(self, now: float) -> None:
        hub = self._hub
        link, battery, holder = hub.link, hub.battery, hub.lease.holder
        if hub.mode != self._mode:
            self._mode = hub.mode
            kind = "fault" if hub.mode == "fault" else "mode"
            self._say(kind, f"{hub.mode}: {hub.reason}" if hub.reason else hub.mode, now)
        if self._up and not link.up:
            self._say("fault", "The link to the robot was lost", now)
        self._up = link.up
        ticks, self._ticks = self._ticks, []
        stick = hub.stick if now - hub.stick_at < 0.4 else ask.Drive()
        self._write(
            {
                "t_s": self._at(now),
                "mode": hub.mode,
                "up": link.up,
                "battery_v": _rounded(battery.view.volts, 3),
                "current_a": _rounded(battery.forecast.amps, 2),
                "round_trip_ms": None if link.round_trip_s is None else round(link.round_trip_s * 1e3, 1),
                "lost": round(link.lost_share, 4),
                "bytes_s": round(link.bytes_s),
                "driver": holder.name if holder else "",
                "stick": [round(v, 2) for v in (stick.forward, stick.left, stick.turn)],
                "joints_cdeg": ticks,
            }
        )

    def asked(self, client: str, command: ask.Command, now: float) -> None:
        """Somebody gave a command."""
        if isinstance(command, QUIET_COMMANDS):
            return
        person = self._hub.lease.people.get(client)
        values = " ".join(f"{key} {value}" for key, value in asdict(command).items())
        words = ask.name_of(command).replace("_", " ")
        self._say("asked", f"{person.name if person else client}: {words} {values}".rstrip(), now)

    def heard(self, event: Event, now: float) -> None:
        """The hub said something."""
        if isinstance(event, Refused):
            self._say("refused", f"{event.to.replace('_', ' ')} was refused: {event.text}", now)
        elif isinstance(event, Notice):
            grave = event.level == "error" or event.text in RESTARTS.values()
            self._say("fault" if grave else "told", event.text, now)

    def left(self, now: float) -> None:
        """The show ends as it should."""
        self._second, self._told = -1, 0
        self._say("left", "The hub was ended", now)

    def _say(self, kind: str, text: str, now: float) -> None:
        if (second := int(now)) != self._second:
            self._second, self._told = second, 0
        self._told += 1
        # What matters is not crowded out by somebody who presses a button very often.
        if self._told <= TOLD_A_SECOND or (kind in ("fault", "left") and self._told <= 2 * TOLD_A_SECOND):
            self._write({"t_s": self._at(now), "kind": kind, "text": text[:TEXT_AT_MOST]})

    def _at(self, now: float) -> float:
        if self._began is None:
            self._began = now
        return round(now - self._began, 2)


def plain(line: Line) -> Line:
    """The same line as the file has it: joints in whole hundredths of a degree."""
    if "joints_cdeg" in line:
        joints: Any = np.rint(np.rad2deg(np.array(line["joints_cdeg"])) * 100).astype(np.int64).tolist()
        return {**line, "joints_cdeg": joints}
    return line


class FlightKeeper:
    """A thread that writes lines. A disk that refuses is told of once, and the show goes on without a recorder.

    Args:
        folder: The library's.
        failed: Told in words when the disk refuses, from the thread.
    """

    WAITING_AT_MOST = 3000
    """Lines that may wait for a slow disk: some minutes, a few MB."""

    def __init__(self, folder: Path, header: Line, failed: Callable[[str], None]) -> None:
        self._lines: queue.SimpleQueue[Line | None] = queue.SimpleQueue()
        self._thread = threading.Thread(
            target=self._work, args=(folder, header, failed), name="flight recorder", daemon=True
        )
        self._thread.start()

    def write(self, line: Line) -> None:
        """Returns at once; a line too many for a disk that hangs is left out."""
        if self._lines.qsize() < self.WAITING_AT_MOST:
            self._lines.put(line)

    def close(self) -> None:
        """Write what waits, and end."""
        self._lines.put(None)
        self._thread.join(timeout=5)

    def _work(self, folder: Path, header: Line, failed: Callable[[str], None]) -> None:
        try:
            writer = FlightWriter(folder, header)
            while (line := self._lines.get()) is not None:
                writer.write(plain(line))
            writer.close()
        except (OSError, InputError) as error:
            failed(f"The flight recorder cannot write, and is off: {error}")


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)
