"""Replaying a recording: the same pulses, to the microsecond, and the same outputs."""

from __future__ import annotations

import numpy as np

from motionhub.hub.snapshot import ProgressView
from motionhub.hub.sources import Array, Step
from motionhub.library.recording import Recording
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot


def joints_of(recorded: Recording, robot: Robot, calibration: Calibration) -> Array:
    """The angles (T, J) that a recording's pulses ask for.

    A pulse is a whole number of microseconds, so a joint recorded at the end of its range may read as half
    of one beyond; that much is rounded back.
    """
    joints = calibration.angles(robot, recorded.pulses.astype(np.float64))
    half = 0.5 / (robot.us_per_rad * calibration.scale)
    inside = np.clip(joints, robot.lower, robot.upper)
    return np.where(np.abs(joints - inside) <= half * (1 + 1e-9), inside, joints)


class Replay:
    """Gives ``recorded`` again; ``joints`` (T, J) are what :func:`joints_of` makes of it."""

    def __init__(self, name: str, recorded: Recording, joints: Array) -> None:
        self._name = name
        self._recorded = recorded
        self._joints = joints
        self._pulses = recorded.pulses.astype(np.float64)
        self._at = -1

    @property
    def progress(self) -> ProgressView:
        """How far it has come."""
        recorded = self._recorded
        return ProgressView(self._name, max(self._at, 0) / recorded.rate_hz, recorded.duration_s)

    def step(self) -> Step:
        """The next frame; the last one again at the end."""
        self._at = min(self._at + 1, len(self._joints) - 1)
        return Step(self._joints[self._at], self._recorded.outputs[self._at], self._pulses[self._at])

    @property
    def done(self) -> bool:
        """Whether the last frame has been given."""
        return self._at == len(self._joints) - 1
