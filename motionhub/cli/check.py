"""``motionhub check``: say whether moves fit the robot, and what would mend them."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from motionhub.cli.bar import bar
from motionhub.cli.common import load_robot, open_library, robot_option, save, sequences_option, within
from motionhub.cli.group import COMMANDS
from motionhub.errors import InputError

if TYPE_CHECKING:
    from motionhub.check.report import Report
    from motionhub.library.store import Library

RATE_HZ = 50.0
"""Frames a second that moves are checked at: those that the hub sends."""

LONG = 5000
"""Frames from which a check takes long enough to show how far it is."""

MANY = 8
"""Runs of a sequence in a routine from which rendering does: each takes a hand-over to be planned."""


@click.command(help=COMMANDS["check"] + " Exit status 0: all fit, 1: not all, 2: something could not be read.")
@click.argument("names", nargs=-1, metavar="SEQUENCE...")
@robot_option
@sequences_option
@click.option(
    "--supply-v", callback=within("V", 1, 60), metavar="V", help="Set the regulator to this instead of the robot's."
)
@click.option(
    "--battery-v", callback=within("V", 1, 60), metavar="V", help="The battery without load, as measured: not nominal."
)
@click.option(
    "--battery-ohm", callback=within("ohm", 0, 2), metavar="OHM", help="Its resistance, instead of the robot file's."
)
@click.option("--json", "as_json", is_flag=True, help="Print a list of reports as JSON.")
@click.option(
    "--details", type=click.Path(path_type=Path), metavar="FILE.csv", help="Write every frame of one move as CSV."
)
@click.option(
    "--plot",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Draw one move's verdict, to a file that ends in .svg, .png or .html; takes the extra motionhub[plot].",
)
@click.option(
    "--size",
    "sizing",
    is_flag=True,
    help="Say instead what supply all these moves (all of the library if none is named) need together: the smallest "
    "rail voltage and regulator with which they fit, tried in steps of 0.1 V and 0.1 A (with --supply-v, at that "
    "voltage only), and how many runs a battery gives. With --json: an object with the key "
    '"sizing" instead of the list. Exit status 1: no supply does.',
)
@click.pass_context
def check(
    context: click.Context,
    names: tuple[str, ...],
    robot_file: Path | None,
    folder: Path | None,
    supply_v: float | None,
    battery_v: float | None,
    battery_ohm: float | None,
    as_json: bool,
    details: Path | None,
    plot: Path | None,
    sizing: bool,
) -> None:
    """Read all the moves before checking any, so that a misspelt name is known at once."""
    from motionhub.check.details import csv
    from motionhub.check.report import check as verdict_on
    from motionhub.cli.moves import find_move
    from motionhub.link.coder import frame_bytes

    for option, file in (("--details", details), ("--plot", plot)):
        if file is not None and len(names) > 1:
            raise InputError(option, "", f"expected one move to write about, found {len(names)}")
    if plot is not None:
        from motionhub.cli.picture import able

        able(plot)
    robot = load_robot(robot_file).on_supply(supply_v)
    if battery_ohm is not None:
        robot = replace(robot, supply=replace(robot.supply, battery_ohm=battery_ohm))
    library = open_library(folder, robot)
    if not names and not sizing:
        raise InputError("motionhub check", "SEQUENCE", "expected a move, found none")
    moves = [find_move(name, library) for name in names or _sequences(library)]
    if not moves:
        raise InputError("motionhub check", "SEQUENCE", f"expected a move of {robot.name} to size by, found none")
    coder = frame_bytes(robot, library.calibration(), RATE_HZ)
    kept: list[Report] = []
    listed: list[dict[str, object]] = []
    fits = True
    for move in moves:
        if sys.stderr.isatty() and getattr(move.document, "duration_s", 0.0) * RATE_HZ >= LONG:
            click.echo(f"Rendering {move.document.name}", err=True)
        with bar(f"Rendering {move.document.name}", move.runs, move.runs >= MANY) as progress:
            frames = move.frames(RATE_HZ, progress)
        with bar(f"Checking {frames.name}", len(frames), len(frames) >= LONG) as progress:
            report = verdict_on(frames, battery_v=battery_v, frame_bytes=coder, progress=progress)
        if details is not None:
            save(details, "".join(csv(report.timeline)))
        if plot is not None:
            from motionhub.cli.picture import draw

            save(plot, draw(report, plot.suffix.lower()))
        if sizing:
            kept.append(report)
        elif as_json:
            listed.append(report.to_json())
        else:
            from motionhub.cli.verdict import show

            show(report)
        fits = fits and report.fits
    if sizing:
        fits = _size(kept, supply_v, as_json)
    elif as_json:
        click.echo(json.dumps(listed, indent=2, allow_nan=False, ensure_ascii=False))
    if not fits:
        context.exit(1)


def _sequences(library: Library) -> list[str]:
    """All sequences of a library: what is sized when no move is named. A routine is made of them."""
    return [entry.name for entry in library.entries() if entry.kind == "sequence" and not entry.unreadable]


def _size(reports: list[Report], supply_v: float | None, as_json: bool) -> bool:
    """Print what supply the moves need; whether one does."""
    from motionhub.check.sizing import batteries, set_points, size
    from motionhub.cli.supply_needed import show, to_json

    tried = 1 if supply_v is not None else len(set_points(reports[0].timeline.frames.robot))
    long = tried * sum(report.frames for report in reports) >= LONG
    with bar("Trying supplies", tried, long) as progress:
        found = size(reports, supply_v, progress)
    packs = batteries(reports)
    if as_json:
        click.echo(json.dumps({"sizing": to_json(found, packs)}, indent=2, allow_nan=False, ensure_ascii=False))
    else:
        show(found, packs)
    return found.fits
