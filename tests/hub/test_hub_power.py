"""The battery on the hub: one meter's value, the same words everywhere, the lamp, and what is drawn."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from rehearsal import Rehearsal, Wired, shipped

from motionhub.check.loads import loads_in_motion
from motionhub.check.supply import solve
from motionhub.hub import commands as ask
from motionhub.hub.battery import PATIENCE_S, WORDS, said
from motionhub.hub.events import Calibrated
from motionhub.hub.snapshot import BatteryView
from motionhub.library.shipped import shipped_folder
from motionhub.library.store import Library
from motionhub.link.simulated import SimulatedRobot
from motionhub.motion.posing import rest_joints
from motionhub.motion.support import rest_on_ground
from motionhub.robot.calibration import Calibration
from motionhub.robot.description import load
from motionhub.robot.dynamics import Trunk
from motionhub.robot.posture import Posture

TANSY = shipped_folder() / "robots" / "tansy.toml"


def heard(show: Rehearsal, volts: float, seconds: float = 1.0) -> None:
    for _ in range(round(seconds / 0.1)):
        show.run(0.1)
        show.robot_says(volts=volts)


# ---------------------------------------------------------------- one meter's value


def test_one_value_from_a_meter_makes_the_reading_true_and_survives_a_restart(tmp_path: Path) -> None:
    """A divider 4 % off, and a person with a multimeter: within 0.5 % of the truth from then on."""
    robot = shipped("tansy")
    show = Wired(robot)
    show.machine.shows = 0.96
    show.run(3.0)
    true = show.machine.plant.battery.volts
    assert show.state.battery.volts == pytest.approx(0.96 * true, rel=0.005)
    assert show.say(ask.MeterShows(round(true, 2))) == ""
    show.run(1.0)
    assert show.state.battery.volts == pytest.approx(show.machine.plant.battery.volts, rel=0.005)
    (event,) = [e for e in show.events if isinstance(e, Calibrated)]
    library = Library(tmp_path, shipped_folder(), robot)
    library.save_calibration(event.calibration)
    again = Rehearsal(robot, Library(tmp_path, shipped_folder(), robot).calibration())
    again.robot_says(volts=0.96 * true)
    assert again.state.battery.volts == pytest.approx(true, rel=0.005)


@pytest.mark.parametrize(
    ("meter", "words"),
    [
        (74.0, "expected 4.0 to 9.2 V for this battery, found 74 V"),
        (0.8, "expected 4.0 to 9.2 V"),
        (4.5, "within 0.8 to 1.25 times what the robot reads, 7.80 V, found 4.5 V: look at its divider"),
    ],
)
def test_a_meters_value_that_cannot_be_is_refused_and_nothing_changes(meter: float, words: str) -> None:
    show = Rehearsal(shipped("tansy"))
    heard(show, 7.8, 3.0)
    assert words in show.say(ask.MeterShows(meter))
    assert show.hub.calibration.battery_scale == 1.0
    assert not [e for e in show.events if isinstance(e, Calibrated)]


def test_a_reading_that_jumps_is_no_time_for_a_meter_and_a_watcher_may_not() -> None:
    show = Rehearsal(shipped("tansy"))
    for volts in (7.8, 7.2, 7.8):
        heard(show, volts, 0.1)
    assert "stand still" in show.say(ask.MeterShows(7.8))
    assert show.say(ask.MeterShows(7.8), client="bob") == "take control first"


def test_the_robots_own_thresholds_are_in_volts_as_it_reads_them() -> None:
    """Its divider makes 0.96 V of each: 6.6 V at the battery is 6.336 V to its program, where its cut-off is."""
    robot = shipped("tansy")
    from motionhub.link.firmware import config_header

    text = config_header(robot, replace(Calibration.default(robot), battery_scale=1 / 0.96))
    assert f"CUT_OFF_MV = {round(robot.supply.battery_cut_off_v * 960)};" in text
    assert f"WARN_MV = {round(robot.supply.battery_warn_v * 960)};" in text


# ---------------------------------------------------------------- words, and the lamp


def test_every_level_has_words_and_minutes_are_not_pretended() -> None:
    assert said(BatteryView(7.84, "ok", 47.0)) == "Battery good, 7.8 V, about 45 min left"
    assert said(BatteryView(7.0, "low", 6.4)) == f"{WORDS['low']}, 7.0 V, about 6 min left"
    assert said(BatteryView(6.9, "low", 0.2)) == f"{WORDS['low']}, 6.9 V, about a minute left"
    assert said(BatteryView(6.5, "empty", 0.0)) == f"{WORDS['empty']}, 6.5 V"
    assert said(BatteryView()) == "Battery not read yet"


def test_a_lamp_of_the_file_is_a_lamp_of_the_robots_program(tmp_path: Path) -> None:
    """What it then does is the controller's: tests/link/test_controller.py, and on the chip tests/firmware."""
    text = TANSY.read_text(encoding="utf-8")
    file = tmp_path / "robot.toml"
    file.write_text(text.replace("current_a = 0.6\n", "current_a = 0.6\nlow_battery = true\n"), encoding="utf-8")
    robot = load(file)
    assert SimulatedRobot(robot, Calibration.default(robot)).controller.settings.warns == (True, False)


