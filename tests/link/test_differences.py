"""Frames as differences, against codes written out here as strings of bits, and arithmetic as C does it."""

import ctypes
import math

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
    bits = "01" + "100" + "0" + rice(1, 1) + rice(0, 1) + rice(-3, 1)  # span 2, k 1, outputs as before
    assert differences.encode(frame, 12, 9, held.get) == packed(bits)
    assert coder.encode(12, frame, 9, held.get) == bytes([0x23, 12]) + packed(bits)


def test_nothing_left_is_one_byte():
    held = {5: Frame((1500,) * 20, (0, 9))}
    assert coder.encode(6, Frame((1500,) * 20, (0, 9)), 5, held.get) == bytes([0x21, 6, 0b11100])


def test_outputs_come_along_only_when_they_change():
    held = {5: Frame((1500,) * 20, (0, 9))}
    bits = "00" + "111" + "1" + "01000000" + "10010000"
    assert coder.encode(6, Frame((1500,) * 20, (2, 9)), 5, held.get) == bytes([0x21, 6]) + packed(bits)


@given(st.lists(st.tuples(pulse, pulse, pulse), min_size=1, max_size=20), st.integers(1, 15), st.integers(1, 3))
def test_the_line_is_what_c_makes_of_it(joints, back, span):
    base, earlier = np.array([j[0] for j in joints]), np.array([j[1] for j in joints])
    for found, b, p in zip(differences.foretold(base, earlier, back, span), base, earlier, strict=True):
        # C divides toward zero (ISO C, 6.5.5), and all of it fits in 32 bits.
        ahead = ctypes.c_int32((int(b) - int(p)) * back).value
        assert found == min(max(int(b) + math.trunc(ahead / span), 0), 4095)


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
    full = coder.encode(number, frame)
    for base in [*held, number - 1, number - 16, None]:
        body = coder.encode(number, frame, base, held.get)
        assert len(body) <= len(full)
        packet = wire.Packet(body, 0)
        assert coder.decode(packet, number, joints, outputs, held.get) == frame
        if packet.kind == wire.Kind.DIFFERENCE:
            # A receiver without the base refuses.
            with pytest.raises(wire.DamagedError):
                coder.decode(packet, number, joints, outputs, lambda n, b=base, h=held: h.get(n) if n != b else None)


@given(st.binary(max_size=60), st.integers(0, 15), st.integers(1, 24), st.integers(0, 3))
def test_any_bits_are_read_or_refused(data, back, joints, outputs):
    held = {n: Frame((1500,) * joints, (7,) * outputs) for n in range(1, 40)}
    try:
        frame = differences.decode(data, 30, back, joints, outputs, held.get)
    except wire.DamagedError:
        return
    assert len(frame.pulses) == joints
    assert len(frame.outputs) == outputs
    assert all(0 <= p <= 4095 for p in frame.pulses)


def test_a_spare_byte_or_bit_at_the_end_is_refused():
    held = {5: Frame((1500,) * 4, ())}
    good = differences.encode(Frame((1500,) * 4, ()), 6, 5, held.get)
    assert differences.decode(good, 6, 1, 4, 0, held.get).pulses == (1500,) * 4
    for bad in (good + b"\0", good[:-1], bytes([good[0] | 0x80])):
        with pytest.raises(wire.DamagedError):
            differences.decode(bad, 6, 1, 4, 0, held.get)


@given(seed=st.integers(0, 2**32 - 1), size=st.sampled_from([0, 1, 4, 40, 400, 4095]), joints=st.integers(1, 60))
def test_counting_many_frames_is_counting_each(seed: int, size: int, joints: int) -> None:
    """The packed sums against the codes' lengths, one joint and one k at a time."""
    left = np.random.default_rng(seed).integers(-size, size + 1, (5, joints))
    for found, row in zip(differences.fewest_bits(left), left.tolist(), strict=True):
        m = [2 * r if r >= 0 else -2 * r - 1 for r in row]
        each = [sum(v // 2**k + 1 + k if v // 2**k < 12 else 25 for v in m) for k in range(7)]
        assert found == (min(each) if any(m) else 0)
