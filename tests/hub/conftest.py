from __future__ import annotations

from pathlib import Path

import pytest

from motionhub.robot.description import load
from motionhub.robot.model import Robot

ROBOTS = Path(__file__).resolve().parents[2] / "sequences" / "robots"
LEGS = {"trestle": 4, "tansy": 6, "harrow": 8}
_LOADED = {name: load(ROBOTS / f"{name}.toml") for name in LEGS}


@pytest.fixture
def tansy() -> Robot:
    return _LOADED["tansy"]


@pytest.fixture(params=list(LEGS))
def robot(request: pytest.FixtureRequest) -> Robot:
    """Each shipped robot: four, six and eight legs."""
    return _LOADED[request.param]
