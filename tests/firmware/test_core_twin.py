"""The portable core and the simulated robot: the same bytes in, the same pulses and bytes out."""

import ctypes
import os
import random

import numpy as np
import pytest
from core_twin import Core, Pair
from crccheck.crc import Crc24FlexrayA
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from motionhub.library.shipped import shipped_folder
from motionhub.library.store import Library
from motionhub.link import coder, wire
from motionhub.link.kept import PIECE, digest, pieces
from motionhub.link.receiver import HELD
from motionhub.link.session import Heard, LinkSession
from motionhub.link.trouble import Trouble
from motionhub.link.wire import Activity, Faults, Frame, ResetCause
from motionhub.motion.render import render

ROBOTS = ["tansy", "harrow", "trestle"]
TICK_MS = 20


class Hub:
    """Knows just enough to make packets that the robot takes, and any that it should not."""

    def __init__(self, pair: Pair) -> None:
        self.pair = pair
        self.session, self.number = 6, 0
        self.frames: dict[int, Frame] = {}
        self.sent: list[bytes] = [b"\0"]

    @property
    def key(self) -> wire.Key:
        receiver = self.pair.twin.receiver
        known = receiver._pending or receiver._current
        return known.key if known else wire.Key(0, 0)

    def hello(self, **changes: int) -> bytes:
        shape = {"joints": self.pair.twin.robot.joints, "outputs": len(self.pair.twin.robot.outputs)} | changes
        return wire.seal(wire.Hello(self.session, **shape).body())

    def seal(self, body: bytes, number: int) -> bytes:
        self.sent.append(wire.seal(body, self.key.bytes_for(number)))
        return self.sent[-1]

    def frame(self, rng: random.Random, ahead: int) -> bytes:
        limits = self.pair.core.limits
        self.number += ahead
        last = self.frames.get(max(self.frames, default=0))
        sort = rng.random()
        outputs = tuple(rng.randrange(256) for _ in self.pair.twin.robot.outputs)
        pulses: tuple[int, ...] | None
        if sort < 0.1:
            pulses = None
        elif sort < 0.7 and last is not None and last.pulses is not None:
            # A move goes on, sometimes along a line, sometimes past an end.
            step = rng.choice([0, 1, 3, 30])
            moved = (p + rng.randint(-step, step) if p else 0 for p in last.pulses)
            over = rng.random() < 0.1
            ends = zip(moved, limits.low, limits.high, strict=True)
            pulses = tuple(p if over or not p else min(max(p, low), high) for p, low, high in ends)
            pulses = tuple(min(max(p, 0), 4095) for p in pulses)
            outputs = last.outputs if rng.random() < 0.7 else outputs
        else:
            pulses = tuple(
                0 if rng.random() < 0.05 else rng.randint(low, high)
                for low, high in zip(limits.low, limits.high, strict=True)
            )
        frame = self.frames[self.number] = Frame(pulses, outputs)
        base = self.number - rng.randint(1, 15) if rng.random() < 0.8 else None
        together = [frame]
        step = rng.choice([1, 1, 2])
        for _ in range(rng.choice([0, 0, 0, 1, 2]) if pulses is not None else 0):
            self.number += step
            further = tuple(min(max(p + rng.randint(-3, 3), 0), 4095) if p else 0 for p in together[-1].pulses or ())
            together.append(
                Frame(further, outputs if rng.random() < 0.7 else tuple(rng.randrange(256) for _ in outputs))
            )
            self.frames[self.number] = together[-1]
        return self.seal(coder.encode(self.number, together, base, self.frames.get, step), self.number)

    def settings(self, rng: random.Random, part: int) -> bytes:
        """A piece of settings that are right, or nearly; the last part asks for them to be kept."""
        lines = self.pair.twin._export.joints
        own = random.Random(rng.randrange(3))
        image = b""
        whose = own.sample(range(len(lines)), len(lines))
        for joint in whose if own.random() < 0.5 else range(len(lines)):
            line = lines[joint]
            low, high = line.hard_low + own.randrange(40), line.hard_high - own.randrange(40)
            value = low | high << 12 | own.randrange(1 << 12) << 24 | own.randrange(2) << 36
            value |= own.choice([1024, own.randint(512, 2047)]) << 37
            image += (value | joint << 48).to_bytes(7, "little")
        if rng.random() < 0.05:
            first = int.from_bytes(image[:7], "little")
            # No ends, a scale that is none, a joint that is none, bits that stay free
            spoilt = rng.choice([0, first & ~(0x7FF << 37) | 511 << 37, first | 63 << 48, first | 1 << 54])
            image = spoilt.to_bytes(7, "little") + image[7:]
        self.number += 1
        count = pieces(len(image))
        if part % (count + 1) == count:
            return self.seal(bytes((0x51, self.number & 255)) + digest(image), self.number)
        piece = part % (count + 1)
        head = bytes((0x50, self.number & 255, piece))
        return self.seal(head + image[PIECE * piece :][:PIECE], self.number)

    def all_settings(self, rng: random.Random) -> bytes:
        state = rng.getstate()
        out = b""
        for part in range(pieces(7 * len(self.pair.twin._export.joints)) + 1):
            rng.setstate(state)
            out += self.settings(rng, part)
        return out


