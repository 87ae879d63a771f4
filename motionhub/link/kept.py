"""What of the calibration is kept on the robot, and how it gets there and back.

**What for.** The hub's pulses need nothing of it: trim, direction and ends are in them already. The robot
needs them for what it does without the hub. They give the pulses of its own two poses, the rest that it
starts from and eases to when the link is quiet, and the lowered one for an empty battery; and they are the ends that
no pulse passes, whoever asked for it. The program is built with what they were when it was exported; what
the hub sends later is kept in EEPROM and goes before that, until another export is loaded into the robot.

**Image.** Seven bytes for each connector, in the order of the joints whose pins the robot file says they are: shortest
pulse (12 bits), longest (12), trim in µs (12, two's complement), 1 if reversed (1), scale in 1024ths (11), number of
the joint whose servo is really plugged in there (6), zeros (2), from the lowest bits on. The *digest* of an image is
its 24-bit CRC (:mod:`motionhub.link.crc`), most significant byte first. For each of its poses the robot works out ::

    pulse = mid + away × scale + trim      (mid - away × scale + trim for a joint that is reversed)

held within the ends, with whole µs throughout, a half rounded away from zero; mid and away are the program's own for
that joint. Ends outside the servo's own are refused, and a scale below a half, and a joint that is none.

**On the wire.** The hub sends ``settings`` packets (kind 5), each in place of a frame and under its number:

==== ======================== ===================================================================
low  body after the number    meaning
==== ======================== ===================================================================
0    piece (1), bytes         28 bytes of the image from 28 × piece on; the last piece has what is left
1    digest (3)               keep the image that the pieces have made, if that is its digest
2    piece (1)                say this piece of the image that is in use
==== ======================== ===================================================================

and the robot answers each of the second sort with ``kept`` (kind 11): number (1), digest of what is in use (3),
and a bit for each piece that is there (2), piece 0 in bit 0. Its low bits say how it stands
(:class:`KeptState`). The hub sends what is missing and asks again until it hears of an end. Each of the third sort is
answered with ``kept`` too, its low bits 8: number (1), digest of what is in use (3), piece (1), its bytes. ``welcome``
has the digest of what is in use, and says whether it is the kept one or the export's, so that hub and robot can be
compared before anything moves, and what differs can be asked for.

**Use.** What was written is in use as soon as no pulse that is issued or asked for lies outside the new ends.
So nothing ever leaps because of it. It is written first, and used after.

**In EEPROM.** Two bytes count the controller's starts; from byte 8 on there are two slots::

    marker (1) | generation (1) | digest of the export (3) | image | check (3)

The marker is 0xA5 for a slot in place, 0 for one being written, 0xFF for one never written. The check is the CRC of all
between. The newer of two good slots counts, by generations that wrap at 256. The other one is written: its marker
becomes 0, then the rest is written, and the marker last; so whenever the power goes, the newer slot is the old one
untouched, or the new one whole. A slot with any other marker, a wrong check or ends that are refused is damaged: it is
ignored, and telemetry says so (:attr:`~motionhub.link.wire.Faults.CALIBRATION`) until settings are kept anew.
A good slot of another export is ignored and no fault.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import ArrayLike

from motionhub.link.crc import SIZE, crc24
from motionhub.link.plant import lowered_joints
from motionhub.link.wire import DamagedError, Kind, Packet
from motionhub.motion.posing import rest_joints
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

RECORD = 7
"""Bytes a connector."""
ONE = 1024
"""A scale of 1."""
SAID = 8
"""Low bits of ``kept`` with a piece of what is in use."""
PIECE = 4 * RECORD
"""Bytes in one packet."""


class KeptState(IntEnum):
    """How the keeping stands; the low bits of ``kept``."""

    MISSING = 0
    """Pieces are missing, or do not make what the digest says."""
    WRITING = 1
    KEPT = 2
    """Written, and in use."""
    WAITING = 3
    """Written; in use once the pulses allow it, or at the next start."""
    REFUSED = 4
    """An end is outside the servo's own, or not below the other."""
    FAILED = 5
    """What was written cannot be read again: the memory is worn out."""


