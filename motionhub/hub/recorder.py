"""What was asked and what was sent, tick by tick, so that a show can be given again exactly.

Pulses are whole microseconds: that is what the hub sends (a hobby servo does not tell finer ones apart), so
a recording loses nothing and its replay is the same pulses to the microsecond. The ticks go out as they are
made: whoever runs the hub keeps them, on a disk or in a list.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import NDArray

from motionhub.hub.commands import Command, Ping, RecordStart, RecordStop, name_of
from motionhub.library.recording import Asked

Array = NDArray[np.float64]

LONGEST_S = 1800.0
"""A recording ends by itself here: half an hour is more than a show, and a file of about 10 MB."""


@dataclass(frozen=True, eq=False)
class RecordedTick:
    """One tick of a recording."""

    pulses: Array
    """(J,) whole µs."""
    outputs: Array
    """(O,) levels 0..1."""
    asked: tuple[Asked, ...]
    """The commands that were taken since the tick before."""


class Recorder:
    """One recording in the making: counts its ticks, and gathers what is asked between them."""

    def __init__(self, rate_hz: float) -> None:
        self._rate_hz = rate_hz
        self._asked: list[Asked] = []
        self.ticks = 0
        """Ticks so far."""
        self.ended = ""
        """Why it has ended by itself and takes no more; empty while it goes on."""

    @property
    def duration_s(self) -> float:
        """Seconds so far."""
        return self.ticks / self._rate_hz

    def ask(self, client: str, command: Command) -> None:
        """Note a command that was taken; it belongs to the tick that comes next."""
        if not self.ended and not isinstance(command, Ping | RecordStart | RecordStop):
            self._asked.append(Asked(self.ticks, client, name_of(command), asdict(command)))

    def send(self, pulses: Array, outputs: Array) -> RecordedTick | None:
        """What to keep of a tick that sends pulses (J,) and outputs (O,); None once it has ended."""
        if self.ended:
            return None
        made = RecordedTick(pulses, outputs, tuple(self._asked))
        self._asked = []
        self.ticks += 1
        if self.duration_s >= LONGEST_S:
            self.end(f"it is {LONGEST_S / 60:g} minutes long")
        return made

    def end(self, why: str) -> None:
        """Take no more; what there is can still be kept."""
        self.ended = self.ended or why
