"""``motionhub retime``: write a move again with timing that fits the robot."""

from __future__ import annotations

from pathlib import Path

import click

from motionhub.cli.common import load_robot, open_library, robot_option, save, sequences_option, within
from motionhub.cli.group import COMMANDS


@click.command(help=COMMANDS["retime"] + " Exit status 1: written, but time alone does not make it fit.")
@click.argument("name", metavar="SEQUENCE")
@robot_option
@sequences_option
@click.option(
    "--supply-v", callback=within("V", 1, 60), metavar="V", help="Set the regulator to this instead of the robot's."
)
@click.option("--out", required=True, type=click.Path(path_type=Path), metavar="FILE", help="The sequence to write.")
@click.pass_context
def retime(
    context: click.Context,
    name: str,
    robot_file: Path | None,
    folder: Path | None,
    supply_v: float | None,
    out: Path,
) -> None:
    """Stretch, write, and say what was changed and what is left."""
    from motionhub.check.report import check
    from motionhub.check.retiming import retime as retimed
    from motionhub.cli.moves import find_sequence
    from motionhub.motion.render import render

    robot = load_robot(robot_file)
    sequence = find_sequence(name, open_library(folder, robot))
    result = retimed(sequence, robot, supply_v=supply_v)
    save(out, result.sequence.dump())
    for change in result.changes:
        click.echo(f"{change.from_s:.2f}-{change.to_s:.2f} s: {change.factor:.2f} times as long")
    before, after = sequence.duration_s, result.sequence.duration_s
    click.echo(f"{out}: {sequence.name}, {before:.1f} s before, {after:.1f} s now")
    report = check(render(result.sequence, robot), supply_v=supply_v)
    if not report.fits:
        left = sorted({finding.rule for finding in report.findings if finding.severity == "error"})
        click.echo(
            f"It does not fit yet, and time does not mend it: {', '.join(left)}; motionhub check {out} says more"
        )
        context.exit(1)
