"""One channel over time: keys, and between two keys the later one's way of approaching it.

A move has a track for each channel that it moves (body x, a foot's z, a joint), and each track only the
keys that mention it: that is what lets a wave of one leg lie on top of a sway of the body.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.easing import ease

Array = NDArray[np.float64]
Index = NDArray[np.intp]

Between = tuple[Index, Index, Array]
"""For each time (T,): the key before it, the key after it (the same beyond the ends), and the progress."""


@dataclass
class Track:
    """Keys in order of time. ``None`` stands for a key that lets go of the channel (see :meth:`blend`)."""

    times: list[float] = field(default_factory=list)
    values: list[float | None] = field(default_factory=list)
    approaches: list[str] = field(default_factory=list)

    def add(self, time: float, value: float | None, approach: str) -> None:
        """Append a key, not before the last; a key at the very time of the first replaces it."""
        if len(self.times) == 1 and time == self.times[0]:
            self.times, self.values, self.approaches = [], [], []
        self.times.append(time)
        self.values.append(value)
        self.approaches.append(approach)

    @property
    def timing(self) -> tuple[tuple[float, ...], tuple[str, ...]]:
        """What the progress depends on: tracks with the same timing can share it."""
        return tuple(self.times), tuple(self.approaches)

    def at(self, between: Between) -> Array:
        """The value (T,) at the times that ``between`` was computed for."""
        values = np.array(self.values, dtype=np.float64)
        before, after, progress = between
        start = values[before]
        result: Array = start + (values[after] - start) * progress
        return result

    def blend(self, between: Between, beneath: Array) -> tuple[Array, NDArray[np.bool_]]:
        """The value where it is keyed, ``beneath`` (T,) where it is let go, and from one to the other in between.

        Returns:
            The values (T,), and where the track has a say in them (T,).
        """
        values = np.array([np.nan if v is None else v for v in self.values])
        before, after, progress = between
        free = np.isnan(values)
        start = np.where(free[before], beneath, values[before])
        stop = np.where(free[after], beneath, values[after])
        says = ~(free[before] & (free[after] | (progress == 0))) & ~(free[after] & (progress == 1))
        return start + (stop - start) * progress, says


def between(times: Array, timing: tuple[tuple[float, ...], tuple[str, ...]]) -> Between:
    """Which keys each time lies between, and how far it has got, for rising or equal key times.

    At a key's own time the progress towards it is over: the value is exactly the key's.
    """
    keys = np.array(timing[0])
    last = len(keys) - 1
    after = np.searchsorted(keys, times, side="right")
    before = np.maximum(after - 1, 0)
    after = np.minimum(after, last)
    length = keys[after] - keys[before]
    inside = (length > 0) & (times >= keys[0])
    share = np.where(inside, (times - keys[before]) / np.where(inside, length, 1.0), 0.0)
    progress = np.zeros_like(share)
    names = timing[1]
    kinds = sorted(set(names))
    if len(kinds) == 1:
        progress = np.where(inside, ease(kinds[0])(share), 0.0)
    else:
        kind = np.array([kinds.index(name) for name in names])[after]
        for i, name in enumerate(kinds):
            chosen = np.flatnonzero(inside & (kind == i))
            progress[chosen] = ease(name)(share[chosen])
    return before, after, progress
