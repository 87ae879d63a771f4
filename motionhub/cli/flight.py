"""``motionhub flight``: what happened in the minute before a fault, in words and curves."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

from motionhub.cli.common import load_robot, open_library, robot_option, save, sequences_option
from motionhub.cli.group import COMMANDS
from motionhub.errors import InputError

if TYPE_CHECKING:
    from motionhub.library.flight import Flight


@click.command(help=COMMANDS["flight"] + " Exit status 0: shown, 1: nothing was recorded yet, 2: unreadable.")
@click.argument("name", required=False, default="", metavar="[NAME]")
@robot_option
@sequences_option
@click.option("--list", "listing", is_flag=True, help="The names of what was kept of faults, newest first.")
@click.option("--json", "as_json", is_flag=True, help="Print happenings and curves as JSON.")
@click.option("--out", type=click.Path(path_type=Path), metavar="FILE.svg", help="Draw the curves.")
@click.pass_context
def flight(
    context: click.Context,
    name: str,
    robot_file: Path | None,
    folder: Path | None,
    listing: bool,
    as_json: bool,
    out: Path | None,
) -> None:
    """Without NAME, the show that runs or ran last."""
    from motionhub.library.flight import Shelf, last

    shelf = Shelf(open_library(folder, load_robot(robot_file)).folder)
    if out is not None and out.suffix.lower() != ".svg":
        raise InputError("--out", str(out), "expected a name that ends in .svg")
    if listing:
        for kept in shelf.names():
            click.echo(kept)
        if not shelf.names():
            _nothing(context, "No fault has been kept yet.")
        return
    if not name and not any(path.exists() for path in shelf.halves):
        _nothing(context, "Nothing has been recorded yet: the hub records whenever it runs.")
    found = last(shelf.read(name))
    if out is not None:
        from motionhub.library.flight_picture import svg

        save(out, svg(found))
    click.echo(json.dumps(_json(found), ensure_ascii=False, allow_nan=False) if as_json else _text(found))


def _nothing(context: click.Context, words: str) -> None:
    click.echo(words)
    context.exit(1)


def _text(found: Flight) -> str:
    from motionhub.library.flight_words import story, summary

    lines = [*summary(found), "", *(_line(name, values.tolist()) for name, values in found.curves.items()), ""]
    lines += [f"{found.clock(h.t_s)}  {'! ' if h.kind == 'fault' else '  '}{h.text}" for h in story(found)]
    return "\n".join(lines)


BARS = "▁▂▃▄▅▆▇█"
WIDTH = 48


def _line(name: str, values: list[float]) -> str:
    """A curve in one line of text, its ends in numbers."""
    known = [v for v in values if math.isfinite(v)]
    if not known:
        return f"{name:<14} not known"
    low, high = min(known), max(known)
    step = max(len(values) / WIDTH, 1.0)
    drawn = ""
    for i in range(min(WIDTH, len(values))):
        part = [v for v in values[int(i * step) : max(int((i + 1) * step), int(i * step) + 1)] if math.isfinite(v)]
        share = 0.0 if high <= low else (max(part, default=low) - low) / (high - low)
        drawn += BARS[round(share * (len(BARS) - 1))] if part else " "
    return f"{name:<14} {drawn:<{WIDTH}} {low:.4g} to {high:.4g}"


def _json(found: Flight) -> dict[str, object]:
    from motionhub.library.flight_words import story, summary

    return {
        "robot": found.robot,
        "fault": found.fault.text if found.fault else None,
        "summary": summary(found),
        "happenings": [{"t_s": h.t_s, "at": found.clock(h.t_s), "kind": h.kind, "text": h.text} for h in story(found)],
        "t_s": found.times.tolist(),
        "curves": {
            name: [v if math.isfinite(v) else None for v in values.tolist()] for name, values in found.curves.items()
        },
        "joint_t_s": found.joint_times.tolist(),
        "joints_deg": {name: found.joints[:, j].tolist() for j, name in enumerate(found.joint_names)},
    }
