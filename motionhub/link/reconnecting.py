"""A port over any kind of connection, that keeps itself connected.

One thread connects and reads, one writes, so it works the same on every system, and the hub's loop waits
for neither.
"""

from __future__ import annotations

import contextlib
import threading
from collections import deque
from collections.abc import Callable

from motionhub.link.channels import Channel

QUEUED = 4
"""Packets that may wait to be written: 80 ms of frames."""
RETRY_S = 0.5
"""Between one try to connect and the next."""
HELD = 65_536
"""Bytes kept for a reader that does not come; older ones are dropped."""


class ReconnectingPort:
    """A port over any channel: one thread connects and reads, one writes.

    Args:
        name: As its user wrote it.
        connect: Opens a channel or raises ``OSError``.
    """

    def __init__(self, name: str, connect: Callable[[], Channel]) -> None:
        self._name = name
        self._connect = connect
        self._channel: Channel | None = None
        self._lock = threading.Lock()
        self._outgoing: deque[bytes] = deque(maxlen=QUEUED)
        self._incoming = bytearray()
        self._to_write = threading.Event()
        self._closing = threading.Event()
        self._threads: list[threading.Thread] = []
        self._on_change: Callable[[], None] = lambda: None
        self.dropped = 0
        """Packets that were never written because newer ones came."""

    @property
    def name(self) -> str:
        """As its user wrote it."""
        return self._name

    @property
    def connected(self) -> bool:
        """Whether a channel is open."""
        return self._channel is not None

    def open(self, on_change: Callable[[], None] | None = None) -> None:
        """Start connecting; returns at once."""
        if self._threads:
            raise RuntimeError("this port was opened before")
        if on_change is not None:
            self._on_change = on_change
        for work in (self._reading, self._writing):
            thread = threading.Thread(target=work, name=f"port {self._name} {work.__name__[1:]}", daemon=True)
            self._threads.append(thread)
            thread.start()

    def write(self, data: bytes) -> None:
        """Queue one packet; without a connection it is dropped, so nothing old goes out after reconnecting."""
        if not data or self._channel is None:
            return
        with self._lock:
            self.dropped += len(self._outgoing) == QUEUED
            self._outgoing.append(data)
        self._to_write.set()

    def read(self) -> bytes:
        """Everything that came since the last call."""
        with self._lock:
            data = bytes(self._incoming)
            self._incoming.clear()
        return data

    def close(self) -> None:
        """Stop and wait for the threads."""
        self._closing.set()
        self._to_write.set()
        self._lose(self._channel)
        for thread in self._threads:
            thread.join(timeout=5)

    # -- threads ------------------------------------------------------------------------------------

    def _reading(self) -> None:
        while not self._closing.is_set():
            try:
                channel = self._connect()
            except OSError:
                self._closing.wait(RETRY_S)
                continue
            with self._lock:
                self._outgoing.clear()
                self._incoming.clear()
                self._channel = channel
            self._on_change()
            self._read_until_lost(channel)
            self._lose(channel)
            if not self._closing.is_set():
                self._on_change()
                self._closing.wait(RETRY_S)

    def _read_until_lost(self, channel: Channel) -> None:
        while self._channel is channel and not self._closing.is_set():
            try:
                data = channel.read()
            except OSError:
                return
            if data:
                with self._lock:
                    self._incoming += data
                    del self._incoming[:-HELD]
                self._on_change()

    def _writing(self) -> None:
        cut = False  # part of a packet may have gone out: end it before the next
        while not self._closing.is_set():
            self._to_write.wait()
            with self._lock:
                data = self._outgoing.popleft() if self._outgoing else b""
                if not self._outgoing:
                    self._to_write.clear()
            channel = self._channel
            if not data or channel is None or self._closing.is_set():
                continue
            try:
                channel.write(b"\0" + data if cut else data)
                cut = False
            except TimeoutError:
                cut = True
            except OSError:
                self._lose(channel)

    def _lose(self, channel: Channel | None) -> None:
        with self._lock:
            if channel is None or self._channel is not channel:
                return
            self._channel = None
        with contextlib.suppress(OSError):
            channel.close()
