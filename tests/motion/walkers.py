"""The shipped robots, for the tests of walking: six, four and eight legs."""

from pathlib import Path

from motionhub.robot import description

_SHIPPED = Path(__file__).parents[2] / "sequences" / "robots"
TANSY, TRESTLE, HARROW = ROBOTS = [
    description.load(_SHIPPED / f"{name}.toml") for name in ("tansy", "trestle", "harrow")
]
