"""Frames as what a curve through earlier frames does not foretell.

**The curve.** For a frame n ticks after the newest one known, with pulses x2 there, x1 h1 ticks before it and
x0 another h0 ticks before, Newton's divided differences, in sixteenths of a microsecond a tick::

    d1 = (x2 - x1)·R[h1] >> 12      d0 = (x1 - x0)·R[h0] >> 12      R[h] = min(65536 // h, 65535)
    c  = clip(d1 - d0, ±8191)·G >> 8      G = clip(n·(n + h1)·R[h0 + h1] >> 8, 0..65535)

    mode 0: x2     mode 1: x2 + (n·d1 + 8 >> 4)     mode 2: … n·d1 + (c >> 1) + 8 …     mode 3: … n·d1 + c + 8 …

held within 0 to 4095; >> rounds down, also below zero. All of it fits 32 bits, and a chip needs three
multiplications a joint and no division.

**What it leans on.** The first frame of a packet on frames that the robot is known to have: the base, ``back``
ticks before, and where ``span`` is not 0 those span and twice span before the base. Each further frame of the
packet leans on the three before it in the line (those of the packet, then the base, then the one span before).

**What is left**, r, is small and often zero. It is written as a Rice code (Rice & Plaunt, IEEE Trans. Comm. 19,
1971): m = 2r for r >= 0, else -2r - 1; then m >> k ones, a zero, and the low k bits of m. k = 7 says that nothing
is left on any joint, and no codes follow. From twelve ones on the code is m itself in thirteen bits, without
a zero between, so a joint takes 25 bits at most. The sender tries every k and every curve, and takes the shortest.

**Bits** fill each byte from its lowest; zeros fill the last. In a packet of several frames first whether they
are two ticks apart rather than one (1). Then each frame: mode (2), of the first one also span (2), k (3),
whether outputs changed (1), then if they did the outputs (O × 8), then each joint's code.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motionhub.link.wire import DamagedError, Frame

Ints = NDArray[np.signedinteger[Any]]
Held = Callable[[int], Frame | None]
"""Finds a frame that the robot holds, by its number."""

SPANS = 3
MOST_BACK = 15
"""As far as the four bits in a packet's first byte reach."""
MOST_TOGETHER = 3
"""Frames in one packet."""
MODES = 4
FIRST_HEAD, LATER_HEAD = 8, 6
"""Bits before a frame's outputs."""
LONGEST = 12
"""Ones that say the number follows as it is."""
PLAIN = 13
NOTHING_LEFT = 7
MOST_PULSE = 4095
_KS = np.arange(NOTHING_LEFT, dtype=np.int16)[:, None]
_ONE, _PLAIN_BITS = np.int16(1), np.int16(LONGEST + PLAIN)


@dataclass(frozen=True)
class Known:
    """What a frame leans on: up to three earlier frames, newest first, and the ticks from each to the next."""

    rows: tuple[Ints, ...]
    """Pulses (…, J) each."""
    gaps: tuple[int, ...]
    """From the newest to the second, and from there to the third."""

    @property
    def modes(self) -> int:
        """How many of the modes there are."""
        return {1: 1, 2: 2, 3: MODES}[len(self.rows)]

    def after(self, row: Ints, ticks: int) -> Known:
        """What the next frame leans on, when this one's pulses are known too, ``ticks`` after the newest."""
        return Known((row, *self.rows[:2]), (ticks, *self.gaps[:1]))

    def foretold(self, ticks: int) -> Ints:
        """Pulses of every mode (modes, …, J), ``ticks`` after the newest."""
        newest = self.rows[0].astype(np.int32)
        if len(self.rows) == 1:
            return newest[None]
        return np.concatenate([newest[None], self.ahead(ticks)])

    def ahead(self, ticks: int) -> Ints:
        """The same of all modes but the first, which leans on the newest frame alone; (modes - 1, …, J)."""
        newest = self.rows[0].astype(np.int32, copy=False)
        gap = self.gaps[0]
        slope = (newest - self.rows[1]) * _share(gap) >> 12
        found = np.empty((self.modes - 1, *newest.shape), dtype=np.int32)
        np.multiply(slope, ticks, out=found[0])
        if len(self.rows) == 3:
            before = (self.rows[1].astype(np.int32, copy=False) - self.rows[2]) * _share(self.gaps[1]) >> 12
            weight = min(ticks * (ticks + gap) * _share(gap + self.gaps[1]) >> 8, 65535)
            bend = slope - before
            np.maximum(bend, -8191, out=bend)
            np.minimum(bend, 8191, out=bend)
            bend *= weight
            bend >>= 8
            np.add(found[0], bend, out=found[2])
            bend >>= 1
            np.add(found[0], bend, out=found[1])
        found += 8
        found >>= 4
        found += newest
        np.maximum(found, 0, out=found)
        return np.minimum(found, MOST_PULSE, out=found)


