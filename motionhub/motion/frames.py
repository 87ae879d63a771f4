"""What a move becomes: joint angles and output levels, one row per frame, at one rate."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from motionhub.robot.model import Robot

Array = NDArray[np.float64]


def _nothing() -> Array:
    return np.zeros((0, 3))


@dataclass(frozen=True, eq=False)
class Frames:
    """A rendered move: T frames at ``rate_hz``, frame i at i / rate_hz seconds. Arrays are read-only.

    Everything that computes over a move takes one of these and works on the whole arrays.
    """

    robot: Robot
    name: str
    rate_hz: float
    joints: Array
    """(T, J) rad, in the order of ``robot.joint_names``."""
    outputs: Array
    """(T, O) levels from 0 to 1, in the order of ``robot.outputs``."""
    reach_error: Array
    """(T, L) m: how far each foot ends up from where the move wants it; 0 where the leg reaches."""
    travel: Array = field(default_factory=_nothing)
    """(T, 3) x, y (m) and yaw (rad) of the stance frame in the ground frame: how far it has walked."""
    holds: tuple[int, ...] = ()
    """Frames at which a routine waits for its operator, still, for as long as it takes."""

    def __post_init__(self) -> None:
        count = len(self.joints)
        if self.travel.shape != (count, 3):
            object.__setattr__(self, "travel", np.zeros((count, 3)))
        expected = {
            "joints": (count, self.robot.joints),
            "outputs": (count, len(self.robot.outputs)),
            "reach_error": (count, self.robot.legs),
        }
        for name, shape in expected.items():
            found = getattr(self, name).shape
            if found != shape:
                raise ValueError(f"expected {name} of shape {shape}, found {found}")
        for name in (*expected, "travel"):
            own = np.asarray(getattr(self, name), dtype=np.float64).view()
            own.flags.writeable = False
            object.__setattr__(self, name, own)

    def __len__(self) -> int:
        return len(self.joints)

    @property
    def duration_s(self) -> float:
        """From the first frame to the last."""
        return (len(self) - 1) / self.rate_hz

    @property
    def times(self) -> Array:
        """(T,) s."""
        return np.arange(len(self)) / self.rate_hz

    def renamed(self, name: str) -> Frames:
        """The same frames under another name."""
        return replace(self, name=name)
