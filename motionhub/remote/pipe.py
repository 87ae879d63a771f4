"""What the hub and the process beside it say to each other: what the process works for, and pieces of data."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

RATE_HZ = 50.0
"""Frames a second of what is judged there: as the show plays."""


@dataclass(frozen=True)
class Setup:
    """What the process works for."""

    robot: Robot
    calibration: Calibration
    folder: Path
    """The library's own folder."""
    shipped: Path


def framed(data: bytes) -> bytes:
    """A piece of data with its length before it."""
    return len(data).to_bytes(4, "big") + data


def read(stream: BinaryIO) -> bytes | None:
    """The next piece of data; None when the other end has gone."""
    head = stream.read(4)
    if len(head) < 4:
        return None
    length = int.from_bytes(head, "big")
    data = stream.read(length)
    return data if len(data) == length else None
