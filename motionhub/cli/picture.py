"""A picture of a verdict: what each joint gives against what it could, the margin, the current and the voltage.

One look has to tell what is wrong, so every finding has a number; it stands in the list at the top with its
words, as a bar over its time, and on the curves that it is about. What is beyond a limit is filled and hatched,
and a panel with an error has a thick frame and a cross in its title: nothing is told by colour alone.

Drawn with Matplotlib, which is an extra (``motionhub[plot]``), and imported only when a picture is asked for.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from io import BytesIO
from itertools import pairwise
from math import ceil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from motionhub.check.findings import Finding
from motionhub.check.report import Report
from motionhub.check.rules_ground import CLEAR
from motionhub.cli.picture_page import page
from motionhub.cli.verdict import PLAIN, number, when
from motionhub.errors import InputError

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Array = NDArray[np.float64]

ENDINGS = (".svg", ".png", ".html")
POINTS = 700
"""Along a wide curve: about what a screen shows; each is the worst of the frames that it stands for."""
JOINT_POINTS = 240
"""The same for a joint's small panel."""
LISTED = 10
"""Lines of findings, those of a rule in one line; the page and the JSON have all of them one by one."""
SIGNS = 3
"""Numbers of findings beside the title of a panel; all of them are on its curves."""
SHOWN_MM = 60.0
"""Distances beyond this are drawn as this: what matters happens near their limits."""
WIDTH_IN = 13.2
DPI = 100
STYLE: dict[Any, Any] = {
    "font.family": ["DejaVu Sans", "sans-serif"],
    "font.size": 9.0,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "grid.color": "#d8d8d8",
    "grid.linewidth": 0.6,
    "axes.titlesize": 9.0,
    "axes.titlelocation": "left",
    "hatch.linewidth": 0.8,
    # Letters stay letters: they can be searched, and read aloud.
    "svg.fonttype": "none",
    # The same move gives the same file.
    "svg.hashsalt": "motionhub",
    # A dollar sign in a name is a dollar sign.
    "text.parse_math": False,
}
INK, LIMIT, SOFT = "#1a1a1a", "#5a5a5a", "#e9e9e4"
SECOND = "#1f5fa8"
BEYOND, WARNING = "#b5301a", "#8a5a00"

JOINT_RULES = ("joint-range", "joint-speed", "joint-torque", "holding-torque")
"""Marked on the panel of the joint that they are about."""


def able(path: Path) -> None:
    """Make sure, before any work is done, that a picture can be drawn to ``path``.

    Raises:
        InputError: Its ending says no kind of picture, or the library is not installed.
    """
    if path.suffix.lower() not in ENDINGS:
        raise InputError("--plot", str(path), f"expected a file that ends in {', '.join(ENDINGS[:-1])} or .html")
    try:
        import matplotlib  # noqa: F401
    except ImportError:
        raise InputError("--plot", "", "expected Matplotlib, which draws it: pip install 'motionhub[plot]'") from None


def draw(report: Report, kind: str) -> bytes:
    """The picture of a report as the content of a file.

    Args:
        report: The verdict.
        kind: Its ending: ``.svg``, ``.png`` or ``.html``.
    """
    import matplotlib

    with matplotlib.rc_context(STYLE):
        figure = _figure(report)
        out = BytesIO()
        words = f"{report.sequence} on {report.robot}: {_verdict(report)}"
        if kind == ".png":
            figure.savefig(out, format="png", dpi=DPI, metadata={"Title": words, "Software": None})
            return out.getvalue()
        figure.savefig(out, format="svg", metadata={"Title": words, "Date": None, "Creator": None})
    svg = _renumbered(out.getvalue().decode())
    return (svg if kind == ".svg" else page(report, words, svg)).encode()


