"""What goes over the radio, bit by bit. This page is the specification; the firmware follows it too.

**Bytes.** 8N1. A packet is ``COBS(body, check)`` and then one zero byte. A receiver that is lost drops
bytes up to the next zero. Whatever is longer than 128 bytes decoded is dropped unread, so a receiver needs
one buffer of that size. Numbers of more than one byte are little-endian, except the check, which is the
remainder of its polynomial and goes most significant byte first.

**Check.** 24-bit CRC (:mod:`motionhub.link.crc`) over a *key* that is not sent, then the body. The key
of ``hello`` and ``welcome`` is empty. That of every other packet is 7 bytes::

    hub's session number (2) | robot's session number (2) | packet number divided by 256 (3)

so a packet from an earlier session, or from 256 packets ago, fails the check although only the low byte of
its number is on the wire (the idea is that of the extended sequence numbers of RFC 4303, 2.2.1). Packets
of the two directions have different kinds, so an echo is never taken for an answer.

**First byte.** High four bits: kind. Low four bits: as the kind says, else zero. Unknown kinds are counted
and ignored.

==== ========= ============= ==========================================================================
kind name      from          body after the first byte
==== ========= ============= ==========================================================================
1    full      hub           number (1), outputs (O × 1), pulses (J × 12 bits)
2    differ-   hub           number (1), then bits as :mod:`motionhub.link.differences` has them. Low bits:
     ence                    how many numbers before its frame the base is, 1 to 15
3    limp      hub           number (1), outputs (O × 1). Ends all pulses
4    hello     hub           version (1), hub's session (2), J (1), O (1), tick in ms (1), ack in ms (1),
                             telemetry in 10 ms (1)
5    settings  hub           number (1), then calibration to keep on the robot, or a question for what it uses, as
                             :mod:`motionhub.link.kept` has it
6    two       hub           the same for two frames, and
7    three     hub           for three: the number is the last one's, the base is before the first
8    welcome   robot         version (1), hub's session (2), robot's session (2), J (1), O (1),
                             reset cause (1), digest of the calibration in use (3). Bit 0: the hello suits
                             this robot; bit 1: what is in use was kept, not exported with the program
9    ack       robot         number (1), receipt (4)
10   telemetry robot         number (1), receipt (4), battery in mV (2), faults (1), activity and reset
                             cause (1), worst loop in µs (2), seconds since reset (2),
                             damaged packets (1), late packets (1)
11   kept      robot         number (1), then how the keeping of settings stands, or a piece of what is in use
==== ========= ============= ==========================================================================

*Outputs*: level 0 to 255, in the order of the robot file. *Pulses*: whole microseconds, 0 for "no pulse on
this joint", in the order of the joints. Two pulses a and b make three bytes: a's low eight bits; a's high
four in the low half and b's low four in the high half; b's high eight. An odd last pulse takes two bytes,
the spare half zero. J and O are known from ``hello``, so a whole frame of any other length is refused. A frame as
differences leans on up to three that the hub knows were taken, at most 18 numbers back; the robot keeps the
last 20 it took, and refuses a packet that leans on any other. Each packet can be read by itself, so whatever
was lost before, the first packet that arrives after it is taken, or the first whole one when the robot has
been without frames for more than 18 ticks.

*Frames together.* On a slow radio the hub waits for the second or third tick and sends their frames in one packet: what
a packet costs besides its frames is shared, and frames that follow each other need few bits. The robot plays
them one a tick, as they were meant, one or two ticks later. A packet of frames that are two ticks apart is how
every second frame is left out; the robot draws the way to each out over its ticks.

*Receipt*: low byte of the newest frame's number that was taken (1), a bit for each of the sixteen numbers
before it, nearest in bit 0, set if that one was taken (2), and milliseconds since the newest was taken,
at most 255 (1). *Activity* is the low half of its byte (:class:`Activity`), *reset cause* the high half
(:class:`ResetCause`). *Faults* are bits (:class:`Faults`). The two counts wrap at 256; the worst loop is of
the time since the last telemetry; the seconds stay at 65,535 once there.

**Sessions.** The hub says ``hello`` with a session number of its own until it hears ``welcome`` with that
number, and says it anew with the next number whenever the link has gone down. The robot answers each new
hello with a number of its own that it has not used lately, and keeps its old session until a frame
arrives that fits the new one. So neither a late hello nor a late welcome can bring old frames back to life.

**Numbers.** Frames count ticks (20 ms), from 1 in each session; a tick for which nothing was sent has its
number all the same, so the robot knows over how many ticks to interpolate. Of the low byte the receiver
makes the one number within 64 before and 191 after the newest it knows, and believes it if the check does.
What is not newer than the newest is dropped: nothing is applied twice or late. Packets from the robot are
numbered from 1 in the same way.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum, IntFlag
from typing import Any

from motionhub.link import cobs
from motionhub.link.crc import SIZE, START, crc24

VERSION = 2
MAX_PACKET = 128
"""Body and check, decoded."""
MAX_JOINTS = 48
MAX_OUTPUTS = 16
AHEAD = 191
"""How far ahead of the newest number a packet may be."""
TICK_S = 0.02
DELIMITER = b"\0"


class Kind(IntEnum):
    """The high half of a packet's first byte."""

    FULL = 1
    DIFFERENCE = 2
    LIMP = 3
    HELLO = 4
    SETTINGS = 5
    TWO = 6
    THREE = 7
    WELCOME = 8
    ACK = 9
    TELEMETRY = 10
    KEPT = 11


