"""The hub's end of the link, without I/O: bytes and the time go in, bytes and events come out.

The two states and what moves between them::

            welcome that suits, for our session number
    SEEKING ------------------------------------------> OPEN      (frames are numbered from 1)
       ^                                                 |
       +-------------------------------------------------+
            no frame newly acknowledged for DOWN_S: next session number

While seeking, :meth:`LinkSession.send_frame` says hello now and then in place of a frame. The time is
any clock that does not go back, in seconds.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass

from numpy.typing import ArrayLike

from motionhub.link import coder
from motionhub.link.coder import WAYS
from motionhub.link.kept import RECORD, Kept, KeptState, Offer, Question, Said, read_kept
from motionhub.link.wire import (
    TICK_S,
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
    read_report,
    read_welcome,
    seal,
    unseal,
)
from motionhub.robot.model import Robot

DOWN_S = 0.75
"""Without a new acknowledgement for this long the link is down; people must know within a second."""
HELLO_S = 0.2
"""How often hello is said while there is no answer."""
WINDOW_S = 1.0
"""Over which loss and bytes are counted."""
GRACE_S = 0.25
"""A frame that is not acknowledged after this, or after four round trips, counts as lost."""
ACK_BYTES, TELEMETRY_BYTES = 11, 21
"""On the wire, all in."""
KEPT_THERE = 18
"""How many numbers back the robot is sure to keep a frame (see receiver.HELD)."""
KEPT = 200
"""Frames remembered: four seconds at 50 a second."""
SHARE_S = 0.1
"""How long packets may be too large before more frames share one; it costs a tick of delay and no more."""
JUDGE_S = 1.0
"""How long a way is tried before frames are left out, and before fewer share a packet again."""
ROOM = 0.85
"""A way that would take less than this much of the budget is gone back to."""
_ROUNDING_S = 1e-6


@dataclass(frozen=True)
class Connected:
    """The robot answered; frames flow from now on."""

    welcome: Welcome


@dataclass(frozen=True)
class Disconnected:
    """Nothing was acknowledged for too long."""

    silent_s: float


@dataclass(frozen=True)
class Mismatch:
    """A robot answered that is not the one of the robot file; it gets no frames."""

    text: str


@dataclass(frozen=True)
class Heard:
    """Telemetry arrived."""

    telemetry: Telemetry


@dataclass(frozen=True)
class Keeping:
    """News of the settings that the robot was given to keep (:meth:`LinkSession.keep`)."""

    state: KeptState
    digest: bytes
    """Of what the robot uses."""


@dataclass(frozen=True)
class InUse:
    """What the robot uses, as it was asked for (:meth:`LinkSession.ask`)."""

    image: bytes


Event = Connected | Disconnected | Mismatch | Heard | Keeping | InUse


@dataclass(frozen=True)
class LinkStatus:
    """How the link is doing, over the last second."""

    up: bool
    round_trip_s: float | None
    lost_share: float
    """Of the frames sent in the last second whose time for an acknowledgement is over; 1 while down."""
    bytes_s: float
    """Sent by the hub, all in."""
    budget_bytes_s: float
    """What the robot file allows frames to take of the line (8N1: ten bits a byte)."""
    together: int
    """Frames that share a packet, because the radio is slow; they arrive as many ticks later, less one."""
    thinned: bool
    """Every second frame is left out, because the radio cannot carry all."""
    telemetry: Telemetry | None
    telemetry_age_s: float | None


@dataclass
class _Sent:
    number: int
    at: float
    frame: Frame
    acknowledged: bool = False


class LinkSession:
    """One link to one robot. Not thread-safe: one task owns it.

    Args:
        robot: Says how many joints and outputs a frame has, and the radio's speed.
        first_session: Anything that differs from one start of the hub to the next, 16 bits of it.

    Raises:
        InputError: if the robot has more joints than a packet has room for.
    """

    def __init__(self, robot: Robot, first_session: int = 0) -> None:
        coder.require_room(robot)
        self.joints, self.outputs = robot.joints, len(robot.outputs)
        self.budget_bytes_s = robot.link.baud / 10 * robot.link.share
        # A slow radio is not to spend itself on answers: at most a quarter of it for acks, a tenth for telemetry.
        byte_s = robot.link.baud / 10
        self._ack_ms = min(250, round(ACK_BYTES / (0.25 * byte_s) * 1000) if byte_s < 5000 else 0)
        self._telemetry_ms = min(500, max(100, round(TELEMETRY_BYTES / (0.1 * byte_s) * 100) * 10))
        self._session = first_session & 0xFFFF
        self._key: Key | None = None
        self._splitter = Splitter()
        self._number = 0  # of the last tick sent
        self._heard_number = 0  # of the newest packet from the robot
        self._sent: deque[_Sent] = deque(maxlen=KEPT)
        self._written: deque[tuple[float, int]] = deque()
        self._way = 0
        self._way_at = 0.0
        self._waiting: list[Frame] = []  # frames of this packet's ticks that are not sent yet
        self._hello_at: float | None = None
        self._news_at = 0.0  # when a frame was last newly acknowledged, or the session opened
        self._round_trip: float | None = None
        self._telemetry: tuple[float, Telemetry] | None = None
        self._mismatch = ""
        self._offer: Offer | None = None
        self._question: Question | None = None
        self._keeping: KeptState | None = None
        self.damaged = 0
        """Packets dropped because they were not what the robot sent, or came late."""
        self.unknown = 0
        """Packets of kinds that this version does not know."""

    @property
    def up(self) -> bool:
        """Whether frames are being sent and acknowledged."""
        return self._key is not None

    @property
    def number(self) -> int:
        """Number of the frame last sent in this session; 0 before the first."""
        return self._number

    def send_frame(self, pulses: ArrayLike | None, outputs: ArrayLike, now: float) -> bytes:
        """One tick's bytes: its frame, or those of several ticks, or nothing while they gather; a hello without a link.

        Call it once a tick, limp ticks included: it is what keeps the robot from its failsafe.

        Args:
            pulses: (J,) µs, 0 for no pulse on that joint; ``None`` ends all pulses (limp).
            outputs: (O,) levels, 0 to 1.
            now: Seconds.

        Raises:
            ValueError: for numbers of joints or outputs that are not the robot's, or a pulse that is no pulse.
        """
        frame = coder.make_frame(pulses, outputs)
        if len(frame.outputs) != self.outputs or (frame.pulses is not None and len(frame.pulses) != self.joints):
            raise ValueError(f"expected {self.joints} pulses and {self.outputs} outputs")
        if self._key is None:
            return self._hello(now)
        self._number += 1
        # What is kept anew goes before what is asked.
        settings = self._offer or self._question
        if settings is not None and (body := settings.body(self._number)) is not None:
            self._waiting = []
            return self._count(seal(body, self._key.bytes_for(self._number)), now)
        together, step = WAYS[self._way]
        self._waiting.append(frame)
        if frame.pulses is not None and len(self._waiting) < together * step:
            return b""
        # A limp frame goes at once and alone; what waited for its company is older than it.
        frames = [frame] if frame.pulses is None else self._waiting[step - 1 :: step]
        self._waiting = []
        return self._send(frames, step, now)

    def _send(self, frames: list[Frame], step: int, now: float) -> bytes:
        assert self._key is not None
        first = self._number - (len(frames) - 1) * step
        held = {number: frame for number, frame in self._held().items() if number < first}
        body = coder.encode(self._number, frames, next(iter(held), None), held.get, step)
        if coder.whole(body):
            frames = frames[-1:]
        first = self._number - (len(frames) - 1) * step
        self._sent.extend(_Sent(first + i * step, now, frame) for i, frame in enumerate(frames))
        data = self._count(seal(body, self._key.bytes_for(self._number)), now)
        self._choose_way(now)
        return data

    def _choose_way(self, now: float) -> None:
        """Put more frames together when the radio cannot carry them, and fewer again when it can."""
        tried = now - self._way_at + _ROUNDING_S
        budget = self.budget_bytes_s * TICK_S
        above = WAYS[self._way + 1] if self._way + 1 < len(WAYS) else None
        below = WAYS[self._way - 1] if self._way else None
        more = self._way
        if above is not None:
            patience = JUDGE_S if above[1] > 1 else SHARE_S
            if tried >= patience and self._bytes_a_tick(now, patience) > budget:
                more += 1
        if more == self._way and below is not None and tried >= JUDGE_S:
            # A packet with fewer frames is smaller than this one, so this is more than it can come to.
            fewer = math.prod(below) / math.prod(WAYS[self._way])
            if self._bytes_a_tick(now, JUDGE_S) / fewer < ROOM * budget:
                more -= 1
        if more != self._way:
            self._way, self._way_at = more, now

    def _bytes_a_tick(self, now: float, seconds: float) -> float:
        """What a tick takes in the packets of this way of the last seconds; 0 without any."""
        since = max(now - seconds, self._way_at) + _ROUNDING_S
        sizes = [size for at, size in self._written if at > since]
        return sum(sizes) / (len(sizes) * math.prod(WAYS[self._way])) if sizes else 0.0

    def keep(self, image: bytes) -> None:
        """Have the robot keep its calibration, an image as :func:`motionhub.link.kept.image` makes it.

        Some ticks' frames give way to it; events say how it stands (:class:`Keeping`) until it is kept and in
        use, refused or failed. What is on its way when the link goes down is sent anew when it is back.

        Raises:
            ValueError: for an image of another size than the robot's.
        """
        if len(image) != RECORD * self.joints:
            raise ValueError(f"expected {RECORD * self.joints} bytes")
        self._offer, self._keeping = Offer(image), None

    def ask(self) -> None:
        """Ask the robot for the calibration that it uses; :class:`InUse` brings it, in a second or so.

        It takes some ticks' frames as :meth:`keep` does, and comes after that. Asked anew it begins anew.
        """
        self._question = Question(RECORD * self.joints)

    def receive(self, data: bytes, now: float) -> list[Event]:
        """Take what came from the robot, in any pieces; returns what it meant. Never raises for bad bytes."""
        events: list[Event] = []
        for encoded in self._splitter.feed(data):
            try:
                events += self._take(unseal(encoded), now)
            except DamagedError:
                self.damaged += 1
        return events

    def tick(self, now: float) -> list[Event]:
        """Notice silence. Call it about as often as :meth:`send_frame`."""
        silent = now - self._news_at
        if self._key is None or silent <= DOWN_S:
            return []
        self._key = None
        self._session = (self._session + 1) & 0xFFFF
        self._hello_at = None
        self._round_trip = None
        self._sent.clear()
        self._waiting = []
        return [Disconnected(silent)]

    def status(self, now: float) -> LinkStatus:
        """How the link is doing."""
        self._forget(now)
        patience = max(GRACE_S, 4 * (self._round_trip or 0.0))
        # Younger frames are left out whether acknowledged or not, or loss would look smaller than it is.
        known = [s for s in self._sent if now - WINDOW_S <= s.at + patience <= now]
        lost = sum(not s.acknowledged for s in known)
        heard = self._telemetry
        return LinkStatus(
            up=self.up,
            round_trip_s=self._round_trip,
            lost_share=(lost / len(known) if known else 0.0) if self.up else 1.0,
            bytes_s=sum(size for _, size in self._written) / WINDOW_S,
            budget_bytes_s=self.budget_bytes_s,
            together=WAYS[self._way][0],
            thinned=WAYS[self._way][1] > 1,
            telemetry=heard[1] if heard else None,
            telemetry_age_s=now - heard[0] if heard else None,
        )

    # -- sending ------------------------------------------------------------------------------------

    def _hello(self, now: float) -> bytes:
        if self._hello_at is not None and now - self._hello_at < HELLO_S:
            return b""
        self._hello_at = now
        hello = Hello(self._session, self.joints, self.outputs, ack_ms=self._ack_ms, telemetry_ms=self._telemetry_ms)
        return self._count(seal(hello.body()), now)

    def _held(self) -> dict[int, Frame]:
        """Frames that the robot has acknowledged and still keeps, newest first."""
        found: dict[int, Frame] = {}
        for sent in reversed(self._sent):
            if sent.number < self._number - KEPT_THERE:
                break
            if sent.acknowledged and sent.frame.pulses is not None:
                found[sent.number] = sent.frame
        return found

    def _count(self, data: bytes, now: float) -> bytes:
        self._written.append((now, len(data)))
        self._forget(now)
        return data

    def _forget(self, now: float) -> None:
        while self._written and self._written[0][0] <= now - WINDOW_S:
            self._written.popleft()

    # -- receiving ----------------------------------------------------------------------------------

    def _take(self, packet: Packet, now: float) -> list[Event]:
        if packet.kind == Kind.WELCOME:
            return self._take_welcome(packet, now)
        if packet.kind not in (Kind.ACK, Kind.TELEMETRY, Kind.KEPT):
            self.unknown += 1
            return []
        if self._key is None or len(packet.body) < 2:
            raise DamagedError("expected no report now")
        number = nearest(packet.body[1], self._heard_number)
        if not packet.fits(self._key.bytes_for(number)) or number <= self._heard_number:
            raise DamagedError("expected a newer packet with a good check")
        if packet.kind == Kind.KEPT:
            answer = read_kept(packet)
            self._heard_number = number
            return self._take_kept(answer)
        receipt, telemetry = read_report(packet)
        self._heard_number = number
        self._acknowledge(receipt, now)
        if telemetry is None:
            return []
        self._telemetry = now, telemetry
        return [Heard(telemetry)]

    def _take_kept(self, answer: Kept | Said) -> list[Event]:
        if isinstance(answer, Said):
            image = self._question.hear(answer) if self._question is not None else None
            if image is None:
                return []
            self._question = None
            return [InUse(image)]
        if self._offer is None:
            return []
        if self._offer.hear(answer):
            self._offer = None
        news, self._keeping = answer.state != self._keeping, answer.state
        return [Keeping(answer.state, answer.digest)] if news else []

    def _take_welcome(self, packet: Packet, now: float) -> list[Event]:
        if not packet.fits():
            raise DamagedError("expected a good check")
        welcome = read_welcome(packet)
        if self._key is not None or welcome.session != self._session:
            return []  # the answer to a hello that was repeated, or to one of long ago
        if not welcome.suits:
            text = self._describe(welcome)
            news, self._mismatch = text != self._mismatch, text
            return [Mismatch(text)] if news else []
        self._mismatch = ""
        self._key = Key(welcome.session, welcome.robot_session)
        self._number = self._heard_number = 0
        self._news_at = now
        self._sent.clear()
        self._waiting = []
        return [Connected(welcome)]

    def _describe(self, welcome: Welcome) -> str:
        if welcome.version != VERSION:
            return f"the robot speaks version {welcome.version} of the link, this hub version {VERSION}"
        return (
            f"the robot has {welcome.joints} joints and {welcome.outputs} outputs, "
            f"its file says {self.joints} and {self.outputs}"
        )

    def _acknowledge(self, receipt: Receipt, now: float) -> None:
        if not self._number:
            return
        # Only numbers up to the last one sent can be meant, so the low byte is enough.
        newest = self._number - ((self._number - receipt.newest) & 255)
        taken = receipt.before << 1 | 1  # bit i: the i-th before the newest
        for sent in reversed(self._sent):
            back = newest - sent.number
            if back > 16:
                break
            if back < 0 or sent.acknowledged or not taken >> back & 1:
                continue
            sent.acknowledged = True
            self._news_at = now
            if back == 0 and receipt.held_ms < 255:
                sample = max(now - sent.at - receipt.held_ms / 1000, 0.0)
                # Smoothed as TCP smooths it, by an eighth (RFC 6298, 2.3).
                last = self._round_trip
                self._round_trip = sample if last is None else last + (sample - last) / 8
