"""From wherever the joints are, in whatever motion, to rest at a target. Stopping is :mod:`motionhub.motion.brake`'s.

Time-optimal under limits of speed, acceleration and jerk for each joint, by the ``ruckig`` library. All
joints arrive together.

Two things may go wrong, and neither may raise in a live loop:

* A joint may be so fast so close to the end of its range that it cannot stop inside within its limits. Its
  limits are then raised as far as it takes (the same motion, up to :data:`SHARPEST` times as quick), and
  what is still outside after that is held at the end of the range: the servo is asked to stand there.
* The numerics may fail. Then every joint follows a polynomial of fifth degree from its state to rest,
  slow enough for the limits, see :class:`_Quintic`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol, Self

import numpy as np
import ruckig  # type: ignore[import-not-found,import-untyped,unused-ignore]
from numpy.typing import ArrayLike, NDArray

from motionhub.robot.limits import top_speed
from motionhub.robot.model import Robot

Array = NDArray[np.float64]
State = tuple[Array, Array, Array]
"""Positions (rad), velocities (rad/s) and accelerations (rad/s²), each (J,)."""

SPEED_SHARE = 0.5
"""Share of a servo's no-load speed: a transition is not in a hurry, and a loaded servo gives no more for long."""

RAMP_S = 0.25
"""From rest to that speed, at full acceleration."""

ONSET_S = 0.10
"""From nothing to full acceleration. Five servo periods: shorter would be a jolt that no hobby servo follows."""

SHARPEST = 6.0
"""How many times as quick a joint may stop that would otherwise leave its range."""

_STEPS = 6
_GIVE = 1e-9
"""Radians outside the range that are rounding."""


@dataclass(frozen=True, eq=False)
class Limits:
    """Per joint, (J,): rad/s, rad/s², rad/s³, and the range in rad."""

    speed: Array
    acceleration: Array
    jerk: Array
    lower: Array
    upper: Array

    @classmethod
    def of(cls, robot: Robot, share: float = SPEED_SHARE) -> Self:
        """From the servos on the regulator's voltage: ``share`` of the no-load speed, reached in :data:`RAMP_S`."""
        speed = top_speed(robot) * share
        acceleration = speed / RAMP_S
        return cls(speed, acceleration, acceleration / ONSET_S, robot.lower, robot.upper)

    def sharpened(self, times: Array) -> Limits:
        """The limits under which the same motion is ``times`` (J,) as quick. The range stays, and so does the speed."""
        return Limits(self.speed, self.acceleration * times**2, self.jerk * times**3, self.lower, self.upper)


class _Path(Protocol):
    @property
    def duration(self) -> float: ...

    def at(self, t: float) -> State: ...

    def extremes(self) -> tuple[Array, Array]: ...


@dataclass(frozen=True, eq=False)
class Transition:
    """A way to rest.

    Args:
        duration: Seconds from its start until every joint is at rest.
        end: (J,) rad, where they come to rest.
        kind: ``planned`` within the limits; ``sharpened`` where a joint had to stop quicker to stay in its
            range; ``plain`` when the planner failed and the polynomial stepped in.
    """

    duration: float
    end: Array
    kind: Literal["planned", "sharpened", "plain"]
    _path: _Path
    _low: Array
    _high: Array

    @classmethod
    def plan(
        cls, robot: Robot, q0: ArrayLike, v0: ArrayLike, a0: ArrayLike, q1: ArrayLike, limits: Limits | None = None
    ) -> Self:
        """The quickest way to rest at ``q1`` (drawn into the joints' ranges), all joints arriving together.

        Args:
            robot: The robot.
            q0: (J,) rad, where the joints are.
            v0: (J,) rad/s.
            a0: (J,) rad/s².
            q1: (J,) rad, where they shall be.
            limits: The robot's own when not given.
        """
        limits = Limits.of(robot) if limits is None else limits
        state = _state(q0, v0, a0)
        end = np.clip(np.asarray(q1, dtype=np.float64), limits.lower, limits.upper)
        return cls._make(state, end, limits)

    @classmethod
    def _make(cls, state: State, end: Array, limits: Limits) -> Self:
        # From outside its range (a hand moved it, or the file changed) a joint may come back, but not go further.
        low, high = np.minimum(limits.lower, state[0]), np.maximum(limits.upper, state[0])
        path: _Path | None
        path, kind = _ruckig(state, end, limits), "planned"
        if path is not None and (out := _outside(path, low, high)).any():
            path, kind = _sharpened(state, end, limits, out, low, high), "sharpened"
        if path is None:
            path, kind = _Quintic.slow_enough(state, end, limits), "plain"
        found = np.clip(end, low, high)
        found.flags.writeable = False
        return cls(path.duration, found, kind, path, low, high)  # type: ignore[arg-type]

    def at(self, t: float) -> State:
        """Positions, velocities and accelerations ``t`` seconds after the start; from its end on, at rest there."""
        if t >= self.duration:
            none = np.zeros_like(self.end)
            return self.end.copy(), none, none.copy()
        q, v, a = self._path.at(max(t, 0.0))
        held = (q < self._low) | (q > self._high)
        if held.any():
            q = np.clip(q, self._low, self._high)
            v, a = np.where(held, 0.0, v), np.where(held, 0.0, a)
        return q, v, a