def test_a_sounder_is_no_lamp(tmp_path: Path) -> None:
    file = tmp_path / "robot.toml"
    text = TANSY.read_text(encoding="utf-8").replace("current_a = 0.05\n", "current_a = 0.05\nlow_battery = true\n")
    file.write_text(text, encoding="utf-8")
    with pytest.raises(ValueError, match="expected low_battery of a lamp only"):
        load(file)


# ---------------------------------------------------------------- what is drawn


@pytest.mark.parametrize("name", ["tansy", "trestle", "harrow"])
def test_what_is_predicted_while_standing_is_near_what_the_check_works_out(name: str) -> None:
    """The check's loads are held against engines elsewhere; a quarter off is what the forecast has to live with."""
    robot = shipped(name)
    joints = rest_joints(robot)[None]
    posture = Posture(robot, joints)
    support = rest_on_ground(robot, joints, posture=posture)
    still = np.zeros_like(joints)
    loads = loads_in_motion(posture, support, still.T, still.T, Trunk.at_rest(support.normal.T))
    true = solve(robot, loads.torques, still, np.zeros((1, len(robot.outputs)))).battery_amps[0]
    show = Rehearsal(robot)
    show.run(1.0)
    show.link(show.hub.link)
    assert show.hub.battery.forecast.amps == pytest.approx(true, rel=0.25)


def show_of(t: float) -> tuple[ask.Drive, ...]:
    """Two seconds of walking, two of standing."""
    return (ask.Drive(0.6),) if t % 4 < 2 else ()


SMALL = {"standing": lambda t: (), "walking": lambda t: (ask.Drive(0.6),), "a show": show_of}
"""What is asked of it while a pack of a sixtieth of the file's is used up, within a minute or two."""


@pytest.mark.parametrize("load", SMALL)
def test_minutes_left_of_the_simulated_robot_until_it_lies_down(load: str) -> None:
    """By what the simulated robot then really does: within 15 % from a third of the way on."""
    robot = shipped("tansy")
    show = Wired(replace(robot, supply=replace(robot.supply, capacity_c=robot.supply.capacity_c / 60)))
    told: list[tuple[float, float]] = []
    while show.hub.mode != "stopping":
        show.run(0.5, *SMALL[load](show.now))
        if (left := show.state.battery.minutes_left) is not None:
            told.append((show.now, left * 60))
        assert show.now < 200
    # The cut-off is what is foretold; for so long it has to be read before it is believed.
    end = show.now - PATIENCE_S
    for share in (0.4, 0.5, 0.6, 0.7, 0.8, 0.9):
        at, left = min(told, key=lambda item: abs(item[0] - share * end))
        print(f"{load}: {at:.0f} of {end:.0f} s: {left:.1f} s said, {end - at:.1f} s were left")
        assert left == pytest.approx(end - at, rel=0.15)
