"""Findings on curves: their numbers, bands and crosses, what is filled beyond a limit, and how curves are thinned."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from motionhub.check.findings import Finding
from motionhub.check.report import Report

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Array = NDArray[np.float64]

POINTS = 700
"""Along a wide curve: about what a screen shows; each is the worst of the frames that it stands for."""
SIGNS = 3
"""Numbers of findings beside the title of a panel; all of them are on its curves."""
INK, LIMIT, SOFT = "#1a1a1a", "#5a5a5a", "#e9e9e4"
SECOND = "#1f5fa8"
BEYOND, WARNING = "#b5301a", "#8a5a00"


@dataclass(frozen=True)
class Marked:
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


def about(marked: list[Marked], *rules: str) -> list[Marked]:
    """Those of the findings that are by these rules."""
    return [m for m in marked if m.finding.rule in rules]


def beyond(axes: Axes, times: Array, more: Array, less: Array) -> None:
    """Fill and hatch where ``more`` is above ``less``: where a limit is broken."""
    if (more > less).any():
        axes.fill_between(
            times, less, more, where=(more > less).tolist(), interpolate=True,
            facecolor="#e8a091", hatch="////", ec=BEYOND, lw=0.8,
        )  # fmt: skip


def mark(axes: Axes, report: Report, own: list[Marked], badness: Array, values: Array, roomy: bool = True) -> None:
    """A band along the top for as long as each finding lasts, and its number, with a cross where it is worst.

    A finding that is about something else than the curve (the mean over a window, or what a stop would lead to)
    gets its number at the band. Where there is no room, only the first, which is the worst, gets more than a band.
    """
    rate = report.timeline.frames.rate_hz
    beside = 0
    for m in own:
        f = m.finding
        axes.axvspan(f.start_s, f.end_s, ymin=0.95, color=m.colour, lw=1.2)
        if not roomy and m is not own[0]:
            continue
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


def title(axes: Axes, words: str, own: list[Marked], size: float, bold: bool, signs: int = SIGNS) -> None:
    """What a panel shows, and the numbers of its findings, so many at most; with an error, a thick frame."""
    numbers = " ".join(m.sign for m in own[:signs]) + (" …" if len(own) > signs else "")
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


def key(axes: Axes, words: str, own: list[Marked]) -> None:
    """Title and key of a wide panel, on one line above it."""
    title(axes, words, own, size=9, bold=True)
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
