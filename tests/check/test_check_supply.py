"""The supply: its own equations hold in every frame, and a case worked out by hand."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from motionhub.check.supply import Rail, solve
from motionhub.robot.model import Robot


def residuals(robot: Robot, rail: Rail, torques, speeds, outputs, set_v: float, cell: float) -> np.ndarray:  # type: ignore[no-untyped-def]
    """How far the answer is from Kirchhoff's laws, servo by servo, (2, T) V."""
    spec = robot.supply
    amps = outputs @ np.array([o.current_a for o in robot.outputs])
    for j, servo in enumerate(robot.servos):
        amps = amps + servo.current(
            servo.chasing(np.abs(torques[:, j]), np.abs(speeds[:, j]), set_v), speeds[:, j], rail.steady_volts
        )
    assert amps == pytest.approx(rail.amps, rel=1e-9)
    out = np.minimum(set_v, rail.battery_volts - spec.regulator_dropout_v)
    from_battery = spec.electronics_a + out * amps / (spec.regulator_efficiency * rail.battery_volts)
    assert from_battery == pytest.approx(rail.battery_amps, rel=1e-7)
    return np.stack(
        [
            out - spec.wiring_ohm * amps - rail.steady_volts,
            cell - spec.battery_ohm * from_battery - rail.battery_volts,
        ]
    )


@settings(max_examples=80, deadline=None)
@given(
    seed=st.integers(0, 2**32 - 1),
    heavy=st.floats(0, 4),
    set_v=st.floats(4.8, 7.2),
    wiring=st.floats(0, 0.3),
    battery=st.floats(0, 0.2),
)
def test_solution_satisfies_its_equations(
    seed: int, heavy: float, set_v: float, wiring: float, battery: float, tansy: Robot
) -> None:
    robot = replace(tansy, supply=replace(tansy.supply, wiring_ohm=wiring, battery_ohm=battery, regulator_a=1e3))
    rng = np.random.default_rng(seed)
    torques = heavy * rng.uniform(-1, 1, (5, robot.joints))
    speeds = rng.uniform(-6, 6, (5, robot.joints))
    outputs = rng.uniform(0, 1, (5, len(robot.outputs)))
    rail = solve(robot, torques, speeds, outputs, set_v)
    off = residuals(robot, rail, torques, speeds, outputs, set_v, robot.supply.battery_nominal_v)
    assert np.isfinite(off).all()
    collapsed = rail.steady_volts < 2e-3 * set_v  # asked for more than wires and battery can carry at any voltage
    assert np.abs(off[:, ~collapsed]).max(initial=0) < 1e-6


def test_by_hand(tansy: Robot) -> None:
    """One femur carries 1 N·m on stiff wires: the data sheet's currents, added up."""
    robot = replace(tansy, supply=replace(tansy.supply, wiring_ohm=0.0, battery_ohm=0.0))
    torques = np.zeros((1, robot.joints))
    torques[0, 1] = -1.0
    rail = solve(robot, torques, 0 * torques, np.array([[1.0, 0.0]]))
    walker, light = robot.servos[0], robot.servos[-1]
    sheet = {7.0: (walker.stall_torque[-1], walker.stall_a[-1], walker.idle_a[-1], light.idle_a[-1])}
    stall, stall_a, idle, light_idle = sheet[7.0]
    expected = 18 * idle + 2 * light_idle + (stall_a - idle) * 1.0 / stall + robot.outputs[0].current_a
    assert walker.volts[-1] == 7.0
    assert rail.volts[0] == pytest.approx(7.0)
    assert rail.amps[0] == pytest.approx(expected)
    # From the battery at 7.4 V: power over efficiency, and the electronics
    assert rail.battery_volts[0] == pytest.approx(7.4)
    assert rail.battery_amps[0] == pytest.approx(7.0 * expected / 0.92 / 7.4 + 0.15)


def test_wiring_takes_its_share(tansy: Robot) -> None:
    torques = np.full((1, tansy.joints), 0.1)
    rail = solve(tansy, torques, 0 * torques, np.zeros((1, 2)))
    assert rail.volts[0] == pytest.approx(7.0 - tansy.supply.wiring_ohm * rail.amps[0])


def test_a_low_battery_pulls_the_rail_down(tansy: Robot) -> None:
    torques = np.full((1, tansy.joints), 0.1)
    low = tansy.supply.battery_cut_off_v
    rail = solve(tansy, torques, 0 * torques, np.zeros((1, 2)), battery_v=low)
    expected = rail.battery_volts[0] - tansy.supply.regulator_dropout_v - tansy.supply.wiring_ohm * rail.amps[0]
    assert rail.volts[0] == pytest.approx(expected)
    assert rail.battery_volts[0] < low


def test_above_the_regulators_limit_the_rail_browns_out(tansy: Robot) -> None:
    robot = replace(tansy, supply=replace(tansy.supply, regulator_a=6.0))
    torques = np.full((2, robot.joints), 0.9)
    torques[1] = 0.1
    rail = solve(robot, torques, 0 * torques, np.zeros((2, 2)))
    assert rail.amps[0] > 6.0 > rail.amps[1]
    assert rail.volts[0] < 0.8 * rail.steady_volts[0]
    assert rail.volts[1] == rail.steady_volts[1]
    # At the voltage that is left, what the servos draw is what the regulator gives: most of them stall.
    drawn = sum(float(servo.current(0.9, 0.0, rail.volts[0])) for servo in robot.servos)
    assert drawn == pytest.approx(6.0, abs=1e-6)
    assert (robot.servos[0].stall_torque_at(rail.volts[0]) < 0.9).all()


def test_more_load_never_raises_the_rail(tansy: Robot) -> None:
    torques = np.linspace(0, 4, 60)[:, None] * np.ones(tansy.joints)
    rail = solve(tansy, torques, 0 * torques, np.zeros((60, 2)))
    assert (np.diff(rail.amps) >= -1e-9).all()
    assert (np.diff(rail.steady_volts) <= 1e-9).all()
    assert (np.diff(rail.volts) <= 1e-6).all()
