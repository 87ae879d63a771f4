from __future__ import annotations

from pathlib import Path

import pytest

from motionhub.robot import description
from motionhub.robot.model import Robot

SHIPPED = Path(__file__).parents[2] / "sequences"


@pytest.fixture(scope="session")
def tansy() -> Robot:
    return description.load(SHIPPED / "robots" / "tansy.toml")