@dataclass(frozen=True)
class Limits:
    """What the robot knows of its joints, in whole µs, one for each joint."""

    low: tuple[int, ...]
    high: tuple[int, ...]
    rest: tuple[int, ...]
    lowered: tuple[int, ...]

    def allow(self, pulses: Sequence[int]) -> bool:
        """Whether every pulse is none or within its joint's ends."""
        return all(p == 0 or low <= p <= high for p, low, high in zip(pulses, self.low, self.high, strict=True))


@dataclass(frozen=True)
class Record:
    """Calibration of the servo at one connector in whole µs."""

    joint: int
    """Whose servo it is, by number; the connector's own unless plugs are swapped."""
    low: int
    high: int
    trim: int
    """Added to every pulse."""
    reversed: bool
    scale: int = ONE
    """µs that the servo takes for a turn over those of its data sheet, in 1024ths; 512 to 2047."""

    def pack(self) -> bytes:
        """Its seven bytes."""
        value = self.low | self.high << 12 | (self.trim & 0xFFF) << 24 | self.reversed << 36 | self.scale << 37
        value |= self.joint << 48
        return value.to_bytes(RECORD, "little")

    @classmethod
    def unpack(cls, data: bytes | bytearray) -> Record:
        """What seven bytes hold, sound or not."""
        value = int.from_bytes(data[:RECORD], "little")
        trim = value >> 24 & 0xFFF
        trim -= 0x1000 if trim & 0x800 else 0
        return cls(value >> 48, value & 0xFFF, value >> 12 & 0xFFF, trim, bool(value >> 36 & 1), value >> 37 & 0x7FF)


