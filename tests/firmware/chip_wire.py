"""The emulated chip in real time, behind a TCP port as a radio bridge has it."""

from __future__ import annotations

import contextlib
import select
import socket
import threading
import time
from typing import Self

from chip import CLOCK, MS, Chip

BEHIND_S = 0.5
"""An emulator that is this late leaves the time out, as a computer that slept does."""


class Wire:
    """Use it as a context manager; nobody else may touch the chip meanwhile."""

    def __init__(self, chip: Chip) -> None:
        self._chip = chip
        self.said = bytearray()
        """Every byte that the chip sent."""
        self.left_out_s = 0.0
        self.error: Exception | None = None
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._listener.setblocking(False)
        self.port = f"tcp://127.0.0.1:{self._listener.getsockname()[1]}"
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._thread.join(timeout=10)
        self._listener.close()
        if self.error is not None:
            raise self.error

    def _run(self) -> None:
        try:
            self._carry()
        except Exception as error:
            self.error = error

    def _carry(self) -> None:
        hub: socket.socket | None = None
        began = time.monotonic() - self._chip.cycle / CLOCK
        while not self._stop.is_set():
            ready, _, _ = select.select([hub or self._listener], [], [], 0.002)
            if ready and hub is None:
                hub, _ = self._listener.accept()
                hub.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            elif ready and hub is not None:
                with contextlib.suppress(ConnectionResetError):
                    if data := hub.recv(4096):
                        self._chip.feed(data)
                        ready = []
                if ready:
                    hub.close()
                    hub = None
            late = time.monotonic() - began - self._chip.cycle / CLOCK
            if late > BEHIND_S:
                began += late
                self.left_out_s += late
                late = 0.0
            self._chip.run(self._chip.cycle + min(round(late * CLOCK), 10 * MS))
            data = self._chip.said_bytes()
            self.said += data
            if data and hub is not None:
                with contextlib.suppress(OSError):
                    hub.sendall(data)
        if hub is not None:
            hub.close()