class Activity(IntEnum):
    """What the robot's controller is doing with its servos."""

    OFF = 0
    """No pulses: after power-up, or limp."""
    ENABLING = 1
    """Starting a few joints at a time, toward the rest pose."""
    EASING = 2
    """On the way, slowly, from where it holds to what the frames ask."""
    FOLLOWING = 3
    """Doing what the frames ask."""
    QUIET = 4
    """Failsafe: no frames; easing to rest, then holding it."""
    LOWERING = 5
    """Battery empty: lowering the body."""
    ENDED = 6
    """Battery empty: pulses ended until the power is cycled."""


class ResetCause(IntEnum):
    """Why the controller last started."""

    UNKNOWN = 0
    POWER = 1
    BUTTON = 2
    BROWN_OUT = 3
    WATCHDOG = 4


class Faults(IntFlag):
    """What is wrong on the robot, now or since the last telemetry."""

    BATTERY_LOW = 1
    BATTERY_EMPTY = 2
    QUIET = 4
    REFUSED_PULSE = 8
    """A frame asked for a pulse outside its joint's limits; the whole frame was refused."""
    SLOW_LOOP = 16
    CALIBRATION = 32
    """What was kept of the calibration is damaged and was ignored."""


@dataclass(frozen=True)
class Frame:
    """One tick's commands: pulses in µs (0 for none) in joint order, ``None`` for limp; outputs 0 to 255."""

    pulses: tuple[int, ...] | None
    outputs: tuple[int, ...]


@dataclass(frozen=True)
class Hello:
    """The hub introduces itself: what it will send, and how often it wants to hear back."""

    session: int
    joints: int
    outputs: int
    tick_ms: int = 20
    ack_ms: int = 0
    telemetry_ms: int = 100
    version: int = VERSION

    def body(self) -> bytes:
        """Its bytes before the check."""
        ten = self.telemetry_ms // 10
        fields = (self.version, self.session, self.joints, self.outputs, self.tick_ms, self.ack_ms, ten)
        return bytes([Kind.HELLO << 4]) + _HELLO.pack(*fields)