def _share(ticks: int) -> int:
    """One tick's share, in 65536ths; what two bytes hold."""
    return min(65536 // ticks, 65535)


def zigzag(left: Ints) -> Ints:
    """Make 0, -1, 1, -2, … into 0, 1, 2, 3 and so on."""
    found: Ints = np.where(left >= 0, 2 * left, -2 * left - 1)
    return found


def cost(m: Ints) -> tuple[Ints, Ints]:
    """Bits that the codes of ``m`` (…, J) take, and the k that needs fewest; both (…)."""
    small = m.astype(np.int16)  # two pulses of 4095 µs at most differ by 8190 when folded
    ones = small[..., None, :] >> _KS
    bits = np.where(ones < LONGEST, ones + _KS + _ONE, _PLAIN_BITS).sum(axis=-1, dtype=np.int32)
    none = ~small.any(axis=-1)
    return np.where(none, 0, bits.min(axis=-1)), np.where(none, NOTHING_LEFT, bits.argmin(axis=-1))


_FIELD, _SUMMED = 9, 20
"""Bits for each sum, and joints that are summed at a time: 20 codes of 25 bits fit, and seven sums in one number."""


@cache
def _table() -> NDArray[np.int64]:
    """For every difference from -:data:`MOST_PULSE` on, the bits of its code for every k, packed side by side so
    that one sum over joints adds each up.
    """
    m = zigzag(np.arange(-MOST_PULSE, MOST_PULSE + 1)).astype(np.int64)
    ks = np.arange(NOTHING_LEFT)[:, None]
    ones = m >> ks
    bits = np.where(ones < LONGEST, ones + ks + 1, LONGEST + PLAIN)
    found: NDArray[np.int64] = np.bitwise_or.reduce(bits << (_FIELD * ks))
    return found


def fewest_bits(left: Ints) -> Ints:
    """Bits that the codes of differences (…, J, T) take with the best k, (…, T): :func:`cost` for T frames at once."""
    table, joints = _table(), left.shape[-2]
    place, mask = left + np.intp(MOST_PULSE), (1 << _FIELD) - 1
    fields: list[Ints] = []
    for some in range(0, joints, _SUMMED):
        total = np.take(table, place[..., some, :])
        for j in range(some + 1, min(some + _SUMMED, joints)):
            total += np.take(table, place[..., j, :])
        sums = [(total >> (_FIELD * k)) & mask for k in range(NOTHING_LEFT)]
        fields = [a + b for a, b in zip(fields, sums, strict=True)] if fields else sums
    least = fields[0]
    for field in fields[1:]:
        least = np.minimum(least, field)
    # With k = 0 what is nothing takes one bit, and anything else more.
    found: Ints = np.where(fields[0] == joints, 0, least)
    return found


def _leans(number: int, base: int, held: Held) -> list[tuple[int, Known]]:
    """Everything that the first frame of a packet may lean on, by span."""

    def pulses(at: int) -> Ints | None:
        frame = held(at) if at > 0 else None
        return None if frame is None or frame.pulses is None else np.array(frame.pulses, dtype=np.int32)

    newest = pulses(base)
    if newest is None or not 1 <= number - base <= MOST_BACK:
        return []
    found = [(0, Known((newest,), ()))]
    for span in range(1, SPANS + 1):
        second = pulses(base - span)
        if second is None:
            continue
        third = pulses(base - 2 * span)
        if third is None:
            found.append((span, Known((newest, second), (span,))))
        else:
            found.append((span, Known((newest, second, third), (span, span))))
    return found


def encode(frames: Sequence[Frame], number: int, step: int, base: int, held: Held) -> bytes | None:
    """The bytes after a packet's number, or nothing where the base is of no use.

    Args:
        frames: One to three with pulses, ``step`` ticks apart, oldest first.
        number: Of the last one.
        step: 1 or 2.
        base: Number of the frame to lean on, 1 to 15 before the first one.
        held: Finds frames that the robot is known to hold, by number.
    """
    first = number - (len(frames) - 1) * step
    leans = _leans(first, base, held)
    under = held(base)
    if not leans or under is None:
        return None
    out = _Writer()
    if len(frames) > 1:
        out.put(step - 1, 1)
    wanted = [np.array(frame.pulses, dtype=np.int32) for frame in frames]
    outputs = under.outputs
    best = min(
        (int(bits), span, mode, int(k), i)
        for i, (span, known) in enumerate(leans)
        for mode, (bits, k) in enumerate(zip(*cost(zigzag(wanted[0] - known.foretold(first - base))), strict=True))
        if span or not mode
    )
    _, span, mode, k, which = best
    out.put(mode, 2)
    out.put(span, 2)
    known = leans[which][1]
    left = zigzag(wanted[0] - known.foretold(first - base)[mode])
    out.frame(k, left, frames[0].outputs, outputs)
    known = known.after(wanted[0], first - base)
    outputs = frames[0].outputs
    for frame, row in zip(frames[1:], wanted[1:], strict=True):
        every = zigzag(row - known.foretold(step))
        bits, ks = cost(every)
        mode = int(bits.argmin())
        out.put(mode, 2)
        out.frame(int(ks[mode]), every[mode], frame.outputs, outputs)
        known, outputs = known.after(row, step), frame.outputs
    return out.bytes()


def decode(
    data: bytes, number: int, back: int, count: int, joints: int, outputs: int, held: Held
) -> list[tuple[int, Frame]]:
    """Undo :func:`encode`: each frame with its number, oldest first.

    Raises:
        DamagedError: if a frame it leans on is not held, or the bits are not those of frames.
    """
    bits = _Reader(data)
    step = bits.take(1) + 1 if count > 1 else 1
    first = number - (count - 1) * step
    mode, span = bits.take(2), bits.take(2)
    leans = dict(_leans(first, first - back, held)) if back else {}
    under = held(first - back) if first > back else None
    known = leans.get(span)
    if known is None or under is None:
        raise DamagedError("expected differences from a frame that was taken")
    levels, ticks = under.outputs, back
    found = []
    for i in range(count):
        if i:
            mode = bits.take(2)
        if mode >= known.modes:
            raise DamagedError("expected a curve through frames that were taken")
        line = known.foretold(ticks)[mode].tolist()
        k, changed = bits.take(3), bits.take(1)
        if changed:
            levels = tuple(bits.take(8) for _ in range(outputs))
        if k != NOTHING_LEFT:
            for joint in range(joints):
                m = bits.code(k)
                line[joint] += -(m + 1 >> 1) if m & 1 else m >> 1
        if not all(0 <= pulse <= MOST_PULSE for pulse in line):
            raise DamagedError("expected pulses of 0 to 4095 µs")
        found.append((first + i * step, Frame(tuple(line), levels)))
        known = known.after(np.array(line, dtype=np.int32), ticks)
        ticks = step
    bits.finish()
    return found


class _Writer:
    def __init__(self) -> None:
        self._value = self._width = 0

    def put(self, value: int, width: int) -> None:
        self._value |= value << self._width
        self._width += width

    def frame(self, k: int, left: Ints, outputs: tuple[int, ...], before: tuple[int, ...]) -> None:
        """All of a frame behind its mode and span; ``left`` is folded."""
        changed = outputs != before
        self.put(k, 3)
        self.put(int(changed), 1)
        for level in outputs if changed else ():
            self.put(level, 8)
        for m in left.tolist() if k != NOTHING_LEFT else ():
            if m >> k < LONGEST:
                self.put((1 << (m >> k)) - 1, (m >> k) + 1)
                self.put(m & ((1 << k) - 1), k)
            else:
                self.put((1 << LONGEST) - 1, LONGEST)
                self.put(m, PLAIN)

    def bytes(self) -> bytes:
        return self._value.to_bytes((self._width + 7) // 8, "little")


class _Reader:
    def __init__(self, data: bytes) -> None:
        self._value, self._left = int.from_bytes(data, "little"), 8 * len(data)

    def take(self, width: int) -> int:
        if width > self._left:
            raise DamagedError("expected more bits")
        value = self._value & ((1 << width) - 1)
        self._value >>= width
        self._left -= width
        return value

    def code(self, k: int) -> int:
        ones = 0
        while ones < LONGEST and self.take(1):
            ones += 1
        return self.take(PLAIN) if ones == LONGEST else ones << k | self.take(k)

    def finish(self) -> None:
        if self._left >= 8 or self._value:
            raise DamagedError("expected zeros to the end of the last byte")
