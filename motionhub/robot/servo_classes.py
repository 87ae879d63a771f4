"""Generic classes of hobby servo, for whoever has lost the data sheet: typical numbers, nobody's in particular.

*Practice*, and from memory: each line is about the middle of what servos sold by that description claim.
A robot file that was begun with them says so, and the check is only as good as they are: put the data
sheet's numbers in when you find it, or measure stall torque with a spring balance and a short arm.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from motionhub.robot.robotfile import ServoPoint, ServoType


def _servo(
    low: tuple[float, float, float, float],
    high: tuple[float, float, float, float],
    idle_a: float,
    running_a: float,
    volts: tuple[float, float],
    pulse_us: tuple[float, float] = (500.0, 2500.0),
) -> ServoType:
    """Two points of a data sheet (volts, kgf·cm, s per 60°, stall A), and what both share."""
    points = [
        ServoPoint(
            volts=v, stall_torque_kgfcm=torque, seconds_per_60deg=speed, stall_a=stall, idle_a=idle_a,
            running_a=running_a,
        )
        for v, torque, speed, stall in (low, high)
    ]  # fmt: skip
    return ServoType(points=points, pulse_us=pulse_us, min_v=volts[0], max_v=volts[1])


CLASSES: Mapping[str, ServoType] = MappingProxyType(
    {
        "micro": _servo((4.8, 1.5, 0.12, 0.60), (6.0, 1.8, 0.10, 0.75), 0.006, 0.12, (4.5, 6.0)),
        "small": _servo((4.8, 2.2, 0.13, 0.70), (6.0, 2.6, 0.11, 0.85), 0.006, 0.14, (4.5, 6.2)),
        "standard": _servo((4.8, 4.5, 0.19, 0.90), (6.0, 5.5, 0.16, 1.10), 0.008, 0.16, (4.5, 6.4), (600.0, 2400.0)),
        "strong": _servo((4.8, 10.0, 0.19, 1.60), (6.0, 12.0, 0.16, 2.00), 0.01, 0.25, (4.8, 7.0)),
        "very_strong": _servo((5.0, 19.0, 0.19, 2.40), (6.8, 24.0, 0.15, 3.10), 0.02, 0.35, (4.8, 7.2)),
        "giant": _servo((6.0, 30.0, 0.18, 3.50), (7.4, 36.0, 0.15, 4.30), 0.03, 0.45, (5.0, 8.4)),
    }
)
"""By the words that makers use of them: micro (9 g class) to giant (over 60 g)."""

ABOUT: Mapping[str, str] = MappingProxyType(
    {
        "micro": "about 9 g, plastic gears",
        "small": "about 13 g, metal gears",
        "standard": "about 40 g, plastic gears",
        "strong": "about 55 g, metal gears, 10 kgf·cm class",
        "very_strong": "about 60 g, metal gears, 20 kgf·cm class",
        "giant": "over 60 g, metal gears, 35 kgf·cm class",
    }
)
"""How to tell them apart by hand."""
