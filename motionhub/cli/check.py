"""``motionhub check``: say whether moves fit the robot, and what would mend them."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from motionhub.cli.common import load_robot, open_library, robot_option, save, sequences_option, within
from motionhub.cli.group import COMMANDS
from motionhub.errors import InputError

if TYPE_CHECKING:
    from motionhub.check.timeline import Progress

RATE_HZ = 50.0
"""Frames a second that moves are checked at: those that the hub sends."""

LONG = 5000
"""Frames from which a check takes long enough to show how far it is."""


@click.command(help=COMMANDS["check"] + " Exit status 0: all fit, 1: not all, 2: something could not be read.")
@click.argument("names", nargs=-1, required=True, metavar="SEQUENCE...")
@robot_option
@sequences_option
@click.option(
    "--supply-v", callback=within("V", 1, 60), metavar="V", help="Set the regulator to this instead of the robot's."
)
@click.option("--json", "as_json", is_flag=True, help="Print a list of reports as JSON.")
@click.option(
    "--details", type=click.Path(path_type=Path), metavar="FILE.csv", help="Write every frame of one move as CSV."
)
@click.pass_context
def check(
    context: click.Context,
    names: tuple[str, ...],
    robot_file: Path | None,
    folder: Path | None,
    supply_v: float | None,
    as_json: bool,
    details: Path | None,
) -> None:
    """Read all the moves before checking any, so that a misspelt name is known at once."""
    from motionhub.check.details import csv
    from motionhub.check.report import check as verdict_on
    from motionhub.cli.moves import find_move
    from motionhub.link.coder import frame_bytes

    if details is not None and len(names) > 1:
        raise InputError("--details", "", f"expected one move to write the details of, found {len(names)}")
    robot = load_robot(robot_file)
    library = open_library(folder, robot)
    moves = [find_move(name, library) for name in names]
    coder = frame_bytes(robot, library.calibration(), RATE_HZ)
    reports = []
    for move in moves:
        frames = move.frames(RATE_HZ)
        with _bar(frames.name, len(frames)) as progress:
            report = verdict_on(frames, supply_v=supply_v, frame_bytes=coder, progress=progress)
        if details is not None:
            save(details, "".join(csv(report.timeline)))
        reports.append(report.to_json() if as_json else report)
        if not as_json:
            from motionhub.cli.verdict import show

            show(report)
        context.meta["fits"] = context.meta.get("fits", True) and report.fits
    if as_json:
        click.echo(json.dumps(reports, indent=2, allow_nan=False, ensure_ascii=False))
    if not context.meta["fits"]:
        context.exit(1)


@contextmanager
def _bar(name: str, frames: int) -> Iterator[Progress | None]:
    """A progress bar on stderr for a long move, where someone is looking."""
    if frames < LONG or not sys.stderr.isatty():
        yield None
        return
    with click.progressbar(length=frames, label=f"Checking {name}", file=sys.stderr) as bar:
        yield lambda done, _of: bar.update(done - bar.pos)
