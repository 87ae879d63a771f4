"""Frames as differences, against codes written out here as strings of bits, and arithmetic as C does it."""

import ctypes

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from motionhub.link import coder, differences, wire
from motionhub.link.wire import Frame

pulse = st.integers(0, 4095)


def rice(left: int, k: int) -> str:
    """Rice & Plaunt's code with the folding and the way out that the specification gives, first bit first."""
    m = 2 * left if left >= 0 else -2 * left - 1

    def low_first(value, width):
        return f"{value:0{width}b}"[::-1] if width else ""

    return "1" * (m >> k) + "0" + low_first(m % 2**k, k) if m >> k < 12 else "1" * 12 + low_first(m, 13)


def packed(bits: str) -> bytes:
    return bytes(int(bits[i : i + 8].ljust(8, "0")[::-1], 2) for i in range(0, len(bits), 8))


def test_a_frame_bit_by_bit():
    held = {7: Frame((1500, 1000, 2000), (5,)), 9: Frame((1510, 1000, 1996), (5,))}
    # Frame 12 from base 9 and the one 2 before: 3 ticks on, the line is at 1525, 1000 and 1990.
    frame = Frame((1526, 1000, 1987), (5,))
    left = (1, 0, -3)
    # Folded 2, 0, 5. With k = 1: "100", "00", "1101": 9 bits; k = 0 takes 3+1+6, k = 2 takes 3+3+4.
    assert [sum(len(rice(r, k)) for r in left) for k in (0, 1, 2)] == [10, 9, 10]
    # mode 1, span 2, k 1, outputs as before
    bits = "10" + "01" + "100" + "0" + rice(1, 1) + rice(0, 1) + rice(-3, 1)
    assert differences.encode([frame], 12, 1, 9, held.get) == packed(bits)
    assert coder.encode(12, [frame], 9, held.get) == bytes([0x23, 12]) + packed(bits)


def test_two_frames_bit_by_bit():
    held = {9: Frame((1510, 1000, 1996), (5,))}
    frames = [Frame((1511, 1000, 1996), (5,)), Frame((1512, 1000, 1996), (6,))]
    # Both one tick apart. The first: mode 0, span 0, k 0. The second from the line through 9 and 11, which is
    # half a microsecond a tick and so at 1512 (0.5 rounds up): nothing is left, but its output changed.
    bits = "0" + "00" + "00" + "000" + "0" + rice(1, 0) + rice(0, 0) + rice(0, 0)
    bits += "10" + "111" + "1" + "01100000"
    assert coder.encode(12, frames, 9, held.get) == bytes([0x62, 12]) + packed(bits)
    # A body's first frame is 11, two after its base.
    assert coder.decode(wire.Packet(bytes([0x62, 12]) + packed(bits), 0), 12, 3, 1, held.get) == [
        (11, frames[0]),
        (12, frames[1]),
    ]


def test_nothing_left_is_one_byte():
    held = {5: Frame((1500,) * 20, (0, 9))}
    assert coder.encode(6, [Frame((1500,) * 20, (0, 9))], 5, held.get) == bytes([0x21, 6, 0b1110000])


def test_outputs_come_along_only_when_they_change():
    held = {5: Frame((1500,) * 20, (0, 9))}
    bits = "0000" + "111" + "1" + "01000000" + "10010000"
    assert coder.encode(6, [Frame((1500,) * 20, (2, 9))], 5, held.get) == bytes([0x21, 6]) + packed(bits)


