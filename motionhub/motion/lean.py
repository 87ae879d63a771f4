"""Leaning over: how far the body is on its way into its gait's sway, before the first step and after the last."""

from __future__ import annotations

from collections import deque
from copy import copy
from typing import Self

from motionhub.motion.manner import Manner


class Lean:
    """Where the body is over its feet besides walking: ``offset``, x and y in m. Starts upright."""

    def __init__(self, smooth: int) -> None:
        self.offset = 0.0, 0.0
        self._ticks = 0
        self._recent: deque[tuple[float, float]] = deque([self.offset] * smooth)

    def copy(self) -> Self:
        """Another in the same state, that goes on by itself."""
        other = copy(self)
        other._recent = self._recent.copy()
        return other

    @property
    def upright(self) -> bool:
        """Whether it does not lean, nor is about to."""
        return self._ticks == 0 and self.offset == (0.0, 0.0)

    def over(self, manner: Manner) -> bool:
        """Lean over a tick further; whether it has come all the way. Without a sway there is no way to go."""
        full = manner.leaning + manner.smooth if manner.sway else 0  # the smoothing comes that much later
        self._ticks = min(full, self._ticks + 1)
        return self._ticks == full

    def back(self, manner: Manner) -> None:
        """Lean back a tick further."""
        self._ticks = max(0, min(manner.leaning, self._ticks) - 1)

    def shift(self, manner: Manner, tick: int) -> None:
        """Go where the gait's sway is at this tick, smoothed as velocity is; the smoothing's lag is taken off."""
        x, y = manner.sway[(tick + manner.smooth // 2) % manner.timing.cycle]
        share = min(1.0, self._ticks / manner.leaning)
        self._recent.append((share * x, share * y))
        self._recent.popleft()
        n = len(self._recent)
        self.offset = sum(x for x, _ in self._recent) / n, sum(y for _, y in self._recent) / n
