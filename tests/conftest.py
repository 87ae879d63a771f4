"""The shipped robots, each loaded once for all rooms."""

from pathlib import Path

import pytest

from motionhub.robot import description
from motionhub.robot.model import Robot

ROBOTS = Path(__file__).parents[1] / "sequences" / "robots"
NAMES = ("tansy", "trestle", "harrow")


@pytest.fixture(scope="session", params=NAMES)
def robot(request: pytest.FixtureRequest) -> Robot:
    return description.load(ROBOTS / f"{request.param}.toml")


@pytest.fixture(scope="session")
def tansy() -> Robot:
    return description.load(ROBOTS / "tansy.toml")


@pytest.fixture(scope="session")
def trestle() -> Robot:
    return description.load(ROBOTS / "trestle.toml")


@pytest.fixture(scope="session")
def tansy_text() -> str:
    return (ROBOTS / "tansy.toml").read_text(encoding="utf-8")
