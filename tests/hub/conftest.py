from __future__ import annotations

import pytest

from motionhub.robot.model import Robot

from rehearsal import shipped


@pytest.fixture
def tansy() -> Robot:
    return shipped("tansy")


@pytest.fixture(params=["trestle", "tansy", "harrow"])
def robot(request: pytest.FixtureRequest) -> Robot:
    """Each shipped robot: four, six and eight legs."""
    return shipped(request.param)
