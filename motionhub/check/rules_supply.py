"""Rules about what everything draws together: regulator, battery, radio."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from motionhub.check.discharge import USABLE
from motionhub.check.findings import Finding, Limit, Stretch
from motionhub.check.machine import higher_rail, some_of, thicker_wires
from motionhub.check.mend import SPARE, Mender, Trial, up_to
from motionhub.check.slowness import for_current
from motionhub.check.supply import Rail
from motionhub.check.timeline import Timeline

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

MAH = 3.6
"""Coulombs in a milliampere-hour."""
BITS = 10
"""Bits on the line for each byte at 8N1."""


def supply_current(t: Timeline, mender: Mender) -> list[Finding]:
    """More current than the regulator gives."""
    robot = t.frames.robot
    limit = robot.supply.regulator_a

    def advise(stretch: Stretch) -> str:
        amps = float(t.rail.amps[stretch.worst])
        if slower := mender.slower(stretch, for_current, supply_current):
            return slower

        def fits(trial: Trial) -> Flags:
            return np.asarray((trial.amps < SPARE * limit).all(axis=1))

        return mender.least(stretch, fits) or f"it takes a regulator of {up_to(amps * 1.05, 0.5):g} A"

    return Limit("supply-current", "A", 1.0, t.frames.rate_hz).findings(t.rail.amps, limit, advise, where=t.standing)


def supply_voltage(t: Timeline, mender: Mender) -> list[Finding]:
    """A rail too low or too high for the servos, and a battery pulled below its cut-off."""
    robot, spec, rate = t.frames.robot, t.frames.robot.supply, t.frames.rate_hz
    found = []
    lowest = max(servo.min_v for servo in robot.servos)
    highest = min(servo.max_v for servo in robot.servos)
    if t.set_v > highest:
        high = Limit("supply-voltage", "V", 1.0, rate)
        found += high.findings(
            np.full(len(t.torques), t.set_v), highest, lambda _: f"set the rail to {highest:g} V or less", "regulator"
        )

    def advise(stretch: Stretch) -> str:
        i = stretch.worst
        amps = float(t.rail.amps[i])
        if amps > spec.regulator_a:
            return f"it browns out: see supply-current, or take a regulator of {up_to(amps * 1.05, 0.5):g} A"
        drop = spec.wiring_ohm * amps
        rows = some_of(stretch.first, stretch.last, i)

        def enough(rail: Rail) -> bool:
            return bool((rail.volts >= lowest).all())

        if words := higher_rail(t, rows, enough) or thicker_wires(t, rows, enough):
            return f"{words}; the wiring takes {drop:.1f} V"
        return "charge the battery, or use one with another cell"

    below = Limit("supply-voltage", "V", 1.0, rate, above=False)
    for low in below.findings(t.rail.volts, lowest, advise, "rail", t.standing):
        # What is asked of the regulator comes first: the rail falls because of it.
        over = float(t.rail.amps[round(low.start_s * rate) : round(low.end_s * rate) + 1].max()) / spec.regulator_a - 1
        found.append(replace(low, excess=min(low.excess, 0.99 * over)) if over > 0 else low)
    found += below.findings(
        t.rail.battery_volts,
        spec.battery_cut_off_v,
        lambda _: "the battery gives way under the load: charge it, or use one of less resistance",
        "battery",
        t.standing,
    )
    warned = Limit("supply-voltage", "V", 1.0, rate, above=False, severity="warning")
    found += warned.findings(
        t.rail.battery_volts,
        spec.battery_warn_v,
        lambda _: "start with a full battery: from its nominal voltage on, this load pulls it low",
        "battery",
        t.standing & (t.rail.battery_volts >= spec.battery_cut_off_v),
    )
    return found


def charge_used(t: Timeline) -> Array:
    """Charge in C taken from the battery up to each frame, (T,)."""
    found: Array = np.cumsum(t.rail.battery_amps) / t.frames.rate_hz
    return found


def charge(t: Timeline, mender: Mender) -> list[Finding]:
    """A move that takes more than a pack holds."""
    used, limit = charge_used(t), USABLE * t.frames.robot.supply.capacity_c

    def advise(stretch: Stretch) -> str:
        pack = up_to(float(used[-1]) / USABLE / MAH, 100)
        when = (stretch.first - 1) / t.frames.rate_hz
        return f"change the pack before {when / 60:.0f} min, or use one of {pack:g} mAh"

    return Limit("charge", "mAh", 1 / MAH, t.frames.rate_hz).findings(used, limit, advise)


USUAL_BAUD = (9600, 19200, 38400, 57600, 115200, 230400)
"""Speeds that serial radios can be set to (practice)."""


def link_load(sizes: Array, rate_hz: float) -> Array:
    """Bytes in the second up to each frame, (T,), for frames of ``sizes`` (T,); the first one repeated before it."""
    window = max(round(rate_hz), 1)
    sums = np.cumsum(np.concatenate([np.full(window, sizes[0]), sizes]))
    found: Array = (sums[window:] - sums[:-window]) * (rate_hz / window)
    return found


def link_rate(t: Timeline, sizes: Array, load: Array) -> list[Finding]:
    """Frames that take more of the radio's line than they may, and frames that are not sent for its sake.

    Args:
        t: The move.
        sizes: (T,) bytes of each frame, 0 for those that are left out.
        load: (T,) as :func:`link_load` gives it.
    """
    link, rate = t.frames.robot.link, t.frames.rate_hz
    limit = link.baud / BITS * link.share

    def advise(stretch: Stretch) -> str:
        need = float(load[stretch.worst]) * BITS / link.share
        usual = [b for b in USUAL_BAUD if b >= need]
        return f"set the radio to {usual[0]} baud" if usual else f"it takes a radio of {up_to(need, 1000):g} baud"

    found = Limit("link-rate", "B/s", 1.0, rate).findings(load, limit, advise)
    sent = float(np.mean(sizes > 0))
    if sent < 1:
        faster = [b for b in USUAL_BAUD if b > link.baud]
        radio = f"a radio of {faster[0]} baud or more" if faster else "a faster radio"
        text = (
            f"at {link.baud} baud every second frame is left out, and the robot goes evenly from one to the next; "
            f"for all of them take {radio}"
        )
        end_s = (len(sizes) - 1) / rate
        found.append(
            Finding("link-rate", "warning", 0.0, end_s, None, sent * rate, rate, "frames/s", text, excess=1 - sent)
        )
    return found
