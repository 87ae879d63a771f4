"""Lamps and sounders: what people set, and what a move plays over it.

A lamp that warns of the battery is lit by the robot itself (:mod:`~motionhub.link.controller`).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from motionhub.robot.model import Robot

Array = NDArray[np.float64]


class Outputs:
    """Levels 0..1 of a robot's outputs, each (O,).

    Args:
        robot: The robot.
    """

    def __init__(self, robot: Robot) -> None:
        self._names = [output.name for output in robot.outputs]
        self._sounders = np.array([output.kind == "sounder" for output in robot.outputs], dtype=bool)
        self._by_hand = np.zeros(len(robot.outputs))
        self.levels = self._by_hand
        """As they are asked for now."""

    def set(self, name: str, level: float) -> str:
        """Somebody sets one; returns why not, or nothing."""
        if name not in self._names:
            return f"there is no output {name!r}; there are: {', '.join(self._names) or 'none'}"
        self._by_hand = self._by_hand.copy()
        self._by_hand[self._names.index(name)] = np.clip(level, 0.0, 1.0)
        return ""

    def play(self, played: Array | None) -> None:
        """What a source gives, NaN where it gives nothing, goes before what people have set by hand."""
        self.levels = self._by_hand if played is None else np.where(np.isnan(played), self._by_hand, played)

    def let_go(self) -> None:
        """Nobody holds a sounder any more."""
        self._by_hand = np.where(self._sounders, 0.0, self._by_hand)

    def quieten(self) -> None:
        """Whatever played is over: lamps stay as they are, sounders fall silent."""
        self._by_hand = np.where(self._sounders, 0.0, self.levels)
