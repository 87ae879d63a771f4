"""The wire format, against bytes put together here from its specification with the cobs and crccheck packages."""

import contextlib
import struct

import crccheck
import pytest
from cobs import cobs
from hypothesis import given
from hypothesis import strategies as st

from motionhub.link import coder, wire

byte = st.integers(0, 255)
word = st.integers(0, 65_535)
number = st.integers(0, 2**32 - 1)
pulses = st.lists(st.integers(0, 4095), max_size=48)


def by_hand(body: bytes, key: bytes = b"") -> bytes:
    check = crccheck.crc.Crc24FlexrayA.calc(key + body).to_bytes(3, "big")
    return cobs.encode(body + check) + b"\0"


def opened(packet: bytes) -> wire.Packet:
    (encoded,) = wire.Splitter().feed(packet)
    return wire.unseal(encoded)


def test_a_hello_bit_by_bit():
    body = bytes([0x40, 2, 0x34, 0x12, 20, 2, 20, 5, 10])
    assert wire.seal(wire.Hello(0x1234, 20, 2, 20, 5, 100).body()) == by_hand(body)


def test_a_welcome_bit_by_bit():
    body = bytes([0x83, 2, 0x34, 0x12, 0xCD, 0xAB, 20, 2, 3, 0xC0, 0xFF, 0xEE])
    welcome = wire.Welcome(True, 0x1234, 0xABCD, 20, 2, 3, kept=True, digest=b"\xc0\xff\xee")
    assert wire.seal(welcome.body()) == by_hand(body)


def test_a_frame_bit_by_bit():
    # Frame 0x102 of session 0x1234/0xABCD: pulses 0x5DC, 0x1F4 and 0x9C4; outputs 0x7F and 0.
    key = bytes([0x34, 0x12, 0xCD, 0xAB, 0x01, 0x00, 0x00])
    body = bytes([0x10, 0x02, 0x7F, 0x00, 0xDC, 0x45, 0x1F, 0xC4, 0x09])
    frame = wire.Frame((0x5DC, 0x1F4, 0x9C4), (0x7F, 0))
    sealed = wire.seal(coder.encode(0x102, [frame]), wire.Key(0x1234, 0xABCD).bytes_for(0x102))
    assert sealed == by_hand(body, key)


def test_limp_bit_by_bit():
    assert coder.encode(0x1FF, [wire.Frame(None, (9,))]) == bytes([0x30, 0xFF, 9])


def test_telemetry_bit_by_bit():
    said = wire.Telemetry(
        7412,
        wire.Faults.BATTERY_LOW | wire.Faults.QUIET,
        wire.Activity.QUIET,
        wire.ResetCause.BUTTON,
        1810,
        70_000,
        300,
        5,
    )
    body = wire.report_body(0x305, wire.Receipt(0xFE, 0x8001, 12), said)
    fields = struct.pack("<BBBHB HBBHHBB", 0xA0, 0x05, 0xFE, 0x8001, 12, 7412, 5, 0x24, 1810, 65_535, 44, 5)
    assert body == fields


@given(word, byte, byte, byte, byte, st.integers(0, 255), byte)
def test_hello_comes_back(session, joints, outputs, tick, ack, ten, version):
    hello = wire.Hello(session, joints, outputs, tick, ack, ten * 10, version)
    packet = opened(wire.seal(hello.body()))
    assert packet.kind == wire.Kind.HELLO
    assert packet.fits()
    assert wire.read_hello(packet) == hello


@given(st.booleans(), word, word, byte, byte, byte, byte, st.booleans(), st.binary(min_size=3, max_size=3))
def test_welcome_comes_back(suits, session, robot_session, joints, outputs, cause, version, kept, digest):
    welcome = wire.Welcome(suits, session, robot_session, joints, outputs, cause, version, kept, digest)
    assert wire.read_welcome(opened(wire.seal(welcome.body()))) == welcome


@given(pulses, st.lists(byte, max_size=16), number, word, word)
def test_frames_come_back(pulses, outputs, number, hub, robot):
    frame, key = wire.Frame(tuple(pulses), tuple(outputs)), wire.Key(hub, robot).bytes_for(number)
    packet = opened(wire.seal(coder.encode(number, [frame]), key))
    assert packet.fits(key)
    assert packet.body[1] == number % 256
    assert coder.decode(packet, number, len(pulses), len(outputs)) == [(number, frame)]


@given(st.lists(byte, max_size=16), number)
def test_limp_frames_come_back(outputs, number):
    frame = wire.Frame(None, tuple(outputs))
    packet = opened(wire.seal(coder.encode(number, [frame])))
    assert coder.decode(packet, number, 20, len(outputs)) == [(number, frame)]


@given(
    byte,
    word,
    byte,
    st.none()
    | st.builds(
        wire.Telemetry,
        word,
        byte.map(wire.Faults),
        st.sampled_from(wire.Activity),
        st.sampled_from(wire.ResetCause),
        word,
        word,
        byte,
        byte,
    ),
)
def test_reports_come_back(newest, before, held, telemetry):
    receipt = wire.Receipt(newest, before, held)
    assert wire.read_report(opened(wire.seal(wire.report_body(7, receipt, telemetry)))) == (receipt, telemetry)


