"""``motionhub urdf``: write the robot as URDF."""

from __future__ import annotations

from pathlib import Path

import click

from motionhub.cli.common import load_robot, robot_option
from motionhub.cli.group import COMMANDS
from motionhub.errors import InputError


@click.command(help=COMMANDS["urdf"])
@robot_option
@click.option("--out", required=True, type=click.Path(path_type=Path), metavar="FILE", help="The URDF to write.")
def urdf(robot_file: Path | None, out: Path) -> None:
    """Load the robot, write its URDF whole or not at all."""
    from motionhub.library.atomic import write_text
    from motionhub.robot.urdf import export

    robot = load_robot(robot_file)
    try:
        write_text(out, export(robot))
    except OSError as error:
        # The library names its temporary file; the user named this one.
        reason = (error.strerror or str(error)).lower()
        raise InputError("--out", str(out), f"expected a file that can be written, found: {reason}") from None
    click.echo(f"{out}: {robot.name}, {robot.legs} legs, {robot.joints} joints, {robot.mass:.2f} kg")
