"""The demo robot and what a browser is told of it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from motionhub.remote.convert import robot_info
from motionhub.remote.maker import maker_info
from motionhub.robot import description
from motionhub.robot.model import Robot

ROBOTS = Path(__file__).parents[2] / "sequences" / "robots"


@pytest.fixture(scope="session", params=["tansy", "trestle", "harrow"])
def robot(request: pytest.FixtureRequest) -> Robot:
    return description.load(ROBOTS / f"{request.param}.toml")


@pytest.fixture(scope="session")
def house(robot: Robot) -> dict[str, Any]:
    """What the editor knows of the robot, and one pose of a library."""
    joint = robot.joint_names[-1]
    poses = {"ready": {"body": {"z_mm": 5}, "joints_deg": {joint: 3}}}
    info = robot_info(robot, (-0.03, 0.03), (0.2, 0.2, 0.3)).model_dump()
    return {"robot": info, "maker": maker_info(robot).model_dump(), "poses": poses}
