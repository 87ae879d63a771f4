r"""From readings of a protractor to a servo's trim and its true microseconds per degree.

With a pulse's distance from mid-travel, divided by the data sheet's µs per degree and signed by the servo's
direction, as x, a servo that turns ``scale`` times as many µs per degree as its data sheet says stands at ::

    angle - mid = x / scale - trim

which is a straight line in x. Servos of one class differ by a few percent (practice), so a slope near the data
sheet's is drawn to it; one that is further off than the readings can explain is another servo than was believed,
and then the readings alone decide.

A scale read to a degree is hardly ever further off than that, and any error within it is as likely as another. So the
line is the mean of all that pass every reading so closely, not that of least squares, which a few readings that err
the same way may take further than any of them allows.

A reading that the others contradict was misread: it is named, and the line is drawn without it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

READ_TO = np.deg2rad(1.0)
"""rad, how far an angle read to a degree is off at most (practice)."""
DEVIATION = 0.6
"""Standard deviation of an angle, as a share of how far it is off at most (uniform either way: 1/√3)."""
HARDLY = 0.1
"""By how much further off it is e times less likely, as a share of the same."""
ALIKE = 0.015
"""By how much servos of one class differ in µs per degree, one standard deviation (practice)."""
ANY = 10.0
"""The same, where nothing is known of the servo."""
HORN = np.deg2rad(8.0)
"""rad, standard deviation of a trim before anything is read (practice: a spline of 24 teeth is 15 degrees a tooth)."""
CLEARLY = 3.5
"""So many standard deviations from the data sheet's is no accident; and less than :data:`LEAST` is not worth a word."""
LEAST = 0.04
APART = np.deg2rad(40.0)
"""Readings have to be so far apart to say anything of µs per degree."""
ALL = 4.5
"""So many standard deviations of least squares from their line, every line is looked at."""
FINE = 61
"""Lines looked at along each of its two axes."""
LOOKS = 8
"""So often at most it is looked further on, where the best lines are not among those."""
CONTRADICTED = 3.0
"""So many standard deviations of the others' line, beyond what a reading may be off itself, and it was misread."""
PLAINLY = 6.0
"""By so much, in χ², the others have to agree better without this reading than without any other one of them."""
AGREES = 1.2
"""So much further off than it could have been, with what a line has left over, and it does not pass."""
ENOUGH = 4
"""Of three readings nobody can say which is wrong."""
_ALONG = np.linspace(-ALL, ALL, FINE)
_GRID: Array = np.stack(np.meshgrid(_ALONG, _ALONG), axis=-1).reshape(-1, 2)
SCALES = (0.5, 1.99)
"""What a calibration may hold."""


@dataclass(frozen=True)
class Servo:
    """What the readings of one joint say."""

    trim: float
    """rad, to be added to every angle before it becomes a pulse."""
    scale: float
    """Its true µs per degree over the data sheet's."""
    spread: float
    """rad, one standard deviation of where it stands at an angle, for the worst of those asked about."""
    other: bool
    """Whether its µs per degree is clearly not the data sheet's."""
    odd: tuple[tuple[int, float], ...] = ()
    """Readings that the others contradict, each with how far it is off, rad. They are not used."""
    agrees: bool = True
    """Whether those that are used pass the line about as closely as they were read."""


