"""The check, against the RevEng catalogue and the crccheck package, and its Hamming distance by exhaustion.

A CRC is linear: a pattern of flipped bits goes unnoticed exactly when the syndromes of its bits cancel. So
every pattern of up to five bits can be looked at through the syndromes of single bits.
"""

import itertools

import crccheck
import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from motionhub.link.crc import POLYNOMIAL, START, crc24
from motionhub.link.wire import MAX_PACKET

FRAME = 37  # body and check of a frame of twenty joints and two outputs


def syndromes(size: int) -> np.ndarray:
    """What flipping each bit of a packet of ``size`` bytes, check included, does to the check; last bit first."""
    found = []
    for bit in range(8 * (size - 3)):
        data = bytearray(size - 3)
        data[-1 - bit // 8] |= 1 << bit % 8
        found.append(crc24(bytes(data), 0))
    return np.array([1 << bit for bit in range(24)] + found)


def test_check_value():
    # RevEng catalogue, CRC-24/FLEXRAY-A; crccheck carries the same value.
    assert crc24(b"123456789") == 0x7979BD == crccheck.crc.Crc24FlexrayA._check_result


@given(st.binary(max_size=300), st.binary(max_size=20))
def test_agrees_with_crccheck_and_goes_on_where_it_stopped(head, tail):
    assert crc24(head + tail) == crccheck.crc.Crc24FlexrayA.calc(head + tail)
    assert crc24(tail, crc24(head)) == crc24(head + tail)


def test_linear():
    # What the syndromes lean on.
    a, b = b"\x12\x34\x56\x78", b"\xa5\x00\xff\x01"
    both = bytes(x ^ y for x, y in zip(a, b, strict=True))
    assert crc24(a) ^ crc24(b) == crc24(both, 0)
    assert START == 0xFEDCBA


def test_no_odd_number_of_flipped_bits_goes_unnoticed():
    # x + 1 divides the polynomial: it has an even number of terms.
    assert (0x1000000 | POLYNOMIAL).bit_count() % 2 == 0


def test_hamming_distance_is_six_at_every_length_that_is_sent():
    # All pairs of two bits have different syndromes, none zero: so no four bits and no two cancel.
    # Odd numbers never do (above), so five or fewer are always noticed.
    single = syndromes(MAX_PACKET)
    first, second = np.triu_indices(len(single), 1)
    pairs = single[first] ^ single[second]
    assert len(pairs) == 1024 * 1023 // 2
    assert len(np.unique(pairs)) == len(pairs)
    assert pairs.all()
    assert single.all()


def test_every_one_two_and_three_flipped_bits_of_a_frame_one_by_one():
    # The same claim for a frame's length without leaning on parity: 296 bits, 4.3 million patterns.
    single = syndromes(FRAME)
    assert len(single) == 296
    patterns = 0
    for i in range(len(single)):
        pairs = single[i] ^ single[i + 1 :]
        assert single[i]
        assert pairs.all()
        patterns += 1 + len(pairs)
        for j, pair in enumerate(pairs):
            rest = single[i + 2 + j :]
            assert (rest ^ pair).all()
            patterns += len(rest)
    assert patterns == 296 + 296 * 295 // 2 + 296 * 295 * 294 // 6


def test_distance_six_holds_up_to_2024_data_bits_and_no_further():
    """By exhaustion of every four bits, two against two; 0xAEB6E5 as Koopman writes this polynomial (*memory*)."""
    assert (0x1000000 | POLYNOMIAL) >> 1 == 0xAEB6E5
    single = [1]
    for _ in range(2025 + 23):
        single.append(crc_shift(single[-1]))
    for data_bits, distinct in ((2024, True), (2025, False)):
        bits = np.array(single[: data_bits + 24])
        first, second = np.triu_indices(len(bits), 1)
        pairs = np.sort(bits[first] ^ bits[second])
        assert bool(pairs[0] and (np.diff(pairs) != 0).all()) is distinct


def crc_shift(state: int) -> int:
    """One more bit of data: the remainder times x."""
    return (state << 1) ^ (0x1000000 | POLYNOMIAL) if state & 0x800000 else state << 1


def test_distance_is_not_more_than_six():
    # The claim is exact: some six bits of a frame do cancel. Three bits against three others.
    single = syndromes(FRAME)[:120]
    seen: dict[int, tuple[int, ...]] = {}
    for trio in itertools.combinations(range(len(single)), 3):
        key = int(single[trio[0]] ^ single[trio[1]] ^ single[trio[2]])
        if key in seen and not set(seen[key]) & set(trio):
            break
        seen[key] = trio
    else:
        raise AssertionError("expected six bits that cancel")


@given(st.binary(min_size=6, max_size=60), st.data())
def test_damage_within_three_neighbouring_bytes_is_noticed(body, data):
    at = data.draw(st.integers(0, len(body) - 3))
    new = data.draw(st.binary(min_size=3, max_size=3))
    damaged = body[:at] + new + body[at + 3 :]
    assert (crc24(damaged) == crc24(body)) == (damaged == body)
