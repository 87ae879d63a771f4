"""Whatever happens to the bytes on their way, the robot applies only frames that were sent, whole, once, in order.

How sure is that? Up to five flipped bits of a packet are always noticed (test_crc). Other damage passes a
24-bit check once in 16.8 million, and then has to be bits of a frame that leans on what was taken, with pulses
within the limits. The seeds are fixed, so the outcome is too. How many streams there are, and from which
seed on, is said by DAMAGED_STREAMS and DAMAGED_FIRST: a million of them take a quarter of an hour::

    for first in 0 200000 400000 600000 800000; do
      DAMAGED_STREAMS=200000 DAMAGED_FIRST=$first python -m pytest tests/link/test_damage.py -s -k ever_applied
    done
"""

import functools
import os
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from motionhub.link import coder, wire
from motionhub.link.receiver import Receiver, Taken

JOINTS, OUTPUTS = 20, 2
LOW, HIGH = (500,) * JOINTS, (2500,) * JOINTS
STREAMS = int(os.environ.get("DAMAGED_STREAMS", "6000"))
FIRST = int(os.environ.get("DAMAGED_FIRST", "0"))


def fresh(first_session: int = 5) -> tuple[Receiver, wire.Key]:
    """A receiver that has answered hello 7."""
    receiver = Receiver(LOW, HIGH, OUTPUTS, first_session)
    receiver.receive(wire.seal(wire.Hello(7, JOINTS, OUTPUTS).body()), 0.0)
    (encoded,) = wire.Splitter().feed(receiver.answer(0.0, lambda: pytest.fail("no session yet")))
    welcome = wire.read_welcome(wire.unseal(encoded))
    assert welcome.suits
    return receiver, wire.Key(welcome.session, welcome.robot_session)


def show(
    rng: random.Random, key: wire.Key, first: int, count: int, *, whole: bool = False, together: bool = False
) -> tuple[dict[int, wire.Frame], list[bytes]]:
    """Frames as of a robot in motion, and their packets: whole ones, and differences from any earlier ones.

    With ``together`` packets of one, two and three frames, one or two ticks apart; else a packet for each frame.
    """
    pulses = [rng.randint(700, 2300) for _ in range(JOINTS)]
    frames, packets = {}, []
    number = first - 1
    for _ in range(count):
        limp = rng.random() < 0.03
        many, step = (rng.randint(1, 3), rng.randint(1, 2)) if together and not limp else (1, 1)
        own = []
        for _ in range(many):
            pulses = [min(max(p + rng.randint(-20, 20), 500), 2500) for p in pulses]
            number += step
            frames[number] = wire.Frame(None if limp else tuple(pulses), (rng.randint(0, 255), 0))
            own.append(frames[number])
        base = None if whole or rng.random() < 0.2 else number - (many - 1) * step - rng.randint(1, 6)
        body = coder.encode(number, own, base, frames.get, step)
        packets.append(wire.seal(body, key.bytes_for(number)))
    return frames, packets


def flip(rng, stream):
    out = bytearray(stream)
    for _ in range(rng.choice([1, 1, 2, 3, 8, 40])):
        out[rng.randrange(len(out))] ^= 1 << rng.randrange(8)
    return bytes(out)


def cut(rng, stream):
    a = rng.randrange(len(stream))
    return stream[:a] + stream[a + rng.randint(1, 60) :]


def splice(rng, stream):
    a, b = rng.randrange(len(stream)), rng.randrange(len(stream))
    return stream[:a] + stream[b : b + rng.randint(1, 120)] + stream[a:]


def repeat(rng, stream):
    a = rng.randrange(len(stream))
    piece = stream[a : a + rng.randint(1, 120)]
    return stream[:a] + piece * rng.randint(2, 4) + stream[a:]


def reorder(rng, stream):
    packets = stream.split(b"\0")
    rng.shuffle(packets)
    return b"\0".join(packets)


def noise(rng, stream):
    a = rng.randrange(len(stream))
    return stream[:a] + rng.randbytes(rng.randint(1, 80)) + stream[a:]


def swap_halves(rng, stream):
    """The head of one packet on the tail of another: the right length, and most of it good."""
    packets = stream.split(b"\0")
    a, b = rng.sample(range(len(packets)), 2)
    at = rng.randrange(40)
    packets[a], packets[b] = packets[a][:at] + packets[b][at:], packets[b][:at] + packets[a][at:]
    return b"\0".join(packets)


@functools.cache
def stale_packets() -> list[bytes]:
    """Packets that were good once: of the robot's session before this one, of another hub's, of 256 numbers on."""
    _, key = fresh()
    found = []
    for then, first in ((wire.Key(key.hub, key.robot - 1), 1), (wire.Key(key.hub - 1, key.robot), 1), (key, 257)):
        found += show(random.Random(first), then, first, 12, together=True)[1]
    return found


def stale(rng, stream):
    packets = stream.split(b"\0")
    packets.insert(rng.randrange(len(packets)), rng.choice(stale_packets())[:-1])
    return b"\0".join(packets)


DAMAGE = [flip, cut, splice, repeat, reorder, noise, swap_halves, stale]


