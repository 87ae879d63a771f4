"""Frames to packet bodies and back: whole, or as differences from one that the robot has acknowledged.

The hub knows from receipts which frames the robot holds; the robot looks them up among the frames it
took. A body whose base is not there is refused, never guessed. So whatever is lost, the next frame can be
read: it leans only on what has certainly arrived, and without such a frame it is sent whole.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from motionhub.errors import InputError
from motionhub.link import differences
from motionhub.link.differences import Held, Ints, Known
from motionhub.link.wire import (
    MAX_JOINTS,
    MAX_OUTPUTS,
    TICK_S,
    DamagedError,
    Frame,
    Key,
    Kind,
    Packet,
    pack_pulses,
    seal,
    unpack_pulses,
)
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

Array = NDArray[np.float64]
BLOCK = 4096
"""Rows measured at once, to keep what is needed in between small."""
_SEVERAL = (Kind.DIFFERENCE, Kind.TWO, Kind.THREE)
"""By how many frames they carry, less one."""
_WORTH = 12
"""Bytes that each frame more is worth: one whole frame instead of several would save less than it loses."""

WAYS = ((1, 1), (2, 1), (3, 1), (2, 2), (3, 2))
"""How frames may share packets, each way needing less of the radio than the one before it: how many in a packet,
and how many ticks from one to the next. With two ticks every second frame is left out."""
BITS = 10
"""Of a byte on the line, 8N1."""
ROUND_TRIP_S = 0.06
"""What :func:`frame_bytes` supposes of the radio (practice: hobby radios take 20 to 60 ms there and back)."""


def encode(
    number: int, frames: Sequence[Frame], base: int | None = None, held: Held = lambda _: None, step: int = 1
) -> bytes:
    """Body of the packet that carries ``frames``, the last of them as number ``number``.

    Where there is nothing to lean on, or leaning does not pay, the last frame goes whole and the others not at all:
    the robot draws the way to it out over their ticks.

    Args:
        number: Of the last frame's tick.
        frames: One to three, oldest first; a limp one goes alone.
        base: Number of the newest frame that the robot is known to hold, if any.
        held: Finds such frames.
        step: Ticks from one frame to the next, 1 or 2.
    """
    last = frames[-1]
    if last.pulses is None:
        return bytes((Kind.LIMP << 4, number & 255, *last.outputs))
    full = bytes((Kind.FULL << 4, number & 255, *last.outputs)) + pack_pulses(last.pulses)
    rest = differences.encode(frames, number, step, base, held) if base is not None else None
    if rest is None or base is None or len(rest) + 2 >= len(full) + (len(frames) - 1) * _WORTH:
        return full
    back = number - (len(frames) - 1) * step - base
    return bytes((_SEVERAL[len(frames) - 1] << 4 | back, number & 255)) + rest


def decode(
    packet: Packet, number: int, joints: int, outputs: int, held: Held = lambda _: None
) -> list[tuple[int, Frame]]:
    """Undo :func:`encode`: each frame with its number, oldest first. ``held`` finds a frame that was taken.

    Raises:
        DamagedError: if it is not made like such a frame, or leans on one that was not taken.
    """
    body = packet.body
    if packet.kind in _SEVERAL:
        count = _SEVERAL.index(packet.kind) + 1
        return differences.decode(body[2:], number, packet.low, count, joints, outputs, held)
    if packet.low or len(body) < 2 + outputs:
        raise DamagedError("expected a frame's own length and low bits")
    levels, rest = tuple(body[2 : 2 + outputs]), body[2 + outputs :]
    if packet.kind == Kind.LIMP:
        if rest:
            raise DamagedError("expected no pulses in a limp packet")
        return [(number, Frame(None, levels))]
    return [(number, Frame(unpack_pulses(rest, joints), levels))]


def whole(body: bytes) -> bool:
    """Whether a body carries one frame, and that by itself."""
    return body[0] >> 4 in (Kind.FULL, Kind.LIMP)


def make_frame(pulses: ArrayLike | None, outputs: ArrayLike) -> Frame:
    """Round what the hub means to what the wire carries.

    Args:
        pulses: (J,) in µs, 0 for no pulse, or ``None`` for limp.
        outputs: (O,) levels, 0 to 1; held within that, and 0 for NaN.

    Raises:
        ValueError: for a pulse that twelve bits cannot carry, NaN included.
    """
    # fmax takes the number of the two where the other is NaN.
    levels = np.rint(np.minimum(np.fmax(np.asarray(outputs, dtype=np.float64), 0.0), 1.0) * 255)
    outs = tuple(map(int, levels.tolist()))
    if pulses is None:
        return Frame(None, outs)
    widths = np.rint(np.asarray(pulses, dtype=np.float64))
    if not ((widths >= 0) & (widths <= 4095)).all():
        raise ValueError("expected pulses of 0 to 4095 µs")
    return Frame(tuple(map(int, widths.tolist())), outs)


def require_room(robot: Robot) -> None:
    """Refuse a robot with more joints or outputs than a packet has room for.

    Raises:
        InputError: naming the robot file.
    """
    for place, found, most in (
        ("joints", robot.joints, MAX_JOINTS),
        ("outputs", len(robot.outputs), MAX_OUTPUTS),
    ):
        if found > most:
            raise InputError(robot.source, place, f"expected at most {most} on one link, found {found}")


def frame_bytes(robot: Robot, calibration: Calibration, rate_hz: float) -> Callable[[ArrayLike], Array]:
    """How many bytes each frame of a move takes on the wire, all in, as the hub would send it.

    Frames go one by one where the robot's radio carries that, else in the first of :data:`WAYS` that it carries in
    every second of the move (what a packet takes is then shared evenly by its frames, and frames that are
    left out take nothing), or in the last.

    Returns:
        A function from pulses (T, J) in µs to bytes (T,), for frames sent one after the other at
        ``rate_hz``, outputs steady, nothing lost, and acknowledged after :data:`ROUND_TRIP_S`.
    """
    budget = robot.link.baud / BITS * robot.link.share
    window = max(round(rate_hz), 1)

    def measure(pulses: ArrayLike) -> Array:
        found = np.zeros(0)
        for together, step in WAYS:
            found = packet_bytes(robot, calibration, rate_hz, together, step)(pulses)
            sums = np.cumsum(np.concatenate([[0.0], found]))
            busiest = (sums[window:] - sums[:-window]).max() if len(found) >= window else sums[-1]
            if busiest * rate_hz / window <= budget:
                break
        return found

    return measure


def packet_bytes(
    robot: Robot, calibration: Calibration, rate_hz: float, together: int = 1, step: int = 1
) -> Callable[[ArrayLike], Array]:
    """As :func:`frame_bytes` for one way of sharing packets: ``together`` frames, ``step`` rows of the move apart."""
    require_room(robot)
    every = max(round(1 / (rate_hz * TICK_S)), 1)
    outputs = (0,) * len(robot.outputs)
    whole = encode(1, [Frame((1500,) * robot.joints, outputs)])
    around = len(seal(whole, Key(0, 0).bytes_for(1))) - len(whole)

    def measure(pulses: ArrayLike) -> Array:
        rows = np.ascontiguousarray(np.rint(np.asarray(pulses, dtype=np.float64).T).astype(np.int32))
        count = rows.shape[1]
        sizes = np.full(count, float(len(whole) + around))
        own = _Packets(rows, every, together, step, len(whole))
        for at in range(0, count, own.reach * BLOCK):
            lasts = np.arange(at + own.reach - 1, min(at + own.reach * BLOCK, count), own.reach)
            if not lasts.size:
                break
            # What is over at the end goes as the last packet did.
            shares = np.repeat((own.bytes(lasts) + around) / together, own.reach)
            over = np.resize(shares[-own.reach :], own.reach - 1)
            part = np.concatenate([shares, over])[: count - at]
            sent = np.arange(at, at + len(part)) % step == step - 1
            sizes[at : at + len(part)] = np.where(sent, part, 0.0)
        return sizes

    return measure


class _Packets:
    """Sizes of many packets at once, as :func:`differences.encode` writes them.

    Rows are (J, T), a joint's pulses one after the other, with ``every`` ticks between.
    """

    def __init__(self, rows: Ints, every: int, together: int, step: int, whole: int) -> None:
        self.rows, self.every, self.together, self.step, self.whole = rows, every, together, step, whole
        self.reach = together * step
        # The newest frame that can be acknowledged by now came in a packet that ended a whole round trip ago.
        trip = math.ceil(ROUND_TRIP_S / (every * TICK_S)) + 1
        self.behind = -(-trip // self.reach) * self.reach

    def bytes(self, lasts: NDArray[np.intp]) -> Array:
        """Bytes of the bodies of the packets that end with these rows."""
        firsts = lasts - (self.together - 1) * self.step
        base = lasts - self.behind
        back = (self.behind - (self.together - 1) * self.step) * self.every
        ticks = self.step * self.every
        if back > differences.MOST_BACK or ticks > 2:
            return np.full(len(lasts), float(self.whole))
        least = np.full(len(lasts), 1 << 20)
        for span in range(differences.SPANS + 1):
            gap = span // self.every
            if span % self.every or gap % self.step:
                continue
            bits = self._with(firsts, base, back, ticks, gap, span)
            least = np.minimum(least, np.where(base >= 2 * gap, bits, 1 << 20))
        head = 2 * 8 + (1 if self.together > 1 else 0)
        sizes = np.minimum((least + head + 7) // 8, self.whole + (self.together - 1) * _WORTH)
        return np.asarray(sizes, dtype=np.float64)

    def _with(
        self, firsts: NDArray[np.intp], base: NDArray[np.intp], back: int, ticks: int, gap: int, span: int
    ) -> Ints:
        under = [np.maximum(base - i * gap, 0) for i in range(3 if span else 1)]
        known = Known(tuple(self._at(at) for at in under), (span, span) if span else ())
        total = np.full(len(firsts), differences.FIRST_HEAD + (self.together - 1) * differences.LATER_HEAD)
        for i in range(self.together):
            row = self._at(firsts + i * self.step)
            away = back if i == 0 else ticks
            # With mode 0 it does not matter what else is known.
            left = row - (known.ahead(away) if span and not i else known.foretold(away))
            total = total + differences.fewest_bits(left).min(axis=0)
            known = known.after(row, back if i == 0 else ticks)
        return total

    def _at(self, places: NDArray[np.intp]) -> Ints:
        """The rows' pulses (J, N) at evenly spread places; without a copy, but where a move's start is in the way."""
        first, last = int(places[0]), int(places[-1])
        if last - first == (len(places) - 1) * self.reach:
            return self.rows[:, first : last + 1 : self.reach]
        return self.rows[:, places]
