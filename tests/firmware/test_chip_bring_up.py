"""What a bring-up has found, on the emulated chip: kept whatever the power does, and the robot's own poses by it.

The program was exported before anything was known of the machine, and is not built again. What EEPROM holds when the
power goes is tried for every write; ``MOTIONHUB_CHIP_CUTS=1000`` lets it really go at every one, and
``MOTIONHUB_CHIP_BRINGUP=1`` brings the robot up over the chip's wire to the last step.
"""

from __future__ import annotations

import os
import random
from pathlib import Path

import chip as board
import numpy as np
import pytest
from bringup.person import Person, World, faulty, meet, off_deg, over_the_travel, shipped
from chip import CLOCK, PERIOD, US, Chip, Program, shown
from scripted import Hub
from test_chip_failsafe import CUTS

from motionhub.hub import commands as ask
from motionhub.hub.core import Hub as ShowHub
from motionhub.hub.events import AskCalibration, Event, SendCalibration
from motionhub.hub.snapshot import LinkView
from motionhub.link.kept import KeptState, digest, image
from motionhub.link.session import Connected, Heard, InUse, Keeping, LinkSession
from motionhub.motion.posing import rest_joints
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

OVER_THE_WIRE = os.environ.get("MOTIONHUB_CHIP_BRINGUP", "")
"""Brought up from the first to the last step over the chip's own wire; else a leg's worth of it."""


@pytest.fixture(scope="module")
def world() -> World:
    """A robot with every fault, brought up to its level check."""
    dice = np.random.default_rng(3)
    robot = shipped("trestle")
    world = meet(robot, faulty(robot, dice))
    Person(world, dice).bring_up(until="legs")
    return world


class OnTheWire(World):
    """The same machine behind the emulated chip: what moves it are the pulses on the chip's own pins."""

    def __init__(self, chip: Chip, truth: Calibration) -> None:
        robot = chip.robot
        super().__init__(board_hub(robot), truth, robot.mid.copy(), divider=0.96, radio_s=0.5)
        self.chip, self.session = chip, LinkSession(robot, 77)
        self.pulses = np.zeros(robot.joints)
        self._last_us = np.full(robot.joints, -PERIOD * 10)
        self._rise = np.zeros(robot.joints, dtype=np.int64)
        chip.battery(round(1000 * self.battery * self.divider))
        self.hub.joined("ann", "Ann", True, 0.0)

    def pass_tick(self) -> None:
        self.now += 0.02
        hub, chip = self.hub, self.chip
        sent = hub.tick(self.now)
        events = list(sent.events)
        if data := self.session.send_frame(sent.pulses, sent.outputs, self.now):
            chip.feed(data)
        chip.run(chip.cycle + PERIOD)
        self._watch_pins()
        for event in [*self.session.receive(chip.said_bytes(), self.now), *self.session.tick(self.now)]:
            if isinstance(event, Heard):
                events += hub.robot_says(event.telemetry, self.now)
            elif isinstance(event, Connected):
                events += hub.connected(event.welcome, self.now)
            elif isinstance(event, Keeping | InUse):
                events += hub.robot_keeps(event, self.now)
        if hub.ticks % 5 == 0:
            s = self.session.status(self.now)
            events += hub.link_is(LinkView(s.up, s.round_trip_s, s.lost_share, s.bytes_s, s.budget_bytes_s), self.now)
        self.take(events)

    def take(self, events: list[Event]) -> list[str]:
        for event in events:
            if isinstance(event, AskCalibration):
                self.session.ask()
            elif isinstance(event, SendCalibration):
                self.session.keep(event.image)
        return super().take(events)

    def _watch_pins(self) -> None:
        """A servo goes by the last whole pulse on its pin, and by none once there has been none for three periods."""
        for cycle, channel, high in self.chip.edges()[["cycle", "channel", "high"]].tolist():
            if channel >= len(self.pulses):
                continue
            if high:
                self._rise[channel] = cycle
            elif self._rise[channel]:
                self.pulses[channel] = (cycle - self._rise[channel]) / US
                self._last_us[channel] = cycle
        self.pulses[self._last_us < self.chip.cycle - 3 * PERIOD] = 0
        on = self.truth.by_joint(self.pulses) > 0
        with np.errstate(all="ignore"):
            wanted = self.truth.angles(self.hub.robot, self.pulses)
        self.joints = np.where(on, wanted, self.joints)