@dataclass(frozen=True)
class Welcome:
    """The robot's answer: whether the hello suits it, and what it has."""

    suits: bool
    session: int
    robot_session: int
    joints: int
    outputs: int
    reset_cause: int
    version: int = VERSION
    kept: bool = False
    """Whether the calibration in use is what the hub had it keep, not what came with the program."""
    digest: bytes = bytes(SIZE)
    """Of the calibration in use (:func:`motionhub.link.kept.digest`)."""

    def body(self) -> bytes:
        """Its bytes before the check."""
        return bytes([Kind.WELCOME << 4 | self.kept << 1 | self.suits]) + _WELCOME.pack(
            self.version, self.session, self.robot_session, self.joints, self.outputs, self.reset_cause, self.digest
        )


@dataclass(frozen=True)
class Receipt:
    """Which frames arrived: the newest's low byte, the sixteen before it, and for how long it has been there."""

    newest: int
    before: int
    held_ms: int


@dataclass(frozen=True)
class Telemetry:
    """What the robot says of itself; units as on the wire."""

    battery_mv: int
    faults: Faults
    activity: Activity
    reset_cause: ResetCause
    worst_loop_us: int
    uptime_s: int
    damaged: int
    late: int


@dataclass(frozen=True)
class Key:
    """The two session numbers that a packet's check includes."""

    hub: int
    robot: int

    def bytes_for(self, number: int) -> bytes:
        """The 7 bytes that go before the body of packet ``number``."""
        return struct.pack("<HHI", self.hub, self.robot, number >> 8)[:7]


_HELLO = struct.Struct("<BHBBBBB")
_WELCOME = struct.Struct("<BHHBBB3s")
_RECEIPT = struct.Struct("<BHB")
_TELEMETRY = struct.Struct("<HBBHHBB")


def seal(body: bytes, key: bytes = b"") -> bytes:
    """A packet ready for the wire, delimiter included."""
    return cobs.encode(body + crc24(key + body).to_bytes(SIZE, "big")) + DELIMITER


class DamagedError(ValueError):
    """A packet that cannot be read whatever its key is."""


@dataclass(frozen=True)
class Packet:
    """A packet taken from the wire whose check has still to be compared, for that needs its key."""

    body: bytes
    check: int

    @property
    def kind(self) -> int:
        """The high half of the first byte; it need not be a known :class:`Kind`."""
        return self.body[0] >> 4

    @property
    def low(self) -> int:
        """The low half of the first byte."""
        return self.body[0] & 15

    def fits(self, key: bytes = b"") -> bool:
        """Whether the check agrees with ``key`` and the body."""
        return crc24(self.body, crc24(key, START)) == self.check


def unseal(encoded: bytes) -> Packet:
    """Read what stood between two delimiters.

    Raises:
        DamagedError: if it is no packet.
    """
    try:
        data = cobs.decode(encoded)
    except cobs.CobsError as error:
        raise DamagedError(str(error)) from None
    if not SIZE < len(data) <= MAX_PACKET:
        raise DamagedError(f"expected {SIZE + 1} to {MAX_PACKET} bytes, found {len(data)}")
    return Packet(data[:-SIZE], int.from_bytes(data[-SIZE:], "big"))


def nearest(low: int, newest: int) -> int:
    """The full number whose low byte is ``low``: at most 191 after ``newest``, else at most 64 before it."""
    ahead = (low - newest) & 255
    number = newest + ahead
    return number - 256 if ahead > AHEAD and number >= 256 else number


def pack_pulses(pulses: Sequence[int]) -> bytes:
    """Twelve bits each, two in three bytes."""
    out = bytearray()
    for i in range(0, len(pulses), 2):
        a, b = pulses[i], pulses[i + 1] if i + 1 < len(pulses) else 0
        out += bytes((a & 255, a >> 8 | (b & 15) << 4, b >> 4))
    return bytes(out[: pulses_size(len(pulses))])


def unpack_pulses(data: bytes, joints: int) -> tuple[int, ...]:
    """Undo :func:`pack_pulses`.

    Raises:
        DamagedError: if the length is not that of ``joints`` pulses, or the spare half byte is not zero.
    """
    if len(data) != pulses_size(joints):
        raise DamagedError(f"expected {pulses_size(joints)} bytes of pulses, found {len(data)}")
    if joints % 2 and data[-1] >> 4:
        raise DamagedError("expected the spare half byte to be zero")
    padded = data + b"\0"
    out = []
    for i in range(joints):
        at = i * 3 // 2
        out.append(padded[at] >> 4 | padded[at + 1] << 4 if i % 2 else padded[at] | (padded[at + 1] & 15) << 8)
    return tuple(out)


