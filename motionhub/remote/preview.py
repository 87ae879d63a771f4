"""How a move goes, for drawing it: arrays of small numbers, and of those only the rows that an edit has changed."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from motionhub.check.timeline import Timeline
from motionhub.motion.posing import rotation
from motionhub.remote.answering import PreviewInfo
from motionhub.robot.mass import centre_of_mass

Array = NDArray[np.float64]

SMOOTH, LONG = 3_000, 15_000
"""Frames up to which every one, and up to which every second one is sent; of longer moves every fifth."""


@dataclass(frozen=True, eq=False)
class Rows:
    """One row of each for every moment that is drawn, in the types of :class:`~.answering.PreviewInfo`."""

    rate_hz: float
    joints: NDArray[np.int16]
    body: NDArray[np.float32]
    com: NDArray[np.float32]
    down: NDArray[np.uint8]
    outputs: NDArray[np.uint8]
    margin: NDArray[np.int16]
    amps: NDArray[np.uint16]
    load: NDArray[np.uint8]


_ARRAYS = tuple(field.name for field in fields(Rows) if field.name != "rate_hz")


def step_of(count: int) -> int:
    """Of so many frames, every how manieth is drawn."""
    return 1 if count <= SMOOTH else 2 if count <= LONG else 5


def rows_of(t: Timeline, step: int) -> Rows:
    """What is drawn of a move; where moments are left out, the worst of what has a limit stands for them."""
    frames, robot = t.frames, t.frames.robot
    own = slice(None, None, step)
    heading = t.travel.heading + t.yaw
    body = np.column_stack([t.travel.place * 1e3, t.height * 1e3, np.rad2deg(t.tilt), np.rad2deg(heading)])[own]
    turn = rotation(t.tilt[own, 0], t.tilt[own, 1], heading[own])
    com = t.travel.place[own] + np.einsum("tij,tj->ti", turn, centre_of_mass(robot, frames.joints[own]))[:, :2]
    share = np.empty_like(t.torques)
    for j, servo in enumerate(robot.servos):
        free = np.maximum(servo.torque_available(np.abs(t.speeds[:, j]), t.rail.steady_volts), 1e-6)
        share[:, j] = np.where(t.standing, np.abs(t.torques[:, j]) / free, 0.0)
    bits = (t.down * (1 << np.arange(robot.legs))).sum(axis=1)
    return Rows(
        rate_hz=frames.rate_hz / step,
        joints=_within(np.rad2deg(frames.joints[own]) * 100, -32_768, 32_767).astype(np.int16),
        body=body.astype(np.float32),
        com=(com * 1e3).astype(np.float32),
        down=bits[own].astype(np.uint8),
        outputs=np.rint(frames.outputs[own] * 255).astype(np.uint8),
        margin=_within(-_most(-t.margin[:, None], step)[:, 0] * 1e4, -32_768, 32_767).astype(np.int16),
        amps=_within(_most(t.rail.amps[:, None], step)[:, 0] * 100, 0, 65_535).astype(np.uint16),
        load=_within(_most(share, step) * 100, 0, 255).astype(np.uint8),
    )


def put_in(rows: Rows, part: Rows, start: int, first: int, last: int) -> Rows:
    """The rows of a move with those of a part of it in their place.

    Args:
        rows: Of all of it, as it was.
        part: Of frames that begin at row ``start``, on ground of their own: the robot is where it was at that row.
        start: See ``part``.
        first: The first row that is replaced; after ``start``, unless both are the first of the move.
        last: The last of them.
    """
    made = {name: getattr(rows, name).copy() for name in _ARRAYS}
    own = {name: getattr(part, name) for name in _ARRAYS}
    if start > 0:
        was, now = rows.body[start].astype(np.float64), part.body[0].astype(np.float64)
        turn = np.deg2rad(was[5] - now[5])
        c, s = np.cos(turn), np.sin(turn)
        onto = np.array([[c, s], [-s, c]])
        own["body"] = part.body.copy()
        own["body"][:, :2] = (part.body[:, :2] - now[:2]) @ onto + was[:2]
        own["body"][:, 5] += was[5] - now[5]
        own["com"] = ((part.com - now[:2]) @ onto + was[:2]).astype(np.float32)
    for name in _ARRAYS:
        made[name][first : last + 1] = own[name][first - start : last + 1 - start]
    return Rows(rows.rate_hz, **made)


def _most(values: Array, step: int) -> Array:
    """(T, C) to the greatest of each ``step`` rows."""
    if step == 1:
        return values
    short = -len(values) % step
    padded = np.concatenate([values, np.repeat(values[-1:], short, axis=0)]) if short else values
    found: Array = padded.reshape(-1, step, values.shape[1]).max(axis=1)
    return found


def _within(values: Array, low: float, high: float) -> Array:
    found: Array = np.clip(np.rint(np.nan_to_num(values)), low, high)
    return found


def packed(rows: Rows, before: Rows | None, since: int) -> PreviewInfo:
    """The rows as a message, leaving out those at either end that are as they were ``before``, at edit ``since``."""
    count = len(rows.joints)
    first, last = 0, count
    if before is not None and before.rate_hz == rows.rate_hz:
        first = _alike(rows, before, 1)
        last = count - min(_alike(rows, before, -1), count - first, len(before.joints) - first)
    part = {name: np.ascontiguousarray(getattr(rows, name)[first:last]) for name in _ARRAYS}
    little = {name: value.astype(value.dtype.newbyteorder("<"), copy=False).tobytes() for name, value in part.items()}
    known = since if before is not None and before.rate_hz == rows.rate_hz else -1
    return PreviewInfo(rate_hz=rows.rate_hz, frames=count, first=first, since=known, **little)


def _alike(rows: Rows, before: Rows, way: int) -> int:
    """How many rows at the beginning (1) or at the end (-1) are the same in both."""
    count = min(len(rows.joints), len(before.joints))
    same = np.ones(count, dtype=bool)
    for name in _ARRAYS:
        one, other = getattr(rows, name)[::way][:count], getattr(before, name)[::way][:count]
        same &= (one == other).reshape(count, -1).all(axis=1)
    return count if same.all() else int(np.argmin(same))