def _renumbered(svg: str) -> str:
    """The same, with clip paths numbered in order: Matplotlib names some after where they are in memory."""
    names: dict[str, str] = {}
    for name in re.findall(r"url\(#(p[0-9a-f]{10})\)", svg):
        names.setdefault(name, f"clip{len(names) + 1}")
    return re.sub(r"\bp[0-9a-f]{10}\b", lambda found: names.get(found[0], found[0]), svg)


@dataclass(frozen=True)
class _Marked:
    """A finding and the number that it goes by in the picture."""

    number: int
    finding: Finding

    @property
    def sign(self) -> str:
        """Its number, and a cross for an error or an exclamation mark for a warning."""
        return f"{self.number}{'✗' if self.finding.severity == 'error' else '!'}"

    @property
    def colour(self) -> str:
        """Of its mark."""
        return BEYOND if self.finding.severity == "error" else WARNING

    @property
    def pale(self) -> str:
        """Of its bar, for words to lie on."""
        return "#f6d5cd" if self.finding.severity == "error" else "#f3e3c0"


def _verdict(report: Report) -> str:
    errors = sum(f.severity == "error" for f in report.findings)
    warnings = len(report.findings) - errors
    counted = [f"{n} {word}{'s' if n > 1 else ''}" for n, word in ((errors, "error"), (warnings, "warning")) if n]
    return ("fits" if report.fits else "does not fit") + (f" ({', '.join(counted)})" if counted else "")


def _figure(report: Report) -> Figure:
    from matplotlib.figure import Figure

    robot = report.timeline.frames.robot
    marked = [_Marked(i, f) for i, f in enumerate(report.findings, 1)]
    listed = _by_rule(marked)
    rows = 3 + ceil(len(robot.extra) / robot.legs)
    wide = [0.24 * min(max(len(listed), 1), LISTED) + 0.1, 0.95, 0.95, 0.95]
    heights = [sum(wide) + 1.5, 0.86 * rows + 0.5]
    figure = Figure(figsize=(WIDTH_IN, sum(heights) + 0.4), layout="constrained")
    figure.suptitle(
        f"{'' if report.fits else '✗ '}{report.sequence} on {report.robot} {_verdict(report)}",
        x=0.01,
        ha="left",
        fontsize=14,
        fontweight="bold",
        color=INK if report.fits else BEYOND,
    )
    halves: Any = figure.subfigures(2, 1, height_ratios=heights)
    over_time, joints = halves
    panels = over_time.subplots(len(wide), 1, sharex=True, height_ratios=wide)
    end = max(report.duration_s, 1 / report.timeline.frames.rate_hz)
    panels[0].set_xlim(0.0, end)
    _list(panels[0], report, listed, end)
    for axes, panel in zip(panels[1:], (_distance, _current, _voltage), strict=True):
        panel(axes, report, marked)
    panels[-1].set_xlabel("time (s)", loc="right", labelpad=1)
    _joints(joints, report, marked, end, rows)
    return figure


def _by_rule(marked: list[_Marked]) -> list[list[_Marked]]:
    """Findings by one rule together, those of the move apart from those of a stop or a way; the worst first in each."""
    found: dict[tuple[str, str, bool], list[_Marked]] = {}
    for m in marked:
        found.setdefault((m.finding.rule, m.finding.severity, bool(m.finding.way)), []).append(m)
    return list(found.values())


