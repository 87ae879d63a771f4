"""Playing a rendered move: the frames that were checked are the frames that are sent, one a tick."""

from __future__ import annotations

import numpy as np

from motionhub.hub.snapshot import ProgressView
from motionhub.hub.sources import Step
from motionhub.motion.frames import Frames


class Play:
    """Plays ``frames``, rendered at the show's own rate. Where they hold, it waits for :meth:`go`."""

    def __init__(self, frames: Frames) -> None:
        self._frames = frames
        self._at = -1
        self._holds = set(frames.holds)
        self._free = -1  # the last hold that was let go
        # An output that a move has no cue for stays as people have set it.
        cued = frames.outputs.any(axis=0)
        self._outputs = np.where(cued, frames.outputs, np.nan)

    @property
    def waits(self) -> bool:
        """Whether it waits for the operator."""
        return self._at in self._holds and self._at > self._free

    def go(self) -> None:
        """Go on from where it waits."""
        self._free = self._at

    @property
    def progress(self) -> ProgressView:
        """How far it has come."""
        frames = self._frames
        return ProgressView(frames.name, max(self._at, 0) / frames.rate_hz, frames.duration_s, self.waits)

    def step(self) -> Step:
        """The next frame; the same one again while it waits, and at the end."""
        if not self.waits and self._at + 1 < len(self._frames):
            self._at += 1
        return Step(self._frames.joints[self._at], self._outputs[self._at])

    @property
    def done(self) -> bool:
        """Whether the last frame has been given, and nothing waits on it."""
        return self._at + 1 == len(self._frames) and not self.waits
