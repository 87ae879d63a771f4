"""A report for people: one screen, worst first, in plain words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from motionhub.check.discharge import USABLE, discharge
from motionhub.check.findings import Finding
from motionhub.check.margins import Closeness, closest
from motionhub.check.report import Report
from motionhub.check.rules_supply import MAH

MOST = 12
"""Findings shown, those alike as one; the rest are counted, and all are in the JSON."""

PLAIN = {
    "joint-range": "turns too far",
    "reach": "out of reach",
    "joint-speed": "too fast",
    "joint-torque": "too heavy",
    "holding-torque": "too heavy for long",
    "supply-current": "too much current",
    "supply-voltage": "voltage",
    "stability": "shaky",
    "tip-over": "falls over",
    "clearance": "knocks together",
    "ground": "hits the ground",
    "foot-slip": "drags a foot",
    "link-rate": "too much for the radio",
    "charge": "too much for the battery",
}
"""What each rule means when it is broken."""


def show(report: Report, console: Console | None = None) -> None:
    """Print a report."""
    console = console or Console(highlight=False)
    verdict = Text("fits" if report.fits else "does not fit", style="bold green" if report.fits else "bold red")
    console.print(
        Text.assemble((report.sequence, "bold"), ": ", verdict, f" {report.robot} ({report.duration_s:.1f} s)")
    )
    alike = together(report.findings)
    for findings in alike[:MOST]:
        _show_finding(findings, console)
    if (more := sum(map(len, alike[MOST:]))) > 0:
        console.print(f"  and {more} more; --json has them all")
    if report.fits:
        console.print(_closest(closest(report)))
    console.print(f"  {lag(report)}")
    console.print(f"  {battery(report)}")
    if report.not_checked:
        console.print(f"  not checked: {', '.join(report.not_checked)}")


def lag(report: Report) -> str:
    """How late the audience sees it, in a line."""
    names, lags = report.timeline.frames.robot.joint_names, report.timeline.lags
    j = max(range(len(lags)), key=lambda i: lags[i].most)
    if np.rad2deg(lags[j].most) < 0.1:
        return "servos: nothing moves far enough to be late"
    return (
        f"servos: seen some {lags[j].delay_s * 1e3:.0f} ms late; {names[j]} is behind most, "
        f"by {number(np.rad2deg(lags[j].most))} deg"
    )


def battery(report: Report) -> str:
    """How far one full battery goes with this move, in a line."""
    spec = report.timeline.frames.robot.supply
    pack = discharge(report.timeline)
    return (
        f"battery: {number(pack.charge_c / MAH)} mAh a run; {pack.usable_runs} runs take {USABLE:.0%} of a full one, "
        f"{pack.runs} take it to its cut-off ({spec.battery_cut_off_v:g} V)"
    )


def together(findings: Sequence[Finding]) -> list[list[Finding]]:
    """Findings that differ in nothing but the joint or leg, such as six knees at a time, the worst of each first."""
    found: dict[tuple[object, ...], list[Finding]] = {}
    for f in findings:
        what = f.advice.replace(f.subject, "") if f.subject else f.advice
        found.setdefault((f.rule, f.severity, when(f), number(f.value), what), []).append(f)
    return list(found.values())


def _show_finding(alike: list[Finding], console: Console) -> None:
    """What is wrong, where, when and by how much on a line; under it what would mend it. Reads well at 80 columns."""
    f, *others = alike
    mark = ("✗ ", "red") if f.severity == "error" else ("! ", "yellow")
    place = f"{f.subject} and {len(others)} more, " if others else f"{f.subject}, " if f.subject else ""
    # Who rolls over an edge is on it, neither inside nor outside: there is no number to say.
    numberless = f.value == f.limit
    by_how_much = "" if numberless else f", {number(f.value)} {f.unit}"
    limit = "" if numberless else f"limit {number(f.limit)}, "
    console.print(
        Text.assemble(
            mark,
            (PLAIN[f.rule], "bold"),
            f": {place}{when(f)}{by_how_much} ",
            (f"({limit}{f.rule})", "dim"),
        )
    )
    console.print(Padding(Text(f.advice), (0, 0, 0, 4)))


def _closest(margins: list[Closeness]) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 2), pad_edge=False, show_edge=False)
    for title in ("closest to a limit", "where", "worst", "limit"):
        table.add_column(title)
    for m in margins:
        share = f"{m.used:.0%} of it" if m.used is not None else ""
        table.add_row(m.rule, m.subject or "", f"{number(m.value)} {m.unit}", f"{number(m.limit)} {m.unit}  {share}")
    return table


def when(finding: Finding) -> str:
    """``1.2-3.4 s``, with as many digits as tell the ends apart."""
    if finding.end_s - finding.start_s < 0.005:
        return f"{finding.start_s:.2f} s"
    return (
        f"{finding.start_s:.1f}-{finding.end_s:.1f} s"
        if finding.end_s - finding.start_s >= 1
        else (f"{finding.start_s:.2f}-{finding.end_s:.2f} s")
    )


def number(value: float) -> str:
    """Three digits or so, without an exponent."""
    size = abs(value)
    return f"{value:.0f}" if size >= 100 else f"{value:.1f}" if size >= 10 else f"{value:.2f}"