@given(pulses)
def test_pulses_are_a_little_endian_number_of_twelve_bits_each(pulses):
    # Said another way than in the code: the whole block is one integer, the first pulse lowest.
    block = sum(pulse << 12 * i for i, pulse in enumerate(pulses))
    assert wire.pack_pulses(pulses) == block.to_bytes(-(-12 * len(pulses) // 8), "little")
    assert wire.unpack_pulses(wire.pack_pulses(pulses), len(pulses)) == tuple(pulses)


@given(st.integers(0, 10_000), st.integers(-64, 191))
def test_the_nearest_number_is_found_from_its_low_byte(newest, ahead):
    number = newest + ahead
    if number >= 0 and newest >= 64:
        assert wire.nearest(number & 255, newest) == number
    assert wire.nearest(number & 255, newest) & 255 == number & 255
    assert wire.nearest(number & 255, newest) >= 0


@pytest.mark.parametrize("change", [1, 256, 2**15])
def test_a_key_of_another_time_or_session_does_not_fit(change):
    body = coder.encode(5, [wire.Frame((1500,), ())])
    packet = opened(wire.seal(body, wire.Key(40_000, 40_000).bytes_for(70_000)))
    assert packet.fits(wire.Key(40_000, 40_000).bytes_for(70_000))
    assert packet.fits(wire.Key(40_000, 40_000).bytes_for(70_000 + 1))  # only the low byte differs, and it is sent
    assert not packet.fits(wire.Key(40_000, 40_000).bytes_for(70_000 + 256 * change))
    assert not packet.fits(wire.Key(40_000 ^ change, 40_000).bytes_for(70_000))
    assert not packet.fits(wire.Key(40_000, 40_000 ^ change).bytes_for(70_000))
    assert not packet.fits()


@pytest.mark.parametrize(
    ("body", "why"),
    [
        (bytes([0x10, 1, 0, 0, *[1] * 29]), "a byte of pulses too few"),
        (bytes([0x10, 1, 0, 0, *[1] * 31]), "one too many"),
        (bytes([0x10, 1, 0]), "not even its outputs"),
        (bytes([0x11, 1, 0, 0, *[1] * 30]), "low bits that mean nothing"),
        (bytes([0x30, 1, 0, 0, 5]), "limp with pulses"),
    ],
)
def test_frames_of_another_shape_are_refused(body, why):
    with pytest.raises(wire.DamagedError):
        coder.decode(wire.Packet(body, 0), 1, 20, 2)


def test_the_spare_half_byte_must_be_zero():
    assert wire.unpack_pulses(b"\xdc\x05", 1) == (1500,)
    with pytest.raises(wire.DamagedError):
        wire.unpack_pulses(b"\xdc\x15", 1)


@given(st.binary(max_size=400), st.lists(st.integers(0, 400), max_size=8))
def test_the_splitter_does_not_care_how_bytes_are_cut(stream, cuts):
    whole = wire.Splitter()
    expected = whole.feed(stream)
    pieces, found, at = wire.Splitter(), [], 0
    for cut in [*sorted(c for c in cuts if c < len(stream)), len(stream)]:
        found += pieces.feed(stream[at:cut])
        at = cut
    assert found == expected
    assert pieces.oversize == whole.oversize


@given(st.integers(130, 5000))
def test_what_is_too_long_is_dropped_and_the_next_packet_read(length):
    splitter = wire.Splitter()
    good = wire.seal(wire.Hello(1, 20, 2).body())
    assert splitter.feed(b"\x55" * length) == []
    assert len(splitter._held) <= wire.MAX_PACKET + 1
    assert splitter.feed(b"\x55\0" + good) == [good[:-1]]
    assert splitter.oversize == 1


def test_the_longest_packet_passes():
    body = bytes(range(1, 126))
    assert opened(wire.seal(body)).body == body
    with pytest.raises(wire.DamagedError):
        wire.unseal(cobs.encode(bytes(129)))


@given(st.binary(max_size=200))
def test_no_bytes_raise_anything_but_damaged(data):
    for encoded in wire.Splitter().feed(data + b"\0"):
        for read in (wire.read_hello, wire.read_welcome, wire.read_report):
            with contextlib.suppress(wire.DamagedError):
                read(wire.unseal(encoded))


def test_an_activity_that_this_version_does_not_know_is_damage():
    told = wire.Telemetry(7000, wire.Faults(0), wire.Activity.ENDED, wire.ResetCause.POWER, 0, 0, 0, 0)
    body = bytearray(wire.report_body(1, wire.Receipt(0, 0, 0), told))
    assert body[9] == 0x16
    body[9] = 0x17
    with pytest.raises(wire.DamagedError):
        wire.read_report(wire.Packet(bytes(body), 0))