def board_hub(robot: Robot) -> ShowHub:
    return ShowHub(robot, Calibration.default(robot))


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


def images(first: bytes, written: np.ndarray, torn: int | None = None) -> list[bytes]:
    """What EEPROM holds when the power goes in the middle of each of these writes, and what it holds after the last.

    What the program has written until then does not hang on when the power goes, so one run has them all.
    """
    found, now = [], bytearray(first)
    for place, byte in written[["place", "byte"]].tolist():
        half = bytearray(now)
        half[place] = now[place] ^ byte ^ 0x5A if torn is None else torn
        found.append(bytes(half))
        now[place] = byte
    return [*found, bytes(now)]


def test_trims_survive_a_power_cut_at_every_write(boards, program: Program, world: World) -> None:
    robot, known = world.hub.robot, world.hub.calibration
    old, new = image(robot, Calibration.default(robot)), image(robot, known)
    first = keeping(boards, program, None, old).eeprom
    chip, hub = begun(boards, program, first)
    chip.written()  # it has counted its start
    base = chip.eeprom
    hub.session.keep(new)
    for _ in range(400):
        hub.tick(None)
        if any(isinstance(e, Keeping) and e.state == KeptState.KEPT for e in hub.events):
            break
    written = chip.written()
    total = len(written)
    cut = images(base, written)
    assert cut[-1] == chip.eeprom, "what was logged is what was written"
    # That the images are what a cut leaves is seen at a few real ones.
    dice = random.Random(1)
    for at in sorted({0, total - 1, *dice.sample(range(total), min(CUTS, total))}):
        torn = dice.randrange(256)
        stopped = keeping(boards, program, first, new, (at, torn))
        assert stopped.off
        assert stopped.eeprom == images(base, written, torn)[at]
        forget(boards)
    torn_bytes = (None, 0x00, 0xFF) if total <= CUTS else (None,)
    for torn in torn_bytes:
        for at, eeprom in enumerate(images(base, written, torn)):
            use = in_use(boards, program, eeprom)
            assert use == digest(old) or (use == digest(new) and at >= total - 1), (at, torn)
            forget(boards)
    assert in_use(boards, program, cut[-1]) == digest(new)
    # And it can be kept after all.
    again = keeping(boards, program, cut[total // 2], new)
    assert in_use(boards, program, again.eeprom) == digest(new)
    shown([("power cut", f"at {total} of {total} writes, {len(torn_bytes)} times each")])


def forget(boards) -> None:
    while len(boards.made) > 3:
        boards.made.pop(0).close()


def test_a_robot_is_brought_up_over_the_chips_own_wire(boards, program: Program) -> None:
    """Pulses are measured on the pins of a chip whose program knows nothing of the machine; what is found is sent."""
    robot = program.robot
    dice = np.random.default_rng(11)
    truth = faulty(robot, dice)
    chip = boards.switch_on(program)
    chip.record(edges=True, marks=False)
    world = OnTheWire(chip, truth)
    person = Person(world, dice)
    for _ in range(100):
        world.pass_tick()
        if world.hub.link.up:
            break
    person.say(ask.Take())
    person.wait_until(lambda: world.hub.mode == "rest")
    person.bring_up(until="" if OVER_THE_WIRE else "angles")
    known = world.hub.calibration
    assert known.connector == truth.connector
    np.testing.assert_array_equal(known.direction, truth.direction)
    assert known.battery_scale * 0.96 == pytest.approx(1, abs=0.005)
    assert person.screen.problems == ()
    if OVER_THE_WIRE:
        assert len(person.screen.found) == 2 + 3 + 1
        worst, rest = over_the_travel(robot, truth, known), rest_joints(robot)
        shown([("over the wire", f"{world.now:.0f} s, worst joint {worst:.2f} deg over its travel")])
        assert worst < 1
        assert off_deg(robot, truth, known, rest).max() < 1
    person.say(ask.SendCalibration())
    person.wait_until(lambda: world.hub.kept.view.state in ("same", "waiting"))
    person.wait(1.0)
    assert in_use(boards, program, chip.eeprom) == digest(image(robot, known))
