"""The answer of ``motionhub check --size``: what supply some moves need, for people and as JSON."""

from __future__ import annotations

from collections.abc import Sequence

from rich.console import Console
from rich.table import Table
from rich.text import Text

from motionhub.check.findings import Finding
from motionhub.check.rules_supply import MAH
from motionhub.check.sizing import OnOnePack, SetPoint, Sizing
from motionhub.cli.verdict import PLAIN, number


def to_json(found: Sizing, packs: Sequence[OnOnePack]) -> dict[str, object]:
    """The object under ``sizing``: finite numbers, strings, lists and maps."""
    return {
        "robot": found.robot,
        "sequences": list(found.sequences),
        "fits": found.fits,
        "smallest": _point(found.smallest),
        "least_current": _point(found.least_current),
        "own": {**_set_point(found.own), "regulator_a": found.own_regulator_a},
        "words": advice(found),
        "set_points": [_set_point(point) for point in found.set_points],
        "no_supply_mends": [_failing(name, finding) for name, finding in found.beyond],
        "battery": [
            {
                "sequence": pack.sequence,
                "charge_mah": pack.pack.charge_c / MAH,
                "runs_usable": pack.pack.usable_runs,
                "runs_fitting": pack.fitting_runs,
                "runs_to_cut_off": pack.pack.runs,
            }
            for pack in packs
        ],
    }


def advice(found: Sizing) -> list[str]:
    """What to set the regulator to and what it has to deliver, in words: the same in a terminal and on a phone."""
    small, least, own = found.smallest, found.least_current, found.own
    words = []
    if small is not None and least is not None:
        words.append(f"Set the regulator to {small.rail_v:.1f} V; it has to deliver {small.regulator_a:.1f} A")
        if least.regulator_a != small.regulator_a:
            words.append(f"It takes the least current at {least.rail_v:.1f} V: {least.regulator_a:.1f} A")
    else:
        last = found.set_points[-1]
        still = _reason(*last.failing[0])
        words.append(f"No voltage that the servos take is enough; at {last.rail_v:.1f} V there is still: {still}")
    answer = "enough" if own.fits else f"not enough: {_reason(*own.failing[0])}"
    words.append(f"As described, it is set to {own.rail_v:.1f} V and delivers {found.own_regulator_a:.1f} A: {answer}")
    return [*words, *(f"No supply mends: {_reason(name, finding)}" for name, finding in found.beyond)]


def _point(point: SetPoint | None) -> dict[str, object] | None:
    return None if point is None else {"rail_v": point.rail_v, "regulator_a": point.regulator_a}


def _set_point(point: SetPoint) -> dict[str, object]:
    return {
        "rail_v": point.rail_v,
        "regulator_a": point.regulator_a,
        "fits": point.fits,
        "whole_check": point.whole_check,
        "failing": [_failing(name, finding) for name, finding in point.failing],
    }


def _failing(sequence: str, f: Finding) -> dict[str, object]:
    return {
        "sequence": sequence,
        "rule": f.rule,
        "subject": f.subject,
        "value": f.value,
        "limit": f.limit,
        "unit": f.unit,
    }


def show(found: Sizing, packs: Sequence[OnOnePack], console: Console | None = None) -> None:
    """Print what supply the moves need."""
    console = console or Console(highlight=False)
    names = ", ".join(found.sequences) if len(found.sequences) <= 3 else f"{len(found.sequences)} moves"
    console.print(Text.assemble("Supply for ", (names, "bold"), f" on {found.robot}"))
    for i, line in enumerate(advice(found)):
        console.print(Text(f"  {line}", style=("bold green" if found.smallest else "bold red") if i == 0 else ""))
    console.print(_set_points(found))
    if any(point.fits and not point.whole_check for point in found.set_points):
        console.print(
            "  at least: this is for the moves alone. Ways to and from them, and stops, may\n"
            "  take more; they are in the other answers, and in any with --supply-v V."
        )
    console.print(_batteries(packs))


def _set_points(found: Sizing) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 2), pad_edge=False, show_edge=False)
    table.add_column("rail", justify="right")
    table.add_column("regulator", justify="right")
    table.add_column("what still fails with any regulator", overflow="fold")
    for first, last in _alike(found.set_points):
        more = f" (and {len(first.failing) - 1} more)" if len(first.failing) > 1 else ""
        table.add_row(
            f"{first.rail_v:.1f} V" if first is last else f"{first.rail_v:.1f}-{last.rail_v:.1f} V",
            _regulator(first),
            Text(_reason(*first.failing[0]) + more if first.failing else ""),
        )
    return table


def _regulator(point: SetPoint) -> str:
    if point.regulator_a is None:
        return "-"
    return f"{point.regulator_a:.1f} A" if point.whole_check else f"at least {point.regulator_a:.1f} A"


def _alike(points: Sequence[SetPoint]) -> list[tuple[SetPoint, SetPoint]]:
    """First and last of each run of set-points with the same answer; those that fail, one by one."""
    runs: list[tuple[SetPoint, SetPoint]] = []
    for point in points:
        if runs and point.fits and _regulator(runs[-1][1]) == _regulator(point):
            runs[-1] = (runs[-1][0], point)
        else:
            runs.append((point, point))
    return runs


def _batteries(packs: Sequence[OnOnePack]) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 2), pad_edge=False, show_edge=False)
    for title in ("one full battery", "a run", "runs to 80 %", "while it fits", "to cut-off"):
        table.add_column(title, justify="left" if title == "one full battery" else "right")
    for pack in packs:
        table.add_row(
            Text(pack.sequence),
            f"{number(pack.pack.charge_c / MAH)} mAh",
            str(pack.pack.usable_runs),
            str(pack.fitting_runs),
            str(pack.pack.runs),
        )
    return table


def _reason(sequence: str, f: Finding) -> str:
    where = f"{f.subject} in {sequence}" if f.subject else sequence
    where += f" ({f.way})" if f.way else ""
    return f"{PLAIN[f.rule]} ({f.rule}): {where}, {number(f.value)} {f.unit}, limit {number(f.limit)}"