def _list(axes: Axes, report: Report, listed: list[list[_Marked]], end: float) -> None:
    """The findings by each rule as bars over their times, with the worst one's words beside them."""
    axes.grid(axis="y", visible=False)
    axes.spines[["left", "bottom"]].set_visible(False)
    axes.tick_params(axis="x", length=0)
    axes.set_yticks([])
    if not listed:
        axes.text(0.5, 0.5, "nothing to mend", transform=axes.transAxes, ha="center", va="center")
        return
    more = sum(map(len, listed[LISTED:]))
    listed = listed[:LISTED]
    axes.set_title(f"What is wrong, and when; worst first{f' ({more} more)' if more else ''}", fontweight="bold")
    axes.set_ylim(len(listed) - 0.5, -0.5)
    for row, marks in enumerate(listed):
        worst, hatch = marks[0], "////" if marks[0].finding.severity == "error" else "...."
        spans = []
        for f in (m.finding for m in marks):
            width = max(f.end_s - f.start_s, end / 300)
            spans.append((min(f.start_s, end - width), width))
        # One bar where they overlap: several on top of each other hatch it black.
        for left, right in _joined(spans):
            axes.barh(row, right - left, left=left, height=0.72, fc=worst.pale, hatch=hatch, ec=worst.colour, lw=0.8)
        left = min(start for start, _ in spans)
        width = max(start + wide for start, wide in spans) - left
        # Beside the bar where there is room for a line of words, else on it.
        before, after = left > 0.5 * end, left + width < 0.55 * end
        x, side, gap = (left + width, "left", 4) if after else (left, "right", -4) if before else (left, "left", 4)
        axes.annotate(
            f"{worst.sign} {describe(worst.finding)}{f'; and {len(marks) - 1} more' if len(marks) > 1 else ''}",
            (x, row),
            xytext=(gap, 0),
            textcoords="offset points",
            va="center",
            ha=side,
            bbox=None if after or before else {"facecolor": "white", "edgecolor": "none", "pad": 0.8},
        )


