"""The servos that the walks are proved with are hobby servos: their data sheet, their response, their droop.

Against ``robot/servo.py``, which is held to the data sheets by tests of its own, and what the trade knows (*practice*):
a servo answers within two or three pulses, does not overshoot a small step, and droops under load.
"""

import mujoco
import numpy as np
import pytest
from check.scene import MOTORS, Scene
from motion.walkers import TANSY

from motionhub.check.tracking import RESPONSE_S
from motionhub.motion.posing import rest_joints
from walking.servos import BAND, PULSE_S, Servos
from walking.walks import STEP_S


def in_the_air(**servos: bool) -> Servos:
    """Tansy on a stand: without weight and floor, so that only what servos do moves the joints."""
    scene = Scene(TANSY, servo=MOTORS, step_s=STEP_S)
    scene.model.opt.gravity[:] = 0
    scene.model.geom_contype[:] = 0
    scene.model.geom_conaffinity[:] = 0
    scene.model.body_mass[scene.body] = scene.model.body_inertia[scene.body] = 1e3  # the stand
    mujoco.mj_setConst(scene.model, scene.data)
    scene.put(rest_joints(TANSY), above=0.5)
    return Servos(scene, **servos)


def test_it_turns_as_fast_as_the_data_sheet_says_and_gives_the_torque_on_its_line() -> None:
    servos = in_the_air()
    joint, servo = 2, TANSY.servos[2]
    told = rest_joints(TANSY)
    told[joint] -= 50.0  # far off, so that it is driven with all it has
    data, found = servos.scene.data, []
    for _ in range(15):
        before = servos.battery.rail_v
        servos.pulse(told)
        turning = abs(float(data.qvel[servos.turning[joint]]))
        torque = abs(float(data.actuator_force[joint]))
        found.append((turning, torque, before))
    for turning, torque, volts in found:
        # The force is of the step that led to this speed: a step's gain of speed is what it may be off by.
        assert torque == pytest.approx(float(servo.torque_available(turning, volts)), abs=0.06 * servo.stall_torque[-1])
    assert found[-1][0] == pytest.approx(float(servo.free_speed_at(found[-1][2])), rel=0.02)
    assert found[0][1] > 0.2 * servo.stall_torque[-1]


def test_a_small_step_takes_two_or_three_pulses_and_does_not_overshoot() -> None:
    servos = in_the_air()
    servos.parts = 1
    told = rest_joints(TANSY)
    for joint in range(3):
        told[joint] += np.deg2rad(3)
    start, ways = rest_joints(TANSY), []
    for _ in range(200):
        ways.append((servos.pulse(told).at - start)[:3] / np.deg2rad(3))
    for joint in range(3):
        way = np.array(ways)[:, joint]
        assert way.max() < 1.02
        assert way[-1] == pytest.approx(1, abs=0.02)
        took = (np.argmax(way > 1 - np.exp(-1)) + 1) * STEP_S
        assert took == pytest.approx(RESPONSE_S, abs=0.01)


def test_it_droops_by_its_band_times_its_share_of_stall_torque() -> None:
    servos = in_the_air()
    data, told = servos.scene.data, rest_joints(TANSY)
    load = 0.3 * TANSY.servos[1].stall_torque_at(TANSY.supply.regulator_v)
    data.qfrc_applied[servos.turning[1]] = -load
    for _ in range(100):
        at = servos.pulse(told).at
    stall = TANSY.servos[1].stall_torque_at(servos.battery.rail_v)
    assert told[1] - at[1] == pytest.approx(BAND * load / stall, rel=0.02)


def test_what_they_draw_pulls_the_rail_down_and_with_it_what_they_can_do() -> None:
    servos = in_the_air()
    rest = servos.battery.rail_v
    told = rest_joints(TANSY) - 3.0
    worked = [(servos.pulse(told).amps, servos.battery.rail_v, float(servos.stall[0])) for _ in range(20)]
    amps, volts, stall = max(worked)
    # All starting at once want more than the regulator gives: it lets the voltage go.
    assert amps > TANSY.supply.regulator_a
    assert volts < 0.8 * rest
    assert stall == pytest.approx(float(TANSY.servos[0].stall_torque_at(volts)))


def test_without_limits_it_is_the_same_servo_as_long_as_it_needs_none() -> None:
    told = rest_joints(TANSY)
    told[:18] += np.deg2rad(1)
    one, other = in_the_air(), in_the_air(limits=False)
    for _ in range(round(0.2 / PULSE_S)):
        a, b = one.pulse(told).at, other.pulse(told).at
        assert np.abs(a - b).max() < np.deg2rad(0.05)
    told -= 3.0
    for _ in range(3):
        a, b = one.pulse(told).at, other.pulse(told).at
    assert np.abs(a - b).max() > np.deg2rad(10)
