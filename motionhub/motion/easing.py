"""How a value gets from one key to the next: progress s over the share τ of the time, both from 0 to 1.

Names are those of the W3C's *CSS Easing Functions Level 1* (``linear``, ``ease-in-out``,
``cubic-bezier(0.3, 0, 0.2, 1)``, ``steps(4, jump-none)`` and so on), and two more: ``minimum-jerk``, the way
an unhurried arm goes from one place to another (Flash & Hogan, J. Neurosci. 5(7), 1985), and ``hold``,
which stays and then is there (the same as ``step-end``).
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from motionhub.errors import unknown

Array = NDArray[np.float64]

DEFAULT = "minimum-jerk"

MAX_STEPS = 10_000
"""More steps than that in one approach is a slip of the pen."""

_TOLERANCE = 1e-12
_NEWTON_ROUNDS = 8
_BISECTIONS = 50
"""Halving [0, 1] fifty times leaves less than 1e-15."""


@dataclass(frozen=True)
class Easing:
    """A progress function. ``smooth`` is false where it jumps."""

    name: str
    curve: Callable[[Array], Array]
    smooth: bool = True

    def __call__(self, share: ArrayLike) -> Array:
        """Progress at each share of the time, of the same shape; shares beyond 0 and 1 count as 0 and 1."""
        tau = np.clip(np.asarray(share, dtype=np.float64), 0.0, 1.0)
        return self.curve(tau)


def minimum_jerk(tau: Array) -> Array:
    """10τ³ − 15τ⁴ + 6τ⁵."""
    progress: Array = tau**3 * (10 + tau * (6 * tau - 15))
    return progress


def _same(tau: Array) -> Array:
    return tau.copy()


@dataclass(frozen=True)
class _Bezier:
    """The cubic Bézier curve through (0, 0) and (1, 1) with two control points: y over x (CSS Easing 1, §2.2)."""

    x1: float
    y1: float
    x2: float
    y2: float

    def __call__(self, tau: Array) -> Array:
        t = self._parameter(tau.reshape(-1)).reshape(tau.shape)
        progress = _cubic(self.y1, self.y2, t)
        return np.where(tau <= 0, 0.0, np.where(tau >= 1, 1.0, progress))

    def _parameter(self, x: Array) -> Array:
        """Solve x(t) = x: Newton's steps, kept inside a bracket that bisection shrinks where Newton fails."""
        t = x.copy()
        for _ in range(_NEWTON_ROUNDS):
            error = _cubic(self.x1, self.x2, t) - x
            slope = _cubic_slope(self.x1, self.x2, t)
            with np.errstate(divide="ignore", invalid="ignore"):
                step = np.where(slope > 1e-9, error / slope, 0.0)
            t = np.clip(t - step, 0.0, 1.0)
        # x(t) is never falling for x1, x2 in [0, 1], so halving always ends at the root.
        lost = np.flatnonzero(np.abs(_cubic(self.x1, self.x2, t) - x) > _TOLERANCE)
        if lost.size:
            low, high = np.zeros(lost.size), np.ones(lost.size)
            for _ in range(_BISECTIONS):
                middle = (low + high) / 2
                below = _cubic(self.x1, self.x2, middle) < x[lost]
                low, high = np.where(below, middle, low), np.where(below, high, middle)
            t[lost] = (low + high) / 2
        return t


def _cubic(a: float, b: float, t: Array) -> Array:
    """One coordinate of the curve: 3(1−t)²t·a + 3(1−t)t²·b + t³."""
    u = 1 - t
    value: Array = t * (3 * u * (u * a + t * b) + t * t)
    return value


def _cubic_slope(a: float, b: float, t: Array) -> Array:
    u = 1 - t
    value: Array = 3 * u * u * a + 6 * u * t * (b - a) + 3 * t * t * (1 - b)
    return value


