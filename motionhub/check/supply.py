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
STEPS = 12
"""In which a rail above its limit is followed down, to find the first voltage that it can rest at."""


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
    draw = _Draw(robot, np.abs(torques), np.abs(speeds), fixed, setting)

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


def on_battery(
    robot: Robot, rail: Rail, torques: Array, speeds: Array, outputs: Array, set_v: float, battery_v: float
) -> Rail:
    """The same load on a battery of another voltage: what :func:`solve` gives for it, in a fraction of the time.

    While the regulator holds its set-point, nothing behind it notices the battery. Only the frames in which it
    does not, then or now, are solved again.

    Args:
        robot: The robot.
        rail: What ``solve`` gave for this load and this set-point.
        torques: As in ``solve``, and so are ``speeds``, ``outputs`` and ``set_v``.
        speeds: (T, J) rad/s.
        outputs: (T, O).
        set_v: The regulator's set-point in V.
        battery_v: The battery's voltage without load.
    """
    spec = robot.supply
    out, battery = _regulator(spec, battery_v, set_v, rail.amps)
    held = (rail.amps <= spec.regulator_a) & (out == set_v) & (rail.battery_volts - spec.regulator_dropout_v >= set_v)
    drawn = set_v * rail.amps / (spec.regulator_efficiency * np.maximum(battery, 1e-9)) + spec.electronics_a
    again = np.flatnonzero(~held)
    if not again.size:
        return Rail(rail.amps, rail.volts, rail.steady_volts, drawn, battery)
    part = solve(robot, torques[again], speeds[again], outputs[again], set_v, battery_v)
    whole = Rail(rail.amps.copy(), rail.volts.copy(), rail.steady_volts.copy(), drawn, battery)
    for name, values in vars(part).items():
        getattr(whole, name)[again] = values
    return whole


class _Draw:
    """Current of the whole rail at a voltage, for all frames or some of them.

    From sums over servos of a kind where none of them is at a limit, which is nearly always; servo by servo elsewhere.
    """

    def __init__(self, robot: Robot, torques: Array, speeds: Array, fixed: Array, setting: float) -> None:
        self.fixed = fixed
        kinds: dict[int, tuple[Servo, list[int]]] = {}
        for i, servo in enumerate(robot.servos):
            kinds.setdefault(id(servo), (servo, []))[1].append(i)
        self.kinds = [_Kind(servo, torques[:, own], speeds[:, own], setting) for servo, own in kinds.values()]

    def __call__(self, volts: Array, part: NDArray[np.intp] | None) -> Array:
        total: Array = self.fixed if part is None else self.fixed[part]
        for kind in self.kinds:
            total = total + kind.current(volts, part)
        return total


class _Kind:
    """All servos of one kind, with the sizes of their torques and speeds, (T, n), on a rail of about so many volts."""

    def __init__(self, servo: Servo, torques: Array, speeds: Array, setting: float) -> None:
        torques = servo.chasing(torques, speeds, setting)
        self.servo, self.torques, self.speeds = servo, torques, speeds
        self.sums = (torques.sum(axis=1), speeds.sum(axis=1), torques.max(axis=1), speeds.max(axis=1))

    def current(self, volts: Array, part: NDArray[np.intp] | None) -> Array:
        """All together, at (T,) V."""
        torque, speed, most_torque, most_speed = self.sums if part is None else [values[part] for values in self.sums]
        count = self.torques.shape[1]
        found, linear = self.servo.current_together(torque, speed, most_torque, most_speed, count, volts)
        if (limited := np.flatnonzero(~linear)).size:
            rows = limited if part is None else part[limited]
            each = self.servo.current(self.torques[rows], self.speeds[rows], volts[limited, None])
            found[limited] = each.sum(axis=1)
        return found


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
    """The voltage, coming down from ``steady``, at which the rail draws no more than the limit; (P,) V.

    Steps down until it does, so that of several such voltages it is the highest: the one that a rail which
    was up a moment ago comes to rest at. Then false position between the last two steps, with the end that
    stays put pulled in by halves (the Illinois rule: Dowell & Jarratt, BIT 11, 1971).
    """
    steps = steady * (1 - np.arange(STEPS + 1) / STEPS)[:, None]
    misses = draw(steps.reshape(-1), np.tile(part, STEPS + 1)).reshape(steps.shape) - limit
    enough = misses[1:] <= 0
    some, last = np.arange(part.size), np.where(enough.any(axis=0), enough.argmax(axis=0), STEPS - 1)
    low, within, high, beyond = steps[last + 1, some], misses[last + 1, some], steps[last, some], misses[last, some]
    # What is still open draws too much at any voltage: outputs alone do. Nothing is left for the servos.
    open_ = np.flatnonzero(within <= 0)
    side: Array = np.zeros(part.size)
    found: Array = low.copy()
    for _ in range(60):
        if not open_.size:
            break
        a, b, fa, fb = low[open_], high[open_], within[open_], beyond[open_]
        middle = np.clip(b - fb * (b - a) / np.maximum(fb - fa, 1e-300), a, b)
        miss = draw(middle, part[open_]) - limit
        found[open_] = middle
        over = miss > 0
        was = side[open_]
        high[open_], beyond[open_] = np.where(over, middle, b), np.where(over, miss, np.where(was < 0, fb / 2, fb))
        low[open_], within[open_] = np.where(over, a, middle), np.where(over, np.where(was > 0, fa / 2, fa), miss)
        side[open_] = np.where(over, 1.0, -1.0)
        open_ = open_[(np.abs(miss) > CLOSE) & (high[open_] - low[open_] > CLOSE)]
    return found