@dataclass(frozen=True)
class JointLine:
    """One joint and its connector as the robot's program is built with it, whole µs: a line of its table of joints."""

    hard_low: int
    """The servo's own ends; end points that are kept lie within them."""
    hard_high: int
    mid: int
    """The pulse of mid-travel, before trim."""
    rest: int
    """The rest pose as pulses away from mid, of a servo that is not reversed."""
    lowered: int
    record: Record
    """Of the servo at its connector, as it was when exported."""

    def pose(self, away: int, record: Record) -> int:
        """The pulse of a pose that is ``away`` from mid."""
        scaled = (abs(away) * record.scale + ONE // 2) // ONE
        pulse = self.mid + (scaled if (away >= 0) != record.reversed else -scaled) + record.trim
        return min(max(pulse, record.low), record.high)

    def sound(self, record: Record) -> bool:
        """Whether it can be used."""
        return self.hard_low <= record.low < record.high <= self.hard_high and record.scale >= ONE // 2


@dataclass(frozen=True)
class Export:
    """What a robot's program is built with."""

    joints: tuple[JointLine, ...]

    @property
    def image(self) -> bytes:
        """Of the calibration at the time of the export."""
        return b"".join(line.record.pack() for line in self.joints)

    @property
    def digest(self) -> bytes:
        """Differs from export to export; what is kept under another digest is not for this program."""
        all_of_it = b"".join(
            line.record.pack()
            + struct.pack(
                "<HHHHH", *(v & 0xFFFF for v in (line.hard_low, line.hard_high, line.mid, line.rest, line.lowered))
            )
            for line in self.joints
        )
        return digest(all_of_it)

    def records(self, image: bytes | bytearray) -> tuple[Record, ...] | None:
        """What an image holds, or nothing if it cannot be used on this robot."""
        found = unpack(image)
        return found if all(r.joint < len(self.joints) and self.joints[r.joint].sound(r) for r in found) else None

    def limits(self, records: Sequence[Record]) -> Limits:
        """What the robot makes of them."""
        pairs = [(self.joints[record.joint], record) for record in records]
        return Limits(
            low=tuple(record.low for _, record in pairs),
            high=tuple(record.high for _, record in pairs),
            rest=tuple(line.pose(line.rest, record) for line, record in pairs),
            lowered=tuple(line.pose(line.lowered, record) for line, record in pairs),
        )


def unpack(image: bytes | bytearray) -> tuple[Record, ...]:
    """What an image holds, whether a robot could use it or not."""
    return tuple(Record.unpack(image[at : at + RECORD]) for at in range(0, len(image), RECORD))


def digest(image: bytes | bytearray) -> bytes:
    """Three bytes that tell images apart."""
    return crc24(bytes(image)).to_bytes(SIZE, "big")


def export(robot: Robot, calibration: Calibration) -> Export:
    """What the program of this robot is built with, real or simulated."""
    away = {
        name: _whole(robot.us_per_rad * (joints - robot.mid), -4095, 4095)
        for name, joints in (("rest", rest_joints(robot)), ("lowered", lowered_joints(robot)))
    }
    records = to_keep(robot, calibration)
    own = {record.joint: record for record in records}
    mid = _whole(robot.mid_us, 0, 4095)
    return Export(
        tuple(
            JointLine(
                hard_low=min(round(servo.pulse_us[0]), own[i].low),
                hard_high=max(round(servo.pulse_us[1]), own[i].high),
                mid=mid[i],
                rest=away["rest"][i],
                lowered=away["lowered"][i],
                record=record,
            )
            for i, (servo, record) in enumerate(zip(robot.servos, records, strict=True))
        )
    )


def to_keep(robot: Robot, calibration: Calibration) -> tuple[Record, ...]:
    """The calibration as the robot keeps it, by connector."""
    per_rad = calibration.direction * calibration.scale * robot.us_per_rad
    trim = _whole(per_rad * calibration.trim_rad, -2048, 2047)
    scale = _whole(calibration.scale * ONE, ONE // 2, 2 * ONE - 1)
    low, high = _whole(calibration.low_us, 0, 4094), _whole(calibration.high_us, 1, 4095)
    turned = (calibration.direction < 0).tolist()
    # Ends less than a microsecond apart would round to the same one.
    return tuple(
        Record(j, low[j], max(high[j], low[j] + 1), trim[j], turned[j], scale[j]) for j in calibration.joint_at
    )


def image(robot: Robot, calibration: Calibration) -> bytes:
    """What is sent to be kept."""
    return b"".join(record.pack() for record in to_keep(robot, calibration))


def calibration(robot: Robot, image: bytes, battery_scale: float = 1.0) -> Calibration:
    """The calibration that an image was made of, to whole µs: the inverse of :func:`image`.

    Args:
        robot: Whose it is.
        image: As the robot said it.
        battery_scale: Of the hub's own calibration: the robot does not keep it.

    Raises:
        ValueError: for an image of another size than the robot's, or one that no robot can use.
    """
    if len(image) != RECORD * robot.joints:
        raise ValueError(f"expected {RECORD * robot.joints} bytes")
    records = unpack(image)
    if sorted(record.joint for record in records) != list(range(robot.joints)):
        raise ValueError("expected a connector for each joint")
    connector = [0] * robot.joints
    for i, record in enumerate(records):
        connector[record.joint] = i
    records = tuple(records[i] for i in connector)
    if not all(record.low < record.high and record.scale >= ONE // 2 for record in records):
        raise ValueError("expected ends in order and scales of a half at least")
    direction = np.array([-1.0 if record.reversed else 1.0 for record in records])
    scale = np.array([record.scale / ONE for record in records])
    trim = np.array([float(record.trim) for record in records]) / (direction * scale * robot.us_per_rad)
    low, high = (np.array([float(getattr(record, end)) for record in records]) for end in ("low", "high"))
    return Calibration(
        robot.name, robot.joint_names, trim, direction, low, high, scale, battery_scale, tuple(connector)
    )


def _whole(values: ArrayLike, low: int, high: int) -> list[int]:
    return [int(v) for v in np.clip(np.rint(np.asarray(values, dtype=np.float64)), low, high)]


# -- on the wire --------------------------------------------------------------------------------------


def pieces(size: int) -> int:
    """Pieces that an image of ``size`` bytes is sent in."""
    return -(-size // PIECE)


@dataclass(frozen=True)
class Kept:
    """The robot's answer."""

    state: KeptState
    digest: bytes
    """Of what is in use."""
    pieces: int
    """A bit for each piece that is there."""

    def body(self, number: int) -> bytes:
        """Its bytes before the check."""
        return bytes((Kind.KEPT << 4 | self.state, number & 255)) + _KEPT.pack(self.digest, self.pieces)


_KEPT = struct.Struct("<3sH")


@dataclass(frozen=True)
class Said:
    """A piece of what the robot uses."""

    digest: bytes
    """Of all of it."""
    piece: int
    data: bytes

    def body(self, number: int) -> bytes:
        """Its bytes before the check."""
        return bytes((Kind.KEPT << 4 | SAID, number & 255)) + self.digest + bytes((self.piece,)) + self.data


def read_kept(packet: Packet) -> Kept | Said:
    """Raises :class:`DamagedError` for a wrong length or a state that is none."""
    rest = packet.body[2:]
    if packet.low == SAID:
        if len(rest) <= SIZE + 1:
            raise DamagedError("expected a piece")
        return Said(rest[:SIZE], rest[SIZE], rest[SIZE + 1 :])
    if len(rest) != _KEPT.size:
        raise DamagedError(f"expected {_KEPT.size} bytes, found {len(rest)}")
    try:
        state = KeptState(packet.low)
    except ValueError as error:
        raise DamagedError(str(error)) from None
    return Kept(state, *_KEPT.unpack(rest))


class Offer:
    """The hub's end: an image on its way to the robot."""

    EVERY = 5
    """Ticks from one packet to the next: a slow radio has frames to carry meanwhile."""
    ASK_EVERY = 25
    """Ticks to wait for an answer."""

    def __init__(self, image: bytes) -> None:
        self._image = image
        self._digest = digest(image)
        self._missing = list(range(pieces(len(image))))
        self._wait = 0

    def body(self, number: int) -> bytes | None:
        """What goes out in place of frame ``number``, or nothing in this tick."""
        self._wait -= 1
        if self._wait > 0:
            return None
        if self._missing:
            self._wait = self.EVERY
            piece = self._missing.pop(0)
            return bytes((Kind.SETTINGS << 4, number & 255, piece)) + self._image[PIECE * piece :][:PIECE]
        self._wait = self.ASK_EVERY
        return bytes((Kind.SETTINGS << 4 | 1, number & 255)) + self._digest

    def hear(self, answer: Kept) -> bool:
        """Take the robot's answer; whether that is the end of it."""
        if answer.state == KeptState.MISSING:
            self._missing = [i for i in range(pieces(len(self._image))) if not answer.pieces >> i & 1]
            self._wait = min(self._wait, self.EVERY)
        return answer.state in (KeptState.KEPT, KeptState.REFUSED, KeptState.FAILED)


class Question:
    """The hub's end: what the robot uses on its way to the hub."""

    EVERY = 5
    """Ticks to wait for a piece before it is asked for again; a slow radio has frames to carry meanwhile."""

    def __init__(self, size: int) -> None:
        self._size = size
        self._digest = b""
        self._pieces: dict[int, bytes] = {}
        self._wait = 0

    def body(self, number: int) -> bytes | None:
        """What goes out in place of frame ``number``, or nothing in this tick."""
        self._wait -= 1
        if self._wait > 0:
            return None
        self._wait = self.EVERY
        missing = (i for i in range(pieces(self._size)) if i not in self._pieces)
        return bytes((Kind.SETTINGS << 4 | 2, number & 255, next(missing)))

    def hear(self, said: Said) -> bytes | None:
        """Take a piece; the whole image with the last one."""
        if said.digest != self._digest:
            # Another one is in use by now: all of it anew.
            self._digest, self._pieces = said.digest, {}
        if len(said.data) == len(range(self._size)[PIECE * said.piece :][:PIECE]):
            self._pieces[said.piece] = said.data
        if len(self._pieces) < pieces(self._size):
            return None
        image = b"".join(self._pieces[i] for i in range(pieces(self._size)))
        if digest(image) == self._digest:
            return image
        self._pieces = {}
        return None
