"""What a browser is told of the robot so that moves can be made for it there."""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np

from motionhub.motion.gait import default_gait, gaits
from motionhub.motion.posing import rest_joints, standing_feet
from motionhub.motion.stepper import Stepper
from motionhub.remote.answering import GaitSpeed, MakerInfo

if TYPE_CHECKING:
    from motionhub.motion.formats import Pose
    from motionhub.robot.model import Robot

_RATE_HZ = 50.0
_FAST = 10.0
"""m/s and rad/s: more than any such robot walks or turns."""


@lru_cache(maxsize=4)
def maker_info(robot: Robot) -> MakerInfo:
    """Ranges, rest stance, gaits and limits, in the units of messages."""
    usual = default_gait(robot)
    named = sorted(gaits(robot).values(), key=lambda gait: gait.name != usual.name)
    feet = standing_feet(robot) * 1e3
    return MakerInfo(
        low_deg=_degrees(robot.lower),
        high_deg=_degrees(robot.upper),
        rest_deg=_degrees(rest_joints(robot)),
        rest_feet_mm=[(float(x), float(y), float(z)) for x, y, z in np.round(feet, 3)],
        gaits=[_gait_info(robot, name) for name in (gait.name for gait in named)],
        cycle_ms=round(robot.walk.cycle_s * 1e3, 3),
        lift_mm=round(robot.walk.lift * 1e3, 3),
        margin_mm=round(robot.walk.margin * 1e3, 3),
        regulator_a=robot.supply.regulator_a,
    )


def _degrees(angles: np.ndarray[tuple[int], np.dtype[np.float64]]) -> list[float]:
    found: list[float] = np.round(np.rad2deg(angles), 4).tolist()
    return found


def _gait_info(robot: Robot, name: str) -> GaitSpeed:
    stepper = Stepper(robot, gaits(robot)[name], 1 / _RATE_HZ)
    forward, left, turn = (
        abs(stepper.limit(twist)[0][i]) for i, twist in enumerate(((_FAST, 0, 0), (0, _FAST, 0), (0, 0, _FAST)))
    )
    # Rounded down: what is named as possible is possible.
    return GaitSpeed(
        name=name,
        forward_mm_s=math.floor(forward * 1e4) / 10,
        left_mm_s=math.floor(left * 1e4) / 10,
        turn_deg_s=math.floor(math.degrees(turn) * 10) / 10,
    )


def poses_text(poses: Mapping[str, Pose]) -> str:
    """Poses as a browser reads them: JSON from name to pose, in the format of a sequence's own."""
    return json.dumps(
        {
            name: pose.model_dump(include={"body", "feet", "joints_deg"}, exclude_none=True, exclude_defaults=True)
            for name, pose in poses.items()
        }
    )