def level_mv(pair: Pair, level: str) -> int:
    return round(getattr(pair.twin.robot.supply, f"battery_{level}_v") * 1000)


def play(pair: Pair, steps: list[tuple[str, int]]) -> None:
    hub = Hub(pair)
    pair.receive(hub.hello())
    for what, n in steps:
        rng = random.Random(n)
        if what == "frame":
            pair.receive(hub.frame(rng, 1))
            pair.pass_time(TICK_MS)
        elif what == "frames":
            for _ in range(n % 60):
                pair.receive(hub.frame(rng, rng.choice([1, 1, 1, 2, 5])))
                pair.pass_time(TICK_MS)
        elif what == "follow":
            # From standing into a line, so that it is followed and not for ever caught up with.
            limits = pair.core.limits
            for i in range(150):
                hub.number += 1
                slow = tuple(min(p + max(i - 100, 0), high) for p, high in zip(limits.rest, limits.high, strict=True))
                frame = hub.frames[hub.number] = Frame(slow, (n % 256,) * pair.core.outputs_n)
                body = coder.encode(hub.number, [frame], hub.number - 1 - n % 4, hub.frames.get)
                pair.receive(hub.seal(body, hub.number) if rng.random() < 0.9 else b"")
                pair.pass_time(TICK_MS)
        elif what == "gap":
            pair.receive(hub.frame(rng, 1 + n % 300))
        elif what == "hello":
            hub.session += n % 3
            hub.number, hub.frames = (0, {}) if n % 3 else (hub.number, hub.frames)
            pair.receive(hub.hello(**({"joints": n % 50} if n % 7 == 0 else {"ack_ms": n % 90})))
        elif what == "settings":
            pair.receive(hub.all_settings(rng) if n % 2 else hub.settings(rng, n))
        elif what == "asked":
            hub.number += 1
            pair.receive(hub.seal(bytes((0x52, hub.number & 255, n % 8)), hub.number))
        elif what == "time":
            pair.pass_time(n % 700)
        elif what == "long":
            for _ in range(n % 400):
                pair.pass_time(TICK_MS)
        elif what == "battery":
            pair.mv = [
                100,
                level_mv(pair, "cut_off") - 30,
                level_mv(pair, "warn") - 30,
                *[level_mv(pair, "full")] * 4,
                65000,
            ][n % 8]
        elif what == "again":
            pair.receive(hub.sent[n % len(hub.sent)])
        elif what == "damaged":
            packet = bytearray(hub.frame(rng, 1))
            packet[n % len(packet)] ^= 1 << n % 8
            pair.receive(bytes(packet))
        elif what == "odd":
            kinds = [1, 2, 2, 2, 3, 5, 5, 6, 9, 0]
            hub.number += 1
            first = kinds[n % 10] << 4 | rng.choice([0, 0, 1, 2, 5, 15])
            pair.receive(hub.seal(bytes((first, hub.number & 255)) + rng.randbytes(n % 40), hub.number))
        elif what == "noise":
            pair.receive(rng.randbytes(n % 400))
        elif what == "loop":
            pair.note_loop(n % 65536)
        elif what == "reset":
            hub.number, hub.frames = 0, {}
            pair.reset(ResetCause(n % 5))
        elif what == "worn":
            at = n % 240
            pair.core.eeprom[at] = pair.twin.memory.bytes[at] = rng.randrange(256)


