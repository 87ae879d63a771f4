"""What may move the joints, one at a time: each source says, tick by tick, where they shall be next."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Limit = Literal["", "reach", "speed", "margin", "acceleration", "torque", "current", "voltage", "posture", "none"]
"""What keeps the robot from doing all that was asked: nothing, when empty; ``none`` of its feet can step at all."""


@dataclass(frozen=True, eq=False)
class Step:
    """What a source wants of one tick."""

    joints: Array
    """(J,) rad."""
    outputs: Array | None = None
    """(O,) levels 0..1; NaN leaves an output as it is set by hand, None leaves them all."""
    pulses: Array | None = None
    """(J,) µs to send exactly; from ``joints`` by the calibration when None."""
    limit: Limit = ""
    """Why less is done than was asked: the robot cannot do more."""


class Source(Protocol):
    """Something that moves the joints. It keeps its own time: one :meth:`step` is one tick."""

    def step(self) -> Step:
        """The next tick's joints. A source that is done repeats its last."""
        ...

    @property
    def done(self) -> bool:
        """Whether :meth:`step` has nothing new to give."""
        ...
