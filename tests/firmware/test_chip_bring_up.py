"""What a bring-up has found, on the emulated chip: kept whatever the power does, and the robot's own poses by it.

The program was exported before anything was known of the machine, and is not built again. ``MOTIONHUB_CHIP_CUTS=1000``
cuts the power at every write.
"""

from __future__ import annotations

import random
from pathlib import Path

import chip as board
import numpy as np
import pytest
from bringup.person import Person, World, faulty, meet, shipped
from chip import CLOCK, Chip, Program, shown
from scripted import Hub
from test_chip_failsafe import CUTS

from motionhub.link.kept import KeptState, digest, image
from motionhub.link.session import Connected, Keeping
from motionhub.motion.posing import rest_joints
from motionhub.robot.calibration import Calibration


@pytest.fixture(scope="module")
def world() -> World:
    """A robot with every fault, brought up to its level check."""
    dice = np.random.default_rng(3)
    robot = shipped("trestle")
    world = meet(robot, faulty(robot, dice))
    Person(world, dice).bring_up(until="legs")
    return world


@pytest.fixture(scope="module")
def program(all_boards, world: World, tmp_path_factory: pytest.TempPathFactory) -> Program:
    folder: Path = tmp_path_factory.mktemp("new")
    return board.build_program(folder, world.hub.robot, Calibration.default(world.hub.robot))


def begun(boards, program: Program, eeprom: bytes | None) -> tuple[Chip, Hub]:
    chip = boards.switch_on(program, eeprom=eeprom)
    hub = Hub(chip)
    hub.quiet(1)
    for _ in range(25):
        hub.tick(None)
    return chip, hub


def keeping(boards, program: Program, eeprom: bytes | None, wanted: bytes, cut: tuple[int, int] = (-1, 0)) -> Chip:
    chip, hub = begun(boards, program, eeprom)
    chip.cut(*cut)
    hub.session.keep(wanted)
    for _ in range(400):
        hub.tick(None)
        if chip.off or any(isinstance(e, Keeping) and e.state == KeptState.KEPT for e in hub.events):
            break
    return chip


def in_use(boards, program: Program, eeprom: bytes) -> bytes:
    _, hub = begun(boards, program, eeprom)
    return next(event.welcome.digest for event in hub.events if isinstance(event, Connected))


def own_rest(boards, program: Program, eeprom: bytes | None) -> np.ndarray:
    """The pulses that the robot goes to by itself when the hub falls silent."""
    chip, hub = begun(boards, program, eeprom)
    for _ in range(150):
        hub.tick((1500,) * program.robot.joints)
    chip.run(chip.cycle + 5 * CLOCK)
    return np.array(chip.issues()["pulses"][-1], dtype=np.float64)


def test_a_brought_up_robot_rests_by_itself_as_it_should(boards, program: Program, world: World) -> None:
    robot, known = world.hub.robot, world.hub.calibration
    rest = rest_joints(robot)
    done = keeping(boards, program, None, image(robot, known))

    def off(eeprom: bytes | None) -> float:
        stands = world.truth.angles(robot, own_rest(boards, program, eeprom))
        return float(np.rad2deg(np.abs(stands - rest)).max())

    before, after = off(None), off(done.eeprom)
    shown([("its own rest pose", f"off by {before:.0f} deg before, {after:.2f} deg after, program not built again")])
    assert before > 10
    assert after < 1


def test_trims_survive_a_power_cut_at_a_write(boards, program: Program, world: World) -> None:
    robot, known = world.hub.robot, world.hub.calibration
    old, new = image(robot, Calibration.default(robot)), image(robot, known)
    first = keeping(boards, program, None, old).eeprom
    whole = keeping(boards, program, first, new)
    assert in_use(boards, program, whole.eeprom) == digest(new)
    total = whole.writes
    dice = random.Random(1)
    cuts = sorted({0, total - 1, *dice.sample(range(total), min(CUTS, total))})
    for cut in cuts:
        chip = keeping(boards, program, first, new, (cut, dice.randrange(256)))
        assert chip.off
        use = in_use(boards, program, chip.eeprom)
        assert use == digest(old) or (use == digest(new) and cut == total - 1)
        # And it can be kept after all.
        while len(boards.made) > 3:
            boards.made.pop(0).close()
    again = keeping(boards, program, chip.eeprom, new)
    assert in_use(boards, program, again.eeprom) == digest(new)
    shown([("power cut", f"at {len(cuts)} of {total} writes")])