def damaged(rng: random.Random, packets: list[bytes]) -> bytes:
    stream = b"".join(packets)
    for _ in range(rng.randint(1, 4)):
        stream = rng.choice(DAMAGE)(rng, stream) or b"\0"
    return stream


def feed(rng: random.Random, receiver: Receiver, stream: bytes) -> list[Taken]:
    taken: list[Taken] = []
    while stream:
        size = rng.randint(1, 200)
        taken += receiver.receive(stream[:size], 0.0)
        stream = stream[size:]
    return taken


def wrong(taken: list[Taken], frames: dict[int, wire.Frame], newest: int = 0) -> str:
    """What is wrong with what was applied, or nothing."""
    for each in taken:
        if each.number <= newest:
            return f"{each.number} was applied after {newest}"
        if frames.get(each.number) != each.frame:
            return f"{each.number} is not what was sent"
        newest = each.number
    return ""


@functools.cache
def kept_show(seed: int) -> tuple[dict[int, wire.Frame], list[bytes]]:
    """One of a hundred shows, to save making one for every stream."""
    return show(random.Random(seed), fresh()[1], 1, 12, together=True)


def run(seed: int) -> tuple[str, int, int]:
    rng = random.Random(seed)
    receiver, _ = fresh()
    frames, packets = kept_show(seed % 100)
    taken = feed(rng, receiver, damaged(rng, packets))
    return wrong(taken, frames), len(taken), receiver.damaged + receiver.late


def test_nothing_wrong_is_ever_applied():
    applied = noticed = 0
    faults = []
    for seed in range(FIRST, FIRST + STREAMS):
        fault, count, dropped = run(seed)
        if fault:
            faults.append(f"seed {seed}: {fault}")
        applied += count
        noticed += dropped
    print(f"{STREAMS} streams: {applied} frames applied, {noticed} packets dropped, {len(faults)} wrong")
    assert not faults
    # The damage is neither nothing nor everything.
    assert applied > 2 * STREAMS
    assert noticed > 2 * STREAMS


def test_the_check_is_what_holds(monkeypatch):
    """Without the check the same streams do apply wrong frames: the test above can fail."""
    monkeypatch.setattr(wire.Packet, "fits", lambda self, key=b"": True)
    assert sum(bool(run(seed)[0]) for seed in range(300)) > 20


