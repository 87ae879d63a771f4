"""The program on the emulated chip and the simulated robot: the same bytes in, the same pulses and bytes out."""

from __future__ import annotations

import os
import random

import numpy as np
import pytest
from chip import MS, shown
from chip_twin import Twin
from scripted import Hub, rest_pulses

from motionhub.library.shipped import shipped_folder
from motionhub.library.store import Library
from motionhub.link.kept import image
from motionhub.link.session import Disconnected
from motionhub.link.trouble import Trouble
from motionhub.link.wire import Activity
from motionhub.motion.render import render

STREAMS = int(os.environ.get("MOTIONHUB_CHIP_STREAMS", "250"))
"""Damaged streams; 20000 for the whole proof."""
SEED = int(os.environ.get("MOTIONHUB_CHIP_SEED", "1"))
MOVES = os.environ.get("MOTIONHUB_CHIP_MOVES", "wave,bow").split(",")
"""Shipped moves to play; "all" for the whole proof."""


def wander(rest: tuple[int, ...], frames: int, seed: int):
    rng = np.random.default_rng(seed)
    away, speed = np.zeros(len(rest)), np.zeros(len(rest))
    for _ in range(frames):
        speed = 0.9 * speed + rng.normal(0, 1.5, len(rest))
        away = 0.995 * away + speed
        yield tuple(int(v) for v in np.clip(np.array(rest) + np.rint(away), 700, 2300))


@pytest.mark.parametrize(("name", "baud"), [("tansy", 57_600), ("trestle", 9_600), ("harrow", 115_200)])
def test_a_whole_life_is_the_same_pulse_for_pulse_and_byte_for_byte(boards, name: str, baud: int) -> None:
    """Starting, moving, a bad radio, silence, limp, settings kept, the battery falling until it is empty."""
    chip = boards.switch_on(boards.program(name, baud))
    bad, back = Trouble(seed=3), Trouble(seed=4)
    hub = Hub(chip, bad.pass_on, back.pass_on)
    twin = Twin(chip, hub.said)
    rest, outputs = rest_pulses(chip), len(chip.robot.outputs)
    for n, pulses in enumerate(wander(rest, 250, 1)):
        hub.tick(pulses, (np.arange(outputs) + n) % 5 / 4)
    twin.follow()
    hub.session.keep(image(chip.robot, chip.program.calibration))
    bad.lost, bad.flipped, bad.cut, bad.repeated, back.lost = 0.1, 0.002, 0.05, 0.05, 0.1
    hub.delay = 60 * MS
    for pulses in wander(rest, 300, 2):
        hub.tick(pulses, np.ones(outputs))
    twin.follow()
    hub.delay = 0
    bad.lost = bad.flipped = bad.cut = bad.repeated = back.lost = 0
    hub.quiet(120)
    twin.follow()
    assert twin.robot.controller.activity == Activity.QUIET
    for pulses in wander(rest, 100, 3):
        hub.tick(pulses)
    hub.tick(None)
    for pulses in wander(rest, 60, 4):
        hub.tick(pulses)
    twin.follow()
    supply = chip.robot.supply
    for share in np.linspace(1, -1.5, 100):
        low, cut = supply.battery_warn_v, supply.battery_cut_off_v
        chip.battery(round(1000 * (cut + (low - cut) * share)))
        hub.tick(rest)
    for _ in range(300):
        hub.tick(rest)
    twin.follow()
    seen = set(twin.activities)
    assert seen >= {Activity.OFF, Activity.ENABLING, Activity.EASING, Activity.QUIET, Activity.LOWERING, Activity.ENDED}
    assert chip.eeprom == bytes(twin.robot.memory.bytes)
    error = twin.compare_edges()
    shown([(f"{name} at {baud} baud", f"{len(error)} pulses, {len(twin.said)} bytes said, {len(twin.heard)} heard"),
           ("width, off", f"{error.min():+.3f} to {error.max():+.3f} µs")])  # fmt: skip


@pytest.fixture(scope="module")
def shipped(all_boards) -> Library:
    robot = all_boards.program("tansy").robot
    folder = shipped_folder()
    return Library(folder, folder, robot)


