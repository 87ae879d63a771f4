"""The least slowing that lets a move fit, piece by piece between its keyframes.

In every frame each limit that time can mend says how much slower that frame has to be: a joint's speed
against its servo's, that speed against what its load leaves of it, the current that turning takes
against what standing still leaves of the regulator. A piece of the move is stretched by what the worst
of its frames asks for; the move is rendered again and the rest is repeated, since a channel may run
across several pieces. What is broken while standing still, no timing mends.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motionhub.check import supply
from motionhub.check.timeline import Timeline, work_out
from motionhub.motion.documents import Sequence
from motionhub.motion.render import render
from motionhub.motion.retime import knots, stretched
from motionhub.robot.limits import top_speed
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

ROUNDS = 12
SPARE = 1.005
"""Half a per cent slower than the frames ask for: between two frames it may be a little faster."""
MOST = 20.0
"""A piece that would have to be slower than this jumps, and slowing does not mend it."""


@dataclass(frozen=True)
class Change:
    """One piece of the move that was made longer."""

    from_s: float
    to_s: float
    factor: float


@dataclass(frozen=True, eq=False)
class Retimed:
    """A move with its new timing."""

    sequence: Sequence
    changes: tuple[Change, ...]
    """In the old move's time; empty when nothing had to change."""


def retime(sequence: Sequence, robot: Robot, rate_hz: float = 50.0, supply_v: float | None = None) -> Retimed:
    """Stretch a move as little as lets its joints follow and its supply hold.

    Args:
        sequence: The move.
        robot: Whose limits.
        rate_hz: Frames a second that it is judged at.
        supply_v: The regulator's set-point, instead of the robot's own.

    Returns:
        The move, which passes joint-speed, joint-torque and supply-current as far as time can make it.

    Raises:
        InputError: It cannot be rendered, or grows longer than a move may be.
    """
    at = knots(sequence)
    factors = np.ones(len(at) - 1)
    now = sequence
    for _ in range(ROUNDS):
        t = work_out(render(now, robot, rate_hz), supply_v)
        asked = _per_piece(slower_by(t), t.frames.times, knots(now))
        asked = np.where(factors * asked <= MOST, asked, 1.0)
        if (asked <= 1).all():
            break
        factors *= np.where(asked > 1, asked * SPARE, 1.0)
        now = stretched(sequence, robot, factors)
    changes = [Change(float(at[i]), float(at[i + 1]), float(factors[i])) for i in range(len(factors)) if factors[i] > 1]
    return Retimed(now, tuple(changes))


def slower_by(t: Timeline) -> Array:
    """By what factor (T,) each frame would have to be slower to fit; 1 where it fits, or no timing helps."""
    robot, speeds, volts = t.frames.robot, np.abs(t.speeds), t.rail.steady_volts
    need = (speeds / top_speed(robot, t.set_v)).max(axis=1)
    for j, servo in enumerate(robot.servos):
        left = 1 - np.abs(t.torques[:, j]) / servo.stall_torque_at(volts)
        useful = (left > 0.02) & t.standing
        slow = speeds[:, j] / (servo.free_speed_at(volts) * np.maximum(left, 0.02))
        np.maximum(need, np.where(useful, slow, 0.0), out=need)
    limit = robot.supply.regulator_a
    over = np.flatnonzero((t.rail.amps > limit) & t.standing)
    if over.size:
        still = supply.solve(robot, t.torques[over], 0 * speeds[over], t.frames.outputs[over], t.set_v).amps
        slow = (t.rail.amps[over] - still) / np.maximum(limit - still, 1e-3)
        need[over] = np.maximum(need[over], np.where(still < limit, slow, 0.0))
    found: Array = np.maximum(need, 1.0)
    return found


def _per_piece(need: Array, times: Array, at: Array) -> Array:
    """The worst frame of each piece (K - 1,). A frame's speed is that of the way to it, so it ends its piece."""
    piece = np.clip(np.searchsorted(at, times - 1e-6, side="left") - 1, 0, len(at) - 2)
    found = np.ones(len(at) - 1)
    np.maximum.at(found, piece, need)
    return found
