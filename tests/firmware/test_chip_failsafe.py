"""What the robot does by itself, timed on the emulated chip, and what the power or a hang may do to it."""

from __future__ import annotations

import os
import random

import numpy as np
import pytest
from chip import CLOCK, MS, PERIOD, US, Chip, Doing, measured, shown
from scripted import Hub, rest_pulses

from motionhub.link.kept import KeptState, digest, image
from motionhub.link.session import Connected, Heard, Keeping
from motionhub.link.wire import Activity, Faults, ResetCause

CUTS = int(os.environ.get("MOTIONHUB_CHIP_CUTS", "4"))
"""Writes to EEPROM at which the power goes; 1000 for every one of them."""
LATE_MS = 60
"""After its time a failsafe may begin this much later: two ticks, and half a period until the pulses show it."""
WATCHDOG_MS = 200
"""From a hang to pulses again: 128 ms by the watchdog's clock, up to 10 % more, and the program's start."""


def standing(boards, away: int = 120, ticks: int = 250) -> tuple[Chip, Hub, tuple[int, ...]]:
    """A robot that follows, some way from rest."""
    chip = boards.switch_on(boards.program("tansy"))
    hub, rest = Hub(chip), rest_pulses(chip)
    pulses = tuple(min(max(p + away, 700), 2300) for p in rest)
    for _ in range(ticks):
        hub.tick(pulses)
    assert chip.issues()["activity"][-1] == Activity.FOLLOWING
    chip.edges()
    return chip, hub, pulses


def lamp_lit(hub: Hub, ticks: int, pulses: tuple[int, ...], outputs: tuple[float, ...]) -> np.ndarray:
    """Whether the lamp was lit after each of so many ticks.

    Pin 44 is channel C of timer 5: connected by COM5C1, bit 3 of TCCR5A, which is at 0x120 (data sheet).
    """
    lit = []
    for _ in range(ticks):
        hub.tick(pulses, outputs)
        lit.append(hub.chip.ram(0x120, 1)[0] >> 3 & 1)
    return np.array(lit)


@pytest.mark.parametrize("after_ms", [0, 4, 8, 12, 16])
def test_the_link_is_quiet_and_the_robot_eases_to_rest(boards, after_ms: int) -> None:
    chip, hub, pulses = standing(boards)
    # The last frame, anywhere in the chip's period.
    chip.run_ms(after_ms)
    frame = hub.session.send_frame(pulses, np.zeros(2), hub.now)
    heard = chip.feed(frame)
    chip.run(heard + 6 * CLOCK)
    edges, issues = chip.edges(), chip.issues()
    starts, widths = measured(edges, issues, chip.robot.joints)
    starts, widths = starts[2:-2], widths[2:-2]
    off = np.abs(widths - np.array(pulses) * US) > 5 * US
    began_ms = (starts[off.any(axis=1)][0].min() - heard) / MS
    shown([("link quiet to rest begun", f"{began_ms:.1f} ms, asked for {chip.robot.controller.quiet_s * 1000:g}")])
    assert chip.robot.controller.quiet_s * 1000 <= began_ms <= chip.robot.controller.quiet_s * 1000 + LATE_MS
    assert (np.abs(widths[-1] - np.array(rest_pulses(chip)) * US) < 2 * US).all(), "and holds it"
    assert np.abs(np.diff(widths, axis=0)).max() < 12 * US, "slowly"
    assert issues["activity"][-1] == Activity.QUIET


