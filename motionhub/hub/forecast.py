"""How long the battery lasts: from the voltage that is measured, and from the charge that is predicted.

Neither is enough. Between a fifth and four fifths of its charge the voltage of a lithium cell hardly changes, so a
hundredth of a volt is minutes; and the current is only predicted, from loads that a robot file knows roughly. Counting
says how fast the charge goes, the voltage says over the minutes whether the count is right. An extended Kalman
filter (Kalman, J. Basic Engineering 82, 1960; for batteries Plett, J. Power Sources 134, 2004, *memory*) weighs one
against the other, once a second, over three unknowns::

    q   share of the charge that is left      dq/dt = -k I / C
    k   charge that goes for each predicted   (the current's error and the capacity's)
    r   Ω: V = E(q) - r I                     (the pack's resistance and the current's error)

``I`` is the predicted current and ``E`` the voltage without load (:mod:`motionhub.robot.battery`). What goes on is the
power, not the current: the regulator takes the more amperes the emptier the battery is.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from motionhub.robot.battery import left_at, open_circuit_v
from motionhub.robot.model import Supply

Array = NDArray[np.float64]

EVERY_S = 1.0
"""From one step of the filter to the next; what comes meanwhile is averaged."""
GAP_S = 5.0
"""After so long without a reading nobody knows what was drawn."""
START = (0.15, 0.25, 1.0)
"""How far off q, k and (as a share of it) r may be in the beginning."""
WANDERS = (2e-4, 5e-4, 3e-3)
"""By how much they may change in a second; r as a share."""
VOLTS_A_CELL = 0.02
"""V a cell: how far a pack is from the curve (robot.battery: some hundredths), and a reading from the truth."""
ALIKE = 0.012
"""The curve's error stays while the charge hardly changes: readings within so much of it say little more than one."""
STEP_S, STEP_A, STEP_V = 3.0, 0.3, 0.03
"""A step of the current within so few seconds tells the resistance by itself, whatever the curve: how large it has to
be, and how exactly the voltage's answer is read, V a pack."""
USE_S = 400.0
"""The current of the last minutes is what goes on being drawn; of more than a few, since shows have pauses."""
KNOWN_S = 20.0
"""Nothing is said before there was so much to go by."""


