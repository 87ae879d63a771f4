"""A browser, the server and the real show with the simulated robot, over a real socket."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any

import pytest
from remote_talk import pack, receive
from websockets.asyncio.client import ClientConnection, connect

from motionhub.hub.live import Show
from motionhub.library.shipped import shipped_folder
from motionhub.library.store import Library
from motionhub.link.ports import open_port
from motionhub.remote import messages
from motionhub.remote.convert import robot_info
from motionhub.remote.desk import Desk
from motionhub.remote.keys import Keys
from motionhub.remote.origin import Names
from motionhub.remote.server import Server
from motionhub.remote.site import Site
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

pytestmark = pytest.mark.alone

KEYS = Keys.make()


@pytest.fixture
async def url(robot: Robot, tmp_path: Path) -> AsyncIterator[str]:
    library, calibration = Library(tmp_path / "library", shipped_folder(), robot), Calibration.default(robot)
    show = Show(robot, calibration, library, open_port("simulated", robot, calibration), tmp_path / "cache")
    server = Server(Site(), Names())
    await server.start("127.0.0.1", 0)
    await show.start()
    desk = Desk(show, robot_info(robot, show.hub.height_range, show.hub.lean_range), KEYS)
    server.open(desk)
    yield f"ws://127.0.0.1:{server.port}/live"
    await show.stop()
    desk.close()
    await server.close()


async def pair(connection: ClientConnection, key: str, name: str) -> dict[str, Any]:
    await connection.send(pack(type="hello", key=key, name=name))
    return await receive(connection)


async def until(connection: ClientConnection, found: Callable[[dict[str, Any]], bool]) -> dict[str, Any]:
    """Read on to a message that is looked for; each one read is what the models say."""
    async with asyncio.timeout(60):
        while True:
            message = await receive(connection)
            messages.from_hub.validate_python(message)
            if found(message):
                return message


def state(mode: str) -> Callable[[dict[str, Any]], bool]:
    return lambda message: message["type"] == "state" and message["mode"] == mode


async def test_an_operator_drives_a_watcher_stops_and_the_operator_resumes(url: str) -> None:
    async with connect(url, compression=None) as operator, connect(url, compression=None) as watcher:
        me = (await pair(operator, KEYS.operator, "phone"))["you"]
        await pair(watcher, KEYS.watcher, "tablet")
        await until(operator, state("rest"))
        await operator.send(pack(type="drive", forward=1.0, left=0.0, turn=0.0))
        refused = await until(operator, lambda message: message["type"] == "refused")
        assert refused["to"] == "drive"  # without control nobody drives

        await operator.send(pack(type="take"))
        await until(operator, lambda message: message["type"] == "state" and message["driver"] is not None)

        async def hold() -> None:
            while True:
                await operator.send(pack(type="drive", forward=1.0, left=0.0, turn=0.0))
                await asyncio.sleep(0.1)

        holding = asyncio.create_task(hold())
        seen = await until(watcher, lambda m: m["type"] == "state" and m["mode"] == "driving" and not all(m["down"]))
        assert seen["driver"] == {"id": me, "name": "phone"}

        await watcher.send(pack(type="drive", forward=0.0, left=0.0, turn=1.0))
        assert (await until(watcher, lambda m: m["type"] == "refused"))["to"] == "drive"
        await watcher.send(pack(type="stop"))
        assert "tablet" in (await until(watcher, state("stopped")))["reason"]
        # It latches: the phone goes on asking, and nothing moves.
        still = (await until(watcher, state("stopped")))["joints_deg"]
        await until(operator, lambda m: m["type"] == "refused" and m["to"] == "drive")
        assert (await until(watcher, state("stopped")))["joints_deg"] == still
        holding.cancel()
        await operator.send(pack(type="resume"))
        await until(operator, state("rest"))


async def test_a_recording_is_listed_for_everyone(url: str) -> None:
    async with connect(url, compression=None) as operator, connect(url, compression=None) as watcher:
        await pair(operator, KEYS.operator, "phone")
        await pair(watcher, KEYS.watcher, "tablet")
        await until(operator, state("rest"))
        for message in ({"type": "take"}, {"type": "record_start"}):
            await operator.send(pack(**message))
        await until(operator, lambda m: m["type"] == "state" and (m["recording_s"] or 0) > 0.2)
        await operator.send(pack(type="record_stop", name="evening"))
        listed = await until(watcher, lambda m: m["type"] == "recordings" and m["items"] != [])
        assert [item["name"] for item in listed["items"]] == ["evening"]