@dataclass(frozen=True)
class _Steps:
    """``steps(count, position)`` (CSS Easing 1, §2.3), for times within the move, where nothing comes 'before'."""

    count: int
    position: str

    def __call__(self, tau: Array) -> Array:
        # A share that was meant to be k/n may arrive an ulp below it; nobody means the step before.
        done = np.floor(tau * self.count + 1e-9)
        jumps = self.count
        if self.position in ("jump-start", "jump-both"):
            done += 1
        if self.position == "jump-both":
            jumps += 1
        if self.position == "jump-none":
            jumps -= 1
        progress: Array = np.minimum(done, jumps) / jumps
        return progress


_KEYWORDS: dict[str, Easing] = {
    "hold": Easing("hold", _Steps(1, "jump-end"), smooth=False),
    "minimum-jerk": Easing("minimum-jerk", minimum_jerk),
    "linear": Easing("linear", _same),
    "ease": Easing("ease", _Bezier(0.25, 0.1, 0.25, 1)),
    "ease-in": Easing("ease-in", _Bezier(0.42, 0, 1, 1)),
    "ease-out": Easing("ease-out", _Bezier(0, 0, 0.58, 1)),
    "ease-in-out": Easing("ease-in-out", _Bezier(0.42, 0, 0.58, 1)),
    "step-start": Easing("step-start", _Steps(1, "jump-start"), smooth=False),
    "step-end": Easing("step-end", _Steps(1, "jump-end"), smooth=False),
}
_POSITIONS = {
    "jump-start": "jump-start",
    "jump-end": "jump-end",
    "jump-none": "jump-none",
    "jump-both": "jump-both",
    "start": "jump-start",
    "end": "jump-end",
}
_FUNCTION = re.compile(r"(cubic-bezier|steps)\(([^()]*)\)")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?")

KEYWORDS = tuple(_KEYWORDS)
KNOWN = (*KEYWORDS, "cubic-bezier(x1, y1, x2, y2)", "steps(n, jump-start|jump-end|jump-none|jump-both)")


@lru_cache(maxsize=256)
def ease(name: str) -> Easing:
    """The progress function of that name; case and blanks do not matter, as in CSS.

    Raises:
        ValueError: saying what was expected, if there is no such function.
    """
    plain = name.strip().lower()
    if plain in _KEYWORDS:
        return _KEYWORDS[plain]
    call = _FUNCTION.fullmatch(plain)
    if call is None:
        raise ValueError(unknown("approach", name, KNOWN))
    arguments = [part.strip() for part in call.group(2).split(",")]
    return _bezier(name, arguments) if call.group(1) == "cubic-bezier" else _steps(name, arguments)


def _bezier(name: str, arguments: list[str]) -> Easing:
    if len(arguments) != 4 or not all(_NUMBER.fullmatch(part) for part in arguments):
        raise ValueError(f"expected four numbers in cubic-bezier(x1, y1, x2, y2), found {name!r}")
    x1, y1, x2, y2 = (float(part) for part in arguments)
    if not (0 <= x1 <= 1 and 0 <= x2 <= 1):
        raise ValueError(f"expected x1 and x2 of cubic-bezier(x1, y1, x2, y2) from 0 to 1, found {name!r}")
    if abs(y1) > 10 or abs(y2) > 10:
        raise ValueError(f"expected y1 and y2 of cubic-bezier(x1, y1, x2, y2) from -10 to 10, found {name!r}")
    # A curve that starts or ends upright runs infinitely fast there: to a servo that is a jump.
    smooth = not ((x1 == 0 and y1 != 0) or (x2 == 1 and y2 != 1) or (x1 == 1 and x2 == 0))
    return Easing(name, _Bezier(x1, y1, x2, y2), smooth)


def _steps(name: str, arguments: list[str]) -> Easing:
    position = _POSITIONS.get(arguments[1]) if len(arguments) == 2 else "jump-end" if len(arguments) == 1 else None
    if position is None or not re.fullmatch(r"\+?\d{1,9}", arguments[0]):
        raise ValueError(
            f"expected a whole number of steps and one of {', '.join(_POSITIONS)} in steps(n, …), found {name!r}"
        )
    count = int(arguments[0])
    least = 2 if position == "jump-none" else 1
    if not least <= count <= MAX_STEPS:
        raise ValueError(f"expected from {least} to {MAX_STEPS} steps, found {name!r}")
    return Easing(name, _Steps(count, position), smooth=False)