def pulses_size(joints: int) -> int:
    """Bytes that the pulses of one frame take."""
    return (3 * joints + 1) // 2


def read_hello(packet: Packet) -> Hello:
    """Raises :class:`DamagedError` for a wrong length."""
    version, session, joints, outputs, tick, ack, ten = _unpack(_HELLO, packet.body[1:])
    return Hello(session, joints, outputs, tick, ack, ten * 10, version)


def read_welcome(packet: Packet) -> Welcome:
    """Raises :class:`DamagedError` for a wrong length."""
    version, session, robot_session, joints, outputs, cause, digest = _unpack(_WELCOME, packet.body[1:])
    suits, kept = bool(packet.low & 1), bool(packet.low & 2)
    return Welcome(suits, session, robot_session, joints, outputs, cause, version, kept, digest)


def report_body(number: int, receipt: Receipt, telemetry: Telemetry | None) -> bytes:
    """An ack, or with ``telemetry`` a telemetry packet, before its check."""
    kind = Kind.ACK if telemetry is None else Kind.TELEMETRY
    body = bytes((kind << 4, number & 255)) + _RECEIPT.pack(receipt.newest, receipt.before, receipt.held_ms)
    if telemetry is None:
        return body
    return body + _TELEMETRY.pack(
        min(telemetry.battery_mv, 0xFFFF),
        telemetry.faults,
        telemetry.activity | telemetry.reset_cause << 4,
        min(telemetry.worst_loop_us, 0xFFFF),
        min(telemetry.uptime_s, 0xFFFF),
        telemetry.damaged & 255,
        telemetry.late & 255,
    )


def read_report(packet: Packet) -> tuple[Receipt, Telemetry | None]:
    """Read an ack or a telemetry packet; raises :class:`DamagedError` for a wrong length."""
    rest = packet.body[2:]
    receipt = Receipt(*_unpack(_RECEIPT, rest[: _RECEIPT.size]))
    if packet.kind == Kind.ACK:
        if len(rest) != _RECEIPT.size:
            raise DamagedError("expected an ack of its own length")
        return receipt, None
    mv, faults, both, loop, uptime, damaged, late = _unpack(_TELEMETRY, rest[_RECEIPT.size :])
    try:
        activity, cause = Activity(both & 15), ResetCause(both >> 4)
    except ValueError as error:
        raise DamagedError(str(error)) from None
    return receipt, Telemetry(mv, Faults(faults), activity, cause, loop, uptime, damaged, late)


def _unpack(shape: struct.Struct, data: bytes) -> tuple[Any, ...]:
    if len(data) != shape.size:
        raise DamagedError(f"expected {shape.size} bytes, found {len(data)}")
    return shape.unpack(data)


class Splitter:
    """Cuts a stream of bytes at its delimiters; holds at most one packet of bytes."""

    def __init__(self) -> None:
        self._held = bytearray()
        self._skipping = False
        self.oversize = 0
        """Packets dropped for their length."""

    def feed(self, data: bytes) -> list[bytes]:
        """Take bytes as they come; return the encoded packets they complete, empty ones left out."""
        complete: list[bytes] = []
        *ended, rest = data.split(DELIMITER)
        for part in ended:
            self._hold(part)
            if self._held and not self._skipping:
                complete.append(bytes(self._held))
            self._held.clear()
            self._skipping = False
        self._hold(rest)
        return complete

    def _hold(self, part: bytes) -> None:
        if self._skipping:
            return
        self._held += part
        if len(self._held) > MAX_PACKET + 1:
            self.oversize += 1
            self._skipping = True
            self._held.clear()
