"""What waits to be sent to one browser: bounded, and never stale.

A state or a list is worth something only until the next one of its kind. So at most one of each waits, and
a newer one takes its place: a slow phone sees fewer states, not older ones. Everything else is sent in
order; a browser that lets more of it pile up than a person could read has stopped listening, and is let go.
"""

from __future__ import annotations

import asyncio
from collections import deque
from collections.abc import Callable

WAITING_AT_MOST = 64


class Outbox:
    """Filled by the hub without ever waiting, emptied by one connection's sender.

    Args:
        on_overflow: Called when the browser has fallen too far behind. The sender may be stuck then, inside a
            send that the browser does not take, so it cannot be the one to notice.
    """

    def __init__(self, on_overflow: Callable[[], None]) -> None:
        self._on_overflow = on_overflow
        self._in_order: deque[bytes] = deque()
        self._latest: dict[str, bytes] = {}
        self._filled = asyncio.Event()

    def put(self, packed: bytes) -> None:
        """Queue a message that has to arrive, after those before it."""
        if len(self._in_order) >= WAITING_AT_MOST:
            self._on_overflow()
            return
        self._in_order.append(packed)
        self._filled.set()

    def put_latest(self, kind: str, packed: bytes) -> None:
        """Leave a message to be sent, in place of an older one of its kind that has not gone yet."""
        self._latest[kind] = packed
        self._filled.set()

    async def next(self) -> bytes:
        """Wait for something to send."""
        while not (self._in_order or self._latest):
            self._filled.clear()
            await self._filled.wait()
        if self._in_order:
            return self._in_order.popleft()
        # The kind that has waited longest: a dict keeps the order in which its keys came.
        return self._latest.pop(next(iter(self._latest)))
