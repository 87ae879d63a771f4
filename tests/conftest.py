"""The shipped robots, each loaded once for all rooms."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from figures import Figures

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


@pytest.fixture(scope="module")
def figures() -> Iterator[Figures]:
    """Says at the end what the tests of one file have noted; with ``pytest -s`` it is seen."""
    found = Figures()
    yield found
    print(f"\n{found}", end="")
