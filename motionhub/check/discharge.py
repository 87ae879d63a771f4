"""The battery over an evening: its voltage as it empties, and how often a move can be run on one pack.

Without load its voltage is ``robot.battery``'s; under load the terminals are lower, by what its own resistance
takes. A run counts when the battery stays above its cut-off through all of it, at its worst moment.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motionhub.check import supply
from motionhub.check.timeline import Timeline
from motionhub.robot.battery import open_circuit_v

Array = NDArray[np.float64]

USABLE = 0.8
"""Share of a pack to plan with: lithium packs that are run flat do not last (practice)."""

LEVELS = 25
"""Battery voltages at which a run is worked out; between them its charge and lowest voltage are nearly straight."""
BLOCK_S = 20.0
"""s: within a long run the battery is taken to stand still for so long."""
FINE = 1e-3
"""Share of a pack: short runs, one like another, are taken together up to this."""


@dataclass(frozen=True, eq=False)
class Discharge:
    """One pack, run after run. Arrays have an entry per point of the discharge that was worked out, rising in time."""

    charge_c: float
    """C that the first run takes, from a full pack."""
    runs: int
    """Whole runs until the battery would fall below its cut-off under load, or be flat."""
    usable_runs: int
    """Whole runs in the share of the pack that it is kind to use; never more than ``runs``."""
    used_c: Array
    """C taken before a run."""
    after: NDArray[np.intp]
    """How many runs that is."""
    open_v: Array
    """V without load, before the run."""
    low_v: Array
    """V, the lowest under load during the run."""


class Pack:
    """What a move takes out of the robot's battery, whatever that has left.

    Args:
        timeline: The move; worked out for any battery voltage, at the set-point that it has.
    """

    def __init__(self, timeline: Timeline) -> None:
        t, self.spec = timeline, timeline.frames.robot.supply
        self.levels = open_circuit_v(self.spec, np.linspace(0, 1, LEVELS))
        frames, rate = len(t.torques), t.frames.rate_hz
        starts = np.arange(0, frames, max(round(BLOCK_S * rate), 1))
        self.charge, self.low = np.empty((LEVELS, starts.size)), np.empty((LEVELS, starts.size))
        for k, level in enumerate(self.levels.tolist()):
            rail = supply.on_battery(
                t.frames.robot, t.rail, t.torques, t.speeds, t.frames.outputs, t.set_v, battery_v=level
            )
            self.charge[k] = np.add.reduceat(rail.battery_amps, starts) / rate
            # A robot that lies on its side strains nothing that could be known.
            self.low[k] = np.minimum.reduceat(np.where(t.standing, rail.battery_volts, np.inf), starts)

    def run(self, used_c: float) -> tuple[float, float]:
        """One run after ``used_c`` have been taken: the charge in C that it takes, and the lowest voltage in it."""
        taken, low = 0.0, float(np.inf)
        for block in range(self.charge.shape[1]):
            left = 1 - (used_c + taken) / self.spec.capacity_c
            if left <= 0:
                return taken, 0.0
            at = float(open_circuit_v(self.spec, left))
            taken += float(np.interp(at, self.levels, self.charge[:, block]))
            low = min(low, float(np.interp(at, self.levels, self.low[:, block])))
        return taken, low

    def discharge(self, least_left: float = 0.0) -> Discharge:
        """Run the move again and again on one full pack, until the battery would fall below its cut-off under load.

        Args:
            least_left: Share of the charge that has to be left after a run.
        """
        capacity = self.spec.capacity_c

        def can(used: float) -> bool:
            taken, low = self.run(used)
            return low >= self.spec.battery_cut_off_v and 1 - (used + taken) / capacity >= least_left

        first, _ = self.run(0.0)
        stride = max(int(FINE * capacity / first), 1)
        used, runs, usable = 0.0, 0, 0
        points: list[tuple[float, int, float, float]] = []
        while can(used):
            taken, low = self.run(used)
            points.append((used, runs, float(open_circuit_v(self.spec, 1 - used / capacity)), low))
            together = stride
            while together > 1 and not can(used + (together - 1) * taken):
                together //= 2
            kind = int((USABLE * capacity - used) / taken + 1e-9)
            usable += min(together, max(kind, 0))
            used, runs = used + together * taken, runs + together
        columns = list(zip(*points, strict=True)) if points else [(), (), (), ()]
        return Discharge(
            charge_c=first,
            runs=runs,
            usable_runs=usable,
            used_c=np.array(columns[0], dtype=np.float64),
            after=np.array(columns[1], dtype=np.intp),
            open_v=np.array(columns[2], dtype=np.float64),
            low_v=np.array(columns[3], dtype=np.float64),
        )


def discharge(timeline: Timeline) -> Discharge:
    """A full pack, with this move over and over: see :class:`Pack`."""
    return Pack(timeline).discharge()
