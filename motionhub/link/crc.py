"""The check at the end of every packet: a CRC of 24 bits.

Polynomial x²⁴+x²²+x²⁰+x¹⁹+x¹⁸+x¹⁶+x¹⁴+x¹³+x¹¹+x¹⁰+x⁸+x⁷+x⁶+x³+x+1 (0x5D6DCB), most significant bit
first, starting from 0xFEDCBA: the RevEng catalogue's CRC-24/FLEXRAY-A, check value 0x7979BD.

Why this one. Its Hamming distance is 6 up to 2024 data bits, so at our lengths (at most 128 bytes with the
check) no five flipped bits go unnoticed; the exhaustive tests in ``tests/link/test_crc.py`` say both without
leaning on a table. Sixteen bits can give 6 only up to 135 data bits (Koopman & Chakravarty, DSN 2004),
and a frame of twenty joints has more. The other reason is damage that is not a few flipped bits: of packets
made of noise or of two halves, one in 2²⁴ passes, not one in 2¹⁶; at a hundred such packets a second that is
one in two days, before the length, number and limits of a frame are looked at. Any damage within three
neighbouring bytes is noticed. The price is one byte a packet.

A small chip computes it as here with a table of 256 entries, or with shifts in four bytes of state.
"""

from __future__ import annotations

POLYNOMIAL = 0x5D6DCB
START = 0xFEDCBA
SIZE = 3
"""Bytes that it takes on the wire."""


def _entry(byte: int) -> int:
    state = byte << 16
    for _ in range(8):
        state = (state << 1) ^ POLYNOMIAL if state & 0x800000 else state << 1
    return state & 0xFFFFFF


_TABLE = tuple(_entry(byte) for byte in range(256))


def crc24(data: bytes, state: int = START) -> int:
    """CRC of ``data``; pass an earlier result as ``state`` to go on from it."""
    for byte in data:
        state = ((state << 8) & 0xFFFFFF) ^ _TABLE[(state >> 16) ^ byte]
    return state
