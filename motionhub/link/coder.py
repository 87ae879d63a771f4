"""Frames to packet bodies and back. Absolute for now; differences fit behind the same two functions.

A coder may lean on ``base``, the newest frame that the robot is known to have taken: the hub learns it
from receipts, and the robot looks it up among the frames it took. A body whose base is not there is
refused, never guessed.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from motionhub.errors import InputError
from motionhub.link.wire import (
    MAX_JOINTS,
    MAX_OUTPUTS,
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
Base = tuple[int, Frame]


def encode(number: int, frame: Frame, base: Base | None = None) -> bytes:
    """Body of the packet that carries ``frame`` as number ``number``."""
    kind = Kind.LIMP if frame.pulses is None else Kind.FULL
    return bytes((kind << 4, number & 255, *frame.outputs)) + pack_pulses(frame.pulses or ())


def decode(
    packet: Packet, number: int, joints: int, outputs: int, base: Callable[[int], Frame | None] = lambda _: None
) -> Frame:
    """Undo :func:`encode`. ``base`` finds a frame that was taken, by its number.

    Raises:
        DamagedError: if the length is not that of such a frame, or the base is not known.
    """
    body = packet.body
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
        outputs: (O,) levels, 0 to 1.

    Raises:
        ValueError: for a pulse that twelve bits cannot carry, NaN included.
    """
    levels = np.rint(np.clip(np.nan_to_num(np.asarray(outputs, dtype=np.float64)), 0, 1) * 255)
    outs = tuple(int(v) for v in levels)
    if pulses is None:
        return Frame(None, outs)
    widths = np.rint(np.asarray(pulses, dtype=np.float64))
    if not ((widths >= 0) & (widths <= 4095)).all():
        raise ValueError("expected pulses of 0 to 4095 µs")
    return Frame(tuple(int(v) for v in widths), outs)


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
        ``rate_hz`` without loss.
    """
    require_room(robot)
    outputs: Sequence[float] = [0.0] * len(robot.outputs)

    def measure(pulses: ArrayLike) -> Array:
        # An absolute frame's size does not depend on what is in it: below 254 bytes COBS adds one.
        rows = np.asarray(pulses, dtype=np.float64)
        size = len(seal(encode(1, make_frame(np.full(robot.joints, 1500), outputs)), Key(0, 0).bytes_for(1)))
        return np.full(len(rows), float(size))

    return measure
