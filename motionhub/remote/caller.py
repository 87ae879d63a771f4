"""A program's side of the talk with a hub that runs: what a terminal asks in the place of a browser."""

from __future__ import annotations

import asyncio
import contextlib
from collections.abc import Callable
from types import TracebackType
from typing import Any, Self, TypeVar

import msgpack  # type: ignore[import-untyped]
from websockets.asyncio.client import ClientConnection, connect
from websockets.exceptions import ConnectionClosed, InvalidHandshake, InvalidMessage

from motionhub.errors import InputError
from motionhub.remote.messages import CloseCode

T = TypeVar("T")
Told = dict[str, Any]

PING_S = 0.5
"""Whoever is in control and falls silent loses it (hub.lease)."""
CONNECT_S = 5.0


class RefusedError(InputError):
    """The hub would not do what was asked; ``expected`` has its words."""


class Caller:
    """One connection to a hub, as an async context manager.

    Args:
        at: Host and port.
        key: Operator's or watcher's.
        name: What to call this device.
        patience_s: How long an answer may take.

    Raises:
        InputError: on entering, if nobody answers there, or the key is not the hub's; later, if what was asked is
            refused, no answer comes in time, or the hub goes away.
    """

    def __init__(self, at: str, key: str, name: str, patience_s: float) -> None:
        self._at, self._key, self._name, self._patience = at, key, name, patience_s
        self.me = ""
        """This connection's id, as in the state's driver."""
        self.joints: list[str] = []
        """The robot's, by name."""

    async def __aenter__(self) -> Self:
        try:
            async with asyncio.timeout(CONNECT_S):
                self._line: ClientConnection = await connect(f"ws://{self._at}/live", compression=None, proxy=None)
        except (OSError, TimeoutError, InvalidHandshake, InvalidMessage):
            raise InputError(
                "--hub", "", f"expected a hub at {self._at}, found none; motionhub serve runs one"
            ) from None
        self._pinging = asyncio.create_task(self._ping())
        await self.send("hello", key=self._key, name=self._name)
        welcome = await self.until("welcome")
        self.me = welcome["you"]
        self.joints = list(welcome["robot"]["joints"])
        return self

    async def __aexit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._pinging.cancel()
        await self._line.close()

    async def send(self, kind: str, **fields: object) -> None:
        """Send a message of :mod:`~motionhub.remote.messages`."""
        with contextlib.suppress(ConnectionClosed):  # which is told when the answer is awaited
            await self._line.send(msgpack.packb({"type": kind, **fields}))

    async def until(self, kind: str, true: Callable[[Told], bool] = lambda told: True) -> Told:
        """The next message of this kind of which that is true; others are left out."""
        try:
            async with asyncio.timeout(self._patience):
                while True:
                    told: Told = msgpack.unpackb(await self._line.recv())
                    if told["type"] == "refused":
                        raise RefusedError("hub", str(told["to"]), str(told["text"]))
                    if told["type"] == kind and true(told):
                        return told
        except TimeoutError:
            raise InputError("hub", self._at, f"expected an answer within {self._patience:g} s, found none") from None
        except ConnectionClosed as closed:
            code, reason = (closed.rcvd.code, closed.rcvd.reason) if closed.rcvd else (0, "")
            if code == CloseCode.UNPAIRED:
                raise InputError("--hub", "", "expected the key of that hub; use the address that it shows") from None
            raise InputError("hub", self._at, f"expected an answer, but it has gone: {reason or 'no reason'}") from None

    async def meanwhile(self, ask: Callable[[], T]) -> T:
        """Have a person asked, in a thread, while what the hub tells is left out."""
        asked = asyncio.create_task(asyncio.to_thread(ask))
        reading = asyncio.create_task(self._leave_out())
        try:
            return await asked
        finally:
            reading.cancel()
            with contextlib.suppress(asyncio.CancelledError, ConnectionClosed):
                await reading

    async def _leave_out(self) -> None:
        while True:
            await self._line.recv()

    async def _ping(self) -> None:
        number = 0
        with contextlib.suppress(ConnectionClosed):
            while True:
                await asyncio.sleep(PING_S)
                number += 1
                await self._line.send(msgpack.packb({"type": "ping", "n": number}))