class Forecast:
    """Follows one battery.

    Args:
        supply: The robot file's.
    """

    def __init__(self, supply: Supply) -> None:
        self._supply = supply
        cells = max(supply.battery_full_v / 4.2, 1e-9)
        self._noise = (VOLTS_A_CELL * cells) ** 2
        self._ohm = max(supply.battery_ohm, 0.005)
        self._amps = supply.electronics_a
        self._x: np.ndarray | None = None
        self._p = np.zeros((3, 3))
        self._begin(0.0)
        self._last: float | None = None
        self._use = self._most = 0.0
        """W: a regulator draws more current the emptier the battery is, for the same work."""
        self._before: tuple[float, float, float, float] | None = None
        self._used_s = 0.0

    # ---------------------------------------------------------------- what comes in

    def draws(self, amps: float) -> None:
        """What is drawn from the battery from now on, as predicted, in A."""
        self._amps = amps

    def hear(self, volts: float, now: float) -> None:
        """A voltage at the battery, in V."""
        if self._last is None or now - self._last > GAP_S or now < self._last:
            self._begin(now)
        self._last = now
        self._heard.append((volts, self._amps))
        seconds = now - self._from
        if seconds >= EVERY_S - 1e-9:
            self._step(np.array(self._heard), seconds)
            self._begin(now)

    def _begin(self, now: float) -> None:
        self._heard: list[tuple[float, float]] = []
        self._from = now

    def _step(self, heard: Array, seconds: float) -> None:
        supply = self._supply
        volts, amps = (float(each) for each in heard.mean(axis=0))
        if self._x is None:
            left = float(left_at(supply, volts + self._ohm * amps))
            self._x = np.array([left, 1.0, self._ohm])
            self._p = np.diag([START[0] ** 2, START[1] ** 2, (START[2] * self._ohm) ** 2])
        else:
            q, k, r = self._x
            way = amps * seconds / supply.capacity_c
            turn = np.array([[1.0, -way, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]])
            wander = np.array([WANDERS[0], WANDERS[1], WANDERS[2] * self._ohm]) ** 2 * seconds
            self._x = np.array([q - k * way, k, r])
            self._p = turn @ self._p @ turn.T + np.diag(wander)
        self._correct(volts, amps, seconds)
        self._answer(volts, amps, seconds)
        share = seconds / min(self._used_s + seconds, USE_S)
        self._use += (amps * volts - self._use) * share
        # A dip that is over within this second counts for nothing (hub.battery), so what goes on all through it does.
        lasting = float(heard[:, 1].min()) * volts
        self._most = max(lasting, self._most + (amps * volts - self._most) * seconds / USE_S)
        self._used_s += seconds

    def _correct(self, volts: float, amps: float, seconds: float) -> None:
        """What the voltage says of the charge: it was read half the time ago, on the average."""
        assert self._x is not None
        q, k, r = self._x
        way = amps * seconds / self._supply.capacity_c
        step, then = 0.02, q + k * way / 2
        ends = open_circuit_v(self._supply, [then - step, then, then + step])
        slope = float(ends[2] - ends[0]) / (2 * step)
        row = np.array([max(slope, 1e-3), 0.0, -amps])
        self._take(row, volts - (float(ends[1]) - r * amps), self._noise * max(ALIKE / max(way, 1e-9), 1.0))

    def _answer(self, volts: float, amps: float, seconds: float) -> None:
        """What the voltage did when the current changed, beside what it did because charge has gone."""
        assert self._x is not None
        gone = float(self._x[1]) * amps * seconds / self._supply.capacity_c
        if self._before is None:
            self._before = (volts, amps, 0.0, 0.0)
            return
        volts_then, amps_then, before, since = self._before
        gone, since = before + gone, since + seconds
        if since < STEP_S:
            self._before = (volts_then, amps_then, gone, since)
            return
        self._before = (volts, amps, 0.0, 0.0)
        change = amps - amps_then
        if abs(change) > STEP_A:
            row = np.array([0.0, 0.0, -change])
            now, then = open_circuit_v(self._supply, [self._x[0], self._x[0] + gone])
            self._take(row, (volts - volts_then) - float(now - then) + float(self._x[2]) * change, STEP_V**2)

    def _take(self, row: np.ndarray, off: float, noise: float) -> None:
        """A measurement that was ``off`` from what was expected, with this variance."""
        assert self._x is not None
        gain = self._p @ row / (row @ self._p @ row + noise)
        found = self._x + gain * off
        self._x = np.array([min(max(found[0], 0.0), 1.0), min(max(found[1], 0.3), 3.0), max(found[2], 0.0)])
        self._p = self._p - np.outer(gain, row @ self._p)
        self._p = (self._p + self._p.T) / 2

    # ---------------------------------------------------------------- what comes out

    @property
    def left(self) -> float | None:
        """Share of the charge that is left."""
        return None if self._x is None else float(self._x[0])

    @property
    def open_v(self) -> float | None:
        """V that the battery would have without load."""
        return None if self._x is None else float(open_circuit_v(self._supply, self._x[0]))

    @property
    def ohm(self) -> tuple[float, float] | None:
        """How much it sags for each predicted ampere, and how far that may be off, in Ω."""
        return None if self._x is None else (float(self._x[2]), float(np.sqrt(self._p[2, 2])))

    @property
    def amps(self) -> float:
        """A, predicted to be drawn now."""
        return self._amps

    @property
    def minutes(self) -> float | None:
        """Until it would be at its cut-off if it is used on as in the last minutes; None while that is not known."""
        if self._x is None or self._used_s < KNOWN_S or self._use <= 0:
            return None
        q, k, r = (float(each) for each in self._x)
        supply = self._supply
        since = 0.0 if self._last is None else self._last - self._from
        q -= k * self._amps * since / supply.capacity_c
        # Its heaviest seconds are those in which it falls below.
        end = float(left_at(supply, supply.battery_cut_off_v + r * self._most / supply.battery_cut_off_v))
        on_the_way = open_circuit_v(supply, np.linspace(end, max(q, end), 16))
        joules = max(q - end, 0.0) * supply.capacity_c * float(on_the_way.mean())
        return joules / (k * self._use) / 60