def test_an_empty_battery_is_told_then_the_body_is_lowered_then_pulses_end(boards) -> None:
    chip, hub, _ = standing(boards, away=0)
    supply, rest = chip.robot.supply, rest_pulses(chip)
    chip.battery(round(supply.battery_warn_v * 1000) - 100)
    for _ in range(60):
        hub.tick(rest)
    lit = lamp_lit(hub, 250, rest, (0.0, 0.0))
    assert lit.sum() == 125, "half of the time, though nobody asks for light"
    assert np.count_nonzero(np.diff(lit)) in (9, 10), "on and off once a second"
    heard = [event.telemetry for event in hub.events if isinstance(event, Heard)]
    assert heard[-1].faults & Faults.BATTERY_LOW
    assert heard[-1].activity == Activity.FOLLOWING
    resolution = 1000 * chip.robot.controller.reference_v / 1024 * sum(chip.robot.controller.divider_ohm)
    resolution /= chip.robot.controller.divider_ohm[1]
    assert abs(heard[-1].battery_mv - (supply.battery_warn_v * 1000 - 100)) <= resolution + 1
    chip.edges(), chip.issues()
    empty = chip.cycle
    chip.battery(round(supply.battery_cut_off_v * 1000) - 300)
    for _ in range(500):
        hub.tick(rest)
    edges, issues = chip.edges(), chip.issues()
    starts, widths = measured(edges, issues, chip.robot.joints)
    off = (np.abs(widths - np.array(rest) * US) > 5 * US) & (starts >= 0)
    began_ms = (starts[2:][off[2:].any(axis=1)][0].min() - empty) / MS
    over_ms = (edges["cycle"][edges["channel"] < chip.robot.joints][-1] - empty) / MS
    asked = chip.robot.controller.cut_off_s * 1000
    shown([("cut-off to lowering", f"{began_ms:.0f} ms, asked for {asked:g}"), ("last pulse", f"{over_ms:.0f} ms")])
    # The average over 8 periods needs some of them to fall below.
    assert asked <= began_ms <= asked + 8 * 20 + LATE_MS
    lowered = issues["pulses"][issues["activity"] == Activity.LOWERING][-1]
    limits_at = np.abs(np.diff(widths[(starts >= 0).all(axis=1)], axis=0))
    assert limits_at.max() < 12 * US
    assert (lowered != np.array(rest)).any()
    assert issues["activity"][-1] == Activity.ENDED
    chip.edges()
    assert lamp_lit(hub, 200, rest, (1.0, 1.0)).sum() == 10, "a flash of a tenth of a second every two"
    assert not len(chip.edges()), "neither a servo nor the sounder"
    chip.battery(round(supply.battery_full_v * 1000))
    for _ in range(100):
        hub.tick(rest)
    assert not chip.edges()["high"].any(), "until it is switched off and on"