def _joined(spans: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Spans (start, width), as (start, end), those that overlap as one."""
    found: list[tuple[float, float]] = []
    for start, width in sorted(spans):
        if found and start <= found[-1][1]:
            found[-1] = found[-1][0], max(found[-1][1], start + width)
        else:
            found.append((start, start + width))
    return found


def describe(f: Finding) -> str:
    """A finding in a line, in the words of the table in the terminal."""
    subject = f"{f.subject} " if f.subject else ""
    at = f.way or when(f)
    return f"{subject}{PLAIN[f.rule]} ({f.rule}), {at}: {number(f.value)} {f.unit}, limit {number(f.limit)}"


def _joints(place: Any, report: Report, marked: list[_Marked], end: float, rows: int) -> None:
    """One small panel a joint: legs side by side, coxa, femur and tibia below one another, the others last."""
    robot = report.timeline.frames.robot
    place.suptitle(
        "Torque of each servo (N·m) over time (s): what the move asks of it (line), and what it has at that speed and "
        "voltage (dashed; dotted: for long)",
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


def _joint(axes: Axes, report: Report, j: int, own: list[_Marked]) -> None:
    t = report.timeline
    servo = t.frames.robot.servos[j]
    torque = np.where(t.standing, np.abs(t.torques[:, j]), np.nan)
    available = servo.torque_available(np.abs(t.speeds[:, j]), t.rail.steady_volts)
    at = worst_frames(torque - available, JOINT_POINTS)
    times = t.frames.times[at]
    axes.fill_between(times, 0, available[at], color=SOFT, lw=0)
    axes.plot(times, available[at], color=LIMIT, lw=0.8, ls=(0, (3, 1.5)))
    axes.plot(times, torque[at], color=INK, lw=1.1)
    _beyond(axes, times, torque[at], available[at])
    if any(m.finding.rule == "holding-torque" for m in own):
        held = servo.hold_fraction * servo.stall_torque_at(t.rail.steady_volts[at])
        axes.plot(times, held, color=WARNING, lw=1.2, ls=":")
    most = max(float(servo.stall_torque_at(t.set_v)), float(np.nanmax(torque, initial=0.0)))
    axes.set_ylim(0, 1.3 * most)
    axes.tick_params(labelsize=7, length=2)
    axes.locator_params(axis="y", nbins=3)
    axes.locator_params(axis="x", nbins=5)
    # No room for numbers beside the curve: those are in the title.
    _mark(axes, report, own, torque - available, torque, roomy=False)
    _title(axes, t.frames.robot.joint_names[j], own, size=8, bold=bool(own))


def _distance(axes: Axes, report: Report, marked: list[_Marked]) -> None:
    t = report.timeline
    least, gap = t.frames.robot.walk.margin * 1e3, CLEAR * 1e3
    margin, clearance = np.minimum(t.margin * 1e3, SHOWN_MM), np.minimum(t.clearance * 1e3, SHOWN_MM)
    at = worst_frames(-margin)
    times = t.frames.times
    axes.plot(times[at], margin[at], color=INK, lw=1.3, label="weight inside the feet (stability margin)")
    axes.axhline(least, color=LIMIT, ls="--", lw=1, label=f"at least {least:g} mm")
    _beyond(axes, times[at], np.full(at.size, least), margin[at])
    if np.isfinite(t.clearance).all():
        at = worst_frames(-clearance)
        axes.plot(
            times[at], clearance[at], color=SECOND, lw=1.2, ls="-.", label="smallest gap between parts (clearance)"
        )
        axes.axhline(gap, color=SECOND, ls=":", lw=1, label=f"at least {gap:g} mm")
        _beyond(axes, times[at], np.full(at.size, gap), clearance[at])
        _mark(axes, report, own := _about(marked, "clearance"), -clearance, clearance)
    else:
        own = []
    _mark(axes, report, shaky := _about(marked, "stability", "tip-over"), -margin, margin)
    low = min(float(margin.min()), float(clearance.min()), 0.0)
    axes.set_ylim(low - 6, 1.2 * SHOWN_MM)
    axes.set_ylabel("mm")
    _key(axes, f"Balance and room, up to {SHOWN_MM:g} mm", shaky + own)


def _current(axes: Axes, report: Report, marked: list[_Marked]) -> None:
    t = report.timeline
    most = t.frames.robot.supply.regulator_a
    at = worst_frames(t.rail.amps)
    axes.plot(t.frames.times[at], t.rail.amps[at], color=INK, lw=1.3, label="asked of the regulator")
    axes.axhline(most, color=LIMIT, ls="--", lw=1, label=f"it gives {most:g} A")
    _beyond(axes, t.frames.times[at], t.rail.amps[at], np.full(at.size, most))
    axes.set_ylim(0, 1.2 * max(most, float(t.rail.amps.max())))
    axes.set_ylabel("A")
    own = _about(marked, "supply-current")
    _mark(axes, report, own, t.rail.amps, t.rail.amps)
    _key(axes, "Current of all servos and outputs", own)


def _voltage(axes: Axes, report: Report, marked: list[_Marked]) -> None:
    t = report.timeline
    spec, volts = t.frames.robot.supply, t.rail.volts
    least = max(servo.min_v for servo in t.frames.robot.servos)
    at = worst_frames(-volts)
    times = t.frames.times[at]
    axes.plot(times, volts[at], color=INK, lw=1.3, label="at the servos")
    axes.axhline(least, color=LIMIT, ls="--", lw=1, label=f"they need {least:g} V")
    axes.plot(times, t.rail.battery_volts[at], color=SECOND, lw=1.2, ls="-.", label="battery, from nominal")
    axes.axhline(spec.battery_cut_off_v, color=SECOND, ls=":", lw=1.2, label=f"cut-off {spec.battery_cut_off_v:g} V")
    _beyond(axes, times, np.full(at.size, least), volts[at])
    low = min(least, float(volts.min()), spec.battery_cut_off_v)
    high = max(float(t.rail.battery_volts.max()), t.set_v)
    axes.set_ylim(low - 0.1 * (high - low) - 0.1, high + 0.15 * (high - low) + 0.1)
    axes.set_ylabel("V")
    own = _about(marked, "supply-voltage")
    battery = [m for m in own if m.finding.subject == "battery"]
    _mark(axes, report, [m for m in own if m not in battery], -volts, volts)
    _mark(axes, report, battery, -t.rail.battery_volts, t.rail.battery_volts)
    _key(axes, "Voltage under this load", own)


def _about(marked: list[_Marked], *rules: str) -> list[_Marked]:
    return [m for m in marked if m.finding.rule in rules]


def _beyond(axes: Axes, times: Array, more: Array, less: Array) -> None:
    """Fill and hatch where ``more`` is above ``less``: where a limit is broken."""
    if (more > less).any():
        axes.fill_between(
            times, less, more, where=(more > less).tolist(), interpolate=True,
            facecolor="#e8a091", hatch="////", ec=BEYOND, lw=0.8,
        )  # fmt: skip


def _mark(axes: Axes, report: Report, own: list[_Marked], badness: Array, values: Array, roomy: bool = True) -> None:
    """A band along the top for as long as each finding lasts, and its number, with a cross where it is worst.

    A finding that is about something else than the curve (the mean over a window, or what a stop would lead to)
    gets its number at the band, if there is room.
    """
    rate = report.timeline.frames.rate_hz
    beside = 0
    for m in own:
        f = m.finding
        axes.axvspan(f.start_s, f.end_s, ymin=0.95, color=m.colour, lw=1.2)
        first, last = round(f.start_s * rate), round(f.end_s * rate)
        part = badness[first : last + 1]
        i = first + (int(np.nanargmax(part)) if np.isfinite(part).any() else 0)
        on_curve = not f.way and bool(np.isclose(abs(values[i]), abs(f.value), rtol=0.01))
        if on_curve:
            axes.plot(i / rate, values[i], "x", color=m.colour, ms=7, mew=2)
        elif not roomy:
            continue
        beside += not on_curve
        aside = 5 if on_curve else 16 * beside - 11
        left = i > 0.9 * len(badness)
        axes.annotate(
            str(m.number),
            (i / rate, values[i] if on_curve else 0.92),
            xycoords="data" if on_curve else axes.get_xaxis_transform(),
            xytext=(-aside if left else aside, 4 if on_curve else 0),
            textcoords="offset points",
            ha="right" if left else "left",
            va="bottom" if on_curve else "top",
            color=m.colour,
            fontweight="bold",
            fontsize=8,
            bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.4},
        )


def _title(axes: Axes, words: str, own: list[_Marked], size: float, bold: bool) -> None:
    """What a panel shows, and the numbers of its findings; with an error, a thick frame."""
    numbers = " ".join(m.sign for m in own[:SIGNS]) + (" …" if len(own) > SIGNS else "")
    axes.set_title(
        f"{words}   {numbers}" if own else words,
        fontsize=size,
        pad=3,
        fontweight="bold" if bold else "normal",
        color=own[0].colour if own else INK,
    )
    if any(m.finding.severity == "error" for m in own):
        for spine in axes.spines.values():
            spine.set(visible=True, linewidth=2.0, color=BEYOND)


def _key(axes: Axes, words: str, own: list[_Marked]) -> None:
    """Title and key of a wide panel, on one line above it."""
    _title(axes, words, own, size=9, bold=True)
    axes.legend(loc="lower right", bbox_to_anchor=(1.0, 0.98), ncols=4, frameon=False, fontsize=8, borderaxespad=0.1)


def worst_frames(badness: Array, points: int = POINTS) -> NDArray[np.intp]:
    """At most ``points`` frames of T, rising, that stand for all: the worst of each stretch of equal length.

    The first and the last are always among them, so that a curve has its whole length.

    Args:
        badness: (T,) what is greatest in the frame that matters most; NaN counts as nothing.
        points: How many.
    """
    count = len(badness)
    if count <= points:
        return np.arange(count)
    known = np.where(np.isnan(badness), -np.inf, badness)
    edges = np.linspace(0, count, points - 1).round().astype(np.intp)
    worst = [int(a + np.argmax(known[a:b])) for a, b in pairwise(edges)]
    return np.unique(np.array([0, *worst, count - 1], dtype=np.intp))
