"""Speeds and accelerations out of positions that come as frames.

A frame says where a joint shall be, not how it gets there. Taken literally, a corner in a move (where a
linear stretch meets another, or CSS's ``steps``) would be an infinite acceleration, and second differences
of frames turn the last digit of every number into newton metres. No servo follows a corner: it answers
within some hundredths of a second. So speeds and accelerations are those of the parabola that fits the
frames within :data:`HALF_S` on either side best (Savitzky & Golay, Anal. Chem. 36(8), 1964), which

- is exact for any motion of constant acceleration,
- rounds a corner off over about the time that a servo takes: a change of speed Δv shows as an acceleration
  of at most 0.43 Δv per frame at 50 Hz, as if it took 47 ms,
- leaves a smooth move as it is: of a movement of half a second it takes 2 % off the peak acceleration.

Before the first frame and after the last the robot stands still, there where they are.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

HALF_S = 0.04
"""s: what a hobby servo takes to answer (practice); two frames at 50 Hz."""


def half_width(rate_hz: float) -> int:
    """Frames on either side that the parabola is fitted to; one at least."""
    return max(round(HALF_S * rate_hz), 1)


def derivatives(rows: Array, rate_hz: float) -> tuple[Array, Array]:
    """First and second derivative by time.

    Args:
        rows: (N, T + 2 w) positions, with ``w = half_width(rate_hz)`` frames more at either end than are asked about.
        rate_hz: Frames a second.

    Returns:
        (N, T) each.
    """
    w = half_width(rate_hz)
    steps = rows.shape[-1] - 2 * w
    offsets = np.arange(1, w + 1)
    squares = offsets**2
    mean = 2 * squares.sum() / (2 * w + 1)
    spread = float(mean**2 + 2 * ((squares - mean) ** 2).sum())
    slope = offsets * (rate_hz / (2 * squares.sum()))
    bend = (squares - mean) * (2 * rate_hz**2 / spread)
    middle = rows[..., w : w + steps]
    first, second = np.zeros(middle.shape), middle * (-mean * 2 * rate_hz**2 / spread)
    for k in range(1, w + 1):
        after, before = rows[..., w + k : w + k + steps], rows[..., w - k : w - k + steps]
        first += slope[k - 1] * (after - before)
        second += bend[k - 1] * (after + before)
    return first, second
