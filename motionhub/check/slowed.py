"""A stretch of a move, tried more slowly: the same frames, spread over more time, worked out and judged again.

Where a joint turns a corner it still does, only less sharply; elsewhere the frames are joined by smooth curves
(Catmull & Rom, 1974), so that what five frames in a row have rounded off comes to light again.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from motionhub.check.derivatives import half_width
from motionhub.check.findings import Stretch
from motionhub.check.pieces import part
from motionhub.check.timeline import Timeline, work_out
from motionhub.motion.frames import Frames

Array = NDArray[np.float64]

WIDEST = 60
"""Frames on either side of the worst that are tried at most: in the others it is no worse."""
CORNER = 2.0
"""A joint whose speed changes in one frame by so many times what it does in those around it turns a corner."""
MORE = 1.08
"""How much slower it is tried to be each time, so often:"""
TRIES = 6


def slow_enough(t: Timeline, stretch: Stretch, at_least: float, broken: Callable[[Timeline], bool]) -> float | None:
    """How many times slower a stretch has to be, from ``at_least`` on, so that a rule is kept; None if it is not."""
    first, last = max(stretch.first, stretch.worst - WIDEST), min(stretch.last, stretch.worst + WIDEST)
    times = at_least
    for _ in range(TRIES):
        if not broken(slower(t, first, last, times)):
            return times
        times *= MORE
    return None


def slower(t: Timeline, first: int, last: int, times: float) -> Timeline:
    """Frames ``first`` to ``last`` of a move, that many times slower."""
    rate, joints = t.frames.rate_hz, t.frames.joints
    lead = 2 * half_width(rate) + 1
    a, b = max(first - lead, 0), min(last + lead, len(joints) - 1)
    # A frame's speed is that of the way to it, so it begins after the frame before.
    at = np.minimum(a + np.arange(int((b - a) * times) + 2) / times, b)
    robot, rows = t.frames.robot, between(joints, at)
    nearest = np.rint(at).astype(np.intp)
    short = np.zeros((len(at), robot.legs))
    whole = work_out(Frames(robot, t.frames.name, rate, rows, t.frames.outputs[nearest], short))
    return part(whole, np.flatnonzero((at > first - 1) & (at <= last)))


def between(joints: Array, at: Array) -> Array:
    """Joint angles (N, J) at places between frames (T, J): ``at`` (N,) counts in frames."""
    i = np.clip(np.floor(at).astype(np.intp), 0, max(len(joints) - 2, 0))
    u = (at - i)[:, None]
    rows = [joints[np.clip(i + k, 0, len(joints) - 1)] for k in (-2, -1, 0, 1, 2, 3)]
    steps = np.diff(rows, axis=0)
    # Half the sum of the steps on either side, unless there is a corner: then straight on.
    bends = np.abs(np.diff(steps, axis=0))
    usual = np.sort(bends, axis=0)[1] + 1e-9
    sharp = (bends[1] > CORNER * usual) | (bends[2] > CORNER * usual)
    before, after = (steps[1] + steps[2]) / 2, (steps[2] + steps[3]) / 2
    smooth = (
        (2 * u**3 - 3 * u**2 + 1) * rows[2]
        + (u**3 - 2 * u**2 + u) * before
        + (3 * u**2 - 2 * u**3) * rows[3]
        + (u**3 - u**2) * after
    )
    found: Array = np.where(sharp, rows[2] + u * steps[2], smooth)
    return found
