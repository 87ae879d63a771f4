"""Frames to packet bodies and back: whole, or as differences from one that the robot has acknowledged.

The hub knows from receipts which frames the robot holds; the robot looks them up among the frames it
took. A body whose base is not there is refused, never guessed. So whatever is lost, the next frame can be
read: it leans only on what has certainly arrived, and without such a frame it is sent whole.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray

from motionhub.errors import InputError
from motionhub.link import differences
from motionhub.link.differences import Ints
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
Held = Callable[[int], Frame | None]
"""Finds a frame that the robot holds, by its number."""

ROUND_TRIP_S = 0.06
"""What :func:`frame_bytes` supposes of the radio (practice: hobby radios take 20 to 60 ms there and back)."""


def encode(number: int, frame: Frame, base: int | None = None, held: Held = lambda _: None) -> bytes:
    """Body of the packet that carries ``frame`` as number ``number``.

    Args:
        number: Of its tick.
        frame: What to send.
        base: Number of the newest frame that the robot is known to hold, if any.
        held: Finds such frames.
    """
    if frame.pulses is None:
        return bytes((Kind.LIMP << 4, number & 255, *frame.outputs))
    full = bytes((Kind.FULL << 4, number & 255, *frame.outputs)) + pack_pulses(frame.pulses)
    rest = differences.encode(frame, number, base, held) if base is not None else None
    if rest is None or base is None or len(rest) + 2 >= len(full):
        return full
    return bytes((Kind.DIFFERENCE << 4 | number - base, number & 255)) + rest


def decode(packet: Packet, number: int, joints: int, outputs: int, held: Held = lambda _: None) -> Frame:
    """Undo :func:`encode`. ``held`` finds a frame that was taken, by its number.

    Raises:
        DamagedError: if it is not made like such a frame, or leans on one that was not taken.
    """
    body = packet.body
    if packet.kind == Kind.DIFFERENCE:
        return differences.decode(body[2:], number, packet.low, joints, outputs, held)
    if packet.low or len(body) < 2 + outputs:
        raise DamagedError("expected a frame's own length and low bits")
    levels, rest = tuple(body[2 : 2 + outputs]), body[2 + outputs :]
    if packet.kind == Kind.LIMP:
        if rest:
            raise DamagedError("expected no pulses in a limp packet")
        return Frame(None, levels)
    return Frame(unpack_pulses(rest, joints), levels)


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
    """How many bytes each frame of a move takes on the wire, all in, as this coder writes it.

    Returns:
        A function from pulses (T, J) in µs to bytes (T,), for frames sent one after the other at
        ``rate_hz``, outputs steady, nothing lost, and acknowledged after :data:`ROUND_TRIP_S`.
    """
    require_room(robot)
    step = max(round(1 / (rate_hz * TICK_S)), 1)
    behind = math.ceil(ROUND_TRIP_S / (step * TICK_S)) + 1
    outputs = (0,) * len(robot.outputs)
    whole = encode(1, Frame((1500,) * robot.joints, outputs))
    around = len(seal(whole, Key(0, 0).bytes_for(1))) - len(whole)

    def measure(pulses: ArrayLike) -> Array:
        rows = np.rint(np.asarray(pulses, dtype=np.float64)).astype(np.int32)
        sizes = np.full(len(rows), len(whole))
        back = behind * step
        if back <= differences.MOST_BACK:
            for at in range(0, len(rows), BLOCK):
                # Each block needs the rows that its first ones lean on.
                before = min(at, behind + differences.SPANS)
                block = rows[at - before : at + BLOCK]
                if len(block) > behind:
                    skipped = max(before - behind, 0)
                    found = 2 + _difference_sizes(block, behind, step)[skipped:]
                    own = sizes[max(at, behind) : at + BLOCK]
                    np.minimum(own, found, out=own)
        return sizes.astype(np.float64) + around

    return measure


def _difference_sizes(rows: Ints, behind: int, step: int) -> Ints:
    """Bytes of differences for each row from ``behind`` on; rows are ``step`` ticks apart."""
    wanted, base = rows[behind:], rows[:-behind]
    back = behind * step
    least = differences.fewest_bits(wanted - base)
    for span in range(step, differences.SPANS + 1, step):
        earlier = span // step
        line = differences.foretold(base[earlier:], base[:-earlier], back, span)
        least[earlier:] = np.minimum(least[earlier:], differences.fewest_bits(wanted[earlier:] - line))
    return differences.size(least)
