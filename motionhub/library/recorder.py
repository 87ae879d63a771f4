"""A recording in the making, on the disk as it grows: a crash loses at most the last second."""

from __future__ import annotations

import contextlib
import os
import secrets
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path
from typing import IO

from numpy.typing import ArrayLike

from motionhub.library.atomic import PART, hold, make_folder
from motionhub.library.names import checked
from motionhub.library.recording import AskedLine, Lines, header_of, rescue
from motionhub.library.shelf import Shelf, unsaved
from motionhub.robot.model import Robot

FLUSH_S = 1.0
"""Seconds of recording between writes to the disk."""


class RecordingWriter:
    """Takes ticks, keeps them on the disk, and ends as a named recording or as nothing.

    Raises:
        InputError: from every method, if the disk refuses; ticks already written stay where they are.
    """

    def __init__(self, shelf: Shelf, robot: Robot, rate_hz: float) -> None:
        made = datetime.now().astimezone().isoformat(timespec="seconds")
        self._shelf = shelf
        self._lines = Lines(header_of(robot, rate_hz, made))
        self._every = max(1, round(FLUSH_S * rate_hz))
        self._waiting: list[str] = []
        self._part = shelf.folder / f".recording-{secrets.token_hex(6)}{PART}"
        try:
            make_folder(shelf.folder)
            self._file: IO[bytes] = self._part.open("xb")
            hold(self._file, wait=True)
            self._write(self._lines.first())
        except OSError as error:
            raise unsaved(self._part, error) from None

    @property
    def ticks(self) -> int:
        """Ticks so far."""
        return self._lines.ticks

    def tick(self, pulses: ArrayLike, levels: ArrayLike, asked: Iterable[AskedLine] = ()) -> None:
        """Add a tick: pulses (J,) in µs and levels (O,) as sent, and what was asked for since the one before."""
        self._waiting.append(self._lines.tick(pulses, levels, asked))
        if len(self._waiting) >= self._every:
            self.flush()

    def flush(self) -> None:
        """Put on the disk what is still in memory. Takes as long as the disk does: not for the tick's own thread."""
        text, self._waiting = "".join(self._waiting), []
        try:
            self._write(text)
        except OSError as error:
            raise unsaved(self._part, error) from None

    def finish(self, name: str) -> Path:
        """End it, and give it its name."""
        checked(name)
        self.flush()
        try:
            self._write(self._lines.last())
        except OSError as error:
            raise unsaved(self._part, error) from None
        path = self._shelf.take_in(self._part, name)
        self._file.close()
        return path

    def discard(self) -> None:
        """End it, and keep nothing."""
        self._file.close()
        with contextlib.suppress(OSError):
            self._part.unlink()

    def _write(self, text: str) -> None:
        self._file.write(text.encode())
        self._file.flush()
        os.fsync(self._file.fileno())


def rescue_all(shelf: Shelf) -> list[str]:
    """Make recordings of what crashes left behind; the names given to them.

    Files that a living process is still writing are left alone.
    """
    found = []
    for part in sorted(shelf.folder.glob(f".recording-*{PART}")):
        with contextlib.suppress(OSError), part.open("r+b") as file:
            if not hold(file, wait=False):
                continue
            text = rescue(file.read().decode("utf-8", "replace"))
            if text is not None:
                moment = datetime.fromtimestamp(part.stat().st_mtime).strftime("%Y-%m-%d %H-%M-%S")
                name = f"rescued {moment} {part.stem[-4:]}"
                shelf.write(name, text)
                found.append(name)
            part.unlink()
    return found
