"""Consistent Overhead Byte Stuffing: bytes without zeros, so that a zero can end a packet.

Each run of bytes up to the next zero is written as its length plus one, then the run; the zero itself is
left out. A run of 254 without a zero is written as 255 and implies none. The cost is one byte, and one
more for every 254. Cheshire & Baker, IEEE/ACM Trans. Networking 7(2), 1999.
"""

from __future__ import annotations


class CobsError(ValueError):
    """Bytes that no encoder wrote."""


def encode(data: bytes) -> bytes:
    """Write ``data`` without a zero byte; never empty, at most ``1 + len(data) // 254`` bytes longer."""
    out = bytearray()
    runs = data.split(b"\0")
    for last, run in ((i == len(runs) - 1, run) for i, run in enumerate(runs)):
        while len(run) >= 254 and not (last and len(run) == 254):
            out.append(255)
            out += run[:254]
            run = run[254:]
        out.append(len(run) + 1)
        out += run
    return bytes(out)


def decode(data: bytes) -> bytes:
    """Undo :func:`encode`.

    Raises:
        CobsError: if ``data`` is empty, holds a zero, or ends inside a run.
    """
    if not data or 0 in data:
        raise CobsError("expected at least one byte, and none of them zero")
    out = bytearray()
    at = 0
    while True:
        code = data[at]
        end = at + code
        if end > len(data):
            raise CobsError("expected a whole run, found its beginning")
        out += data[at + 1 : end]
        at = end
        if at == len(data):
            return bytes(out)
        if code < 255:
            out.append(0)
