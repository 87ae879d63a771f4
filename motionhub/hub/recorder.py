"""What was asked and what was sent, tick by tick, so that a show can be given again exactly.

Pulses are whole microseconds: that is what the hub sends (a hobby servo does not tell finer ones apart), so
a recording loses nothing and its replay is the same pulses to the microsecond.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Pulses = NDArray[np.int16]

LONGEST_S = 1800.0
"""A recording ends by itself here: half an hour is more than a show, and about 5 MB in memory for twenty joints."""


@dataclass(frozen=True)
class Asked:
    """A command that was taken: on which tick of the recording, by whom, which, and with what values."""

    tick: int
    client: str
    command: str
    values: dict[str, float | str | bool]


@dataclass(frozen=True, eq=False)
class Recorded:
    """A finished recording of T ticks at ``rate_hz``."""

    rate_hz: float
    pulses: Pulses
    """(T, J) µs."""
    outputs: Array
    """(T, O) levels 0..1."""
    asked: tuple[Asked, ...] = ()

    @property
    def duration_s(self) -> float:
        """How long it takes to give it again."""
        return len(self.pulses) / self.rate_hz


@dataclass
class Recorder:
    """Collects a :class:`Recorded`. Bounded; :attr:`full` says when it has ended by itself."""

    rate_hz: float
    _pulses: list[Pulses] = field(default_factory=list)
    _outputs: list[Array] = field(default_factory=list)
    _asked: list[Asked] = field(default_factory=list)

    @property
    def ticks(self) -> int:
        """Ticks so far."""
        return len(self._pulses)

    @property
    def duration_s(self) -> float:
        """Seconds so far."""
        return self.ticks / self.rate_hz

    @property
    def full(self) -> bool:
        """Whether it has reached :data:`LONGEST_S`."""
        return self.duration_s >= LONGEST_S

    def ask(self, client: str, command: str, values: dict[str, float | str | bool]) -> None:
        """Note a command that was taken; it belongs to the tick that comes next."""
        self._asked.append(Asked(self.ticks, client, command, values))

    def send(self, pulses: Array, outputs: Array) -> None:
        """Note what a tick sent: pulses (J,) in whole µs and outputs (O,)."""
        self._pulses.append(pulses.astype(np.int16))
        self._outputs.append(outputs.copy())

    def finish(self) -> Recorded:
        """What has been recorded."""
        return Recorded(
            self.rate_hz, np.array(self._pulses, dtype=np.int16), np.array(self._outputs), tuple(self._asked)
        )
