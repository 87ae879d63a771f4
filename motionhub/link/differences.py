"""A frame as what a straight line through two earlier frames does not foretell.

With pulses B of the base, ``back`` ticks before, and P of the frame ``span`` ticks before that one::

    foretold = B + (B - P)·back / span        division toward zero, then held within 0 to 4095
    span 0:    foretold = B

What is left, r, is small and often zero. It is written as a Rice code (Rice & Plaunt, IEEE Trans. Comm. 19,
1971): m = 2r for r >= 0, else -2r - 1; then m >> k ones, a zero, and the low k bits of m. The sender tries
every k and every span whose frames the robot is known to hold, and takes the shortest.

Bits fill each byte from its lowest: span (2), k (3), whether outputs changed (1), then if they did the
outputs (O × 8), then each joint's code; zeros fill the last byte. k = 7 says that nothing is left on any
joint, and no codes follow. From twelve ones on the code is m itself in thirteen bits, without a zero
between, so a joint takes 25 bits at most and a chip reads a frame in bounded time with shifts, one multiplication
and one division by 1, 2 or 3 a joint.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motionhub.link.wire import DamagedError, Frame

Ints = NDArray[np.signedinteger[Any]]

SPANS = 3
MOST_BACK = 15
"""As far as the four bits in a packet's first byte reach."""
HEAD = 6
"""Bits before the outputs."""
LONGEST = 12
"""Ones that say the number follows as it is."""
PLAIN = 13
NOTHING_LEFT = 7
_KS = np.arange(NOTHING_LEFT, dtype=np.int16)[:, None]
_ONE, _PLAIN_BITS = np.int16(1), np.int16(LONGEST + PLAIN)


def foretold(base: Ints, earlier: Ints | None, back: int, span: int) -> Ints:
    """Pulses that the line through two frames gives ``back`` ticks after the base; shapes broadcast."""
    if earlier is None:
        return base
    ahead = (base - earlier) * back
    # Toward zero, as C divides.
    line: Ints = base + np.sign(ahead) * (np.abs(ahead) // span)
    return np.minimum(np.maximum(line, 0), 4095)


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


MOST_LEFT = 4095
"""Pulses of 12 bits differ by this much at most."""
_FIELD = 16
"""Bits for each sum: 2600 joints would fit."""


@cache
def _tables() -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """For every difference from -:data:`MOST_LEFT` on, the bits of its code for k = 0 to 3, and for 4 to 6 and
    whether it is anything at all, packed side by side so that one sum over joints adds each up.
    """
    m = zigzag(np.arange(-MOST_LEFT, MOST_LEFT + 1)).astype(np.int64)
    ks = np.arange(NOTHING_LEFT)[:, None]
    ones = m >> ks
    fields = [*np.where(ones < LONGEST, ones + ks + 1, LONGEST + PLAIN), m != 0]
    packed = [np.asarray(field, dtype=np.int64) << (_FIELD * (i % 4)) for i, field in enumerate(fields)]
    return np.add.reduce(packed[:4]), np.add.reduce(packed[4:])


def fewest_bits(left: Ints) -> Ints:
    """Bits that the codes of differences (…, J) take with the best k, (…): :func:`cost` for many frames at once."""
    place = left + MOST_LEFT
    sums = [table[place].sum(axis=-1) for table in _tables()]
    mask = (1 << _FIELD) - 1
    fields = [(total >> (_FIELD * i)) & mask for total in sums for i in range(4)]
    least = np.minimum.reduce(fields[:NOTHING_LEFT])
    found: Ints = np.where(fields[NOTHING_LEFT] == 0, 0, least)
    return found


def size(bits: Ints) -> Ints:
    """Bytes of head and codes, outputs unchanged."""
    return (HEAD + bits + 7) // 8


def encode(frame: Frame, number: int, base: int, held: Callable[[int], Frame | None]) -> bytes | None:
    """The bytes after a packet's number, or nothing where the base is of no use.

    Args:
        frame: With pulses.
        number: Its number.
        base: Number of the frame to lean on, 1 to 15 before.
        held: Finds frames that the robot is known to hold, by number.
    """
    first = held(base)
    if frame.pulses is None or first is None or first.pulses is None or not 1 <= number - base <= MOST_BACK:
        return None
    wanted, start = np.array(frame.pulses), np.array(first.pulses)
    lines = [foretold(start, None, 0, 0)]
    spans = [0]
    for span in range(1, SPANS + 1):
        other = held(base - span)
        if other is not None and other.pulses is not None:
            lines.append(foretold(start, np.array(other.pulses), number - base, span))
            spans.append(span)
    left = zigzag(wanted - np.stack(lines))
    bits, ks = cost(left)
    best = int(bits.argmin())
    out = _Writer()
    changed = frame.outputs != first.outputs
    k = int(ks[best])
    for value, width in ((spans[best], 2), (k, 3), (int(changed), 1)):
        out.put(value, width)
    for level in frame.outputs if changed else ():
        out.put(level, 8)
    for m in left[best].tolist() if k != NOTHING_LEFT else ():
        if m >> k < LONGEST:
            out.put((1 << (m >> k)) - 1, (m >> k) + 1)
            out.put(m & ((1 << k) - 1), k)
        else:
            out.put((1 << LONGEST) - 1, LONGEST)
            out.put(m, PLAIN)
    return out.bytes()


def decode(
    data: bytes, number: int, back: int, joints: int, outputs: int, held: Callable[[int], Frame | None]
) -> Frame:
    """Undo :func:`encode`.

    Raises:
        DamagedError: if a frame it leans on is not held, or the bits are not those of a frame.
    """
    bits = _Reader(data)
    span, k, changed = bits.take(2), bits.take(3), bits.take(1)
    first = held(number - back) if back else None
    earlier = held(number - back - span) if span else None
    if first is None or first.pulses is None or (span and (earlier is None or earlier.pulses is None)):
        raise DamagedError("expected differences from a frame that was taken")
    levels = tuple(bits.take(8) for _ in range(outputs)) if changed else first.outputs
    other = np.array(earlier.pulses) if earlier is not None else None
    line = foretold(np.array(first.pulses), other, back, span).tolist()
    if k != NOTHING_LEFT:
        for i in range(joints):
            m = bits.code(k)
            line[i] += -(m + 1 >> 1) if m & 1 else m >> 1
    bits.finish()
    if not all(0 <= pulse <= 4095 for pulse in line):
        raise DamagedError("expected pulses of 0 to 4095 µs")
    return Frame(tuple(line), levels)


class _Writer:
    def __init__(self) -> None:
        self._value = self._width = 0

    def put(self, value: int, width: int) -> None:
        self._value |= value << self._width
        self._width += width

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
