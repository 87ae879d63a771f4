"""The robot's end of the wire, without I/O: which frames to take, and what to answer.

A twin of what the firmware does, in integers. It takes a frame only once, only if it is newer than every
frame before it, only whole, and only if no pulse in it lies outside its joint's limits.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from motionhub.link import coder
from motionhub.link.keeper import Keeper
from motionhub.link.wire import (
    VERSION,
    DamagedError,
    Frame,
    Hello,
    Key,
    Kind,
    Packet,
    Receipt,
    Splitter,
    Telemetry,
    Welcome,
    nearest,
    read_hello,
    report_body,
    seal,
    unseal,
)

HELD = 20
"""Frames kept for later ones to lean on; the hub leans on none that is further back than 18 numbers."""
FRAMES = (Kind.FULL, Kind.DIFFERENCE, Kind.LIMP, Kind.TWO, Kind.THREE)
"""Kinds of packets that bring frames."""


@dataclass(frozen=True)
class Taken:
    """A frame that was accepted."""

    number: int
    frame: Frame
    ticks: int
    """How many ticks after the frame taken before it; 1 for the first of a session."""
    first: bool = True
    """Whether it is the first of its packet, or came together with the one before it."""


@dataclass
class _Session:
    key: Key
    hello: Hello
    newest: int = 0
    """Highest number seen with a good check, whether its frame was taken or not."""
    taken: int = 0
    before: int = 0
    taken_at: int = 0


class Receiver:
    """Takes the hub's bytes apart and reports back.

    Args:
        low: Shortest pulse of each joint, whole µs.
        high: Longest pulse of each joint.
        outputs: How many outputs there are.
        first_session: Differs from one start of the controller to the next (a boot counter, say).
        reset_cause: Told to the hub in ``welcome``.
        keeper: Where settings go; without one they are a kind that is not known.

    Times are whole milliseconds of any clock that does not go back, as on the chip.
    """

    def __init__(
        self,
        low: Sequence[int],
        high: Sequence[int],
        outputs: int,
        first_session: int = 0,
        reset_cause: int = 0,
        keeper: Keeper | None = None,
    ) -> None:
        self._low, self._high, self._outputs = tuple(low), tuple(high), outputs
        self._keeper = keeper
        self._own_session = first_session & 0xFFFF
        self._reset_cause = reset_cause
        self._splitter = Splitter()
        self._current: _Session | None = None
        self._pending: _Session | None = None
        self._welcome_due: Welcome | None = None
        self._frames: deque[tuple[int, Frame]] = deque(maxlen=HELD)
        self._fresh = False  # a frame was taken since the last report
        self._reported_at = 0
        self._telemetry_at = 0
        self._report_number = 0
        self._damaged = 0
        self.late = 0
        """Packets dropped because they repeated a number or came behind a newer one."""
        self.unknown = 0
        """Packets of kinds that this version does not know."""
        self.refused = 0
        """Frames dropped whole for a pulse outside the limits."""

    @property
    def damaged(self) -> int:
        """Packets dropped for their length, their check or what was in them."""
        return self._damaged + self._splitter.oversize

    def use(self, low: Sequence[int], high: Sequence[int]) -> None:
        """From now on these are the limits."""
        self._low, self._high = tuple(low), tuple(high)

    def receive(self, data: bytes, now_ms: int) -> list[Taken]:
        """Take the hub's bytes as they come; returns the frames accepted, in order. Never raises."""
        taken: list[Taken] = []
        for encoded in self._splitter.feed(data):
            try:
                taken += self._take(unseal(encoded), now_ms)
            except DamagedError:
                self._damaged += 1
        return taken

    def answer(self, now_ms: int, telemetry: Callable[[], Telemetry]) -> bytes:
        """What is due to the hub now: a welcome, how the keeping stands, telemetry or an ack."""
        out = self._say_welcome()
        session = self._current
        if session is None:
            return out
        hello = session.hello
        for due in (self._keeper.reply(), self._keeper.say()) if self._keeper is not None else ():
            if due is not None:
                self._report_number += 1
                out += seal(due.body(self._report_number), session.key.bytes_for(self._report_number))
        if now_ms - self._telemetry_at >= hello.telemetry_ms:
            self._telemetry_at = now_ms
            return out + self._report(session, now_ms, telemetry())
        if self._fresh and now_ms - self._reported_at >= hello.ack_ms:
            return out + self._report(session, now_ms, None)
        return out

    # -- taking -------------------------------------------------------------------------------------

    def _take(self, packet: Packet, now_ms: int) -> list[Taken]:
        if packet.kind == Kind.HELLO:
            self._take_hello(packet)
            return []
        settings = packet.kind == Kind.SETTINGS and self._keeper is not None
        if not settings and packet.kind not in FRAMES:
            self.unknown += 1
            return []
        session, number = self._session_of(packet)
        if number <= session.newest:
            self.late += 1
            return []
        newest, session.newest = session.newest, number
        if settings and self._keeper is not None:
            self._keeper.take(packet)
            return []
        frames = coder.decode(packet, number, len(self._low), self._outputs, self._held)
        if not all(self._within(frame.pulses) for _, frame in frames if frame.pulses is not None):
            self.refused += 1
            return []
        if frames[0][0] <= newest:
            self.late += 1
            return []
        return [self._keep(session, at, frame, now_ms, i == 0) for i, (at, frame) in enumerate(frames)]

    def _keep(self, session: _Session, number: int, frame: Frame, now_ms: int, first: bool) -> Taken:
        ticks = number - session.taken if session.taken else 1
        # The newest becomes the nearest bit of those before it, and all move on by the ticks between.
        moved = (session.before << 1 | 1) if session.taken else 0
        session.before = moved << (ticks - 1) & 0xFFFF
        session.taken, session.taken_at = number, now_ms
        self._fresh = True
        self._frames.append((number, frame))
        return Taken(number, frame, ticks, first)

    def _session_of(self, packet: Packet) -> tuple[_Session, int]:
        """The session whose key a packet's check fits, and its number there."""
        if len(packet.body) < 2:
            raise DamagedError("expected a number")
        for session in (self._current, self._pending):
            if session is None:
                continue
            number = nearest(packet.body[1], session.newest)
            if packet.fits(session.key.bytes_for(number)):
                if session is self._pending:
                    self._current, self._pending = session, None
                    self._frames.clear()
                    self._report_number = 0
                return session, number
        raise DamagedError("expected a check that fits")

    def _take_hello(self, packet: Packet) -> None:
        if not packet.fits():
            raise DamagedError("expected a good check")
        hello = read_hello(packet)
        suits = (
            hello.version == VERSION
            and (hello.joints, hello.outputs) == (len(self._low), self._outputs)
            and hello.tick_ms == 20
        )
        if suits:
            for known in (self._current, self._pending):
                if known is not None and known.key.hub == hello.session:
                    key = known.key  # said again: the welcome was lost
                    break
            else:
                self._own_session = (self._own_session + 1) & 0xFFFF
                key = Key(hello.session, self._own_session)
                self._pending = _Session(key, hello)
        else:
            key = Key(hello.session, 0)
        self._welcome_due = Welcome(suits, key.hub, key.robot, len(self._low), self._outputs, self._reset_cause)

    def _within(self, pulses: Sequence[int]) -> bool:
        limits = zip(pulses, self._low, self._high, strict=True)
        return all(pulse == 0 or low <= pulse <= high for pulse, low, high in limits)

    def _held(self, number: int) -> Frame | None:
        return next((frame for known, frame in self._frames if known == number), None)

    # -- reporting ----------------------------------------------------------------------------------

    def _say_welcome(self) -> bytes:
        due, self._welcome_due = self._welcome_due, None
        if due is None:
            return b""
        if self._keeper is not None:
            due = replace(due, kept=self._keeper.kept_in_use, digest=self._keeper.digest)
        return seal(due.body())

    def _report(self, session: _Session, now_ms: int, telemetry: Telemetry | None) -> bytes:
        self._fresh = False
        self._reported_at = now_ms
        self._report_number += 1
        held = 255
        if session.taken:
            held = min(now_ms - session.taken_at, 255)
        receipt = Receipt(session.taken & 255, session.before, held)
        body = report_body(self._report_number, receipt, telemetry)
        return seal(body, session.key.bytes_for(self._report_number))
