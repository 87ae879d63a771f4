"""What the machine would need where a move cannot be helped: a higher rail or thicker wires, which are tried, or a
stronger servo.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import floor

import numpy as np
from numpy.typing import NDArray

from motionhub.check import supply
from motionhub.check.mend import LOOKED_AT, SPARE, up_to
from motionhub.check.timeline import Timeline
from motionhub.robot.servo import KGF_CM, Servo

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

STEP_V = 0.1
"""V: the steps of a regulator's screw that are worth naming."""
HALVINGS = 4
"""Of the wiring's resistance, at most: more is more copper than anybody fits in."""


def some_of(first: int, last: int, worst: int) -> Indices:
    """Frames of a stretch to try something in."""
    return np.unique(np.r_[np.linspace(first, last, LOOKED_AT).astype(np.intp), worst])


def higher_rail(t: Timeline, rows: Indices, enough: Callable[[supply.Rail], bool]) -> str | None:
    """The least set-point above the present one that is enough, in words; None if none is that all servos take.

    Args:
        t: The move.
        rows: Frames for which the supply is solved again, at each set-point that is tried.
        enough: Whether this rail, in those frames, mends it; a higher one is taken to do so then, too.
    """
    robot = t.frames.robot
    torques, speeds, outputs = t.torques[rows], t.speeds[rows], t.frames.outputs[rows]

    def at(step: int) -> bool:
        volts = step * STEP_V
        return enough(supply.solve(robot.on_supply(volts), torques, speeds, outputs, volts))

    low = floor(t.set_v / STEP_V + 1e-6)
    high = floor(min(servo.max_v for servo in robot.servos) / STEP_V + 1e-6)
    if high <= low or not at(high):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if at(middle) else (middle, high)
    return f"set the rail to {high * STEP_V:.1f} V"


def thicker_wires(t: Timeline, rows: Indices, enough: Callable[[supply.Rail], bool]) -> str | None:
    """Half as much resistance of the wiring, or half of that, and so on, that is enough, in words; None if none is.

    Args:
        t: The move.
        rows: Frames for which the supply is solved again.
        enough: Whether this rail, in those frames, mends it.
    """
    robot, spec = t.frames.robot, t.frames.robot.supply
    for halvings in range(1, HALVINGS + 1):
        ohm = spec.wiring_ohm / 2**halvings
        wired = replace(robot, supply=replace(spec, wiring_ohm=ohm))
        if enough(supply.solve(wired, t.torques[rows], t.speeds[rows], t.frames.outputs[rows], t.set_v)):
            return f"use wires of {ohm * 1e3:.3g} mΩ in all, where there are {spec.wiring_ohm * 1e3:.3g} now"
    return None


def stronger(t: Timeline, j: int, rows: Indices, load: Array, share: float = 1.0) -> str:
    """What would let a servo bear loads that it cannot bear.

    Args:
        t: The move.
        j: The joint.
        rows: (S,) frames.
        load: (S,) N·m that it has to bear in them, at the speed that it has there, or for long.
        share: Of its stall torque, that it may bear; where that is less than all, whatever its speed.
    """
    servo = t.frames.robot.servos[j]
    speed = np.abs(t.speeds[rows, j]) if share == 1 else np.zeros(len(rows))

    def enough(rail: supply.Rail) -> bool:
        return bool((load < SPARE * share * servo.torque_available(speed, rail.steady_volts)).all())

    if words := higher_rail(t, rows, enough):
        return words
    need = _stall(servo, load, speed, share, t.rail.steady_volts[rows], t.set_v)
    return f"it takes a servo of {need:g} kgf·cm stall torque at {t.set_v:g} V, or less weight"


def _stall(servo: Servo, load: Array, speed: Array, share: float, volts: Array, set_v: float) -> float:
    """kgf·cm at the set-point, rounded up, of a servo as quick as this one that bears the load at the voltages."""
    left = np.maximum(1 - speed / servo.free_speed_at(volts), 0.1)
    sagged = servo.stall_torque_at(volts) / servo.stall_torque_at(set_v)
    return up_to(float((load / (left * sagged)).max()) / (SPARE * share * KGF_CM), 1)
