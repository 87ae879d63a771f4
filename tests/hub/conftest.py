from __future__ import annotations

import pytest
from rehearsal import shipped

from motionhub.robot.model import Robot


@pytest.fixture
def tansy() -> Robot:
    return shipped("tansy")


@pytest.fixture(params=["trestle", "tansy", "harrow"])
def robot(request: pytest.FixtureRequest) -> Robot:
    """Each shipped robot: four, six and eight legs."""
    return shipped(request.param)