def _state(q: ArrayLike, v: ArrayLike, a: ArrayLike) -> State:
    position = np.array(q, dtype=np.float64)
    if not np.isfinite(position).all():
        raise ValueError("expected finite joint angles to start from")
    # A speed that is no number is one that nobody measured: the least wrong guess is none.
    return position, np.nan_to_num(np.array(v, dtype=np.float64), nan=0.0), np.nan_to_num(np.array(a, dtype=np.float64))


def _outside(path: _Path, low: Array, high: Array) -> NDArray[np.bool_]:
    least, most = path.extremes()
    found: NDArray[np.bool_] = (least < low - _GIVE) | (most > high + _GIVE)
    return found


def _sharpened(
    state: State, end: Array, limits: Limits, out: NDArray[np.bool_], low: Array, high: Array
) -> _Path | None:
    """The path with the joints that left their range made to stop quicker, each as little as it takes."""
    times = np.ones_like(state[0])
    best = None
    for step in np.geomspace(1, SHARPEST, _STEPS)[1:]:
        times = np.where(out, step, times)
        path = _ruckig(state, end, limits.sharpened(times))
        if path is None:
            break
        best, out = path, _outside(path, low, high)
        if not out.any():
            break
    return best


# ------------------------------------------------------------------ the planner's path


class _Planned:
    """A path of ruckig's."""

    def __init__(self, trajectory: ruckig.Trajectory, state: State) -> None:
        self._trajectory = trajectory
        self._state = state
        self.duration = float(trajectory.duration)

    def at(self, t: float) -> State:
        q, v, a = self._trajectory.at_time(t)
        return np.array(q), np.array(v), np.array(a)

    def extremes(self) -> tuple[Array, Array]:
        """Least and greatest position of each joint, from the pieces of constant jerk that the path is made of.

        The planner's own figure leaves out where a joint turns round while its acceleration is constant.
        """
        pieces = self._trajectory.profiles[0]
        T = np.array([[*piece.brake.t, *piece.t] for piece in pieces]).T
        j = np.array([[*piece.brake.j, *piece.j] for piece in pieces]).T
        q, v, a = (np.empty((len(T) + 1, len(pieces))) for _ in range(3))
        q[0], v[0], a[0] = self._state
        for i, (t, jerk) in enumerate(zip(T, j, strict=True)):
            q[i + 1] = q[i] + t * (v[i] + t * (a[i] / 2 + t * jerk / 6))
            v[i + 1] = v[i] + t * (a[i] + t * jerk / 2)
            a[i + 1] = a[i] + t * jerk
        # Where v + a t + j t²/2 is nothing, by the form that does not cancel (Numerical Recipes, §5.6).
        with np.errstate(divide="ignore", invalid="ignore"):
            half = -(a[:-1] + np.copysign(np.sqrt(a[:-1] ** 2 - 2 * j * v[:-1]), a[:-1]))
            turns = np.stack([half / j, 2 * v[:-1] / half])
        turns = np.where((turns >= 0) & (turns <= T), turns, 0.0)  # which also settles what is not a number
        there = q[:-1] + turns * (v[:-1] + turns * (a[:-1] / 2 + turns * j / 6))
        found = np.concatenate([q, *there])
        return found.min(axis=0), found.max(axis=0)


