"""A picture of a verdict: what each joint gives against what it could, the margin, the current and the voltage.

One look has to tell what is wrong, so every finding has a number; it stands in the list at the top with its
words, as a bar over its time, and on the curves that it is about. What is beyond a limit is filled and hatched,
and a panel with an error has a thick frame and a cross in its title: nothing is told by colour alone.

Drawn with Matplotlib, which is an extra (``motionhub[plot]``), and imported only when a picture is asked for.
"""

from __future__ import annotations

import re
from io import BytesIO
from math import ceil
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from motionhub.check.findings import Finding
from motionhub.check.report import Report
from motionhub.cli.picture_marks import BEYOND, INK, Marked
from motionhub.cli.picture_page import page
from motionhub.cli.picture_panels import current, distance, joints, voltage
from motionhub.cli.verdict import PLAIN, number, when
from motionhub.errors import InputError

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Array = NDArray[np.float64]

ENDINGS = (".svg", ".png", ".html")
LINE_IN = 0.36
"""Inches: the words of a line of findings, and under them the bars."""
LISTED = 10
"""Lines of findings, those of a rule in one line; the page and the JSON have all of them one by one."""
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


def _verdict(report: Report) -> str:
    errors = sum(f.severity == "error" for f in report.findings)
    warnings = len(report.findings) - errors
    counted = [f"{n} {word}{'s' if n > 1 else ''}" for n, word in ((errors, "error"), (warnings, "warning")) if n]
    return ("fits" if report.fits else "does not fit") + (f" ({', '.join(counted)})" if counted else "")


def _figure(report: Report) -> Figure:
    from matplotlib.figure import Figure

    robot = report.timeline.frames.robot
    marked = [Marked(i, f) for i, f in enumerate(report.findings, 1)]
    listed = _by_rule(marked)
    rows = 3 + ceil(len(robot.extra) / robot.legs)
    wide = [LINE_IN * min(max(len(listed), 1), LISTED) + 0.1, 0.95, 0.95, 0.95]
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
    over_time, below = halves
    panels = over_time.subplots(len(wide), 1, sharex=True, height_ratios=wide)
    end = max(report.duration_s, 1 / report.timeline.frames.rate_hz)
    panels[0].set_xlim(0.0, end)
    _list(panels[0], report, listed, end)
    for axes, panel in zip(panels[1:], (distance, current, voltage), strict=True):
        panel(axes, report, marked)
    panels[-1].set_xlabel("time (s)", loc="right", labelpad=1)
    joints(below, report, marked, end, rows)
    return figure


def _by_rule(marked: list[Marked]) -> list[list[Marked]]:
    """Findings by one rule together, those of the move apart from those of a stop or a way; the worst first in each."""
    found: dict[tuple[str, str, bool], list[Marked]] = {}
    for m in marked:
        found.setdefault((m.finding.rule, m.finding.severity, bool(m.finding.way)), []).append(m)
    return list(found.values())


def _list(axes: Axes, report: Report, listed: list[list[Marked]], end: float) -> None:
    """The findings by each rule as bars over their times, with the worst one's words above them."""
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
            axes.barh(
                row + 0.26, right - left, left=left, height=0.36, fc=worst.pale, hatch=hatch, ec=worst.colour, lw=0.8
            )
        # Over the bars, and beginning where they do, so that nothing lies on anything.
        start = min(start for start, _ in spans)
        late = start > 0.5 * end
        axes.annotate(
            f"{worst.sign} {describe(worst.finding)}{f'; and {len(marks) - 1} more' if len(marks) > 1 else ''}",
            (max(start + width for start, width in spans) if late else start, row - 0.2),
            va="center",
            ha="right" if late else "left",
            annotation_clip=False,
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
