"""How full the battery is, out of voltages that sag with every step."""

from __future__ import annotations

from motionhub.hub.snapshot import BatteryView, Level
from motionhub.robot.model import Supply

PATIENCE_S = 1.0
"""A level counts once it has been read for this long: a step's sag is over sooner, and the robot's own
firmware, which ends the pulses, waits longer (the robot file's ``cut_off_ms``)."""

_ORDER: tuple[Level, ...] = ("empty", "low", "ok")


class Battery:
    """Follows the voltage that telemetry brings, and says when the level has changed."""

    def __init__(self, supply: Supply) -> None:
        self._supply = supply
        self._since: tuple[Level, float] | None = None
        self.view = BatteryView()

    def _read(self, volts: float) -> Level:
        if volts < self._supply.battery_cut_off_v:
            return "empty"
        return "low" if volts < self._supply.battery_warn_v else "ok"

    def hear(self, volts: float, now: float) -> Level | None:
        """A voltage has come in. Returns the new level when it has changed, else None."""
        read, level = self._read(volts), self.view.level
        if level == "unknown":
            # Nothing is known to be wrong yet, so the first reading only has to persist if it is a bad one.
            level = "ok"
        if read == level:
            self._since = None
        elif self._since is None or _ORDER.index(self._since[0]) != _ORDER.index(read):
            self._since = (read, now)
        changed = None
        if self._since is not None and now - self._since[1] >= PATIENCE_S:
            changed = level = read
            self._since = None
        self.view = BatteryView(volts, level)
        return changed
