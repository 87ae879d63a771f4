from __future__ import annotations

import json
from pathlib import Path

import pytest

from motionhub.motion.documents import parse
from motionhub.motion.render import render
from motionhub.robot import description
from motionhub.robot.model import Robot

SHIPPED = Path(__file__).parents[2] / "sequences"


@pytest.fixture(scope="session")
def tansy() -> Robot:
    return description.load(SHIPPED / "robots" / "tansy.toml")


@pytest.fixture
def rendered(tansy):
    """Keyframes to frames of Tansy, in one call."""

    def render_it(*keyframes, rate_hz=50.0, **more):
        data = {"format": "motionhub-sequence/1", "name": "test", "keyframes": list(keyframes)} | more
        return render(parse(json.dumps(data), "test.json", tansy), tansy, rate_hz)

    return render_it
