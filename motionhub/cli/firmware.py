"""``motionhub firmware``: write the robot's program, ready to build."""

from __future__ import annotations

from pathlib import Path

import click

from motionhub.cli.common import load_robot, open_library, robot_option, sequences_option
from motionhub.cli.group import COMMANDS


@click.command(help=COMMANDS["firmware"])
@robot_option
@sequences_option
@click.option(
    "--out", required=True, type=click.Path(path_type=Path), metavar="DIR",
    help="The folder to write; its name is the program's.",
)  # fmt: skip
def firmware(robot_file: Path | None, folder: Path | None, out: Path) -> None:
    """Load robot and calibration, write the folder whole or not at all."""
    from motionhub.library.sketch import sketch_files, write_sketch

    robot = load_robot(robot_file)
    library = open_library(folder, robot)
    out = out.absolute()
    write_sketch(out, sketch_files(robot, library.calibration(), out.name))
    click.echo(
        f"{out}: {robot.name}, {robot.joints} servos, {len(robot.outputs)} outputs, "
        f"{robot.link.baud} baud on serial port {robot.controller.uart}; README.md there says how to build and load it"
    )
