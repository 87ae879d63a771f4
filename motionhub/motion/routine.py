"""A routine as one long move: its sequences rendered, joined, and still where it pauses or waits.

Where one sequence ends and the next starts differently, the joints go over along minimum-jerk paths. That
drags feet if the two stances have their feet in different places; a routine whose sequences start and end
at rest, as the shipped ones do, has nothing to hand over.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from motionhub.errors import InputError, unknown
from motionhub.motion.documents import Sequence
from motionhub.motion.easing import minimum_jerk
from motionhub.motion.formats import LONGEST_S, RoutineFile, Step
from motionhub.motion.frames import Frames
from motionhub.motion.planar import compose
from motionhub.motion.render import render
from motionhub.robot.limits import top_speed
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

SAME = 1e-6
"""Joints within so many radians are where they shall be: far below what a servo resolves."""

UNHURRIED = 0.25
"""Share of a servo's no-load speed that a hand-over asks for at most, unless the routine says how long it takes."""

SHORTEST_HAND_OVER_S = 0.4

_PEAK = 15 / 8
"""Peak speed of minimum jerk over its mean (Flash & Hogan 1985)."""


def render_routine(
    routine: RoutineFile, source: str, sequences: Mapping[str, Sequence], robot: Robot, rate_hz: float = 50.0
) -> Frames:
    """Turn a routine into frames.

    Args:
        routine: What to render.
        source: The file or name that a refusal starts with.
        sequences: The library's sequences by name; those that the routine names are enough.
        robot: Whose frames.
        rate_hz: Frames a second, exactly.

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
    for step in routine.steps:
        name = step.sequence
        if name not in rendered:
            rendered[name] = render(sequences[name], robot, rate_hz)
        for repeat in range(step.times):
            film.add(rendered[name], step, waits=step.wait and repeat == 0)
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
        way = np.abs(stop - start)
        seconds = None if step.hand_over_ms is None else step.hand_over_ms / 1000
        if seconds is None:
            if way.max() <= SAME and np.array_equal(level, next_level):
                return
            needed = _PEAK * way / (UNHURRIED * top_speed(self.robot))
            seconds = max(SHORTEST_HAND_OVER_S, float(needed.max()))
        count = round(seconds * self.rate_hz)
        if count < 1:
            return
        share = np.arange(1, count + 1) / count
        joints = start + (stop - start) * minimum_jerk(share)[:, None]
        outputs = level + (next_level - level) * share[:, None]
        missed = np.repeat(frames.reach_error[:1], count, axis=0)
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
