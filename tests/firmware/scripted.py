"""A hub in scripted time at the other end of the emulated chip's wire: no clock, so as fast as the emulator goes."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from chip import CLOCK, PERIOD, Chip

from motionhub.link.kept import export
from motionhub.link.session import Event, LinkSession

Pulses = Sequence[int] | None


def rest_pulses(chip: Chip) -> tuple[int, ...]:
    """Of the rest pose, as the robot has them."""
    made = export(chip.robot, chip.program.calibration)
    records = made.records(made.image)
    assert records is not None
    return made.limits(records).rest


class Hub:
    """Sends one frame a tick and hears the answers, through a radio that may do anything to the bytes.

    Args:
        chip: The far end.
        phase: Cycles after the start of each of the hub's ticks at which its frame begins to go out.
        radio: What becomes of the bytes on their way to the robot.
        back: What becomes of those on their way to the hub.
        delay: Of each direction, in cycles.
    """

    def __init__(
        self,
        chip: Chip,
        radio: Callable[[bytes], bytes] = bytes,
        back: Callable[[bytes], bytes] = bytes,
        delay: int = 0,
        session: int = 77,
    ) -> None:
        self.chip, self.radio, self.back, self.delay = chip, radio, back, delay
        self.session = LinkSession(chip.robot, session)
        self.events: list[Event] = []
        self.sent: list[tuple[int, ...] | None] = []
        """Pulses of every frame that was sent, by its number in the session; the first is number 1."""
        self.said = bytearray()
        """Every byte that the robot sent."""
        self._tick = -(-chip.cycle // PERIOD)
        self._late: list[tuple[int, bytes]] = []

    @property
    def now(self) -> float:
        return self.chip.cycle / CLOCK

    def tick(self, pulses: Pulses, outputs: Sequence[float] = (), extra: Callable[[int], bytes] | None = None) -> None:
        """One tick: a frame, then whatever else is to be on the wire (told how many bytes fit), then time for it."""
        start = self._tick * PERIOD
        self._tick += 1
        self.chip.run(start)
        self.hear()
        before = self.session.number
        levels = np.zeros(len(self.chip.robot.outputs)) if not len(outputs) else np.asarray(outputs)
        data = self.session.send_frame(pulses, levels, self.now)
        if self.session.number != before:
            self.sent.append(None if pulses is None else tuple(pulses))
        data = self.radio(data)
        if extra is not None:
            data += extra(PERIOD // self.chip.program.byte_cycles - len(data))
        if data:
            self.chip.feed(data, start + self.delay)
        self.chip.run(start + PERIOD // 2)
        self.hear()

    def feed(self, data: bytes) -> None:
        """One tick in which these bytes are on the wire, and the time for them."""
        start = self._tick * PERIOD
        self._tick += 1
        self.chip.run(start)
        self.hear()
        over = self.chip.feed(data, start)
        self._tick = max(self._tick, over // PERIOD + 1)
        # A packet that ends with the tick is not worked out yet.
        self.chip.run(self._tick * PERIOD + PERIOD // 4)
        self.hear()

    def quiet(self, ticks: int) -> None:
        """Ticks in which nothing is sent."""
        self._tick += ticks
        self.chip.run(self._tick * PERIOD)
        self.hear()

    def hear(self) -> None:
        data = self.chip.said_bytes()
        self.said += data
        if data := self.back(data):
            self._late.append((self.chip.cycle + self.delay, data))
        while self._late and self._late[0][0] <= self.chip.cycle:
            self.events += self.session.receive(self._late.pop(0)[1], self.now)
        self.events += self.session.tick(self.now)
