"""``motionhub sheet``: the wiring on a page to print."""

from __future__ import annotations

from pathlib import Path

import click

from motionhub.cli.common import load_robot, open_library, robot_option, save, sequences_option
from motionhub.cli.group import COMMANDS
from motionhub.errors import InputError


@click.command(help=COMMANDS["sheet"])
@robot_option
@sequences_option
@click.option("--out", required=True, type=click.Path(path_type=Path), metavar="FILE.html", help="The page to write.")
def sheet(robot_file: Path | None, folder: Path | None, out: Path) -> None:
    """With plugs and directions as they were found, where the robot has been brought up."""
    from motionhub.robot.wiring_sheet import page

    if out.suffix.lower() not in (".html", ".htm"):
        raise InputError("--out", str(out), "expected a name that ends in .html")
    robot = load_robot(robot_file)
    save(out, page(robot, open_library(folder, robot).calibration()))
    click.echo(f"{out}: open it in a browser, and print it")
