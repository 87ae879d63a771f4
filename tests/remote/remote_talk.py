"""What the tests of the remote talk with: a show that writes down what it is asked, and a browser's side."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import msgpack
from websockets.asyncio.client import ClientConnection, connect

from motionhub.hub import commands
from motionhub.hub.events import Notice, Refused
from motionhub.hub.live import MoveLine, MovesChanged, RecordingLine
from motionhub.hub.snapshot import HubState
from motionhub.remote.desk import Desk
from motionhub.remote.keys import Keys
from motionhub.remote.server import Server


@dataclass
class WrittenDown:
    """A stage that takes every command and remembers it."""

    people: dict[str, tuple[str, bool]] = field(default_factory=dict)
    seen: list[tuple[str, commands.Command]] = field(default_factory=list)
    answer_with: Callable[[str, commands.Command], Refused | Notice | None] = lambda client, command: None
    states: list[Callable[[HubState], None]] = field(default_factory=list)
    news: list[Callable[[Any], None]] = field(default_factory=list)

    def join(self, client: str, name: str, *, operator: bool) -> None:
        self.people[client] = (name, operator)

    def leave(self, client: str) -> None:
        del self.people[client]

    def handle(self, client: str, command: commands.Command) -> None:
        assert client in self.people
        self.seen.append((client, command))
        if event := self.answer_with(client, command):
            self.tell(event)

    def subscribe(self, on_state: Callable[[HubState], None]) -> Callable[[], None]:
        self.states.append(on_state)
        return lambda: self.states.remove(on_state)

    def listen(self, on_news: Callable[[Any], None]) -> Callable[[], None]:
        self.news.append(on_news)
        return lambda: self.news.remove(on_news)

    def moves(self) -> list[MoveLine]:
        return [MoveLine("wave", "sequence", 3.2, "fits", "", True)]

    def recordings(self) -> list[RecordingLine]:
        return [RecordingLine("evening", 12.5, "2024-05-01T20:15:00")]

    def bringup(self) -> None:
        return None

    def publish(self, state: HubState) -> None:
        for callback in self.states:
            callback(state)

    def tell(self, news: Refused | Notice | MovesChanged) -> None:
        for callback in self.news:
            callback(news)


@dataclass
class Running:
    """A server on a port of its own, and how to reach it."""

    server: Server
    desk: Desk
    stage: WrittenDown
    keys: Keys

    @property
    def url(self) -> str:
        return f"ws://127.0.0.1:{self.server.port}/live"

    def connect(self, **options: Any) -> connect:
        options.setdefault("compression", None)
        return connect(self.url, **options)

    async def pair(self, connection: ClientConnection, key: str | None = None, name: str = "test") -> dict[str, Any]:
        """Say hello and return the welcome; what follows it is read and left out."""
        await connection.send(pack(type="hello", key=key or self.keys.operator, name=name))
        welcome = await receive(connection)
        assert welcome["type"] == "welcome"
        assert (await receive(connection))["type"] == "moves"
        assert (await receive(connection))["type"] == "recordings"
        assert (await receive(connection))["type"] == "robot_keeps"
        return welcome


def pack(**fields: Any) -> bytes:
    packed: bytes = msgpack.packb(fields)
    return packed


async def receive(connection: ClientConnection) -> dict[str, Any]:
    """The next message; a test that waits longer than this has failed."""
    async with asyncio.timeout(10):
        found: dict[str, Any] = msgpack.unpackb(await connection.recv())
    return found
