"""Raw pulses, slowly: what moves servos whose trims nobody knows yet.

Only connectors that were chosen have a pulse; all others have none. Servos that come on do so one after another,
since each draws its stall current for a moment, and a pulse changes no faster than :data:`SPEED`.

Where a servo without a pulse stands nobody can know: it goes to its first pulse as fast as it can. The robot's program
begins with the pulse of its rest pose, and eases from there to what is asked, faster than a finger gets away. So what
is asked begins there, too. What the robot rests by may not be known yet: until its easing must be over nothing counts
as still.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

SPEED = np.deg2rad(30.0)
"""rad/s by the data sheet: an eye can follow it, and a finger can get away."""
START_EVERY_S = 0.4
"""Between one servo that comes on and the next: most of its start is over after 0.1 s, and the radio is slow."""
STARTED_S = 0.3
"""Until the robot has begun with a servo that comes on; nothing moves before, or it would have to catch up."""
PAUSE_S = 0.6
"""How long a wiggle stays where it has gone, to be seen."""

Wanted = Mapping[int, float]
"""Pulses in µs by connector; connectors that are not in it have none."""


class Bench:
    """Pulses (J,) in the order of the connectors, tick by tick; 0 where there is none.

    Args:
        us_per_rad: (J,) of the servo on each connector, by its data sheet.
        dt: Seconds a tick.
        settle_s: How long the robot may take to bring a servo that comes on to its first pulse
            (:func:`~motionhub.link.controller.easing_s`).
        starts: Gives the pulses (J,) that the robot begins with, by its rest pose as far as that is known.
    """

    def __init__(self, us_per_rad: Array, dt: float, settle_s: float, starts: Callable[[], Array]) -> None:
        self._starts = starts
        self._step = us_per_rad * SPEED * dt
        self._start_every = round(START_EVERY_S / dt)
        self._started = round(STARTED_S / dt)
        self._pause = round(PAUSE_S / dt)
        self._settle = math.ceil(settle_s / dt)
        self.pulses: Array = np.zeros(len(us_per_rad))
        self._wanted: dict[int, float] = {}
        self._then: list[dict[int, float]] = []
        self._since_start = max(self._start_every, self._settle)
        self._since_move = 0

    @property
    def wanted(self) -> dict[int, float]:
        """Where the connectors that have pulses are going, in the end."""
        return dict(self._then[-1] if self._then else self._wanted)

    @property
    def still(self) -> bool:
        """Whether every chosen connector has the pulse that is wanted of it, the robot's too; with no more to come."""
        settled = not self._wanted or self._since_start >= self._settle
        return not self._then and settled and all(self.pulses[i] == pulse for i, pulse in self._wanted.items())

    def hold(self, wanted: Wanted, then: Sequence[Wanted] = ()) -> None:
        """Bring these connectors to these pulses and hold them there; all others lose theirs at once.

        Args:
            wanted: Where to.
            then: Where to after that, one after another, with a pause before each.
        """
        self._wanted, self._then = dict(wanted), [dict(each) for each in then]
        for i in np.flatnonzero(self.pulses):
            if int(i) not in self._wanted:
                self.pulses[i] = 0.0
        self._since_move = 0

    def freeze(self) -> None:
        """What has a pulse stays where it is; what had yet to start does not."""
        self._then = []
        self._wanted = {int(i): float(self.pulses[i]) for i in np.flatnonzero(self.pulses)}

    def drop(self) -> None:
        """No pulses at all."""
        self.hold({})

    def step(self) -> Array:
        """The pulses of the next tick, a copy."""
        self._since_start += 1
        moved = self._since_start < self._settle
        for i, goal in self._wanted.items():
            now = self.pulses[i]
            if now == 0:
                if self._since_start >= self._start_every:
                    self.pulses[i], self._since_start, moved = self._starts()[i], 0, True
            elif now != goal and self._since_start >= self._started:
                self.pulses[i] = now + np.clip(goal - now, -self._step[i], self._step[i])
                moved = True
        self._since_move = 0 if moved else self._since_move + 1
        if self._then and self._since_move >= self._pause:
            self._wanted, self._since_move = self._then.pop(0), 0
        return self.pulses.copy()
