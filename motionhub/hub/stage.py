"""The joints and what moves them: one source at a time, and what comes after it.

A cue sheet for the tick: a list of what is to happen in order, each item made only when its turn comes,
from where the joints then are. Nothing here knows people, modes or links.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass

from motionhub.hub.sources import Array, Source, Step
from motionhub.hub.sources.hold import Hold
from motionhub.hub.states import Cause


@dataclass(frozen=True)
class Item:
    """What to do when its turn comes, and what to tell the state machine when it is done."""

    make: Callable[[], Source]
    cause: Cause | None = None


class Stage:
    """Runs the sources, and remembers the last commanded joints for their speed and acceleration."""

    def __init__(self, joints: Array, dt: float) -> None:
        self.dt = dt
        self.place(joints)

    def place(self, joints: Array) -> None:
        """Take the robot to stand still at ``joints`` (J,), and hold it there."""
        self.joints = joints.copy()
        self.velocity = joints * 0.0
        self.acceleration = joints * 0.0
        self.hold()

    def hold(self) -> None:
        """Drop all that was to come, and hold still from now on."""
        self._cause: Cause | None = None
        self._queue: deque[Item] = deque()
        self.source: Source = Hold(self.joints)
        self.velocity = self.joints * 0.0
        self.acceleration = self.joints * 0.0

    def run(self, *items: Item) -> None:
        """Do these in order, from the next tick on, in place of what is being done."""
        self._queue = deque(items)
        self._next()

    def _next(self) -> None:
        item = self._queue.popleft()
        self._cause = item.cause
        self.source = item.make()

    def step(self) -> tuple[Step, Cause | None]:
        """One tick: where the joints shall be, and what that tick has brought to its end, if anything.

        The step is only a proposal until :meth:`accept` has it.
        """
        step = self.source.step()
        cause = None
        if self.source.done:
            cause, self._cause = self._cause, None
        return step, cause

    def accept(self, joints: Array) -> None:
        """The guard has let these joints (J,) pass: they are where the robot is commanded to be."""
        velocity = (joints - self.joints) / self.dt
        self.acceleration = (velocity - self.velocity) / self.dt
        self.velocity = velocity
        self.joints = joints
        if self.source.done and self._queue:
            self._next()