def _ruckig(state: State, end: Array, limits: Limits) -> _Planned | None:
    """Ruckig's path to ``end``; ``None`` if it does not find one."""
    joints = len(state[0])
    wanted = ruckig.InputParameter(joints)
    wanted.current_position, wanted.current_velocity, wanted.current_acceleration = state
    wanted.max_velocity, wanted.max_acceleration, wanted.max_jerk = limits.speed, limits.acceleration, limits.jerk
    wanted.target_position = end
    trajectory = ruckig.Trajectory(joints)
    try:
        result = ruckig.Ruckig(joints).calculate(wanted, trajectory)
    except (ruckig.RuckigError, RuntimeError, ValueError):
        return None
    if result not in (ruckig.Result.Working, ruckig.Result.Finished):
        return None
    path = _Planned(trajectory, state)
    return path if np.isfinite(path.duration) and _goes_there(path, state, end, limits) else None


def _goes_there(path: _Planned, state: State, end: Array, limits: Limits) -> bool:
    """Trust, but look: whether a path starts at the state, and ends at rest where it should."""
    first, last = path.at(0.0), path.at(path.duration)
    speed = float(np.max(limits.speed))
    if np.abs(first[0] - state[0]).max() > _GIVE or np.abs(last[1]).max() > 1e-6 * speed:
        return False
    return bool(np.abs(last[0] - end).max() < 1e-6)


# ------------------------------------------------------------------ the fallback


_DURATIONS = np.geomspace(0.1, 30.0, 60)
_SHARES = np.linspace(0, 1, 41)


class _Quintic:
    """Every joint along the polynomial of fifth degree from its state to rest, in one common duration.

    It is the minimum-jerk motion (Flash & Hogan 1985) from any state.
    """

    def __init__(self, state: State, end: Array, duration: float) -> None:
        q, v, a = state
        self.duration = duration
        self._start = state
        self._end = end
        way, speed, bend = q - self._end, v * duration, a * duration**2
        self._c = np.stack(
            [
                way,
                speed,
                bend / 2,
                -10 * way - 6 * speed - 1.5 * bend,
                15 * way + 8 * speed + 1.5 * bend,
                -6 * way - 3 * speed - 0.5 * bend,
            ]
        )

    @classmethod
    def slow_enough(cls, state: State, end: Array, limits: Limits) -> _Quintic:
        """The quickest within the limits; if none is, because of how it starts, the one that comes nearest."""
        paths = [cls(state, end, float(duration)) for duration in _DURATIONS]
        c = np.stack([path._c for path in paths], axis=1)[:, :, None]  # (6, durations, 1, J)
        s, T = _SHARES[:, None], _DURATIONS[:, None, None]
        q = end + c[0] + s * (c[1] + s * (c[2] + s * (c[3] + s * (c[4] + s * c[5]))))
        v = (c[1] + s * (2 * c[2] + s * (3 * c[3] + s * (4 * c[4] + s * 5 * c[5])))) / T
        a = (2 * c[2] + s * (6 * c[3] + s * (12 * c[4] + s * 20 * c[5]))) / T**2
        low, high = np.minimum(limits.lower, state[0]), np.maximum(limits.upper, state[0])
        outside = np.maximum(low - q, q - high).max(axis=(1, 2))
        excess = np.maximum.reduce(
            [
                (np.abs(v) / limits.speed).max(axis=(1, 2)),
                np.sqrt(np.abs(a) / limits.acceleration).max(axis=(1, 2)),  # the root: as a share of time, like speed
                np.where(outside > _GIVE, 1 + outside, 0.0),
            ]
        )
        good = np.flatnonzero(excess <= 1 + _GIVE)
        return paths[int(good[0]) if len(good) else int(excess.argmin())]

    def at(self, t: float) -> State:
        s, c, T = t / self.duration, self._c, self.duration
        q = self._end + c[0] + s * (c[1] + s * (c[2] + s * (c[3] + s * (c[4] + s * c[5]))))
        v = (c[1] + s * (2 * c[2] + s * (3 * c[3] + s * (4 * c[4] + s * 5 * c[5])))) / T
        a = (2 * c[2] + s * (6 * c[3] + s * (12 * c[4] + s * 20 * c[5]))) / T**2
        return q, v, a

    def extremes(self) -> tuple[Array, Array]:
        samples = np.array([self.at(t)[0] for t in np.linspace(0, self.duration, 201)])
        return samples.min(axis=0), samples.max(axis=0)
