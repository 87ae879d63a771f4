"""Following joints that were laid out beforehand: a change of stance, a transition or a stop."""

from __future__ import annotations

from motionhub.hub.sources import Array, Step


class Path:
    """Gives the rows of ``joints`` (T, J), one a tick; T is at least 1."""

    def __init__(self, joints: Array) -> None:
        self._joints = joints
        self._at = -1

    def step(self) -> Step:
        """The next row; the last one again at the end."""
        self._at = min(self._at + 1, len(self._joints) - 1)
        return Step(self._joints[self._at])

    @property
    def done(self) -> bool:
        """Whether the last row has been given."""
        return self._at == len(self._joints) - 1
