"""The panels of a picture: torque of each joint, balance and room, current, voltage."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from motionhub.check.report import Report
from motionhub.check.rules_ground import CLEAR
from motionhub.cli.picture_marks import (
    INK,
    LIMIT,
    SECOND,
    SOFT,
    WARNING,
    Marked,
    about,
    beyond,
    key,
    mark,
    title,
    worst_frames,
)  # fmt: skip

if TYPE_CHECKING:
    from matplotlib.axes import Axes

JOINT_POINTS = 240
"""The same for a joint's small panel."""
WILD = 12.0
"""Times up and down over its whole height, from which on a curve is drawn thin."""
SHOWN_MM = 60.0
"""Distances beyond this are drawn as this: what matters happens near their limits."""
JOINT_RULES = ("joint-range", "joint-speed", "joint-torque", "holding-torque")
"""Marked on the panel of the joint that they are about."""


def joints(place: Any, report: Report, marked: list[Marked], end: float, rows: int) -> None:
    """One small panel a joint: legs side by side, coxa, femur and tibia below one another, the others last."""
    robot = report.timeline.frames.robot
    place.suptitle(
        "Torque of each servo (N·m) over time (s): what the move asks of it (line), and what it has at that speed and "
        "voltage (pale; dotted: for long)",
        x=0.01, ha="left", fontsize=9, fontweight="bold",
    )  # fmt: skip
    grid = place.subplots(rows, robot.legs, sharex=True, squeeze=False)
    empty = {(row, column) for row in range(rows) for column in range(robot.legs)}
    for j, name in enumerate(robot.joint_names):
        leg, part = divmod(j, 3)
        extra, column = divmod(j - 3 * robot.legs, robot.legs)
        spot = (part, leg) if leg < robot.legs else (3 + extra, column)
        empty.discard(spot)
        own = [m for m in marked if m.finding.rule in JOINT_RULES and m.finding.subject == name]
        _joint(grid[spot], report, j, own)
    grid[0, 0].set_xlim(0.0, end)
    for spot in empty:
        grid[spot].set_visible(False)


def _joint(axes: Axes, report: Report, j: int, own: list[Marked]) -> None:
    t = report.timeline
    servo = t.frames.robot.servos[j]
    torque = np.where(t.standing, np.abs(t.torques[:, j]), np.nan)
    available = servo.torque_available(np.abs(t.speeds[:, j]), t.rail.steady_volts)
    at = worst_frames(torque - available, JOINT_POINTS)
    times = t.frames.times[at]
    axes.fill_between(times, 0, available[at], color=SOFT, lw=0)
    # What is there is the top of the pale area; dashed as well, unless it goes up and down so much that it hides all.
    wild = np.abs(np.diff(available[at])).sum() > WILD * max(float(available.max()), 1e-9)
    axes.plot(times, available[at], color=LIMIT, lw=0.4 if wild else 0.8, ls="-" if wild else (0, (3, 1.5)))
    axes.plot(times, torque[at], color=INK, lw=1.1)
    beyond(axes, times, torque[at], available[at])
    if any(m.finding.rule == "holding-torque" for m in own):
        held = servo.hold_fraction * servo.stall_torque_at(t.rail.steady_volts[at])
        axes.plot(times, held, color=WARNING, lw=1.2, ls=":")
    most = max(float(servo.stall_torque_at(t.set_v)), float(np.nanmax(torque, initial=0.0)))
    axes.set_ylim(0, 1.3 * most)
    axes.tick_params(labelsize=7, length=2)
    axes.locator_params(axis="y", nbins=3)
    axes.locator_params(axis="x", nbins=5)
    # No room for more than one number, on the curve or in the title.
    mark(axes, report, own, torque - available, torque, roomy=False)
    title(axes, t.frames.robot.joint_names[j], own, size=8, bold=bool(own), signs=1)