def test_shipped_moves_come_out_pulse_for_pulse(boards, shipped: Library) -> None:
    """As rendered and calibrated; every frame in one period, none left out."""
    program = boards.program("tansy")
    names = [name for name in shipped.names() if name != "an-evening"] if MOVES == ["all"] else MOVES
    for name in names:
        frames = render(shipped.sequence(name), program.robot)
        wanted = [tuple(int(v) for v in np.rint(p)) for p in program.calibration.pulses(program.robot, frames.joints)]
        chip = boards.switch_on(program)
        hub = Hub(chip)
        twin = Twin(chip, hub.said)
        for _ in range(180):
            hub.tick(wanted[0])
        for pulses, outputs in zip(wanted, frames.outputs, strict=True):
            hub.tick(pulses, outputs)
        for _ in range(4):
            hub.tick(wanted[-1])
        twin.follow()
        error = twin.compare_edges()
        assert [frame.frame.pulses for frame in twin.robot.decoded] == hub.sent, "what the hub meant arrived"
        begins = len(twin.pulses) - len(wanted) - 8
        issued = twin.pulses[begins:]
        at = next(i for i in range(8) if issued[i : i + len(wanted)] == wanted)
        assert at <= 6
        shown([(name, f"{len(wanted)} frames, width off {error.min():+.3f} to {error.max():+.3f} µs")])


class Damage:
    """What becomes of a few packets in a row."""

    KINDS = ("flip", "cut", "splice", "repeat", "reorder", "stale", "noise", "drop", "insert", "zeros")

    def __init__(self, seed: int) -> None:
        self.random = random.Random(seed)
        self.past: list[bytes] = [b"\0"]

    def stream(self, packets: list[bytes]) -> bytes:
        rng = self.random
        self.past += packets
        out = list(packets)
        for kind in rng.sample(self.KINDS, rng.choice([1, 1, 2, 3])):
            i = rng.randrange(len(out))
            whole = bytearray(out[i])
            if kind == "flip":
                for _ in range(rng.choice([1, 2, 3, 8])):
                    whole[rng.randrange(len(whole))] ^= 1 << rng.randrange(8)
            elif kind == "cut":
                a = rng.randrange(len(whole))
                del whole[a : a + rng.randint(1, 8)]
            elif kind == "splice":
                other = out[rng.randrange(len(out))]
                whole[rng.randrange(len(whole)) :] = other[rng.randrange(max(len(other), 1)) :]
            elif kind == "repeat":
                whole *= rng.choice([2, 3])
            elif kind == "reorder":
                rng.shuffle(out)
                continue
            elif kind == "stale":
                whole += rng.choice(self.past[-400:])
            elif kind == "noise":
                whole[:] = bytes(rng.randrange(256) for _ in range(rng.randint(1, 60)))
            elif kind == "drop":
                whole.clear()
            elif kind == "insert":
                a = rng.randrange(len(whole) + 1)
                whole[a:a] = bytes(rng.randrange(256) for _ in range(rng.randint(1, 5)))
            elif kind == "zeros":
                whole[rng.randrange(len(whole))] = 0
            out[i] = bytes(whole) or b"\0"
        return b"".join(out)


def test_of_damaged_streams_nothing_wrong_is_applied_and_the_second_good_frame_is_taken(boards) -> None:
    """Each stream is eight packets; the frame after it may be lost with the end of it, the one after that may not."""
    chip = boards.switch_on(boards.program("tansy", 115_200))
    damage = Damage(SEED)
    hub = Hub(chip)
    twin = Twin(chip, hub.said)
    rest, limits = rest_pulses(chip), twin.robot.keeper.limits
    for _ in range(180):
        hub.tick(rest)
    twin.follow()
    started, session = len(twin.robot.decoded), hub.session
    sent = {number + 1: pulses for number, pulses in enumerate(hub.sent)}
    twin.robot.decoded.clear()
    moves = wander(rest, STREAMS * 10 + 10, SEED)
    taken = 0

    def packet() -> bytes:
        pulses = next(moves)
        data = session.send_frame(pulses, np.zeros(len(chip.robot.outputs)), hub.now)
        sent[session.number] = pulses
        return data

    for _ in range(STREAMS):
        stream = damage.stream([packet() for _ in range(8)])
        good = packet() + packet()
        last = session.number
        hub.feed(stream + good)
        twin.follow()
        for frame in twin.robot.decoded:
            assert frame.frame.pulses == sent[frame.number]
            taken += 1
        assert twin.robot.decoded[-1].number == last
        twin.robot.decoded.clear()
        assert limits.allow(twin.pulses[-1])
    error = twin.compare_edges()
    assert session.up
    assert not any(isinstance(event, Disconnected) for event in hub.events)
    shown(
        [
            (f"{STREAMS} damaged streams", f"{taken} frames of {10 * STREAMS} taken, none wrong"),
            ("width, off", f"{error.min():+.3f} to {error.max():+.3f} µs"),
            ("before", f"{started} frames"),
        ]
    )