@lru_cache(maxsize=256)
def fit(
    away: tuple[float, ...], angles: tuple[float, ...], at: tuple[float, ...], to: tuple[float, ...] | None = None
) -> Servo:
    """Trim and scale from readings.

    Args:
        away: (N,) rad, x of each reading: by the data sheet how far its pulse is from mid-travel, signed as angles.
        angles: (N,) rad, where the joint really stood, from its mid.
        at: (M,) rad from mid: the angles for which ``spread`` is told.
        to: (N,) rad, how closely each was read; :data:`READ_TO` when not given.

    Returns:
        The servo; with no readings as the data sheet says, with the spread that horns have.
    """
    x, y = np.asarray(away, dtype=np.float64), np.asarray(angles, dtype=np.float64)
    near = np.full(len(x), READ_TO) if to is None else np.asarray(to, dtype=np.float64)
    odd = _odd(x, y, near)
    used = np.setdiff1d(np.arange(len(x)), odd)
    x, y, near = x[used], y[used], near[used]
    slope, trim, cover = _line(x, y, near, ALIKE)
    other, alike = False, ALIKE
    if len(x) >= 2 and np.ptp(x) >= APART:
        free, free_trim, free_cover = _line(x, y, near, ANY)
        off = abs(free - 1)
        if off > LEAST and off > CLEARLY * float(np.sqrt(free_cover[0, 0] + ALIKE**2)):
            slope, trim, cover, other, alike = free, free_trim, free_cover, True, ANY
    if len(x):
        slope, trim, cover = _within(x, y, near, alike, slope, trim, cover)
    slope = float(np.clip(slope, 1 / SCALES[1], 1 / SCALES[0]))
    # Where it stands for a given pulse: the line's own spread at that x.
    places = np.asarray(at, dtype=np.float64)
    rows = np.stack([places, -np.ones_like(places)], axis=-1)
    spread = float(np.sqrt(np.einsum("mi,ij,mj->m", rows, cover, rows).max()))
    off_by = tuple((i, float(angles[i] - (slope * away[i] - trim))) for i in odd)
    agrees = bool((np.abs(y - (slope * x - trim)) <= AGREES * near).all())
    return Servo(trim=trim, scale=1 / slope, spread=spread, other=other, odd=off_by, agrees=agrees)


def _line(x: Array, y: Array, near: Array, alike: float) -> tuple[float, float, Array]:
    """Slope and trim of the straight line, drawn to slope 1 within ``alike``; their covariance."""
    sigma = DEVIATION * near
    rows = np.stack([x, -np.ones_like(x)], axis=-1) / sigma[:, None]
    prior = np.diag([alike**-2, HORN**-2])
    normal = rows.T @ rows + prior
    cover = np.asarray(np.linalg.inv(normal), dtype=np.float64)
    found = cover @ (rows.T @ (y / sigma) + prior @ np.array([1.0, 0.0]))
    return float(found[0]), float(found[1]), cover


def _odd(x: Array, y: Array, near: Array) -> list[int]:
    """Readings that were misread, the plainest first: each is left out in turn, and the others are asked.

    Nothing is taken for granted of the servo here, or one of another kind would look misread.
    """
    odd: list[int] = []
    while len(x) - len(odd) >= ENOUGH:
        left = [i for i in range(len(x)) if i not in odd]
        costs, beyond = [], []
        for i in left:
            others = [each for each in left if each != i]
            slope, trim, cover = _line(x[others], y[others], near[others], ANY)
            rest = (y[others] - (slope * x[others] - trim)) / (DEVIATION * near[others])
            row = np.array([x[i], -1.0])
            allowed = near[i] + CONTRADICTED * float(np.sqrt(row @ cover @ row))
            costs.append(float(rest @ rest))
            beyond.append(float(abs(y[i] - (slope * x[i] - trim))) - allowed)
        best, second = np.argsort(costs)[:2]
        if beyond[best] <= 0 or costs[second] - costs[best] < PLAINLY:
            break
        odd.append(left[best])
    return odd


def _within(
    x: Array, y: Array, near: Array, alike: float, slope: float, trim: float, cover: Array
) -> tuple[float, float, Array]:
    """Mean and covariance of slope and trim over the lines that pass the readings within ``near``.

    ``slope``, ``trim`` and ``cover`` are those of :func:`_line`: where to look first, and how finely.
    """
    middle, unit = np.array([slope, trim]), np.linalg.cholesky(cover)
    for _ in range(LOOKS):
        lines = middle + _GRID @ unit.T
        off = np.abs(y - (lines[:, :1] * x - lines[:, 1:]))
        likely = -np.logaddexp(0, (off - near) / (HARDLY * near)).sum(axis=1)
        likely -= 0.5 * (((lines[:, 0] - 1) / alike) ** 2 + (lines[:, 1] / HORN) ** 2)
        weight = np.exp(likely - likely.max())
        weight /= weight.sum()
        mean = weight @ _GRID
        away = _GRID - mean
        middle = middle + unit @ mean
        # A misread angle takes least squares far from where all the others are.
        if np.abs(mean).max() < 1:
            break
    found: Array = unit @ ((weight[:, None] * away).T @ away) @ unit.T
    return float(middle[0]), float(middle[1]), found
