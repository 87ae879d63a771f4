"""Connections that carry bytes until they break: a serial device, a TCP socket."""

from __future__ import annotations

import contextlib
import os
import select
import socket
import time
from typing import Protocol

import serial

POLL_S = 0.1
"""How long a read waits, so that a closing port is noticed."""
WRITE_S = 0.5
"""How long the far end may take for one packet before what waits is thrown away."""
AHEAD_S = 0.02
"""How much may wait in the system, behind a radio that is slower than its frames. Otherwise the system would
hoard most of a second of them, and each would come that much late."""


class Channel(Protocol):
    """One connection, while it lasts. Its methods may block and raise ``OSError``."""

    def read(self) -> bytes:
        """Bytes, or nothing after a short wait; ``OSError`` when the far end is gone."""

    def write(self, data: bytes) -> None:
        """All of it; ``TimeoutError`` when it takes too long."""

    def close(self) -> None:
        """Make a waiting read return or raise."""


class SerialChannel:
    """A serial device by pyserial: 8N1, no flow control."""

    def __init__(self, device: str, baud: int) -> None:
        # Two programs on one radio would answer for each other, so where the system can, it is ours alone.
        exclusive = True if os.name == "posix" else None
        try:
            self._serial = serial.Serial(device, baud, timeout=POLL_S, write_timeout=WRITE_S, exclusive=exclusive)
        except ValueError as error:
            raise OSError(str(error)) from None
        self._ahead = int(baud / 10 * AHEAD_S)

    def read(self) -> bytes:
        """What is there, or what comes within a short wait."""
        try:
            first = self._serial.read(1)
            return bytes(first + self._serial.read(self._serial.in_waiting)) if first else b""
        except TypeError as error:  # pyserial, when another thread closed it meanwhile
            raise OSError(str(error)) from None

    def write(self, data: bytes) -> None:
        """All of it, or ``TimeoutError`` after throwing away what the system still holds."""
        try:
            self._let_drain()
            self._serial.write(data)
        except (serial.SerialTimeoutException, TimeoutError):
            with contextlib.suppress(OSError):
                self._serial.reset_output_buffer()
            raise TimeoutError("the device takes no bytes") from None
        except TypeError as error:
            raise OSError(str(error)) from None

    def _let_drain(self) -> None:
        """Wait until little is left of what was written before."""
        end = time.monotonic() + WRITE_S
        while self._serial.out_waiting > self._ahead:
            if time.monotonic() > end:
                raise TimeoutError
            time.sleep(AHEAD_S / 10)

    def close(self) -> None:
        """Also ends a read that waits."""
        with contextlib.suppress(OSError, AttributeError, TypeError):
            self._serial.cancel_read()
        self._serial.close()


class SocketChannel:
    """A connected stream socket."""

    def __init__(self, connection: socket.socket) -> None:
        self._socket = connection
        # Each packet is wanted at once (RFC 9293 lets small ones wait for the last acknowledgement: Nagle).
        if connection.family in (socket.AF_INET, socket.AF_INET6):
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        # And none is wanted late: what the far end does not take may wait in the port's short queue, not here.
        connection.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 2048)
        connection.settimeout(WRITE_S)

    def read(self) -> bytes:
        """What comes within a short wait."""
        try:
            ready, _, _ = select.select([self._socket], [], [], POLL_S)
        except ValueError as error:  # closed by another thread meanwhile
            raise OSError(str(error)) from None
        if not ready:
            return b""
        data = self._socket.recv(4096)
        if not data:
            raise ConnectionResetError("the far end closed")
        return data

    def write(self, data: bytes) -> None:
        """All of it."""
        self._socket.sendall(data)

    def close(self) -> None:
        """Shut both directions."""
        with contextlib.suppress(OSError):
            self._socket.shutdown(socket.SHUT_RDWR)
        self._socket.close()
