"""A browser's side of making moves, over a real socket to a hub in a process of its own."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from typing import Any

import msgpack
from bench.hub_process import HubProcess
from websockets.asyncio.client import ClientConnection, connect

from motionhub.remote import messages

PATIENCE_S = 60


class Editor:
    """One connection; every message that comes is what the models say."""

    def __init__(self, connection: ClientConnection) -> None:
        self._connection = connection

    async def send(self, kind: str, **fields: Any) -> None:
        await self._connection.send(msgpack.packb({"type": kind, **fields}))

    async def until(self, *kinds: str, **fields: Any) -> dict[str, Any]:
        """Read on to a message of one of these kinds with these fields."""
        async with asyncio.timeout(PATIENCE_S):
            while True:
                message: dict[str, Any] = msgpack.unpackb(await self._connection.recv())
                messages.from_hub.validate_python(message)
                if message["type"] in kinds and all(message[key] == value for key, value in fields.items()):
                    return message

    async def open(self, name: str, hand: str) -> dict[str, Any]:
        await self.send("open_move", name=name, hand=hand)
        return await self.until("opened", "refused")


@asynccontextmanager
async def editor(hub: HubProcess, name: str = "laptop") -> AsyncIterator[Editor]:
    url = hub.url.replace("http", "ws", 1) + "live"
    async with connect(url, compression=None, max_size=None) as connection:
        talk = Editor(connection)
        await talk.send("hello", key=hub.key, name=name)
        await talk.until("welcome")
        yield talk
