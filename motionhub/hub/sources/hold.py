"""Holding still: the joints stay where they are, for good or until something has come about."""

from __future__ import annotations

from collections.abc import Callable

from motionhub.hub.sources import Array, Step


def _never() -> bool:
    return False


class Hold:
    """Holds ``joints`` (J,); done as soon as ``until`` says so, for good when it is not given."""

    def __init__(self, joints: Array, until: Callable[[], bool] = _never) -> None:
        self._step = Step(joints.copy())
        self._until = until

    def step(self) -> Step:
        """The same joints again."""
        return self._step

    @property
    def done(self) -> bool:
        """Whether what it waits for has come about."""
        return self._until()
