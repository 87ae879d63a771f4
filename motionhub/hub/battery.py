"""How full the battery is, out of voltages that sag with every step; and the one table of what is said about it.

The robot measures its battery through a divider of cheap resistors, against a reference that is off as well. One value
from a multimeter says what its volts are worth (:func:`scale_for`); from then on everybody reads the meter's volts.
"""

from __future__ import annotations

from collections import deque

from motionhub.hub.forecast import Forecast
from motionhub.hub.snapshot import BatteryView, Level
from motionhub.robot.calibration import BATTERY_SCALE
from motionhub.robot.model import Supply

PATIENCE_S = 1.0
"""A level counts once it has been read for this long: a step's sag is over sooner, and the robot's own
firmware, which ends the pulses, waits longer (the robot file's ``cut_off_ms``)."""
AVERAGED_S = 2.0
"""Readings of so long are averaged when a meter's value is given."""
UNSTEADY_V = 0.3
"""Readings that differ by more while somebody looks at a meter are of a robot that moves."""
BELIEVED = (0.6, 1.1)
"""Share of the cut-off, and of the full voltage, between which a meter's value is of this battery."""

_ORDER: tuple[Level, ...] = ("empty", "low", "ok")

WORDS: dict[Level, str] = {
    "unknown": "Battery not read yet",
    "ok": "Battery good",
    "low": "Battery low: bring this to its end, then charge it",
    "empty": "Battery empty: the robot lies down, then lets go of its servos. Charge it, and switch it off and on",
}
"""What every screen says, whoever asks: phones, terminals, notices, the reason for a stop."""


def said(view: BatteryView) -> str:
    """The battery in one line."""
    parts = [WORDS[view.level]]
    if view.volts is not None:
        parts.append(f"{view.volts:.1f} V")
    if view.minutes_left is not None and view.level in ("ok", "low"):
        parts.append(minutes(view.minutes_left))
    return ", ".join(parts)


def minutes(left: float) -> str:
    """How long it lasts, no more exactly than is known."""
    if left < 1.5:
        return "about a minute left"
    step = 1 if left < 10 else 5
    return f"about {round(left / step) * step} min left"


class Battery:
    """Follows the voltage that telemetry brings, and says when the level has changed.

    Args:
        supply: The robot file's.
        scale: V at the battery for each volt that the robot reports.
    """

    def __init__(self, supply: Supply, scale: float = 1.0) -> None:
        self._supply = supply
        self.scale = scale
        self._raw: deque[tuple[float, float]] = deque()
        self._since: tuple[Level, float] | None = None
        self.forecast = Forecast(supply)
        self.view = BatteryView()

    def _read(self, volts: float) -> Level:
        if volts < self._supply.battery_cut_off_v:
            return "empty"
        return "low" if volts < self._supply.battery_warn_v else "ok"

    def hear(self, raw: float, now: float) -> Level | None:
        """A voltage has come in, as the robot reads it. Returns the new level when it has changed, else None."""
        self._raw.append((now, raw))
        while self._raw[0][0] < now - AVERAGED_S:
            self._raw.popleft()
        volts = raw * self.scale
        self.forecast.hear(volts, now)
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
        self.view = BatteryView(volts, level, self.forecast.minutes)
        return changed

    def scale_for(self, meter: float, now: float) -> float | str:
        """What the robot's volts are worth when a meter at the battery shows ``meter`` V; or why that cannot be."""
        readings = [raw for at, raw in self._raw if at >= now - AVERAGED_S]
        supply = self._supply
        low, high = BELIEVED[0] * supply.battery_cut_off_v, BELIEVED[1] * supply.battery_full_v
        if not readings:
            return "the robot has not reported its battery; it has to be linked for this"
        if not low <= meter <= high:
            return f"expected {low:.1f} to {high:.1f} V for this battery, found {meter:g} V"
        if max(readings) - min(readings) > UNSTEADY_V:
            return "its reading jumps while the robot moves; let it stand still, and read the meter again"
        mean = sum(readings) / len(readings)
        scale = meter / mean if mean > 0 else 0.0
        if not BATTERY_SCALE[0] <= scale <= BATTERY_SCALE[1]:
            return (
                f"expected the meter within {BATTERY_SCALE[0]:g} to {BATTERY_SCALE[1]:g} times what the robot reads, "
                f"{mean:.2f} V, found {meter:g} V: look at its divider (controller.divider_ohm) and at the wire to it"
            )
        return scale

    def rescale(self, scale: float) -> None:
        """From now on a volt of the robot's is worth this."""
        self.scale = scale
        self.forecast = Forecast(self._supply)
        if self._raw:
            volts = self._raw[-1][1] * scale
            self.view = BatteryView(volts, self.view.level, None)
