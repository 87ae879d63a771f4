"""A hub to talk to over a real socket, and a log that has to stay clean."""

from __future__ import annotations

import logging
from collections.abc import AsyncIterator, Iterator
from pathlib import Path

import pytest
from hypothesis import settings
from remote_talk import Running, WrittenDown

from motionhub.remote.convert import robot_info
from motionhub.remote.desk import Desk
from motionhub.remote.keys import Keys
from motionhub.remote.origin import Names
from motionhub.remote.server import Server
from motionhub.remote.site import Site
from motionhub.robot import description
from motionhub.robot.model import Robot

# Other work on the machine is no failure of a test.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")

ROBOTS = Path(__file__).parents[2] / "sequences" / "robots"


@pytest.fixture(scope="session")
def robot() -> Robot:
    return description.load(ROBOTS / "tansy.toml")


@pytest.fixture
async def running(robot: Robot) -> AsyncIterator[Running]:
    keys = Keys.make()
    stage = WrittenDown()
    server = Server(Site(), Names(["tansy"]))
    await server.start("127.0.0.1", 0)
    desk = Desk(stage, robot_info(robot, (-0.03, 0.04), (0.2, 0.2, 0.3)), keys, hello_s=0.3)
    server.open(desk)
    yield Running(server, desk, stage, keys)
    desk.close()
    await server.close()


@pytest.fixture(autouse=True)
def _no_exception_in_the_log(caplog: pytest.LogCaptureFixture) -> Iterator[None]:
    """Whatever a browser sends, nothing of it is a surprise to the hub."""
    yield
    for when in ("setup", "call"):
        for record in caplog.get_records(when):  # type: ignore[arg-type]
            assert record.exc_info is None or record.levelno < logging.WARNING, record.getMessage()
            assert record.levelno < logging.ERROR, record.getMessage()
