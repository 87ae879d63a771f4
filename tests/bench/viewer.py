"""Browsers without a browser: paired connections that read everything, and one that drives."""

from __future__ import annotations

import asyncio
import sys
from typing import Any

import msgpack
from websockets.asyncio.client import ClientConnection, connect


async def pair(address: str, key: str, name: str = "bench") -> ClientConnection:
    """Connect and say hello; returns the connection after the hub's welcome.

    Args:
        address: ``host:port`` of the hub.
        key: Operator's or watcher's.
        name: What this device is called.
    """
    connection = await connect(f"ws://{address}/live", origin=f"http://{address}", compression=None, max_size=None)  # type: ignore[arg-type]
    await say(connection, type="hello", key=key, name=name)
    while (await hear(connection))["type"] != "welcome":
        pass
    return connection


async def say(connection: ClientConnection, **message: Any) -> None:
    """Send one message."""
    await connection.send(msgpack.packb(message))


async def hear(connection: ClientConnection) -> dict[str, Any]:
    """Receive one message."""
    data = await connection.recv()
    assert isinstance(data, bytes)
    message = msgpack.unpackb(data)
    assert isinstance(message, dict)
    return message


async def watch(address: str, key: str, count: int, seconds: float) -> int:
    """``count`` viewers that read and decode all they are sent for so long; returns how many messages came."""

    async def one(number: int) -> int:
        heard = 0
        async with await pair(address, key, f"viewer {number}") as connection:
            end = asyncio.get_running_loop().time() + seconds
            while (left := end - asyncio.get_running_loop().time()) > 0:
                try:
                    await asyncio.wait_for(hear(connection), left)
                except TimeoutError:
                    break
                heard += 1
        return heard

    return sum(await asyncio.gather(*(one(number) for number in range(count))))


async def drive(address: str, key: str, seconds: float) -> None:
    """Take control and walk in a curve for so long, as a held finger does."""
    async with await pair(address, key, "driver") as connection:

        async def read() -> None:
            async for _ in connection:
                pass

        reading = asyncio.create_task(read())
        await say(connection, type="take")
        end = asyncio.get_running_loop().time() + seconds
        while asyncio.get_running_loop().time() < end:
            await say(connection, type="drive", forward=0.7, left=0.0, turn=0.2)
            await asyncio.sleep(0.1)
        reading.cancel()


async def watch_a_drive(address: str, key: str, viewers: int, seconds: float) -> int:
    """Both at once; returns how many messages the viewers had."""
    heard, _ = await asyncio.gather(watch(address, key, viewers, seconds), drive(address, key, seconds))
    return heard


if __name__ == "__main__":
    hub, secret, count, duration = sys.argv[1:]
    print(asyncio.run(watch_a_drive(hub, secret, int(count), float(duration))))
