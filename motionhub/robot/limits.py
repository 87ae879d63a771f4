"""What no joint may be asked for, whoever asks: the one place that the check's report and the live guard share."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from motionhub.robot.model import Robot

Array = NDArray[np.float64]


def top_speed(robot: Robot, volts: float | None = None) -> Array:
    """The fastest that each joint can turn, (J,) rad/s: its servo's no-load speed on a rail of ``volts``.

    On the regulator's own voltage when not given. With any load a servo is slower than this; what is above
    it can never be followed.
    """
    rail = robot.supply.regulator_v if volts is None else volts
    # Many joints have servos of one kind.
    speeds = {id(servo): float(servo.free_speed_at(rail)) for servo in {id(s): s for s in robot.servos}.values()}
    return np.array([speeds[id(servo)] for servo in robot.servos])
