from pathlib import Path

import pytest

from motionhub.library.store import Library
from motionhub.robot.model import Robot


@pytest.fixture
def shipped(tmp_path: Path) -> Path:
    """A shipped layer of its own, so that these tests do not hang on which moves come with the program."""
    folder = tmp_path / "shipped"
    (folder / "poses").mkdir(parents=True)
    return folder


@pytest.fixture
def library(tmp_path: Path, shipped: Path, tansy: Robot) -> Library:
    return Library(tmp_path / "own", shipped, tansy)
