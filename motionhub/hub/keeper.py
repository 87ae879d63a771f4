"""Keeping what a show writes: recordings as they grow, the calibration, how far a bring-up has come.

In a thread of its own, for a disk may take longer than a tick; and in one alone, so that what was measured later is
also what is on the disk last.
"""

from __future__ import annotations

import queue
import threading
from collections.abc import Callable

from motionhub.errors import InputError
from motionhub.hub.recorder import RecordedTick
from motionhub.library.notebook import Notebook
from motionhub.library.recorder import RecordingWriter
from motionhub.library.recording import AskedLine
from motionhub.library.store import Library
from motionhub.robot.calibration import Calibration

_Job = Callable[[], None]


class Keeper:
    """Writes what it is given, in that order. All calls return at once.

    Args:
        library: Where they go.
        rate_hz: Ticks a second.
        failed: Told in words when the disk refuses, from the keeper's thread.
    """

    def __init__(self, library: Library, rate_hz: float, failed: Callable[[str], None]) -> None:
        self._library = library
        self._rate_hz = rate_hz
        self._failed = failed
        self._jobs: queue.SimpleQueue[_Job | None] = queue.SimpleQueue()
        self._writer: RecordingWriter | None = None
        self._thread = threading.Thread(target=self._work, name="keeper", daemon=True)
        self._thread.start()

    def begin(self) -> None:
        """A recording begins; one that was not kept is discarded."""
        self._jobs.put(self._begin)

    def tick(self, made: RecordedTick) -> None:
        """One tick of it."""
        self._jobs.put(lambda: self._tick(made))

    def keep(self, name: str, done: Callable[[str], None]) -> None:
        """It ends, under this name. ``done`` is told, from the keeper's thread, why it could not be kept, if so."""
        self._jobs.put(lambda: done(self._keep(name)))

    def keep_calibration(self, calibration: Calibration, done: Callable[[str], None]) -> None:
        """What is known of the machine has changed; ``done`` as in :meth:`keep`."""
        self._jobs.put(lambda: done(self._keep_calibration(calibration)))

    def keep_bringup(self, notebook: Notebook, calibration: Calibration | None, done: Callable[[str], None]) -> None:
        """How far a bring-up has come, and the calibration when it has changed; ``done`` as in :meth:`keep`."""
        self._jobs.put(lambda: done(self._keep_bringup(notebook, calibration)))

    def close(self) -> None:
        """Write what is left, and end. A recording in the making is left for the library to rescue."""
        self._jobs.put(None)
        self._thread.join(timeout=5)

    # ---------------------------------------------------------------- the thread

    def _work(self) -> None:
        while (job := self._jobs.get()) is not None:
            try:
                job()
            except InputError as error:
                self._writer = None  # what is on the disk stays there, and is rescued at the next start
                self._failed(str(error))
        if self._writer is not None:
            try:
                self._writer.flush()
            except InputError as error:
                self._failed(str(error))

    def _keep_calibration(self, calibration: Calibration) -> str:
        try:
            self._library.save_calibration(calibration)
        except InputError as error:
            return str(error)
        return ""

    def _keep_bringup(self, notebook: Notebook, calibration: Calibration | None) -> str:
        if calibration is not None and (refused := self._keep_calibration(calibration)):
            return refused
        try:
            self._library.save_notebook(notebook)
        except InputError as error:
            return str(error)
        return ""

    def _begin(self) -> None:
        self._drop()
        self._writer = self._library.record(self._rate_hz)

    def _drop(self) -> None:
        writer, self._writer = self._writer, None
        if writer is not None:
            writer.discard()

    def _tick(self, made: RecordedTick) -> None:
        if self._writer is not None:
            asked = [AskedLine(by=a.client, command=a.command, values=a.values) for a in made.asked]
            self._writer.tick(made.pulses, made.outputs, asked)

    def _keep(self, name: str) -> str:
        if self._writer is None:
            return "the recording could not be written"
        writer, self._writer = self._writer, None
        try:
            writer.finish(name)
        except InputError as error:
            return str(error)
        return ""
