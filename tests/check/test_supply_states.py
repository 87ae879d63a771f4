"""Which of several voltages a rail comes to rest at, and what a battery of another voltage changes.

A servo's current grows with its load, and with less voltage it carries a larger share of what it can: so a rail
may have more than one voltage at which everything adds up. A rail that was up rests at the highest; here it is
looked for by brute force, over all voltages.
"""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from motionhub.check.supply import on_battery, solve
from motionhub.robot.model import Robot, Supply
from motionhub.robot.servo import Servo

FINE = 4001


def any_servo(rng: np.random.Generator, like: Servo) -> Servo:
    """A servo with another data sheet: two voltages, all of it rising with voltage, from idle to running to stall."""
    grow = 1 + rng.uniform(0.05, 0.8, 5)
    torque, speed, stall = rng.uniform(0.2, 3), rng.uniform(3, 12), rng.uniform(0.5, 6)
    idle = rng.uniform(0.002, 0.1) * stall
    running = idle + rng.uniform(0, 0.3) * (stall - idle)
    columns = np.array([torque, speed, stall, idle, running])[:, None] * np.column_stack([np.ones(5), grow])
    return replace(
        like, volts=np.array([5.0, 7.0]), stall_torque=columns[0], free_speed=columns[1], stall_a=columns[2],
        idle_a=np.minimum(columns[3], 0.9 * columns[2]), running_a=np.minimum(columns[4], 0.95 * columns[2]),
    )  # fmt: skip


def any_case(seed: int, tansy: Robot) -> tuple[Robot, np.ndarray, np.ndarray, np.ndarray]:  # type: ignore[type-arg]
    rng = np.random.default_rng(seed)
    kinds = [any_servo(rng, tansy.servos[0]) for _ in range(3)]
    servos = tuple(kinds[i] for i in rng.integers(0, 3, tansy.joints))
    supply = replace(
        tansy.supply, wiring_ohm=rng.uniform(0, 0.2), battery_ohm=rng.uniform(0, 0.15), regulator_a=1e3,
        regulator_v=rng.uniform(4.8, 7.4),
    )  # fmt: skip
    torques = rng.uniform(0, 3) * rng.uniform(-1, 1, (1, tansy.joints))
    return (
        replace(tansy, servos=servos, supply=supply),
        torques,
        rng.uniform(-6, 6, (1, tansy.joints)),
        rng.uniform(0, 1, (1, 2)),
    )


def drawn(robot: Robot, torques, speeds, outputs, volts: np.ndarray) -> np.ndarray:  # type: ignore[no-untyped-def, type-arg]
    """Current of everything on the rail at each of some voltages, added up servo by servo."""
    amps = np.full(len(volts), float(outputs[0] @ np.array([o.current_a for o in robot.outputs])))
    for j, servo in enumerate(robot.servos):
        amps += servo.current(
            servo.chasing(np.abs(torques[0, j]), np.abs(speeds[0, j]), robot.supply.regulator_v), speeds[0, j], volts
        )
    return amps


