"""Fixtures of bring-up's tests."""

from __future__ import annotations

import pytest
from person import shipped

from motionhub.robot.model import Robot


@pytest.fixture
def robot() -> Robot:
    """Four legs are brought up soonest."""
    return shipped("trestle")
