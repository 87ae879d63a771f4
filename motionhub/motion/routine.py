"""A routine as one long move: its sequences rendered, joined, and still where it pauses or waits.

Where one sequence ends and the next starts differently, it is handed over as the live show does it: straight
if no standing foot is dragged by that, else the legs step over.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from motionhub.errors import InputError, unknown
from motionhub.motion.documents import Sequence
from motionhub.motion.formats import LONGEST_S, RoutineFile, Step
from motionhub.motion.frames import Frames
from motionhub.motion.handover import NEAR, hand_over
from motionhub.motion.planar import compose
from motionhub.motion.render import render
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

SHORTEST_HAND_OVER_S = 0.4
"""Slower than a startle, also where only a lamp goes over; unless the routine says how long it takes."""


def render_routine(
    routine: RoutineFile,
    source: str,
    sequences: Mapping[str, Sequence],
    robot: Robot,
    rate_hz: float = 50.0,
    progress: Callable[[int, int], None] | None = None,
) -> Frames:
    """Turn a routine into frames.

    Args:
        routine: What to render.
        source: The file or name that a refusal starts with.
        sequences: The library's sequences by name; those that the routine names are enough.
        robot: Whose frames.
        rate_hz: Frames a second, exactly.
        progress: Called with runs of a sequence done and runs in all after each of them.

    Returns:
        All of it in one; ``holds`` says at which frames it waits for the operator.

    Raises:
        InputError: naming the step whose sequence there is not or cannot be done, or that the whole is too long.
    """
    for i, step in enumerate(routine.steps):
        if step.sequence not in sequences:
            raise InputError(source, f"steps[{i}].sequence", unknown("sequence", step.sequence, sequences))
    _check_length(routine, source, sequences)
    rendered: dict[str, Frames] = {}
    film = _Film(robot, rate_hz)
    done, runs = 0, sum(step.times for step in routine.steps)
    for step in routine.steps:
        name = step.sequence
        if name not in rendered:
            rendered[name] = render(sequences[name], robot, rate_hz)
        for repeat in range(step.times):
            film.add(rendered[name], step, waits=step.wait and repeat == 0)
            done += 1
            if progress is not None:
                progress(done, runs)
    return film.frames(routine.name)


def _check_length(routine: RoutineFile, source: str, sequences: Mapping[str, Sequence]) -> None:
    total = 0.0
    for i, step in enumerate(routine.steps):
        once = sequences[step.sequence].duration_s + step.pause_ms / 1000
        total += once * step.times + (step.hand_over_ms or 0.0) / 1000
        if total > LONGEST_S:
            raise InputError(
                source, f"steps[{i}]", f"expected a routine of at most {LONGEST_S:g} s, it is at {total:g} s here"
            )


@dataclass
class _Film:
    """Frames so far, in pieces; every piece starts where the one before ended and leaves that frame out."""

    robot: Robot
    rate_hz: float
    joints: list[Array] = field(default_factory=list)
    outputs: list[Array] = field(default_factory=list)
    missed: list[Array] = field(default_factory=list)
    travel: list[Array] = field(default_factory=list)
    holds: list[int] = field(default_factory=list)
    count: int = 0

    def add(self, frames: Frames, step: Step, waits: bool) -> None:
        if not self.count:
            self._append(frames.joints[:1], frames.outputs[:1], frames.reach_error[:1], np.zeros((1, 3)))
        if waits:
            self.holds.append(self.count - 1)
        self._hand_over(frames, step)
        base = tuple(self.travel[-1][-1])
        travel = frames.travel[1:]
        if base != (0.0, 0.0, 0.0):
            travel = np.array([compose(base, tuple(own)) for own in travel])
        self._append(frames.joints[1:], frames.outputs[1:], frames.reach_error[1:], travel)
        self._stand(round(step.pause_ms / 1000 * self.rate_hz))

    def _append(self, joints: Array, outputs: Array, missed: Array, travel: Array) -> None:
        self.joints.append(joints)
        self.outputs.append(outputs)
        self.missed.append(missed)
        self.travel.append(travel)
        self.count += len(joints)

    def _stand(self, count: int) -> None:
        if count:
            last = [part[-1][-1] for part in (self.joints, self.outputs, self.missed, self.travel)]
            self._append(*(np.repeat(row[None], count, axis=0) for row in last))

    def _hand_over(self, frames: Frames, step: Step) -> None:
        """Go to the first frame of ``frames``, that frame included."""
        start, stop = self.joints[-1][-1], frames.joints[0]
        level, next_level = self.outputs[-1][-1], frames.outputs[0]
        seconds = None if step.hand_over_ms is None else step.hand_over_ms / 1000
        if seconds is None and np.abs(stop - start).max() <= NEAR and np.array_equal(level, next_level):
            return
        path = hand_over(self.robot, start, stop, 1 / self.rate_hz)
        shortest = round(SHORTEST_HAND_OVER_S * self.rate_hz)
        count = max(len(path), shortest) if seconds is None else round(seconds * self.rate_hz)
        if count < 1:
            return
        share = np.arange(1, count + 1) / count
        joints = _spread(np.vstack([start, path]), count)
        outputs = level + (next_level - level) * share[:, None]
        missed = np.zeros((count, self.robot.legs))
        missed[-1] = frames.reach_error[0]
        travel = np.repeat(self.travel[-1][-1:], count, axis=0)
        self._append(joints, outputs, missed, travel)

    def frames(self, name: str) -> Frames:
        return Frames(
            self.robot,
            name,
            self.rate_hz,
            np.concatenate(self.joints),
            np.concatenate(self.outputs),
            np.concatenate(self.missed),
            np.concatenate(self.travel),
            tuple(self.holds),
        )


def _spread(path: Array, count: int) -> Array:
    """A path of joints (T, J) in so many steps of equal time, straight between its rows; its own rows if in T - 1."""
    at = np.arange(1, count + 1) * (len(path) - 1) / count
    before = np.minimum(at.astype(np.intp), len(path) - 2)
    part = (at - before)[:, None]
    found: Array = path[before] * (1 - part) + path[before + 1] * part
    return found