def given_by(spec: Supply, cell: float, set_v: float, amps: float) -> float:
    """Voltage behind the regulator while it gives ``amps``: the battery's by bisection of Kirchhoff's law.

    What the battery is short of, E - R·I(V) - V with I(V) the current for the power asked, is looked at from
    the top down for where it changes sign; without a sign change the battery cannot give that power.
    """
    volts = np.linspace(cell, 0.5, 20001)
    out = np.minimum(set_v, volts - spec.regulator_dropout_v)
    current = spec.electronics_a + out * amps / (spec.regulator_efficiency * volts)
    good = np.flatnonzero(cell - spec.battery_ohm * current - volts >= 0)
    return float(max(out[good[0]], 0.0)) if good.size else float("nan")


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_the_rail_rests_at_the_highest_voltage_at_which_everything_adds_up(seed: int, tansy: Robot) -> None:
    robot, torques, speeds, outputs = any_case(seed, tansy)
    robot = replace(robot, supply=replace(robot.supply, battery_ohm=0.0))  # the battery has its own test below
    set_v, spec = robot.supply.regulator_v, robot.supply
    out = min(set_v, spec.battery_nominal_v - spec.regulator_dropout_v)
    volts = np.linspace(1e-3 * set_v, out, FINE)
    over = out - spec.wiring_ohm * drawn(robot, torques, speeds, outputs, volts) - volts
    crossings = np.flatnonzero((over[:-1] >= 0) & (over[1:] < 0))
    highest = out if over[-1] >= 0 else volts[crossings[-1]] if crossings.size else volts[0]
    assert solve(robot, torques, speeds, outputs).steady_volts[0] >= highest - (volts[1] - volts[0]) - 1e-6


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), share=st.floats(0.1, 0.99))
def test_a_brown_out_rests_at_the_first_voltage_that_the_limit_allows(seed: int, share: float, tansy: Robot) -> None:
    robot, torques, speeds, outputs = any_case(seed, tansy)
    free = solve(robot, torques, speeds, outputs)
    limit = share * float(free.amps[0])
    robot = replace(robot, supply=replace(robot.supply, regulator_a=limit))
    rail = solve(robot, torques, speeds, outputs)
    assert rail.amps[0] == free.amps[0]
    volts = np.linspace(0, float(free.steady_volts[0]), FINE)
    allowed = np.flatnonzero(drawn(robot, torques, speeds, outputs, volts) <= limit)
    if allowed.size:
        # No higher than the highest that is allowed, give or take the grid; and what flows there is the limit.
        assert rail.volts[0] <= volts[allowed[-1]] + volts[1] + 1e-6
        assert drawn(robot, torques, speeds, outputs, rail.volts)[0] <= limit + 1e-6
        # A dip of the sum that is narrower than the steps of the search may be passed over, never by much.
        assert rail.volts[0] >= volts[allowed[-1]] - free.steady_volts[0] / 12 - 1e-6
    else:  # the outputs alone ask for more: nothing is left for the servos
        assert rail.volts[0] == pytest.approx(0, abs=1e-9)
    assert rail.battery_amps[0] <= free.battery_amps[0] + 1e-9


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), cell=st.floats(6.4, 8.4), amps=st.floats(0, 20))
def test_the_battery_gives_the_regulators_power(seed: int, cell: float, amps: float, tansy: Robot) -> None:
    """A load of outputs alone, so that the current is known, against Kirchhoff's law by brute force."""
    robot, torques, speeds, _ = any_case(seed, tansy)
    outputs = tuple(replace(o, current_a=amps / len(robot.outputs)) for o in robot.outputs)
    still = tuple(replace(s, idle_a=0 * s.idle_a, running_a=0 * s.running_a) for s in robot.servos)
    robot = replace(robot, servos=still, outputs=outputs)
    rail = solve(robot, 0 * torques, 0 * speeds, np.ones((1, len(outputs))), battery_v=cell)
    spec = robot.supply
    expected = given_by(spec, cell, spec.regulator_v, amps)
    assert rail.amps[0] == pytest.approx(amps, abs=1e-9)
    if np.isfinite(expected) and expected - spec.wiring_ohm * amps > 0.1:
        assert rail.volts[0] == pytest.approx(expected - spec.wiring_ohm * amps, abs=1e-3)


@settings(max_examples=50, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    before=st.floats(6.6, 8.4),
    after=st.floats(6.6, 8.4),
    set_v=st.floats(4.8, 7.4),
    limit=st.floats(1, 30),
)
def test_another_battery_is_as_solving_anew(
    seed: int, before: float, after: float, set_v: float, limit: float, tansy: Robot
) -> None:
    """Below, at and above what the set-point takes, within and beyond the regulator's limit."""
    rng = np.random.default_rng(seed)
    robot = replace(tansy, supply=replace(tansy.supply, regulator_a=limit))
    torques = rng.uniform(0, 2, (20, 1)) * rng.uniform(-1, 1, (20, robot.joints))
    speeds, outputs = rng.uniform(-4, 4, torques.shape), rng.uniform(0, 1, (20, 2))
    first = solve(robot, torques, speeds, outputs, set_v, before)
    quick = on_battery(robot, first, torques, speeds, outputs, set_v, after)
    anew = solve(robot, torques, speeds, outputs, set_v, after)
    for name, values in vars(anew).items():
        assert getattr(quick, name) == pytest.approx(values, abs=1e-7), name


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), more=st.floats(0.001, 0.2))
def test_more_resistance_never_raises_a_voltage(seed: int, more: float, tansy: Robot) -> None:
    robot, torques, speeds, outputs = any_case(seed, tansy)
    before = solve(robot, torques, speeds, outputs)
    for name in ("wiring_ohm", "battery_ohm"):
        worse = replace(robot, supply=replace(robot.supply, **{name: getattr(robot.supply, name) + more}))
        after = solve(worse, torques, speeds, outputs)
        assert after.steady_volts[0] <= before.steady_volts[0] + 1e-6
        if before.steady_volts[0] > 0.5 * robot.supply.regulator_v:  # else it has collapsed before
            assert after.battery_volts[0] <= before.battery_volts[0] + 1e-6 or name == "wiring_ohm"


def test_outputs_that_outdo_the_regulator_leave_nothing(tansy: Robot) -> None:
    robot = replace(tansy, supply=replace(tansy.supply, regulator_a=0.3))
    rail = solve(robot, np.full((1, 20), 0.1), np.zeros((1, 20)), np.ones((1, 2)))
    assert rail.volts[0] == pytest.approx(0, abs=1e-9)
    assert np.isfinite([rail.amps[0], rail.battery_amps[0], rail.battery_volts[0]]).all()