def divided(x2, x1, x0, h1, h0, n):
    """The specification's arithmetic, each step held to 32 bits as C on the chip has them."""

    def int32(value):
        assert ctypes.c_int32(value).value == value, "more than 32 bits"
        return value

    def share(h):
        return min(65536 // h, 65535)

    d1, d0 = (int32((a - b) * share(h)) >> 12 for a, b, h in ((x2, x1, h1), (x1, x0, h0)))
    weight = min(int32(n * (n + h1) * share(h0 + h1)) >> 8, 65535)
    c = int32(max(min(d1 - d0, 8191), -8191) * weight) >> 8
    ahead = [0, int32(n * d1), int32(n * d1 + (c >> 1)), int32(n * d1 + c)]
    return [x2, *(min(max(x2 + (int32(a + 8) >> 4), 0), 4095) for a in ahead[1:])]


@given(st.lists(st.tuples(pulse, pulse, pulse), min_size=1, max_size=20), st.integers(1, 15), *[st.integers(1, 15)] * 2)
def test_the_curves_are_what_the_specification_says_in_32_bits(joints, ticks, h1, h0):
    rows = tuple(np.array(row) for row in zip(*joints, strict=True))
    found = differences.Known(rows, (h1, h0)).foretold(ticks)
    for i, (x2, x1, x0) in enumerate(joints):
        assert found[:, i].tolist() == divided(x2, x1, x0, h1, h0, ticks)


@given(st.integers(-20, 20), st.integers(-3, 3), st.integers(1, 6), st.integers(1, 3))
def test_mode_3_foretells_a_parabola(speed, bend, ticks, span):
    """Newton's formula is exact for polynomials of its order (textbook, memory), but for rounding."""

    def at(t):
        return 2000 + speed * t + bend * t * t

    rows = tuple(np.array([at(t)]) for t in (0, -span, -2 * span))
    found = differences.Known(rows, (span, span)).foretold(ticks)[3, 0]
    # Slopes are rounded down to sixteenths, and the bend's share to 256ths.
    wrong = (
        ticks / 16 + abs(bend) * 2 * span * ticks * (ticks + span) / 256 / 8 + ticks * (ticks + span) / 16 / span + 1
    )
    assert abs(found - at(ticks)) <= wrong


@given(st.lists(st.integers(-4095, 4095), min_size=1, max_size=48))
def test_cost_is_the_length_of_the_shortest_code(left):
    bits, k = differences.cost(differences.zigzag(np.array(left)))
    lengths = [sum(len(rice(r, k)) for r in left) for k in range(7)]
    assert (bits, k) == ((min(lengths), lengths.index(min(lengths))) if any(left) else (0, 7))


def nudged(values):
    """Pulses near others, as frames are, with a far one now and then."""
    near = st.integers(-12, 12) | st.integers(-4095, 4095)
    return st.tuples(*[near] * len(values)).map(
        lambda moves: tuple(min(max(v + m, 0), 4095) for v, m in zip(values, moves, strict=True))
    )


@st.composite
def histories(draw):
    joints, outputs = draw(st.integers(1, 24)), draw(st.integers(0, 3))
    pulses = tuple(draw(pulse) for _ in range(joints))
    held = {}
    number = draw(st.integers(1, 1000))
    for n in range(number, number + draw(st.integers(1, 18))):
        pulses = draw(nudged(pulses))
        if draw(st.booleans()):
            levels = tuple(draw(st.sampled_from([0, 255])) for _ in range(outputs))
            held[n] = Frame(draw(st.just(pulses) | st.none()), levels)
    frame = Frame(draw(nudged(pulses)), tuple(draw(st.sampled_from([0, 255])) for _ in range(outputs)))
    return joints, outputs, held, n + draw(st.integers(1, 16)), frame


@given(histories())
def test_frames_come_back_whatever_is_held(history):
    joints, outputs, held, number, frame = history
    full = coder.encode(number, [frame])
    for base in [*held, number - 1, number - 16, None]:
        body = coder.encode(number, [frame], base, held.get)
        assert len(body) <= len(full)
        packet = wire.Packet(body, 0)
        assert coder.decode(packet, number, joints, outputs, held.get) == [(number, frame)]
        if packet.kind == wire.Kind.DIFFERENCE:
            # A receiver without the base refuses.
            with pytest.raises(wire.DamagedError):
                coder.decode(packet, number, joints, outputs, lambda n, b=base, h=held: h.get(n) if n != b else None)


@given(histories(), st.integers(2, 3), st.integers(1, 2), st.data())
def test_frames_together_come_back_and_lean_on_nothing_else(history, count, step, data):
    joints, outputs, held, number, frame = history
    frames = [frame]
    for _ in range(count - 1):
        levels = tuple(data.draw(st.sampled_from([0, 255])) for _ in range(outputs))
        frames.append(Frame(data.draw(nudged(frames[-1].pulses)), levels))
    last = number + (count - 1) * step
    for base in held:
        body = coder.encode(last, frames, base, held.get, step)
        assert len(body) <= wire.MAX_PACKET - 3
        packet = wire.Packet(body, 0)
        found = coder.decode(packet, last, joints, outputs, held.get)
        if coder.whole(body):
            assert found == [(last, frames[-1])]
            continue
        assert found == [(number + i * step, each) for i, each in enumerate(frames)]
        with pytest.raises(wire.DamagedError):
            coder.decode(packet, last, joints, outputs, lambda n, b=base, h=held: h.get(n) if n != b else None)


@given(st.binary(max_size=60), st.integers(0, 15), st.integers(1, 3), st.integers(1, 24), st.integers(0, 3))
def test_any_bits_are_read_or_refused(data, back, count, joints, outputs):
    held = {n: Frame((1500,) * joints, (7,) * outputs) for n in range(1, 40)}
    try:
        frames = differences.decode(data, 30, back, count, joints, outputs, held.get)
    except wire.DamagedError:
        return
    assert len(frames) == count
    assert [number for number, _ in frames][-1] == 30
    for _, frame in frames:
        assert len(frame.pulses) == joints
        assert len(frame.outputs) == outputs
        assert all(0 <= p <= 4095 for p in frame.pulses)


def test_a_spare_byte_or_bit_at_the_end_is_refused():
    held = {5: Frame((1500,) * 4, ())}
    good = differences.encode([Frame((1501,) + (1500,) * 3, ())], 6, 1, 5, held.get)
    assert differences.decode(good, 6, 1, 1, 4, 0, held.get)[0][1].pulses == (1501,) + (1500,) * 3
    for bad in (good + b"\0", good[:-1], good[:-1] + bytes([good[-1] | 0x80])):
        with pytest.raises(wire.DamagedError):
            differences.decode(bad, 6, 1, 1, 4, 0, held.get)


@given(seed=st.integers(0, 2**32 - 1), size=st.sampled_from([0, 1, 4, 40, 400, 4095]), joints=st.integers(1, 60))
def test_counting_many_frames_is_counting_each(seed: int, size: int, joints: int) -> None:
    """The packed sums against the codes' lengths, one joint and one k at a time."""
    left = np.random.default_rng(seed).integers(-size, size + 1, (5, joints))
    for found, row in zip(differences.fewest_bits(left.T), left.tolist(), strict=True):
        m = [2 * r if r >= 0 else -2 * r - 1 for r in row]
        each = [sum(v // 2**k + 1 + k if v // 2**k < 12 else 25 for v in m) for k in range(7)]
        assert found == (min(each) if any(m) else 0)
