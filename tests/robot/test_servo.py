"""The servo model: the data sheet's own figures, a brushed motor's equations, and what must only rise or fall."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import constants

from motionhub.robot.model import Robot
from motionhub.robot.servo import KGF_CM, Servo

VOLTS = st.floats(0, 12)
SPEEDS = st.floats(-20, 20)
TORQUES = st.floats(-10, 10)


@pytest.fixture(scope="session")
def walker(tansy: Robot) -> Servo:
    return tansy.servos[tansy.joint_index["left_front.femur"]]


def test_one_kilogram_force_centimetre() -> None:
    """CGPM 1901, through scipy.constants' kilogram-force."""
    assert pytest.approx(constants.kilogram_force * constants.centi, rel=1e-15) == KGF_CM


def test_the_data_sheet_comes_back_at_its_own_voltages(walker: Servo) -> None:
    """The figures of tansy.toml, converted by hand: 18.5 kgf·cm, 0.20 s/60° = 300°/s."""
    assert walker.stall_torque_at(5.0) == pytest.approx(18.5 * 9.80665 / 100)
    assert walker.stall_torque_at(7.0) == pytest.approx(27.0 * 9.80665 / 100)
    assert walker.free_speed_at(5.0) == pytest.approx(np.deg2rad(300))
    assert walker.free_speed_at(7.0) == pytest.approx(np.deg2rad(400))
    assert walker.stall_torque_at(6.0) == pytest.approx((18.5 + 27.0) / 2 * 9.80665 / 100)  # half way, linear


def test_currents_at_the_corners_of_the_data_sheet(walker: Servo) -> None:
    """Practice: a data sheet gives idle, running free, and stalled."""
    for volts, idle, running, stall in ((5.0, 0.05, 0.35, 3.9), (7.0, 0.06, 0.45, 5.4)):
        torque, speed = walker.stall_torque_at(volts), walker.free_speed_at(volts)
        assert walker.current(0, 0, volts) == pytest.approx(idle)
        assert walker.current(0, speed, volts) == pytest.approx(running)
        assert walker.current(torque, 0, volts) == pytest.approx(stall)
        assert walker.current(5 * torque, 0, volts) == pytest.approx(stall)


@given(volts=st.floats(0.5, 12), share=st.floats(0, 1.5))
def test_torque_over_speed_is_a_brushed_motors(trestle: Robot, volts: float, share: float) -> None:
    """V = R·i + k·ω and τ = k·i (any text on electrical machines), k and R from one line of a data sheet."""
    small = trestle.servos[trestle.joint_index["head"]]
    assert len(small.volts) == 1
    k = small.volts[0] / small.free_speed[0]
    resistance = k * small.volts[0] / small.stall_torque[0]
    speed = share * volts / k
    expected = max(k * (volts - k * speed) / resistance, 0.0)
    assert small.torque_available(speed, volts) == pytest.approx(expected, rel=1e-9, abs=1e-12)


@given(speed=SPEEDS, low=VOLTS, high=VOLTS)
def test_more_volts_never_give_less(walker: Servo, speed: float, low: float, high: float) -> None:
    low, high = sorted((low, high))
    assert walker.torque_available(speed, low) <= walker.torque_available(speed, high) + 1e-12
    assert walker.free_speed_at(low) <= walker.free_speed_at(high)


@given(slow=SPEEDS, fast=SPEEDS, volts=VOLTS)
def test_faster_never_gives_more_torque(walker: Servo, slow: float, fast: float, volts: float) -> None:
    slow, fast = sorted((abs(slow), abs(fast)))
    assert walker.torque_available(fast, volts) <= walker.torque_available(slow, volts)
    assert walker.torque_available(-slow, volts) == walker.torque_available(slow, volts)


@given(torque=TORQUES, more=TORQUES, speed=SPEEDS, volts=VOLTS)
def test_current_rises_with_load_and_stays_between_idle_and_stall(
    walker: Servo, torque: float, more: float, speed: float, volts: float
) -> None:
    less, more = sorted((abs(torque), abs(more)))
    there = walker.current(less, speed, volts)
    assert there <= walker.current(more, speed, volts) + 1e-12
    assert walker.current(0, 0, volts) - 1e-12 <= there
    assert there <= walker.current(1e3, 0, volts) + 1e-12
    assert walker.current(-less, -speed, volts) == there
    assert np.isfinite(there)


def test_without_a_supply_it_gives_and_takes_nothing(walker: Servo) -> None:
    for volts in (0.0, -1.0):
        assert walker.torque_available([0.0, 1.0], volts).tolist() == [0, 0]
        assert walker.current([0.0, 1.0], [0.0, 1.0], volts).tolist() == [0, 0]


@settings(max_examples=50)
@given(st.integers(1, 5), st.integers(1, 4))
def test_arrays_broadcast(walker: Servo, rows: int, columns: int) -> None:
    torque, speed, volts = np.ones((rows, 1)), np.ones((1, columns)), np.full((rows, columns), 6.0)
    assert walker.current(torque, speed, volts).shape == (rows, columns)
    assert walker.torque_available(speed, volts).shape == (rows, columns)


def test_pulse_scale(tansy: Robot) -> None:
    """Practice: about 0.5 to 2.5 ms over 180°, 1.5 ms at mid-travel."""
    walker = tansy.servos[0]
    assert walker.mid_us == 1500
    assert walker.us_per_rad * np.pi / 2 == pytest.approx(1000)


@given(seed=st.integers(0, 2**32 - 1), volts=VOLTS, load=st.floats(0, 1.5), turning=st.floats(0, 1.5))
def test_currents_of_several_add_up_from_sums_wherever_it_says_so(
    walker: Servo, seed: int, volts: float, load: float, turning: float
) -> None:
    rng = np.random.default_rng(seed)
    torques = rng.uniform(0, load * walker.stall_torque[0], (40, 18))
    speeds = rng.uniform(0, turning * walker.free_speed[0], (40, 18))
    volt = np.full(40, volts)
    found, linear = walker.current_together(
        torques.sum(axis=1), speeds.sum(axis=1), torques.max(axis=1), speeds.max(axis=1), 18, volt
    )
    each = walker.current(torques, speeds, volts).sum(axis=1)
    assert found[linear] == pytest.approx(each[linear], rel=1e-12)
    if volts > 5 and load < 0.5 and turning < 0.5:
        assert linear.all()
    if not np.allclose(found, each):
        assert not linear.all()