WHATS = (
    "frame frames frames follow gap hello settings settings asked time long battery again damaged odd noise loop reset "
    "worn"
)


@settings(
    max_examples=int(os.environ.get("MOTIONHUB_TWIN_EXAMPLES", "60")),
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(st.lists(st.tuples(st.sampled_from(WHATS.split()), st.integers(0, 2**16)), max_size=25), st.sampled_from(ROBOTS))
def test_any_bytes_at_any_time_mean_the_same_to_both(pair, steps, name):
    play(pair(name), steps)


@pytest.mark.parametrize("name", ROBOTS)
def test_long_scripts_mean_the_same_to_both(pair, name):
    """Through everything that a robot does, and then anywhere; counted, so that it is known to have been reached."""
    walk = [("settings", 1), ("long", 399), ("follow", 2), ("frames", 9), ("long", 60), ("follow", 1), ("reset", 4)]
    empty = [("hello", 1), ("follow", 3), ("battery", 0), ("follow", 3), ("follow", 3), ("long", 399), ("reset", 4)]
    again = [("reset", 3), ("battery", 3), ("hello", 1)]
    for seed in range(2):
        rng = random.Random(seed)
        both = pair(name)
        play(both, walk + empty)
        assert {issued.activity for issued in both.twin.issued} == set(Activity)
        assert both.twin.keeper.kept_in_use
        play(both, again + [(rng.choice(WHATS.split()), rng.randrange(2**16)) for _ in range(40)])
        assert both.twin.receiver.refused + both.twin.receiver.late + both.twin.receiver.damaged


def standing(pair: Pair, ticks: int = 1) -> Hub:
    """A hub whose robot has followed some frames."""
    hub = Hub(pair)
    pair.receive(hub.hello())
    for _ in range(ticks):
        send(hub, 1)
        pair.pass_time(TICK_MS)
    return hub


def send(hub: Hub, ahead: int, base: int | None = None) -> int:
    """A frame of the rest pose, ``ahead`` numbers on; returns the number that the robot took last."""
    hub.number += ahead
    frame = Frame(hub.pair.core.limits.rest, (7,) * hub.pair.core.outputs_n)
    body = coder.encode(hub.number, [frame], base, lambda _: frame)
    hub.pair.receive(hub.seal(body, hub.number))
    return hub.pair.core._c.machine_taken(hub.pair.core._m)


@pytest.mark.parametrize("gap", [*range(1, 21), 63, 64, 65, 190, 191, 192, 193, 255, 256, 257])
def test_gaps_between_frames_at_their_edges(pair, gap):
    """Receipts say which of the sixteen before arrived; what is more than 191 ahead is not believed."""
    hub = standing(pair(), 5)
    for _ in range(2):
        send(hub, 150)  # past 256, where a low byte could also mean a number that has been
    before = hub.number
    assert send(hub, gap) == (before + gap if gap <= 191 else before)
    hub.pair.pass_time(100)
    send(hub, 1)
    hub.pair.pass_time(100)


def test_how_long_a_frame_has_been_there_at_its_edges(pair):
    hub = standing(pair(), 5)
    for ms in (0, 1, 248, *range(250, 259), 511, 512, 65_535, 65_536, 65_540):
        hub.pair.receive(hub.hello())
        send(hub, 1)
        hub.pair.pass_time(ms)


def test_voltages_and_loops_at_their_edges(pair):
    hub = standing(pair(), 150)
    both = hub.pair
    warn, cut_off = level_mv(both, "warn"), level_mv(both, "cut_off")
    steps = [warn + 1, warn, warn - 1, warn + 99, warn + 100, warn + 101, warn + 102, cut_off + 1, cut_off]
    told = []
    for mv in steps:
        both.mv = mv
        both.note_loop(20_000 + mv % 2)
        for _ in range(120):
            send(hub, 1)
            both.pass_time(TICK_MS)
        told.append(Faults.BATTERY_LOW in both.twin.controller.faults)
    # Low is below; it is forgotten above 0.1 V more.
    assert told == [False, False, True, True, True, False, False, True, True]
    assert both.core.activity == Activity.FOLLOWING
    both.mv = cut_off - 1
    for _ in range(400):
        send(hub, 1)
        both.pass_time(TICK_MS)
    assert both.core.activity == Activity.ENDED


def test_settings_kept_again_and_again_byte_by_byte(pair):
    """The memories are compared in every tick, also where many bytes need no writing."""
    hub = standing(pair())
    for seed in (1, 1, 1, 2, 2, 1):
        hub.pair.receive(hub.all_settings(random.Random(seed)))
        for _ in range(250):
            hub.pair.pass_time(TICK_MS)
        assert hub.pair.twin.keeper.kept_in_use


def test_a_new_session_leans_on_nothing_of_the_old(pair):
    hub = standing(pair(), 10)
    hub.session, hub.number = 60, 0
    hub.pair.receive(hub.hello())
    # Number 5 leans on 4, which was taken in the old session but not in this one.
    hub.number = 4
    assert send(hub, 1, base=4) == 0
    assert send(hub, 1) == 6
    assert send(hub, 1, base=6) == 7


@pytest.fixture(scope="module")
def moves(workshop):
    """Pulses (T, J) of three shipped moves, one after the other."""
    robot, calibration = workshop.robot("tansy")
    library = Library(shipped_folder(), shipped_folder(), robot)
    names = [name for name in library.names() if library.kind(name) == "sequence"][:3]
    return np.concatenate(
        [calibration.pulses(robot, render(library.sequence(name), robot, 50.0).joints)[:400] for name in names]
    )


TROUBLES = {
    "good": {},
    "lossy": {"lost": 0.05},
    "very lossy": {"lost": 0.3, "repeated": 0.1},
    "noisy": {"flipped": 0.001, "cut": 0.02},
    "dreadful": {"flipped": 0.004, "lost": 0.2, "cut": 0.1, "repeated": 0.1},
}


@pytest.mark.parametrize("trouble", TROUBLES)
def test_moves_over_a_bad_radio_mean_the_same_to_both(pair, moves, trouble):
    """The hub plays shipped moves; the radio loses, repeats, flips and delays; now and then the hub stands still."""
    both = pair("tansy")
    hub = LinkSession(both.twin.robot, 7)
    there, back = Trouble(**TROUBLES[trouble], seed=1), Trouble(**TROUBLES[trouble], seed=2)
    on_the_way = [b""] * 2
    rng = random.Random(trouble)
    events = []
    for row in moves:
        if rng.random() < 0.004:
            on_the_way.append(both.pass_time(rng.choice([90, 400, 900])))
            on_the_way[:2] = [b"".join(on_the_way[:2])]
        now = both.ms / 1000
        on_the_way.append(there.pass_on(hub.send_frame(row, (0.5,) * hub.outputs, now)))
        said = both.receive(on_the_way.pop(0)) + both.pass_time(TICK_MS)
        events += hub.receive(back.pass_on(said), both.ms / 1000) + hub.tick(both.ms / 1000)
    activities = [issued.activity for issued in both.twin.issued]
    assert Activity.FOLLOWING in activities
    assert any(isinstance(event, Heard) for event in events)
    if trouble == "good":
        # What the hub meant arrived to the microsecond: two ticks of delay, so the last is the third from the end.
        assert both.core.pulses == tuple(np.rint(moves[-3]).astype(int))
    else:
        assert both.twin.receiver.damaged or "loss" in trouble


def test_a_telemetry_that_says_everything(pair):
    """Each fault and figure, from the bytes the core said, read as the hub reads them."""
    both = pair()
    hub = LinkSession(both.twin.robot, 7)
    limits = both.core.limits
    heard: list[wire.Telemetry] = []

    def run(ticks, pulses):
        for _ in range(ticks):
            said = both.receive(hub.send_frame(pulses, (0,) * hub.outputs, both.ms / 1000)) + both.pass_time(TICK_MS)
            heard.extend(e.telemetry for e in hub.receive(said, both.ms / 1000) if isinstance(e, Heard))

    run(100, limits.rest)
    assert heard[-1].faults == 0
    assert heard[-1].activity == Activity.FOLLOWING
    assert heard[-1].reset_cause == ResetCause.POWER
    assert heard[-1].uptime_s in (1, 2)
    assert heard[-1].battery_mv == both.mv == level_mv(both, "full")
    both.note_loop(23_456)
    both.mv = level_mv(both, "warn") - 50
    run(30, limits.rest)
    assert 23_456 in [t.worst_loop_us for t in heard]
    assert Faults.SLOW_LOOP in {f for t in heard for f in t.faults}
    assert heard[-1].faults == Faults.BATTERY_LOW
    too_long = (limits.high[0] + 1, *limits.rest[1:])
    run(3, too_long)
    run(10, limits.rest)
    assert any(t.faults & Faults.REFUSED_PULSE for t in heard[-4:])
    assert heard[-1].faults == Faults.BATTERY_LOW
    both.receive(b"\x05\x01\x02\0" * 3)
    run(10, limits.rest)
    assert heard[-1].damaged == 3


@pytest.mark.parametrize("name", ROBOTS)
def test_a_watchdogs_reset_holds_what_stood(pair, name):
    both = pair(name)
    hub = Hub(both)
    both.receive(hub.hello())
    limits = both.core.limits
    away = tuple(min(rest + 150, high) for rest, high in zip(limits.rest, limits.high, strict=True))
    for number in range(1, 120):
        frame = Frame(away, (9,) * len(both.twin.robot.outputs))
        both.receive(hub.seal(coder.encode(number, [frame]), number))
        both.pass_time(TICK_MS)
    assert both.core.pulses == away
    both.reset(ResetCause.WATCHDOG)
    # All joints are held at once, within one step of easing, and eased to rest without a frame.
    assert max(abs(a - b) for a, b in zip(both.core.pulses, away, strict=True)) <= 10
    assert both.core.activity == Activity.QUIET
    assert not any(both.core.outputs)
    for _ in range(60):
        both.pass_time(TICK_MS)
    assert both.core.pulses == limits.rest
    for cause in (ResetCause.POWER, ResetCause.BUTTON, ResetCause.BROWN_OUT, ResetCause.UNKNOWN):
        both.reset(cause)
        both.pass_time(500)
        assert not any(both.core.pulses)


def test_a_watchdogs_reset_with_a_memory_that_is_not_whole_starts_no_servo(pair):
    """Any single bit of it turned over."""
    both = pair()
    core: Core = both.core
    hub = Hub(both)
    both.receive(hub.hello())
    for number in range(1, 120):
        both.receive(hub.seal(coder.encode(number, [Frame(both.core.limits.rest, (0, 0))]), number))
        both.pass_time(TICK_MS)
    good = bytes(core.survivor)
    used = 2 * core.joints + 1 + 3
    for bit in range(8 * used):
        core.survivor[:] = good
        core.survivor[bit // 8] ^= 1 << bit % 8
        core.begin(ResetCause.WATCHDOG)
        core.tick(8000)
        assert not any(core.pulses), f"bit {bit}"
    core.survivor[:] = good
    core.begin(ResetCause.WATCHDOG)
    core.tick(8000)
    assert all(core.pulses)


def test_constants_and_check_are_the_same(pair):
    c = pair().core._c
    assert c.constant_wire_version() == wire.VERSION
    assert c.constant_held() == HELD
    assert c.constant_kept_end() == pair().twin.keeper.end
    for size in (0, 1, 9, 100, 300):
        data = random.Random(size).randbytes(size)
        out = (ctypes.c_uint8 * 3)()
        c.crc24(data, size, out)
        # crccheck's CRC-24/FLEXRAY-A, which is the RevEng catalogue's.
        assert bytes(out) == Crc24FlexrayA.calc(data).to_bytes(3, "big")
