"""Going smoothly to where something shall be, wherever that is now: limited in speed, acceleration and jerk."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from ruckig import (  # type: ignore[import-not-found,import-untyped,unused-ignore]
    InputParameter,
    OutputParameter,
    Result,
    Ruckig,
    RuckigError,
    Trajectory,
)

from motionhub.hub.sources import Array


class Glide:
    """Some coordinates on their way to a target, tick by tick, by the ``ruckig`` library. Starts at rest.

    Args:
        start: Where they are.
        speed: The most of each, per second.
        ramp_s: How long getting up to that speed takes, and how long getting up to that acceleration.
        dt: Seconds a tick.
    """

    def __init__(self, start: Sequence[float], speed: Sequence[float], ramp_s: float, dt: float) -> None:
        count = len(start)
        self._state = InputParameter(count)
        self._state.current_position = self._state.target_position = list(start)
        self._state.max_velocity = list(speed)
        self._state.max_acceleration = [v / ramp_s for v in speed]
        self._state.max_jerk = [v / ramp_s**2 for v in speed]
        self._ahead = OutputParameter(count)
        self._otg, self._surveyor = Ruckig(count, dt), Ruckig(count)
        self._done = False
        self.position = np.array(start)
        """Where they are now."""

    @property
    def target(self) -> Array:
        """Where they shall be."""
        return np.array(self._state.target_position)

    @target.setter
    def target(self, target: Array) -> None:
        self._state.target_position = target.tolist()

    @property
    def resting(self) -> bool:
        """Whether they are there, and at rest."""
        state = self._state
        return state.current_position == state.target_position and not any(state.current_velocity)

    def way(self, count: int) -> Array:
        """Where they will be from now until they rest, at ``count`` moments evenly, if the target stays, (count, C)."""
        if self.resting:
            return self.position[None].copy()
        path = Trajectory(len(self.position))
        if _found(lambda: self._surveyor.calculate(self._state, path)) is None:
            return np.array([self.position, self.target])
        return np.array([path.at_time(t)[0] for t in np.linspace(0.0, path.duration, count)])

    def look_ahead(self) -> Array:
        """Where they are a tick from now; nothing moves before :meth:`go` or :meth:`go_part` is called."""
        if self.resting:
            self._done = True
            return self.position
        found = _found(lambda: self._otg.update(self._state, self._ahead))
        if found is None:
            # Rarely its equations have no root within rounding; without what acceleration there was they have one.
            self._state.current_acceleration = [0.0] * len(self.position)
            found = _found(lambda: self._otg.update(self._state, self._ahead))
        if found is None:  # never seen: they stop here
            self._state.target_position = self._state.current_position
            found = Result.Finished
        self._done = found == Result.Finished
        # Rounding is dropped, so that where one comes to rest is exactly where one was to.
        return self.target if self._done else np.array(self._ahead.new_position)

    def go(self) -> None:
        """Go there."""
        if self._done:
            self._state.current_position = self._state.target_position
            self._state.current_velocity = self._state.current_acceleration = [0.0] * len(self.position)
        else:
            self._ahead.pass_to_input(self._state)
        self.position = np.array(self._state.current_position)

    def go_part(self, share: float) -> None:
        """Go only this share of the way, and be as much slower."""
        there = np.array(self._ahead.new_position)
        self.position = self.position + share * (there - self.position)
        self._state.current_position = self.position.tolist()
        self._state.current_velocity = [share * v for v in self._ahead.new_velocity]
        self._state.current_acceleration = [0.0] * len(self.position)


def _found(plan: Callable[[], Result]) -> Result | None:
    """What the library makes of it; ``None`` where it finds no way, which it says by an exception or by its result."""
    try:
        result = plan()
    except (RuckigError, RuntimeError, ValueError):
        return None
    return result if result in (Result.Working, Result.Finished) else None
