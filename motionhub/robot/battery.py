"""How a lithium-polymer battery's voltage falls as it empties.

Steep at both ends, nearly flat between. The curve is the one that model builders go by (*practice*, from memory:
tables like it come with chargers, and single packs are within some hundredths of a volt of it). It is
stretched to the full voltage of the robot file, so it is as good for packs of any number of cells, and no good
for another chemistry.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from motionhub.robot.model import Supply

Array = NDArray[np.float64]

LEFT = (0.0, 0.05, 0.10, 0.20, 0.30, 0.40, 0.50, 0.60, 0.70, 0.80, 0.90, 0.95, 1.0)
"""Share of the charge that is left."""
CELL_VOLTS = (3.27, 3.61, 3.69, 3.73, 3.77, 3.80, 3.84, 3.87, 3.95, 4.02, 4.11, 4.15, 4.20)
"""V of a cell at rest, at each of them (practice)."""


def open_circuit_v(spec: Supply, left: ArrayLike) -> Array:
    """The battery's voltage without load, in V, with a share ``left`` (0 to 1) of its charge; of that shape."""
    cell = np.interp(np.clip(left, 0.0, 1.0), LEFT, CELL_VOLTS)
    found: Array = np.asarray(cell * (spec.battery_full_v / CELL_VOLTS[-1]), dtype=np.float64)
    return found


def left_at(spec: Supply, volts: ArrayLike) -> Array:
    """The share of its charge (0 to 1) with which a battery has ``volts`` without load; the inverse of the above."""
    cell = np.asarray(volts, dtype=np.float64) * (CELL_VOLTS[-1] / spec.battery_full_v)
    found: Array = np.asarray(np.interp(cell, CELL_VOLTS, LEFT), dtype=np.float64)
    return found
