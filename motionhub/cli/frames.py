"""``motionhub frames``: write a move's joint angles as CSV."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from motionhub.cli.common import load_robot, open_library, robot_option, save, sequences_option, within
from motionhub.cli.group import COMMANDS

if TYPE_CHECKING:
    from motionhub.motion.frames import Frames


@click.command(help=COMMANDS["frames"])
@click.argument("name", metavar="SEQUENCE")
@robot_option
@sequences_option
@click.option(
    "--rate", default="50", show_default=True, callback=within("Hz", 1, 1000), metavar="HZ", help="Frames a second."
)
@click.option("--out", required=True, type=click.Path(path_type=Path), metavar="FILE.csv", help="The CSV to write.")
def frames(name: str, robot_file: Path | None, folder: Path | None, rate: float, out: Path) -> None:
    """Render and write, whole or not at all."""
    from motionhub.cli.moves import find_move

    robot = load_robot(robot_file)
    move = find_move(name, open_library(folder, robot)).frames(rate)
    save(out, csv(move))
    click.echo(f"{out}: {move.name}, {len(move)} frames at {rate:g} Hz")


def csv(move: Frames) -> str:
    """``t_s`` and one column per joint in degrees: times to a nanosecond, angles to a millionth of a degree."""
    import numpy as np

    lines = [",".join(["t_s", *move.robot.joint_names])]
    degrees = np.round(np.rad2deg(move.joints), 6) + 0.0  # + 0.0: no minus in front of a zero
    for time, row in zip(move.times.tolist(), degrees.tolist(), strict=True):
        lines.append(f"{time:.9f}".rstrip("0").rstrip(".") + "," + ",".join(f"{v:.6f}" for v in row))
    return "\n".join(lines) + "\n"
