"""Holding still: the joints stay where they are, for a while or for good."""

from __future__ import annotations

from math import inf

from motionhub.hub.sources import Array, Step


class Hold:
    """Holds ``joints`` (J,) for ``ticks`` ticks; for ever when not said."""

    def __init__(self, joints: Array, ticks: float = inf) -> None:
        self._step = Step(joints.copy())
        self._left = ticks

    def step(self) -> Step:
        """The same joints again."""
        self._left -= 1
        return self._step

    @property
    def done(self) -> bool:
        """Whether it has been held for as long as it was to be."""
        return self._left <= 0
