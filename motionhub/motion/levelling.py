r"""Trims from a ruler: how far every hip is above the table says which leg is too long, and by which joint.

The robot stands on three feet at a time, so that nothing is shared out by what bends: with the joints as they
truly are, the plane under those three feet is the table, and each hip is as high as it is above that plane::

        hip o--.    femur turned by a, tibia by b more than asked:
               |\       the foot is lower by (arm of a)·a + (arm of b)·b
               | o
     height    |  |     feet close by and feet far out have other arms,
               |  |     so two such stances tell a from b
        _______|__o____

Heights say nothing about coxas, which turn level; those are sighted along a line on the table. The trims
are the least squares of Gauss and Newton over all readings, with what horns are known to be off by as a
prior (practice: a spline tooth of 24 is 15 degrees, so after fitting at mid-travel within about 8).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.polygon import stability_margin
from motionhub.motion.posing import joints_for, standing_feet
from motionhub.robot.kinematics import feet, within
from motionhub.robot.mass import centre_of_mass
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

RULER = 0.6e-3
"""m, standard deviation of a height read to a millimetre (uniform within one either way: 1/√3 of it)."""
HORN = np.deg2rad(5.0)
"""rad, standard deviation of a trim before anything is measured (practice)."""
ODD = 4.0
"""A reading that is off by more than so many standard deviations of the others was misread."""
AGAINST = np.deg2rad(3.0)
SURELY = 5.0
CLEARED = 2
"""What the ruler alone has so far, and so many of its standard deviations, from where the protractor had it was misread
there, if so many heights fit then that did not: for that joint only the ruler counts."""
LIFT = 0.03
"""m, by which feet that shall not stand are lifted; more than trims of a bad horn let one down."""
SPREAD = (0.35, 0.3, 0.25, 0.2, 0.15, 0.1)
"""How much closer and further out than at rest the feet are set, as shares of femur and tibia together: the most
that all legs can do, since that tells a femur's trim from a tibia's best."""
SAFE = 0.012
"""m of margin that a stance must have, since its feet are not quite where they are believed to be."""
_STEP = 1e-5


@dataclass(frozen=True, eq=False)
class LevelStance:
    """One stance to measure in: what is asked of the joints (J,) rad, and the three legs that stand."""

    joints: Array
    standing: tuple[int, int, int]


@dataclass(frozen=True)
class Reading:
    """Heights of the hips in one stance, (L,) m above the table; NaN where nothing was read."""

    stance: LevelStance
    heights: Array


@dataclass(frozen=True, eq=False)
class Levelling:
    """What the readings say."""

    trims: Array
    """(J,) rad by which joints stand beyond what was asked: to be taken from every angle. 0 for coxas and extras."""
    spread: Array
    """(J,) rad, one standard deviation of each trim; infinite where nothing was learnt."""
    residuals: tuple[Array, ...]
    """Per reading (L,) m, read less predicted with these trims."""
    odd: tuple[tuple[int, int], ...]
    """Readings that do not fit the others, as (reading, leg): measure again. They are not used."""


def level_stances(robot: Robot) -> list[LevelStance]:
    """Stances on three feet in which every leg stands close by once and far out once, the steadiest first.

    Raises:
        ValueError: the robot has legs that no safe stance on three feet makes use of.
    """
    found: list[LevelStance] = []
    for sign in (-1, 1):
        for share in SPREAD:
            cover, left = _cover(robot, sign * share)
            if not left:
                found += cover
                break
        else:
            names = ", ".join(robot.leg_names[leg] for leg in sorted(left))
            raise ValueError(f"expected a stance on three feet that {names} can be measured in, found none")
    return found


def _cover(robot: Robot, share: float) -> tuple[list[LevelStance], set[int]]:
    """Stances in which every leg stands once, and the legs for which there is none."""
    left, cover = set(range(robot.legs)), []
    for _, stance in sorted(_of_three(robot, share), key=lambda pair: -pair[0]):
        if left & set(stance.standing):
            left -= set(stance.standing)
            cover.append(stance)
    return cover, left


def _of_three(robot: Robot, share: float) -> list[tuple[float, LevelStance]]:
    """Every stance on three feet that is safe, with its margin; the body moves over the three as far as it may."""
    rest, found = standing_feet(robot), []
    reach = share * (robot.femur + robot.tibia)
    turn = robot.heading + robot.stand_turn
    out = rest + np.stack([reach * np.cos(turn), reach * np.sin(turn), np.zeros(robot.legs)], axis=-1)
    for standing in combinations(range(robot.legs), 3):
        middle = out[list(standing), :2].mean(axis=0)
        raised = out.copy()
        raised[[leg for leg in range(robot.legs) if leg not in standing], 2] += LIFT
        for along in (0.0, 0.25, 0.5, 0.75):
            body = np.array([*(along * middle), 0.0, 0.0, 0.0, 0.0])
            joints, missed = joints_for(robot, body, raised)
            if missed.max() > 1e-6 or not within(robot, joints).all():
                continue
            weight = centre_of_mass(robot, joints)[:2] + body[:2]
            held = np.isin(np.arange(robot.legs), standing)
            margin = stability_margin(raised[:, :2].T[..., None], held[:, None], weight[:, None])
            if margin[0] >= SAFE:
                found.append((float(margin[0]), LevelStance(joints, standing)))
                break
    return found


def heights(robot: Robot, stance: LevelStance, joints: Array) -> Array:
    """Heights of the hips (L,) m above the plane under the standing feet, for joints (J,) rad as they truly are."""
    standing = list(stance.standing)
    points, radii = feet(robot, joints)[standing], robot.foot_radius[standing]
    # n·p - r = -h for all three: with m = n/h linear, but spheres differ; feet alike in size are exact at once
    normal = np.cross(points[1] - points[0], points[2] - points[0])
    normal *= np.sign(normal[2]) / np.linalg.norm(normal)
    for _ in range(3 if np.ptp(radii) else 0):
        low = points - radii[:, None] * normal
        normal = np.cross(low[1] - low[0], low[2] - low[0])
        normal *= np.sign(normal[2]) / np.linalg.norm(normal)
    ground = float(normal @ points[0] - radii[0])
    found: Array = robot.hip @ normal - ground
    return found


def solve(robot: Robot, readings: Sequence[Reading], known: Array | None = None) -> Levelling:
    """The trims of femurs and tibias that explain the readings best.

    Args:
        robot: The robot.
        readings: At least one; those of :func:`level_stances` tell femurs from tibias, one of the rest
            stance alone only levels the robot.
        known: (J,) rad, one standard deviation of what the trims are known to already; :data:`HORN` when not given.

    Raises:
        ValueError: there is no reading, or none with three heights.
    """
    read = [np.isfinite(reading.heights) for reading in readings]
    if sum(int(mask.sum()) for mask in read) < 3:
        raise ValueError("expected at least three heights, found fewer")
    unknown = np.array([3 * leg + part for leg in range(robot.legs) for part in (1, 2)])
    odd: list[tuple[int, int]] = []
    prior = np.full(len(unknown), HORN) if known is None else np.asarray(known, dtype=np.float64)[unknown]
    while True:
        trims, cover = _least_squares(robot, readings, read, unknown, prior)
        residuals = tuple(
            reading.heights - heights(robot, reading.stance, reading.stance.joints + trims) for reading in readings
        )
        worst = _worst(residuals, read)
        if worst is None:
            break
        odd.append(worst)
        read[worst[0]][worst[1]] = False
    spread = np.full(robot.joints, np.inf)
    learnt = np.sqrt(np.diag(cover))
    spread[unknown] = np.where(learnt < 0.9 * prior, learnt, np.inf)
    return Levelling(trims, spread, residuals, tuple(odd))


def reconcile(robot: Robot, readings: Sequence[Reading], known: Array) -> Levelling:
    """:func:`solve`, for trims that a protractor was read for before: where they contradict each other, by the ruler.

    A protractor that was held to a wrong edge is wrong in all its readings of a joint, and heights would be blamed for
    it. Such joints are those whose trim comes out further off than :data:`AGAINST`.

    Args:
        robot: The robot.
        readings: As for :func:`solve`.
        known: (J,) rad, one standard deviation of what the protractor said.
    """
    found = solve(robot, readings, known)
    against = np.abs(found.trims) > AGAINST
    if against.any():
        known = np.where(against, np.maximum(known, HORN), known)
        found = solve(robot, readings, known)
    if len(found.odd) < CLEARED:
        return found
    alone = solve(robot, readings)
    against = np.abs(alone.trims) > np.maximum(AGAINST, SURELY * alone.spread)
    other = solve(robot, readings, np.where(against, np.maximum(known, HORN), known))
    return other if len(found.odd) - len(other.odd) >= CLEARED else found


def _least_squares(
    robot: Robot, readings: Sequence[Reading], read: list[NDArray[np.bool_]], unknown: NDArray[np.intp], prior: Array
) -> tuple[Array, Array]:
    """Trims (J,) and the covariance of the unknown ones."""
    trims = np.zeros(robot.joints)
    cover = np.diag(prior**2)
    for _ in range(8):
        rows, away = [], []
        for reading, mask in zip(readings, read, strict=True):
            at = reading.stance.joints + trims
            here = heights(robot, reading.stance, at)
            slope = np.zeros((robot.legs, len(unknown)))
            for column, joint in enumerate(unknown):
                if joint // 3 in reading.stance.standing:
                    more = at.copy()
                    more[joint] += _STEP
                    slope[:, column] = (heights(robot, reading.stance, more) - here) / _STEP
            rows.append(slope[mask] / RULER)
            away.append((reading.heights - here)[mask] / RULER)
        slopes, off = np.vstack(rows), np.concatenate(away)
        normal: Array = slopes.T @ slopes + np.diag(prior**-2)
        cover = np.asarray(np.linalg.inv(normal), dtype=np.float64)
        step = cover @ (slopes.T @ off - trims[unknown] / prior**2)
        trims[unknown] += step
        if np.abs(step).max() < 1e-9:
            break
    return trims, cover


def _worst(residuals: Sequence[Array], read: list[NDArray[np.bool_]]) -> tuple[int, int] | None:
    """The reading that is furthest from what the others say, if that is too far; never the last that holds a stance."""
    sizes = np.concatenate([np.abs(own[mask]) for own, mask in zip(residuals, read, strict=True)])
    # Median absolute deviation: one misread height does not hide itself by widening the spread
    usual = max(RULER, 1.4826 * float(np.median(sizes)))
    found = max(
        ((float(abs(own[leg])), i, leg) for i, own in enumerate(residuals) for leg in np.flatnonzero(read[i])),
        default=(0.0, 0, 0),
    )
    size, reading, leg = found
    return (reading, int(leg)) if size > ODD * usual and read[reading].sum() > 3 else None
