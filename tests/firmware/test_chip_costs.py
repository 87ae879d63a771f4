"""What the program costs the chip: time, program memory, RAM and stack; and what else is wired to it."""

from __future__ import annotations

import random
import subprocess

import numpy as np
import pytest
from chip import MS, US, Doing, measured, shown
from scripted import Hub, rest_pulses

from motionhub.link import coder, wire
from motionhub.link.wire import Frame, Kind

RAM = 4096
"""Of the chip's 8192 bytes: what the project allows itself, stack and all."""
DECODING_MS = 10
"""A frame decodes within half a tick, whatever is in it."""


def occupied(chip) -> tuple[int, int, int]:
    """Bytes of program memory, of variables, and of stack at its deepest."""
    text, data, bss = (int(n) for n in subprocess.run(["avr-size", str(chip.program.elf)], text=True,
                       capture_output=True, check=True).stdout.splitlines()[1].split()[:3])  # fmt: skip
    return text + data, data + bss, chip.stack_used


@pytest.mark.parametrize("name", ["tansy", "harrow"])
def test_load_memory_and_the_worst_packet(boards, name: str) -> None:
    chip = boards.switch_on(boards.program(name, 115_200))
    hub, rng = Hub(chip), random.Random(5)
    rest, joints, outputs = rest_pulses(chip), chip.robot.joints, len(chip.robot.outputs)
    calibration = chip.program.calibration
    low = calibration.by_connector(np.ceil(calibration.low_us)).astype(int)
    high = calibration.by_connector(np.floor(calibration.high_us)).astype(int)
    for _ in range(300):
        hub.tick(tuple(p + rng.randint(-3, 3) for p in rest))
    ordinary = chip.load
    chip.marks()

    # Frames that leap about as far as the limits allow, coded against every base; and, with a check that is right,
    # packets of any kind and length with anything in them.
    key, sent = hub.session._key, {}
    assert key is not None
    number = hub.session.number
    for i in range(240):
        number += 1
        if i % 2:
            leap = tuple(int(rng.choice((a, b))) for a, b in zip(low, high, strict=True))
            sent[number] = Frame(leap, tuple(rng.randrange(256) for _ in range(outputs)))
            held = {n: f for n, f in sent.items() if number - 15 <= n < number}
            body = coder.encode(number, [sent[number]], max(held, default=None), held.get)
        else:
            kind = rng.choice([k for k in Kind if k < 8 and k != Kind.HELLO])
            filler = rng.choice([rng.randbytes(120), b"\xff" * 120, bytes(120)])[: rng.randint(0, 120)]
            body = bytes((kind << 4 | rng.randrange(16), number & 255)) + filler
        hub.feed(wire.seal(body, key.bytes_for(number)))
    marks = chip.marks()
    taking = np.flatnonzero(marks["doing"][:-1] == Doing.TAKING)
    costs = (marks["cycle"][taking + 1] - marks["cycle"][taking]) / MS
    ticking = np.flatnonzero(marks["doing"][:-1] == Doing.TICKING)
    ticks = (marks["cycle"][ticking + 1] - marks["cycle"][ticking]) / MS
    flash, variables, stack = occupied(chip)
    shown(
        [
            (f"{name}: {joints} servos", f"load {ordinary:.1%} while following at 115200 baud"),
            ("worst packet", f"{costs.max():.2f} ms, {costs.max() * MS:.0f} cycles, with interrupts"),
            ("worst tick", f"{ticks.max():.2f} ms"),
            ("program memory", f"{flash} bytes of 262144"),
            ("RAM", f"{variables} bytes of variables, {stack} of stack at its deepest, of 8192"),
        ]
    )
    assert costs.max() < DECODING_MS
    assert variables + stack < RAM


def test_lamp_is_dimmed_sounder_is_switched_and_both_end(boards) -> None:
    chip = boards.switch_on(boards.program("tansy"))
    hub, rest, joints = Hub(chip), rest_pulses(chip), chip.robot.joints
    assert [(o.kind, o.pin) for o in chip.robot.outputs] == [("lamp", 44), ("sounder", 45)]
    for _ in range(10):
        hub.tick(rest, (0.0, 0.0))
    chip.edges()
    for level in (1 / 255, 0.25, 1.0):
        for _ in range(3):
            hub.tick(rest, (level, level))
        # Pin 44 is channel C of timer 5: its level in OCR5C, connected by COM5C1 of TCCR5A (data sheet).
        ocr, com = int.from_bytes(chip.ram(0x12C, 2), "little"), chip.ram(0x120, 1)[0] >> 3 & 1
        assert (ocr, com) == (round(255 * level), 1)
    for _ in range(3):
        hub.tick(rest, (0.0, 0.0))
    assert chip.ram(0x120, 1)[0] >> 2 & 3 == 0, "disconnected, so dark and not nearly dark"
    sounder = chip.edges()
    assert sounder["high"][sounder["channel"] == joints + 1].tolist() == [1, 0]


def test_the_battery_is_measured_within_a_step_of_the_converter(boards) -> None:
    program = boards.program("tansy")
    top, bottom = program.robot.controller.divider_ohm
    step = 1000 * program.robot.controller.reference_v / 1024 * (top + bottom) / bottom
    chip = boards.switch_on(program)
    for mv in (8400, 7777, 7000, 6600, 6001, 3000, 0):
        chip.battery(mv)
        chip.marks()
        chip.run_ms(80)
        # The converter rounds down by up to a step, the emulated voltage at the pin is in whole mV.
        assert abs(int(chip.marks()["mv"][-1]) - mv) <= step + 2 * (top + bottom) / bottom


def test_a_tick_s_pulses_are_those_of_the_next_period(boards) -> None:
    """What is worked out in a period is issued in the next, whole; half of it in this one would tear a frame."""
    chip = boards.switch_on(boards.program("harrow"))
    hub, rest = Hub(chip), rest_pulses(chip)
    for _ in range(260):
        hub.tick(rest)
    chip.edges(), chip.issues()
    for i in range(40):
        hub.tick(tuple(p + (40 if i % 2 else 0) for p in rest))
    issues = chip.issues()
    starts, widths = measured(chip.edges(), issues, chip.robot.joints)
    away = np.rint((widths[2:-2] - np.array(rest) * US) / US)
    assert all(len(set(row)) == 1 for row in away), "all joints of a period are of one frame"
    assert set(away[:, 0]) == {0.0, 40.0}
    assert (starts[2:-2] - issues["cycle"][2:-2, None] > 6 * MS).all()
