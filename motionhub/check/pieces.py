"""Pieces of timelines: some rows of one, several one after the other."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, is_dataclass, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from motionhub.check.timeline import Timeline
from motionhub.motion.odometry import travel
from motionhub.robot.model import Robot

Indices = NDArray[np.intp]
T = TypeVar("T")


def part(t: Timeline, rows: Indices) -> Timeline:
    """The same, of some rows; feet that stand have not slid before the first of them."""
    count = len(t.frames)

    def cut(value: Any) -> Any:
        whole = isinstance(value, np.ndarray) and value.shape[:1] == (count,)
        return value[rows] if whole else value

    own = _each([t], lambda values: cut(values[0]))
    return replace(own, travel=travel(own.feet, own.down, own.forces))


def join(pieces: list[Timeline]) -> Timeline:
    """Timelines one after the other."""
    counts = [len(piece.frames) for piece in pieces]

    def joined(values: list[Any]) -> Any:
        rows = all(isinstance(v, np.ndarray) and v.shape[:1] == (n,) for v, n in zip(values, counts, strict=True))
        return np.concatenate(values) if rows else values[0]

    return _each(pieces, joined)


def _each(wholes: list[T], make: Callable[[list[Any]], Any]) -> T:
    """A dataclass whose fields are made from those of others like it, and so on within."""

    def one(values: list[Any]) -> Any:
        within = is_dataclass(values[0]) and not isinstance(values[0], Robot | type)
        return _each(values, make) if within else make(values)

    made = {field.name: one([getattr(whole, field.name) for whole in wholes]) for field in fields(wholes[0])}  # type: ignore[arg-type]
    return replace(wholes[0], **made)  # type: ignore[type-var]
