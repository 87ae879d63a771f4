"""A move or a recording looked at from end to end before it is begun: nothing that the guard would hold back later."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motionhub.hub.guard import Guard
from motionhub.hub.sources.play import Play
from motionhub.hub.sources.replay import Replay, joints_of
from motionhub.library.recording import Recording
from motionhub.motion.frames import Frames
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot


@dataclass(frozen=True, eq=False)
class Ready:
    """Something that may be played: it has been looked at from end to end."""

    first: NDArray[np.float64]
    """(J,) rad, where it begins."""
    make: Callable[[], Play | Replay]


def make_ready(
    name: str, what: Frames | Recording, robot: Robot, calibration: Calibration, guard: Guard, rate_hz: float
) -> Ready | str:
    """Look at all of it, or say in words why it may not be begun. It changes nothing, and may take a while."""
    if what.rate_hz != rate_hz:
        return f"{name} has {what.rate_hz:g} frames a second, the hub sends {rate_hz:g}"
    joints = what.joints if isinstance(what, Frames) else joints_of(what, robot, calibration)
    if len(joints) == 0:
        return f"{name} is empty"
    if objection := guard.objection_to_all(joints):
        return f"{name} cannot be sent: {objection}"
    if isinstance(what, Frames):
        return Ready(joints[0], lambda: Play(what))
    return Ready(joints[0], lambda: Replay(name, what, joints))
