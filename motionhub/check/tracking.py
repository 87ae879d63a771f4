"""What the joints do when they are told where to be: servos take time, and turn no faster than they can.

A hobby servo is a position loop. Far from where it is told to be it turns as fast as load and voltage let
it; near it slows down in proportion to what is left (practice; that is also how the simulated robot and any
proportional loop behave). From one frame to the next, h later, with x where the joint is and q where it is told to be,

    step = (1 - p)·(q - x),    p = exp(-h / RESPONSE_S)
    held to     |step| <= speed·h      speed = no-load speed at this voltage, less the load's share of stall
                                       torque where it turns against its load
    and to      |step - last| <= no-load speed·h² / RISE_S

Without the two limits this is a filter, worked out for all frames at once; only joints that run into a
limit are followed frame by frame, from there until they are back on the filter's path.

An audience sees the move a little later, by :data:`RESPONSE_S` and half a frame, and a little rounder. That
does no harm, since all joints do the same. ``apart`` says how far a joint at its limits is from doing that.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motionhub.robot.model import Robot
from motionhub.robot.servo import RISE_S

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]

RESPONSE_S = 0.04
"""s: in which a servo does 63 % of a small step (practice: one answers within two or three pulses)."""
FORGOTTEN = 1e-13
"""Share of what was told long ago that the filter need not look back for."""
CREEP = 0.05
"""Share of its no-load speed that a servo is taken to turn with at least, however heavy its load: that it is too heavy
is another rule's to say."""
BACK = 1e-7
"""rad from the filter's path at which a joint that was at a limit is back on it."""


@dataclass(frozen=True, eq=False)
class Followed:
    """What came of a block of frames."""

    late: Array
    """(J, n) rad by which each joint is behind what it is told: told less where it is."""
    apart: Array
    """(n,) rad that the joint which is furthest off is away from where it would be without limits."""


class Follower:
    """Follows a move block by block. It begins at rest where the first frame is."""

    def __init__(self, robot: Robot, rate_hz: float, first: Array) -> None:
        self.period = 1 / rate_hz
        self.keep = float(np.exp(-self.period / RESPONSE_S))
        self.told, self.ideal, self.at = first.copy(), first.copy(), first.copy()
        self.ideal_step, self.step, self.pace = np.zeros((3, robot.joints))
        self.held = np.zeros(robot.joints, dtype=bool)

    def follow(
        self,
        rows: Array,
        fastest: Array,
        load: Array,
        heaviest: Array,
        free: list[Array],
        torques: Array,
        speeds: Array,
    ) -> Followed:
        """Follow one block.

        Args:
            rows: (J, n) rad, where each joint is told to be.
            fastest: (J,) the most speed that this takes, as a share of the servo's no-load speed at its voltage.
            load: (J, n) the torque, as a share of its stall torque.
            heaviest: (J,) the most of it.
            free: J of (n,), no-load speeds, rad/s.
            torques: (J, n) N·m; where torque and speed have the same sign, a joint turns against its load.
            speeds: (J, n) rad/s.
        """
        # It moves to a frame in the period after it has come: in frame i it is where frame i - 1 has sent it.
        aim = np.concatenate([self.told[:, None], rows[:, :-1]], axis=1)
        at = self._filter(aim)
        ideal_at, ideal_step = at[:, -1].copy(), at[:, -1] - (at[:, -2] if at.shape[1] > 1 else self.ideal)
        # A step of the filter is a mean of the steps told, and changes by (1 - p)·(told - last): neither is above
        # what the fastest of them makes it. So most joints cannot have come to a limit.
        most = np.maximum(fastest, self.pace)
        self.pace = np.maximum(fastest, self.pace * self.keep ** rows.shape[1])
        apart = np.zeros(rows.shape[1])
        risky = (most + heaviest > 1) | (2 * (1 - self.keep) * most > self.period / RISE_S) | self.held
        for j in np.flatnonzero(risky):
            against = np.where(torques[j] * speeds[j] > 0, load[j], 0.0)
            ideal = at[j].copy()
            if self._hold(int(j), at[j], aim[j], free[j], np.maximum(1 - against, CREEP)):
                np.maximum(apart, np.abs(at[j] - ideal), out=apart)
        self.step = at[:, -1] - (at[:, -2] if at.shape[1] > 1 else self.at)
        self.at, self.ideal, self.ideal_step, self.told = at[:, -1].copy(), ideal_at, ideal_step, rows[:, -1].copy()
        return Followed(rows - at, apart)

    def _filter(self, aim: Array) -> Array:
        """Where the joints are (J, n) when they were told ``aim`` a frame before, without limits.

        The sum over all that was told before, each the less the longer ago, by doubling how far it looks back.
        """
        found: Array = (1 - self.keep) * aim
        found[:, 0] += self.keep * self.ideal
        back, left = 1, self.keep
        while back < aim.shape[1] and left > FORGOTTEN:
            found[:, back:] = found[:, back:] + left * found[:, :-back]
            back, left = 2 * back, left * left
        return found

    def _hold(self, j: int, at: Array, aim: Array, free: Array, share: Array) -> bool:
        """Follow one joint (n,) frame by frame wherever it comes to a limit, writing into ``at``.

        Returns:
            Whether it came to one, or was still off the filter's path at the start.
        """
        most, rise = free * share * self.period, free * (self.period**2 / RISE_S)
        steps = np.diff(at, prepend=self.ideal[j])
        gains = np.diff(steps, prepend=self.ideal_step[j])
        at_limits = np.flatnonzero((np.abs(steps) > most) | (np.abs(gains) > rise)).tolist()
        if self.held[j]:
            at_limits.insert(0, 0)
        off = False
        done, pull = 0, 1 - self.keep
        # Plain numbers: one after the other they are several times quicker than rows.
        told, path, top, gain = aim.tolist(), at.tolist(), most.tolist(), rise.tolist()
        for first in at_limits:
            if first < done:
                continue
            before = [float(self.at[j] - self.step[j]), float(self.at[j]), *path[max(first - 2, 0) : first]]
            x, step, off = before[-1], before[-1] - before[-2], True
            for i in range(first, len(path)):
                step = min(max(pull * (told[i] - x), step - gain[i]), step + gain[i])
                step = min(max(step, -top[i]), top[i])
                x += step
                if i > first and abs(x - path[i]) < BACK:
                    off = False
                    break
                path[i] = x
            done = i
        at[:] = path
        self.held[j] = off
        return bool(at_limits)


@dataclass(frozen=True)
class Lag:
    """How a joint follows over a whole move."""

    most: float
    """rad, that it is behind at most."""
    delay_s: float
    """s: the delay that explains best (least squares) how far it is behind, for how fast it is told to turn."""


class LagSums:
    """Adds up, block by block, what a :class:`Lag` for every joint is made of."""

    def __init__(self, joints: int) -> None:
        self.most, self.product, self.square = np.zeros((3, joints))

    def add(self, late: Array, speeds: Array) -> None:
        """One block, (J, n) each."""
        np.maximum(self.most, np.abs(late).max(axis=1), out=self.most)
        self.product += np.einsum("jn,jn->j", late, speeds)
        self.square += np.einsum("jn,jn->j", speeds, speeds)

    def lags(self) -> tuple[Lag, ...]:
        """Of every joint; one that does not move has none."""
        delays = np.where(self.square > 0, self.product / np.maximum(self.square, 1e-300), 0.0)
        return tuple(Lag(float(m), float(d)) for m, d in zip(self.most, delays, strict=True))