@pytest.mark.parametrize("interrupts", [True, False])
def test_a_hung_program_is_restarted_and_the_robot_stands(boards, interrupts: bool) -> None:
    chip, hub, pulses = standing(boards)
    for _ in range(3):
        hub.tick(pulses)
    hung = chip.cycle
    chip.jam(interrupts)
    chip.run(hung + CLOCK)
    edges, issues, marks = chip.edges(), chip.issues(), chip.marks()
    joints = chip.robot.joints
    restarted = int(marks["cycle"][marks["doing"] == Doing.STARTING][-1])
    ups = edges[(edges["high"] == 1) & (edges["channel"] < joints)]
    first = int(ups["cycle"][ups["cycle"] > restarted][0])
    gap = max(int(np.diff(np.sort(ups["cycle"][ups["channel"] == j])).max()) for j in range(joints))
    shown(
        [
            (f"hung, interrupts {'on' if interrupts else 'off'}", f"restarted after {(restarted - hung) / MS:.1f} ms"),
            ("to pulses again", f"{(first - hung) / MS:.1f} ms; longest without a pulse {gap / MS:.1f} ms"),
        ]
    )
    assert (first - hung) / MS <= WATCHDOG_MS
    assert gap / MS <= WATCHDOG_MS + 20
    # On where it was, all joints at once, then to rest slowly.
    after = issues[issues["cycle"] > restarted]
    assert (np.abs(after["pulses"][0] - np.array(pulses)) <= 11).all()
    assert (after["activity"] == Activity.QUIET).all()
    hub._tick = -(-chip.cycle // PERIOD)
    for _ in range(120):
        hub.tick(pulses)
    welcome = [event.welcome for event in hub.events if isinstance(event, Connected)][-1]
    assert welcome.reset_cause == ResetCause.WATCHDOG
    assert hub.session.up


@pytest.mark.parametrize(
    ("flags", "cause"),
    [(1, "POWER"), (5, "POWER"), (2, "BUTTON"), (4, "BROWN_OUT"), (6, "BROWN_OUT"), (8, "WATCHDOG"), (0, "UNKNOWN")],
)
def test_the_reset_cause_is_told_and_only_memory_that_is_whole_gives_pulses(boards, flags: int, cause: str) -> None:
    """Bits of MCUSR: PORF 1, EXTRF 2, BORF 4, WDRF 8 (ATmega2560 data sheet)."""
    chip = boards.switch_on(boards.program("tansy"))
    chip.cause(flags)
    chip.run_ms(500)
    assert not chip.edges()["high"].any()
    hub = Hub(chip)
    for _ in range(20):
        hub.tick(None)
    welcome = next(event.welcome for event in hub.events if isinstance(event, Connected))
    assert ResetCause(welcome.reset_cause).name == cause


def keeping(boards, eeprom: bytes | None, wanted: bytes, cut: tuple[int, int] | None) -> Chip:
    """A robot that is given settings to keep; perhaps the power goes."""
    chip = boards.switch_on(boards.program("tansy"), eeprom=eeprom)
    hub = Hub(chip)
    hub.quiet(1)
    for _ in range(10):
        hub.tick(None)
    assert hub.session.up
    if cut is not None:
        chip.cut(*cut)
    else:
        chip.cut(-1, 0)
    hub.session.keep(wanted)
    for _ in range(400):
        hub.tick(None)
        if chip.off:
            break
        if any(isinstance(event, Keeping) and event.state == KeptState.KEPT for event in hub.events):
            break
    return chip


def in_use(boards, eeprom: bytes) -> tuple[bytes, bool, Faults]:
    chip = boards.switch_on(boards.program("tansy"), eeprom=eeprom)
    hub = Hub(chip)
    hub.quiet(1)
    for _ in range(25):
        hub.tick(None)
    welcome = next(event.welcome for event in hub.events if isinstance(event, Connected))
    heard = [event.telemetry for event in hub.events if isinstance(event, Heard)]
    return welcome.digest, welcome.kept, heard[-1].faults


def test_power_cut_at_a_write_leaves_the_old_settings_or_the_new(boards) -> None:
    program = boards.program("tansy")
    old = image(program.robot, program.calibration)
    records = bytearray(old)
    for i in range(0, len(records), 5):
        records[i + 3] ^= 1  # every trim, by a microsecond
    new = bytes(records)
    whole = keeping(boards, None, old, None)
    first, writes = whole.eeprom, whole.writes
    assert in_use(boards, first)[:2] == (digest(old), True)
    second = keeping(boards, first, new, None)
    assert in_use(boards, second.eeprom)[:2] == (digest(new), True)
    total = second.writes
    rng = random.Random(1)
    cuts = sorted({0, 1, total - 2, total - 1, *rng.sample(range(total), min(CUTS, total))})
    found = []
    for cut in cuts:
        for torn in (rng.randrange(256),) if len(cuts) < total else (0xFF, 0x00, 0x5A):
            chip = keeping(boards, first, new, (cut, torn))
            assert chip.off
            use, kept, faults = in_use(boards, chip.eeprom)
            assert use in (digest(old), digest(new))
            assert kept
            # The last write alone makes the new ones count, and only if it had come to its end.
            if use == digest(new):
                assert cut == total - 1
            found.append(bool(faults & Faults.CALIBRATION))
            while len(boards.made) > 4:
                boards.made.pop(0).close()
    shown([("power cut", f"at {len(cuts)} of {total} writes ({writes} the first time), {len(found)} times; "
            f"{sum(found)} left a damaged copy, which was told")])  # fmt: skip


def test_keeping_settings_does_not_hold_the_program_up(boards) -> None:
    program = boards.program("tansy")
    chip, hub, _ = standing(boards, away=0)
    chip.marks()
    hub.session.keep(image(program.robot, program.calibration))
    for _ in range(300):
        hub.tick(rest_pulses(chip))
    assert any(isinstance(event, Keeping) and event.state == KeptState.KEPT for event in hub.events)
    starts, widths = measured(chip.edges(), chip.issues(), chip.robot.joints)
    assert (np.abs(np.diff(starts[2:-2], axis=0) - PERIOD) < 50 * US).all()
    assert (np.abs(widths[2:-2] - np.array(rest_pulses(chip)) * US) < 2 * US).all()
    # A write takes 3.4 ms on the chip (data sheet); nobody waits for it.
    marks = chip.marks()
    assert marks["loop_us"].max() < 3400
