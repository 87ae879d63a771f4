"""What a hobby servo gives and takes: torque, speed and current over voltage, and angle over pulse width.

Torque falls linearly from stall to nothing at the no-load speed; both are linear in voltage between the
points of the data sheet, and proportional to voltage outside them (practice: see a brushed motor's
characteristic). Current rises linearly with torque, from idle to stall, and by what turning takes.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from math import pi
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

if TYPE_CHECKING:
    from motionhub.robot.robotfile import ServoType

Array = NDArray[np.float64]

FAR_V = 1e4
"""No rail has that many volts; up to there a servo's curves go on."""
RISE_S = 0.04
"""s: in which a servo without a load gets from standing to its no-load speed (practice)."""
_CURRENT = ("idle_a", "stall_a", "running_a", "stall_torque", "free_speed")
"""The curves that a current takes."""
PULSE_S = 0.02
"""s from one pulse to the next, each of which tells one angle (practice)."""
BAND = float(np.deg2rad(8))
"""rad of error from which on a servo gives all it has (practice: 3 to 10 degrees)."""
KGF_CM = 0.0980665
"""N·m in one kgf·cm, exactly (standard gravity, CGPM 1901)."""


@dataclass(frozen=True, eq=False)
class Servo:
    """A class of servo. The arrays have one entry per data-sheet voltage, rising."""

    name: str
    volts: Array
    stall_torque: Array
    free_speed: Array
    stall_a: Array
    idle_a: Array
    running_a: Array
    travel: float
    pulse_us: tuple[float, float]
    min_v: float
    max_v: float
    hold_fraction: float
    hold_window_s: float

    @classmethod
    def from_file(cls, name: str, kind: ServoType) -> Servo:
        """Convert a data sheet to SI."""
        points = kind.points

        def column(values: list[float]) -> Array:
            array = np.array(values, dtype=np.float64)
            array.flags.writeable = False
            return array

        return cls(
            name=name,
            volts=column([p.volts for p in points]),
            stall_torque=column([p.stall_torque_kgfcm * KGF_CM for p in points]),
            free_speed=column([pi / 3 / p.seconds_per_60deg for p in points]),
            stall_a=column([p.stall_a for p in points]),
            idle_a=column([p.idle_a for p in points]),
            running_a=column([p.running_a for p in points]),
            travel=float(np.deg2rad(kind.travel_deg)),
            pulse_us=(float(kind.pulse_us[0]), float(kind.pulse_us[1])),
            min_v=kind.min_v,
            max_v=kind.max_v,
            hold_fraction=kind.hold_fraction,
            hold_window_s=kind.hold_window_s,
        )

    @cached_property
    def _curves(self) -> dict[str, Array]:
        """The columns over :attr:`_knots`."""
        far = FAR_V / self.volts[-1]
        names = ("stall_torque", "free_speed", "stall_a", "idle_a", "running_a")
        return {name: np.concatenate([[0.0], column := getattr(self, name), [far * column[-1]]]) for name in names}

    @cached_property
    def _knots(self) -> Array:
        return np.concatenate([[0.0], self.volts, [FAR_V]])

    def _at(self, name: str, volts: ArrayLike) -> Array:
        """Linear between the data sheet's voltages, proportional to voltage below and above them; nothing at 0 V."""
        found: Array = self._columns((name,), np.asarray(volts, dtype=np.float64))[0]
        return found

    def _columns(self, names: tuple[str, ...], volts: Array) -> list[Array]:
        """Several of the curves at the same voltages.

        Rails hardly move: where all are between the same two points of the data sheet, each is one straight line.
        """
        curves, knots = self._curves, self._knots
        least, most = (float(volts.min()), float(volts.max())) if volts.size else (0.0, 0.0)
        piece = int(np.searchsorted(knots, least, "right")) - 1
        if not (0 <= piece < len(knots) - 1 and most <= knots[piece + 1]):
            return [np.asarray(np.interp(volts, knots, curves[name])) for name in names]
        away, wide = volts - knots[piece], float(knots[piece + 1] - knots[piece])
        ends = [(float(curves[name][piece]), float(curves[name][piece + 1])) for name in names]
        return [away * ((high - low) / wide) + low for low, high in ends]

    def stall_torque_at(self, volts: ArrayLike) -> Array:
        """Stall torque in N·m at each voltage, of the shape of ``volts``."""
        return self._at("stall_torque", volts)

    def free_speed_at(self, volts: ArrayLike) -> Array:
        """No-load speed in rad/s at each voltage."""
        return self._at("free_speed", volts)

    def torque_available(self, speed: ArrayLike, volts: ArrayLike) -> Array:
        """Torque in N·m that it gives while turning at ``speed`` (rad/s, either sign); never negative."""
        share = 1 - _share(speed, self.free_speed_at(volts))
        found: Array = self.stall_torque_at(volts) * share
        return found

    def current(self, torque: ArrayLike, speed: ArrayLike, volts: ArrayLike) -> Array:
        """Current in A while giving ``torque`` (N·m) at ``speed`` (rad/s); at most the stall current.

        Idle, plus what turning freely takes in proportion to speed, plus the rest of the stall current
        in proportion to torque. Signs do not matter: holding against a load takes current either way.
        """
        idle, stall, running, most, free = self._columns(_CURRENT, np.asarray(volts, dtype=np.float64))
        load, turning = _share(torque, most), _share(speed, free)
        found: Array = np.minimum(idle + np.maximum(running - idle, 0) * turning + (stall - idle) * load, stall)
        return found

    def current_together(
        self, torque: Array, speed: Array, most_torque: Array, most_speed: Array, count: int, volts: Array
    ) -> tuple[Array, NDArray[np.bool_]]:
        """Current (T,) in A of several of these servos, from sums: what :meth:`current` adds up to while it is linear.

        Args:
            torque: (T,) N·m, sizes of the servos' torques added up.
            speed: (T,) rad/s, likewise.
            most_torque: (T,) the largest torque among them.
            most_speed: (T,) the largest speed.
            count: How many servos.
            volts: (T,) V.

        Returns:
            The current, and where it holds (T,): where no servo is at a limit of its own.
        """
        idle, stall, running, most, free = self._columns(_CURRENT, volts)
        stall -= idle
        per_torque = stall / np.maximum(most, 1e-9)
        per_speed = np.maximum(running - idle, 0) / np.maximum(free, 1e-9)
        # The largest torque and the largest speed in one servo would be the worst.
        own, turning = per_torque * most_torque, per_speed * most_speed
        linear = (own + turning <= stall) & (most_speed <= free)
        return count * idle + per_torque * torque + per_speed * speed, linear

    def chasing(self, torque: Array, speed: Array, volts: float) -> Array:
        """What ``torque`` (T, n) N·m comes to on average as a size, given while following pulses at ``speed`` rad/s.

        A pulse tells one angle for all of :data:`PULSE_S`. A servo that turns evenly is behind it at first and ahead
        at last, by half a pulse's way, and its proportional loop gives that much more and less torque than it has to
        on average: a sawtooth about ``torque`` with the height r = stall·speed·PULSE_S/(2·BAND). Current is drawn for
        torque either way, so that where r is the larger, the mean of |torque + sawtooth| counts::

            torque + (r - torque)²/(2·r)

        Args:
            torque: Sizes of what it gives on average.
            speed: Sizes.
            volts: On which.
        """
        height = speed * (float(self.stall_torque_at(volts)) * PULSE_S / (2 * BAND))
        more = np.maximum(height - torque, 0.0)
        found: Array = torque + more * more / np.maximum(2 * height, 1e-12)
        return found

    @cached_property
    def rotor_inertia(self) -> float:
        """kg·m²: the inertia of rotor and gears, as it is felt at the horn.

        A brushed motor starts against it as exp(-t/τ) with τ = J·(free speed)/(stall torque), and is up to 95 % of its
        speed after 3τ, which :data:`RISE_S` is. It is more than that of the leg which the servo moves.
        """
        return RISE_S / 3 * float(self.stall_torque[-1] / self.free_speed[-1])

    @property
    def us_per_rad(self) -> float:
        """Pulse width per angle, in µs/rad."""
        return (self.pulse_us[1] - self.pulse_us[0]) / self.travel

    @property
    def mid_us(self) -> float:
        """Pulse width at mid-travel."""
        return (self.pulse_us[0] + self.pulse_us[1]) / 2


def _share(value: ArrayLike, most: Array) -> Array:
    """How much of the most a value is, whatever its sign, at most 1; without a supply, anything is all of it."""
    size = np.abs(np.asarray(value, dtype=np.float64))
    found: Array = np.minimum(size / np.maximum(most, 1e-9), 1.0)
    return found
