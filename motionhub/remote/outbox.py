"""What waits to be sent to one browser: bounded, and never stale.

A state is worth something only until the next one, so at most one waits, and a newer one takes its place: a
slow phone sees fewer states, not older ones. Everything else is sent in order; a browser that lets
more of it pile up than a person could read has stopped listening, and is let go.
"""

from __future__ import annotations

import asyncio
from collections import deque

WAITING_AT_MOST = 64


class Outbox:
    """Filled by the hub without ever waiting, emptied by one connection's sender."""

    def __init__(self) -> None:
        self._others: deque[bytes] = deque()
        self._state: bytes | None = None
        self._filled = asyncio.Event()
        self.overflowed = False
        self.states_left_out = 0

    def put(self, packed: bytes) -> None:
        """Queue a message that has to arrive."""
        if len(self._others) >= WAITING_AT_MOST:
            self.overflowed = True
        else:
            self._others.append(packed)
        self._filled.set()

    def put_state(self, packed: bytes) -> None:
        """Leave a state for sending; the one before it is left out if it has not gone yet."""
        if self._state is not None:
            self.states_left_out += 1
        self._state = packed
        self._filled.set()

    async def next(self) -> bytes | None:
        """Wait for something to send; None when the browser has fallen too far behind."""
        while True:
            if self.overflowed:
                return None
            if self._others:
                return self._others.popleft()
            if self._state is not None:
                packed, self._state = self._state, None
                return packed
            self._filled.clear()
            await self._filled.wait()
