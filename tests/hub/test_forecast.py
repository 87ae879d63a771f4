"""How long the battery lasts, against packs that are not what the robot file says.

The packs are discharged here, by Kirchhoff and by counting, apart from the code under test: of another capacity, a
higher resistance, a curve a little off, read through an input of 10 bits with noise, while the current is predicted
wrongly. The forecast has to be within 15 % of what then happens.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest
from rehearsal import shipped

from motionhub.hub.forecast import Forecast

TABLE_LEFT = np.array([0, 5, 10, 20, 30, 40, 50, 60, 70, 80, 90, 95, 100]) / 100
TABLE_V = np.array([3.27, 3.61, 3.69, 3.73, 3.77, 3.80, 3.84, 3.87, 3.95, 4.02, 4.11, 4.15, 4.20])
"""Of a cell at rest (practice, memory: as tables that come with chargers have it)."""


@dataclass(frozen=True)
class Pack:
    capacity: float
    """Of what the file says."""
    ohm: float
    """Of what the file says."""
    bent_v: float
    """Of a cell, in the middle of its curve."""
    predicted: float
    """Share of the true current that is predicted."""


PACKS = {
    "as the file says": Pack(1.0, 1.0, 0.0, 1.0),
    "aged": Pack(0.9, 1.5, 0.0, 1.0),
    "more drawn than predicted": Pack(1.0, 1.0, 0.0, 0.85),
    "less drawn than predicted": Pack(1.0, 1.0, 0.0, 1.2),
    "of another make": Pack(0.95, 1.2, -0.004, 1.0),
}

LOADS: dict[str, Callable[[float], float]] = {
    "standing": lambda t: 16.0,
    "walking": lambda t: 34.0 + 11.0 * np.sin(2 * np.pi * t),
    "a show": lambda t: 16.0 if t % 90 < 50 else 46.0 + 15.0 * np.sin(2 * np.pi * 0.7 * t),
}
"""W out of the battery over s: a switching regulator draws the more current the lower its voltage is (practice)."""


def discharge(load: Callable[[float], float], pack: Pack, seed: int) -> tuple[np.ndarray, np.ndarray, float]:
    """Times in s, minutes that were said, and when the battery was at its cut-off for a second."""
    supply = shipped("tansy").supply
    cells = round(supply.battery_full_v / 4.2)
    noise = np.random.default_rng(seed)
    forecast = Forecast(supply)
    dt, t, left, below = 0.25, 0.0, 1.0, 0.0
    times, told = [], []
    while below < 1.0:
        cell = float(np.interp(left, TABLE_LEFT, TABLE_V)) + pack.bent_v * np.sin(np.pi * left)
        # V = E - R P / V
        volts = cell * cells / 2 + np.sqrt((cell * cells / 2) ** 2 - supply.battery_ohm * pack.ohm * load(t))
        amps = load(t) / volts
        left -= amps * dt / (supply.capacity_c * pack.capacity)
        t += dt
        below = below + dt if volts < supply.battery_cut_off_v else 0.0
        step = 5 / 1024 * 14.7 / 4.7  # of an input of 10 bits and 5 V behind 10 and 4.7 kΩ
        read = np.round((volts + noise.normal(0, 0.01)) / step) * step
        forecast.draws(amps * pack.predicted)
        forecast.hear(float(read), t)
        times.append(t)
        told.append(np.nan if forecast.minutes is None else forecast.minutes)
    return np.array(times), np.array(told), t


@pytest.mark.parametrize("load", LOADS)
@pytest.mark.parametrize("pack", PACKS)
def test_minutes_left_are_within_fifteen_percent(load: str, pack: str) -> None:
    times, told, end = discharge(LOADS[load], PACKS[pack], seed=1)
    for share in (0.2, 0.35, 0.5, 0.65, 0.8, 0.9):
        i = int(np.searchsorted(times, share * end))
        true = (end - times[i]) / 60
        print(f"{load} {pack}: {share:.0%} {told[i]:.1f} of {true:.1f} min, {told[i] / true - 1:+.1%}")
        assert told[i] == pytest.approx(true, rel=0.15)