def distance(axes: Axes, report: Report, marked: list[Marked]) -> None:
    """How far inside its feet the weight is, and the smallest gap between parts."""
    t = report.timeline
    least, gap = t.frames.robot.walk.margin * 1e3, CLEAR * 1e3
    margin, clearance = np.minimum(t.margin * 1e3, SHOWN_MM), np.minimum(t.clearance * 1e3, SHOWN_MM)
    at = worst_frames(-margin)
    times = t.frames.times
    axes.plot(times[at], margin[at], color=INK, lw=1.3, label="weight inside the feet (stability margin)")
    axes.axhline(least, color=LIMIT, ls="--", lw=1, label=f"at least {least:g} mm")
    beyond(axes, times[at], np.full(at.size, least), margin[at])
    if np.isfinite(t.clearance).all():
        at = worst_frames(-clearance)
        axes.plot(
            times[at], clearance[at], color=SECOND, lw=1.2, ls="-.", label="smallest gap between parts (clearance)"
        )
        axes.axhline(gap, color=SECOND, ls=":", lw=1, label=f"at least {gap:g} mm")
        beyond(axes, times[at], np.full(at.size, gap), clearance[at])
        mark(axes, report, own := about(marked, "clearance"), -clearance, clearance)
    else:
        own = []
    mark(axes, report, shaky := about(marked, "stability", "tip-over"), -margin, margin)
    low = min(float(margin.min()), float(clearance.min()), 0.0)
    axes.set_ylim(low - 6, 1.2 * SHOWN_MM)
    axes.set_ylabel("mm")
    key(axes, f"Balance and room, up to {SHOWN_MM:g} mm", shaky + own)


def current(axes: Axes, report: Report, marked: list[Marked]) -> None:
    """What is asked of the regulator."""
    t = report.timeline
    most = t.frames.robot.supply.regulator_a
    at = worst_frames(t.rail.amps)
    axes.plot(t.frames.times[at], t.rail.amps[at], color=INK, lw=1.3, label="asked of the regulator")
    axes.axhline(most, color=LIMIT, ls="--", lw=1, label=f"it gives {most:g} A")
    beyond(axes, t.frames.times[at], t.rail.amps[at], np.full(at.size, most))
    axes.set_ylim(0, 1.35 * max(most, float(t.rail.amps.max())))
    axes.set_ylabel("A")
    own = about(marked, "supply-current")
    mark(axes, report, own, t.rail.amps, t.rail.amps)
    key(axes, "Current of all servos and outputs", own)


def voltage(axes: Axes, report: Report, marked: list[Marked]) -> None:
    """At the servos and of the battery."""
    t = report.timeline
    spec, volts = t.frames.robot.supply, t.rail.volts
    least = max(servo.min_v for servo in t.frames.robot.servos)
    at = worst_frames(-volts)
    times = t.frames.times[at]
    axes.plot(times, volts[at], color=INK, lw=1.3, label="at the servos")
    axes.axhline(least, color=LIMIT, ls="--", lw=1, label=f"they need {least:g} V")
    axes.plot(times, t.rail.battery_volts[at], color=SECOND, lw=1.2, ls="-.", label="battery, from nominal")
    axes.axhline(spec.battery_cut_off_v, color=SECOND, ls=":", lw=1.2, label=f"cut-off {spec.battery_cut_off_v:g} V")
    beyond(axes, times, np.full(at.size, least), volts[at])
    low = min(least, float(volts.min()), spec.battery_cut_off_v)
    high = max(float(t.rail.battery_volts.max()), t.set_v)
    axes.set_ylim(low - 0.1 * (high - low) - 0.1, high + 0.15 * (high - low) + 0.1)
    axes.set_ylabel("V")
    own = about(marked, "supply-voltage")
    battery = [m for m in own if m.finding.subject == "battery"]
    mark(axes, report, [m for m in own if m not in battery], -volts, volts)
    mark(axes, report, battery, -t.rail.battery_volts, t.rail.battery_volts)
    key(axes, "Voltage under this load", own)