def test_every_one_and_two_flipped_bits_on_the_wire():
    """All of them, framing and delimiter included: 312 bits of a packet, 48,828 patterns.

    The check's distance is of decoded packets. On the wire a flip can hit a COBS length and so move more
    than one bit, which this exhausts for one packet between two others.
    """
    _, key = fresh()
    frames = {1: wire.Frame((1500,) * 20, (1, 0)), 2: wire.Frame((0, 512, 1792, 2048) * 5, (0, 0))}
    packets = [
        wire.seal(wire.Hello(7, JOINTS, OUTPUTS).body()),
        *(wire.seal(coder.encode(n, [f]), key.bytes_for(n)) for n, f in frames.items()),
    ]
    assert packets[2].count(1) > 3  # lengths of COBS runs: the second frame has many zeros
    first, second = packets[1], packets[2]
    bits = 8 * len(second)
    for i in range(bits):
        for j in range(i, bits):
            stream = bytearray(second)
            stream[i // 8] ^= 1 << i % 8
            if j != i:
                stream[j // 8] ^= 1 << j % 8
            for encoded in wire.Splitter().feed(bytes(stream) + first):
                try:
                    packet = wire.unseal(encoded)
                except wire.DamagedError:
                    continue
                fits = [n for n in range(1, 65) if packet.body[1:2] == bytes([n]) and packet.fits(key.bytes_for(n))]
                assert not fits or coder.decode(packet, fits[0], JOINTS, OUTPUTS) == [(fits[0], frames[fits[0]])]


def test_one_good_packet_after_the_damage_is_lost_at_most():
    """Recovery: of the packets after the damage only the first may be taken for part of it."""
    for seed in range(1_000):
        rng = random.Random(seed)
        receiver, key = fresh()
        frames, packets = show(rng, key, 1, 12, whole=True)
        taken = feed(rng, receiver, damaged(rng, packets[:10]) + rng.randbytes(rng.randint(0, 300)))
        # What was cut, spliced and shuffled may have brought numbers 1 to 10; 11 and 12 arrive whole.
        taken += receiver.receive(packets[10], 0.0)
        last = receiver.receive(packets[11], 0.0)
        assert [each.number for each in last] == [12], f"seed {seed}"
        assert not wrong(taken + last, frames), f"seed {seed}"


@pytest.mark.parametrize("gap", [1, 5, 63, 64, 65, 127, 128, 191, 192, 255, 256, 257, 512, 1000])
def test_what_is_late_by_any_number_of_frames_is_never_applied(gap):
    """Replaying the packet of ``gap`` frames ago, when its low byte may again look new."""
    rng = random.Random(gap)
    receiver, key = fresh()
    _, packets = show(rng, key, 1, gap + 40)
    newest = 0
    for i, packet in enumerate(packets):
        (taken,) = receiver.receive(packet, 0.0)
        assert taken.number == newest + 1
        newest = taken.number
        if i >= gap:
            assert receiver.receive(packets[i - gap], 0.0) == []


def test_a_whole_earlier_session_played_again_does_nothing():
    receiver, key = fresh()
    _, packets = show(random.Random(1), key, 1, 300)
    hello = wire.seal(wire.Hello(7, JOINTS, OUTPUTS).body())
    assert len(receiver.receive(b"".join(packets), 0.0)) == 300
    # The same session from its hello on
    assert receiver.receive(hello + b"".join(packets), 0.0) == []
    # A new session, then the old one from its hello on: the robot's own number has moved on
    new_hello = wire.seal(wire.Hello(8, JOINTS, OUTPUTS).body())
    receiver.receive(new_hello, 0.0)
    new_key = wire.Key(8, key.robot + 1)
    _, new_packets = show(random.Random(2), new_key, 1, 20)
    assert len(receiver.receive(b"".join(new_packets[:10]), 0.0)) == 10
    assert receiver.receive(hello + b"".join(packets), 0.0) == []
    # and the new one goes on undisturbed.
    assert len(receiver.receive(b"".join(new_packets[10:]), 0.0)) == 10


def test_differences_from_a_frame_that_was_not_taken_are_refused():
    receiver, key = fresh()
    frames = {n: wire.Frame((1500 + n,) * JOINTS, (0, 0)) for n in range(1, 7)}

    def packet(n, base):
        only = {base: frames[base]}.get if base else lambda _: None
        return wire.seal(coder.encode(n, [frames[n]], base, only), key.bytes_for(n))

    packets = {n: packet(n, n - 2 if n > 3 else None) for n in frames}
    assert len(packets[6]) < len(packets[1])
    assert [each.number for each in receiver.receive(packets[1] + packets[3], 0.0)] == [1, 3]
    # 4 leans on 2, which never came; 5 leans on 3, and 6 on 4 again.
    assert receiver.receive(packets[4], 0.0) == []
    assert receiver.damaged == 1
    (taken,) = receiver.receive(packets[5], 0.0)
    assert taken.frame == frames[5]
    assert receiver.receive(packets[6], 0.0) == []


def test_after_a_reset_the_robot_takes_nothing_of_before():
    receiver, key = fresh(first_session=5)
    _, packets = show(random.Random(3), key, 1, 50)
    assert len(receiver.receive(b"".join(packets[:25]), 0.0)) == 25
    again, new_key = fresh(first_session=6)
    assert new_key != key
    assert again.receive(b"".join(packets), 0.0) == []


def test_a_frame_with_a_pulse_out_of_bounds_is_refused_whole():
    receiver, key = fresh()
    for number, pulse in enumerate((499, 2501, 4095, 1), start=1):
        pulses = (1500,) * 7 + (pulse,) + (1500,) * 12
        body = coder.encode(number, [wire.Frame(pulses, (0, 0))])
        assert receiver.receive(wire.seal(body, key.bytes_for(number)), 0.0) == []
    assert receiver.refused == 4
    good = wire.Frame((500,) * 10 + (2500,) * 9 + (0,), (0, 0))
    (taken,) = receiver.receive(wire.seal(coder.encode(5, [good]), key.bytes_for(5)), 0.0)
    assert taken.frame == good


def test_unknown_kinds_are_counted_and_harmless():
    receiver, key = fresh()
    for kind in (0, 5, 8, 9, 10, 11, 12, 14, 15):
        assert receiver.receive(wire.seal(bytes([kind << 4, 1, 2, 3]), key.bytes_for(1)), 0.0) == []
    assert receiver.unknown == 9
    _, packets = show(random.Random(4), key, 1, 3)
    assert len(receiver.receive(b"".join(packets), 0.0)) == 3


operations = st.lists(
    st.tuples(st.sampled_from(["drop", "repeat", "swap", "flip", "cut", "junk"]), st.integers(0, 2**16)), max_size=12
)


@given(operations, st.integers(1, 190), st.integers(0, 2**32))
def test_any_damage_that_hypothesis_thinks_of(operations, first, seed):
    rng = random.Random(seed)
    receiver, key = fresh()
    frames, packets = show(rng, key, first, 10, together=True)
    for what, where in operations:
        i = where % len(packets) if packets else 0
        if not packets:
            break
        if what == "drop":
            del packets[i]
        elif what == "repeat":
            packets.insert(where // 7 % (len(packets) + 1), packets[i])
        elif what == "swap":
            packets[i], packets[where // 5 % len(packets)] = packets[where // 5 % len(packets)], packets[i]
        elif what == "flip" and packets[i]:
            at = where // 11 % (8 * len(packets[i]))
            out = bytearray(packets[i])
            out[at // 8] ^= 1 << at % 8
            packets[i] = bytes(out)
        elif what == "cut":
            packets[i] = packets[i][: where // 13 % 40]
        else:
            packets.insert(i, rng.randbytes(where % 50))
    assert not wrong(feed(rng, receiver, b"".join(packets)), frames)
