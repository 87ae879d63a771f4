"""Currents and voltages between the battery and the servos, solved together with what the servos draw.

    battery --R_b--+-- regulator (set-point, limit) --R_w-- servos and outputs
                   +-- electronics

The servos' current depends on their voltage, and their voltage on the current through the wiring and
the battery, so each frame is one equation in the voltage v at the servos:

    v = min(set-point, V_b - dropout) - R_w·I,    I = Σ servo currents at v + outputs

V_b is the battery's voltage while the regulator draws its power, and the electronics their current, from
it through its own resistance.

Above the regulator's limit it holds its current and lets the voltage fall. A servo's current for a given
torque does not fall with voltage until it stalls, so the rail falls until enough servos have: a brown-out.
``amps`` says what was asked for; ``volts`` what is then left; ``steady_volts`` what a large enough
regulator would have kept up, which is what torques are judged by, so that one cause makes one finding.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motionhub.robot.model import Robot, Supply
from motionhub.robot.servo import Servo

Array = NDArray[np.float64]

CLOSE = 1e-9
"""V: the equation is solved when a further step moves the voltage by less."""


@dataclass(frozen=True, eq=False)
class Rail:
    """The supply, frame by frame, each (T,)."""

    amps: Array
    """A, asked of the regulator."""
    volts: Array
    """V at the servos."""
    steady_volts: Array
    """V at the servos if the regulator had no limit."""
    battery_amps: Array
    """A, out of the battery."""
    battery_volts: Array
    """V, at the battery's terminals."""


def solve(
    robot: Robot,
    torques: Array,
    speeds: Array,
    outputs: Array,
    set_v: float | None = None,
    battery_v: float | None = None,
) -> Rail:
    """Solve the supply for every frame.

    Args:
        robot: The robot.
        torques: (T, J) N·m; signs do not matter.
        speeds: (T, J) rad/s; signs do not matter.
        outputs: (T, O) levels 0 to 1.
        set_v: The regulator's set-point; the robot's own when None.
        battery_v: The battery's voltage without load; its nominal when None.
    """
    supply = robot.supply
    setting = supply.regulator_v if set_v is None else set_v
    cell = supply.battery_nominal_v if battery_v is None else battery_v
    fixed = outputs @ np.array([o.current_a for o in robot.outputs]) if robot.outputs else np.zeros(len(torques))
    draw = _Draw(robot, np.abs(torques), np.abs(speeds), fixed)

    def given(amps: Array) -> Array:
        return _regulator(supply, cell, setting, amps)[0]

    steady = _fixed_point(lambda v, part: given(i := draw(v, part)) - supply.wiring_ohm * i, len(torques), setting)
    amps = draw(steady, None)
    volts, flowing = steady, amps
    if (over := np.flatnonzero(amps > supply.regulator_a)).size:
        volts, flowing = steady.copy(), amps.copy()
        volts[over] = _brown_out(draw, over, supply.regulator_a, steady[over])
        flowing[over] = supply.regulator_a
    out, battery = _regulator(supply, cell, setting, flowing)
    if over.size:
        out[over] = volts[over] + supply.wiring_ohm * flowing[over]
        battery[over] = _battery(supply, cell, out[over], flowing[over])
    battery_amps = out * flowing / (supply.regulator_efficiency * battery) + supply.electronics_a
    return Rail(amps, volts, steady, battery_amps, battery)


class _Draw:
    """Current of the whole rail at a voltage, for all frames or some of them."""

    def __init__(self, robot: Robot, torques: Array, speeds: Array, fixed: Array) -> None:
        self.fixed = fixed
        kinds: dict[int, tuple[Servo, list[int]]] = {}
        for i, servo in enumerate(robot.servos):
            kinds.setdefault(id(servo), (servo, []))[1].append(i)
        self.kinds = [(servo, torques[:, own], speeds[:, own]) for servo, own in kinds.values()]

    def __call__(self, volts: Array, part: NDArray[np.intp] | None) -> Array:
        total: Array = self.fixed if part is None else self.fixed[part]
        for servo, torques, speeds in self.kinds:
            t, s = (torques, speeds) if part is None else (torques[part], speeds[part])
            total = total + servo.current(t, s, volts[:, None]).sum(axis=1)
        return total


def _regulator(supply: Supply, cell: float, setting: float, amps: Array) -> tuple[Array, Array]:
    """What the regulator puts out while giving ``amps``, and the battery's voltage then, each (T,) V.

    Its set-point, while the battery stays a dropout above it; else all that the battery has but the dropout.
    """
    battery = _battery(supply, cell, setting, amps)
    passes = battery - supply.regulator_dropout_v < setting
    if passes.any():
        # V = E - R·(I_e + (V - d)·I/(η·V)) for V, which has one positive root
        draw = supply.battery_ohm * amps / supply.regulator_efficiency
        free = cell - supply.battery_ohm * supply.electronics_a - draw
        low = (free + np.sqrt(free * free + 4 * supply.regulator_dropout_v * draw)) / 2
        battery = np.where(passes, np.minimum(low, setting + supply.regulator_dropout_v), battery)
    out = np.where(passes, battery - supply.regulator_dropout_v, setting)
    return np.maximum(out, 0.0), battery


def _battery(supply: Supply, cell: float, out_v: Array | float, amps: Array) -> Array:
    """Battery voltage (T,) while the regulator gives ``amps`` at ``out_v``: V² - (E - R·I_e)·V + R·P/η = 0.

    Asked for more power than it has, it gives the most it can, at half its voltage.
    """
    free = cell - supply.battery_ohm * supply.electronics_a
    power = np.asarray(out_v) * amps / supply.regulator_efficiency
    root = np.maximum(free * free - 4 * supply.battery_ohm * power, 0.0)
    found: Array = (free + np.sqrt(root)) / 2
    return found


def _fixed_point(step: Callable[[Array, NDArray[np.intp] | None], Array], count: int, start: float) -> Array:
    """Solve v = step(v) for every frame: secant, then halving for the frames that it does not settle."""
    last: Array = np.full(count, start)
    miss_last = step(last, None) - last
    v: Array = last + miss_last
    floor = 1e-3 * start
    for _ in range(8):
        v = np.clip(v, floor, start)
        miss = step(v, None) - v
        if (np.abs(miss) < CLOSE).all():
            break
        slope = miss - miss_last
        move = np.where(np.abs(slope) > 1e-15, -miss * (v - last) / np.where(np.abs(slope) > 1e-15, slope, 1), miss)
        last, miss_last = v, miss
        v = v + move
    else:
        v = np.clip(v, floor, start)
        miss = step(v, None) - v
    if (open_ := np.flatnonzero(np.abs(miss) >= CLOSE)).size:
        low, high = np.full(open_.size, floor), np.full(open_.size, start)
        for _ in range(60):
            middle = (low + high) / 2
            up = step(middle, open_) > middle
            low, high = np.where(up, middle, low), np.where(up, high, middle)
        v[open_] = (low + high) / 2
    return v


def _brown_out(draw: _Draw, part: NDArray[np.intp], limit: float, steady: Array) -> Array:
    """The highest voltage up to ``steady`` below which the rail draws no more than the limit."""
    low: Array = np.full(part.size, 1e-6)
    high: Array = steady.copy()
    for _ in range(50):
        middle = (low + high) / 2
        over = draw(middle, part) > limit
        low, high = np.where(over, low, middle), np.where(over, middle, high)
    return low
