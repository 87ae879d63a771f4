"""How late the ticks are, counted rather than remembered, so that a whole evening fits."""

from __future__ import annotations

import numpy as np

BIN_S = 0.0001
_BINS = 1000


class Lateness:
    """A histogram of delays in bins of 0.1 ms; what is over 100 ms counts as that."""

    def __init__(self) -> None:
        self._counts = np.zeros(_BINS + 1, dtype=np.int64)
        self.worst_s = 0.0
        """The longest so far."""
        self.skipped = 0
        """Ticks that were left out because the machine was asleep or far behind."""

    def add(self, seconds: float) -> None:
        """Count one tick that was this late."""
        seconds = max(seconds, 0.0)
        self._counts[min(int(seconds / BIN_S), _BINS)] += 1
        self.worst_s = max(self.worst_s, seconds)

    @property
    def ticks(self) -> int:
        """Ticks counted."""
        return int(self._counts.sum())

    def quantile(self, share: float) -> float:
        """The delay in seconds that this share (0..1) of the ticks did not exceed, to the upper end of its bin."""
        total = self.ticks
        if not total:
            return 0.0
        return float((np.searchsorted(np.cumsum(self._counts), share * total) + 1) * BIN_S)
