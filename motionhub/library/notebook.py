"""What has been seen and read so far while a robot is brought up, as it is kept on the disk.

Everything that a person has answered is in it, so that any step can be left and taken up again, on another day and
another phone. What follows from the answers is in the calibration, which is a file of its own. JSON::

    {
      "format": "motionhub-bringup/1",
      "robot": "Tansy",
      "step": "angles", "item": "left_front.femur",
      "done": {"centre": ["left_front.coxa"]},
      "saw": {"left_front.coxa": {"moved": "left_front.coxa", "way": "more"}},
      "read": {"left_front.coxa": [{"pulse_us": 1056, "angle_deg": -38.5, "to_deg": 1.0}]},
      "read_to_deg": 1.0,
      "heights": [{"stance": 0, "mm": [61, 60.5, null, 62, 60, 61]}],
      "past": []
    }
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Literal, Self, get_args

from pydantic import BaseModel, ConfigDict, Field

from motionhub.errors import InputError, unknown
from motionhub.robot import toolfile
from motionhub.robot.model import Robot
from motionhub.robot.robotfile import Number, PulseWidth

FORMAT = "motionhub-bringup/1"

StepName = Literal["ready", "centre", "look", "angles", "ends", "level", "legs", "floor"]
"""ready: the cautions. centre: horns go on at mid-travel. look: what moves on which connector, and which way.
angles: trims and µs per degree. ends: how far each servo may go. level: hips by a ruler. legs: each leg, each way,
on the stand. floor: walking slowly."""
STEPS: tuple[StepName, ...] = get_args(StepName)
Way = Literal["more", "less"]
"""Whether a joint's angle grows (a coxa's to the left, seen from above; a femur's and a tibia's up), or shrinks."""

Name = Annotated[str, Field(min_length=1, max_length=64)]
ReadTo = Annotated[Number, Field(ge=0.1, le=5)]
Degrees = Annotated[Number, Field(ge=-200, le=200)]
PAST = 12
"""So many steps can be taken back."""


class _Model(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Saw(_Model):
    """What moved when this connector's pulse grew longer."""

    moved: Name | None
    """None: nothing did."""
    way: Way | None = None


class Read(_Model):
    """A protractor's reading."""

    pulse_us: PulseWidth
    angle_deg: Degrees
    to_deg: ReadTo = 1.0
    """How far off it may be."""


class Heights(_Model):
    """A ruler's readings in one stance: how far each hip is above the table."""

    stance: Annotated[int, Field(ge=0, le=99)]
    mm: Annotated[tuple[Annotated[Number, Field(ge=0, le=2000)] | None, ...], Field(max_length=8)]


class Past(_Model):
    """How everything was before a step that can be taken back."""

    words: Annotated[str, Field(max_length=120)]
    calibration: Annotated[str, Field(max_length=40_000)]
    """The text of its file."""
    saw: dict[Name, Saw] = {}
    read: dict[Name, tuple[Read, ...]] = {}
    heights: tuple[Heights, ...] = ()
    done: dict[StepName, tuple[Name, ...]] = {}


class Notebook(_Model):
    """All of it."""

    format: Literal["motionhub-bringup/1"] = "motionhub-bringup/1"
    robot: Name
    step: StepName = "ready"
    item: Annotated[str, Field(max_length=64)] = ""
    done: dict[StepName, tuple[Name, ...]] = {}
    saw: dict[Name, Saw] = {}
    read: dict[Name, tuple[Read, ...]] = {}
    read_to_deg: ReadTo = 1.0
    """How closely people read their protractor now."""
    heights: Annotated[tuple[Heights, ...], Field(max_length=200)] = ()
    past: Annotated[tuple[Past, ...], Field(max_length=PAST)] = ()

    @classmethod
    def parse(cls, text: str, source: str | Path, robot: Robot) -> Self:
        """Read the notebook of ``robot``.

        Raises:
            InputError: naming the place in it and what was expected there.
        """
        found = toolfile.read(cls, text, source, robot, FORMAT, "notebook")
        moved = [saw.moved for saw in found.saw.values() if saw.moved is not None]
        for name in [*found.saw, *found.read, *moved]:
            if name not in robot.joint_index:
                raise InputError(source, "saw, read", unknown("joint", name, robot.joint_names))
        for i, heights in enumerate(found.heights):
            if len(heights.mm) != robot.legs:
                raise InputError(source, f"heights[{i}].mm", f"expected {robot.legs} heights, found {len(heights.mm)}")
        return found

    def dump(self) -> str:
        """The text of its file."""
        return json.dumps(self.model_dump(mode="json"), indent=1) + "\n"
