"""The simulated machine, against the robot file's data sheets, the check's supply, and arithmetic."""

import dataclasses

import numpy as np
import pytest

from motionhub.check import supply as checked
from motionhub.link.plant import Battery, Plant, lowered_joints
from motionhub.link.simulated import SimulatedRobot
from motionhub.link.wire import Activity, Faults
from motionhub.motion.posing import joints_for, rest_joints, standing_feet
from motionhub.robot.kinematics import feet, within
from motionhub.robot.mass import centre_of_mass

DT = 0.02


def hold(plant, wanted, seconds, outputs=(0.0, 0.0), on=None):
    on = np.ones(plant.robot.joints, dtype=bool) if on is None else on
    for _ in range(round(seconds / DT)):
        plant.step(wanted, on, outputs, DT)


def test_lying_down_puts_the_body_on_the_ground(tansy):
    lowered = lowered_joints(tansy)
    assert within(tansy, lowered).all()
    # Bottom of the box and bottom of the feet, both from the body's reference point (robot file: 8 - 23 mm).
    above = (0.008 - 0.023) - (feet(tansy, lowered)[:, 2] - 0.006)
    assert above == pytest.approx(np.full(6, above[0]))
    # Tansy's femurs end at 95 degrees, which leaves it some millimetres above the ground.
    assert 0 <= above[0] < 0.0075
    body = np.array([0, 0, -(0.084 - 0.015) + above[0] - 0.0015, 0, 0, 0])
    assert not within(tansy, joints_for(tansy, body, standing_feet(tansy))[0]).all()


def test_an_unloaded_joint_turns_as_fast_as_its_data_sheet_says(tansy):
    plant = Plant(tansy)
    wanted = rest_joints(tansy)
    hold(plant, wanted, 3)
    # Tansy's head: 60 degrees in 0.13 s at 7 V, 0.17 s at 5 V; the rail is a little below 7 V here.
    volts = plant.battery.rail_v
    assert 6.5 < volts < 7.0
    seconds = np.interp(volts, [5, 7], [0.17, 0.13])
    wanted = wanted.copy()
    wanted[18] += np.deg2rad(60)
    start = plant.joints[18]
    period = 0
    while plant.joints[18] != wanted[18]:
        plant.step(wanted, np.ones(20, dtype=bool), (0, 0), DT)
        period += 1
    assert plant.joints[18] - start == pytest.approx(np.deg2rad(60))
    assert seconds <= period * DT <= seconds + 1.5 * DT


def test_the_rail_settles_where_the_check_says(tansy):
    """Standing still at nominal charge: two ways to solve the same circuit."""
    plant = Plant(tansy, charge=0.5)
    hold(plant, rest_joints(tansy), 5, outputs=(1.0, 0.5))
    rail = checked.solve(
        tansy,
        plant.torques[None],
        np.zeros((1, 20)),
        np.array([[1.0, 0.5]]),
        battery_v=plant.battery.open_circuit_v,
    )
    assert plant.battery.rail_v == pytest.approx(rail.volts[0], abs=2e-3)
    assert plant.servo_a == pytest.approx(rail.amps[0], rel=1e-3)
    assert plant.battery.current_a == pytest.approx(rail.battery_amps[0], rel=2e-3)
    assert plant.battery.volts == pytest.approx(rail.battery_volts[0], abs=2e-3)


def test_servos_lift_the_robots_weight(tansy):
    """Virtual work: what the servos do while the body rises a little is what all that is lifted gains."""
    plant = Plant(tansy)
    standing = rest_joints(tansy)
    hold(plant, standing, 3)
    rise = 1e-5
    higher, _ = joints_for(tansy, np.array([0, 0, rise, 0, 0, 0]), standing_feet(tansy))
    work = float(plant.torques @ (higher - standing))
    gained = rise + (centre_of_mass(tansy, higher) - centre_of_mass(tansy, standing))[2]
    assert work == pytest.approx(tansy.mass * 9.80665 * gained, rel=2e-3)


def test_the_battery_empties_as_charge_over_time(tansy):
    battery = Battery(tansy.supply)
    drawn = 0.0
    for _ in range(10_000):
        battery.step(4.0, 0.06)
        drawn += battery.current_a * 0.06
    # Charge is current times time; 5000 mAh are 18,000 coulombs.
    assert (1 - battery.charge) * 18_000 == pytest.approx(drawn, rel=1e-9)
    # Energy in is energy out over the regulator's efficiency, plus what the electronics take.
    expected = 4.0 * 7.0 / (0.92 * battery.volts) + 0.15
    assert battery.current_a == pytest.approx(expected, rel=1e-3)
    assert battery.volts == pytest.approx(battery.open_circuit_v - 0.03 * battery.current_a, abs=1e-3)


def test_beyond_its_limit_the_regulator_lets_the_rail_fall(tansy):
    battery = Battery(tansy.supply)
    for _ in range(50):
        battery.step(12.0, 0.06)
    at_limit = battery.rail_v
    assert at_limit == pytest.approx(7.0 - 12 * 0.02)
    for _ in range(50):
        battery.step(24.0, 0.06)
    assert battery.rail_v == pytest.approx(3.5 - 12 * 0.02)


def test_a_weak_rail_makes_everything_slower(tansy, calibration):
    weak = dataclasses.replace(tansy, supply=dataclasses.replace(tansy.supply, regulator_v=5.0))
    taken = []
    for robot in (tansy, weak):
        plant = Plant(robot)
        stood = rest_joints(robot)
        hold(plant, stood, 3)
        wanted = stood.copy()
        wanted[18] += 1.2
        periods = 0
        while plant.joints[18] < wanted[18]:
            plant.step(wanted, np.ones(20, dtype=bool), (0, 0), DT)
            periods += 1
        taken.append(periods)
    assert taken[0] < taken[1]


def test_without_pulses_the_legs_give_way_and_the_head_stays(tansy):
    plant = Plant(tansy)
    wanted = rest_joints(tansy)
    wanted[18] = 0.5
    hold(plant, wanted, 3)
    hold(plant, wanted, 5, on=np.zeros(20, dtype=bool))
    assert plant.joints[:18] == pytest.approx(plant.lowered[:18])
    assert plant.joints[18] == 0.5
    assert plant.servo_a == 0


def test_a_show_on_an_almost_empty_battery_ends_lying_down(make_wire, tansy, rest):
    wire = make_wire(charge=0.005)
    wire.run(15, rest)
    assert wire.robot.controller.activity == Activity.ENDED
    told = wire.hub.status(wire.now).telemetry
    assert Faults.BATTERY_EMPTY in told.faults
    assert wire.robot.joints[:18] == pytest.approx(wire.robot.plant.lowered[:18], abs=0.05)


def test_the_joints_go_where_the_frames_ask(make_wire, tansy, rest, calibration):
    wire = make_wire()
    wire.run(5, rest)
    asked = calibration.angles(tansy, np.rint(rest))
    assert wire.robot.joints == pytest.approx(asked)
    assert wire.robot.joints == pytest.approx(rest_joints(tansy), abs=np.deg2rad(0.1))


def test_time_that_the_computer_slept_through_is_left_out(tansy, calibration):
    robot = SimulatedRobot(tansy, calibration)
    robot.advance(0.0)
    robot.advance(1.0)
    periods = len(robot.issued)
    robot.skip(3600.0)
    robot.advance(3600.1)
    assert len(robot.issued) - periods == pytest.approx(6, abs=1)
    assert robot._telemetry().uptime_s == 1
