"""``motionhub retime``: write a move again with timing that fits the robot."""

from __future__ import annotations

from pathlib import Path

import click

from motionhub.cli.bar import bar
from motionhub.cli.common import load_robot, open_library, robot_option, save, sequences_option, within
from motionhub.cli.group import COMMANDS

NEARLY = 0.95
"""Share of the longest that a sequence may be, from which on that may be what keeps it from being slower."""
LONG_S = 60.0
"""Of a move from which retiming takes long enough to show how far it is."""


@click.command(
    help=COMMANDS["retime"]
    + " What fits stays as it is; what is too fast or too heavy becomes just as slow as it has to, each stretch"
    " between keyframes by itself. Exit status 1: written, but time alone does not make it fit."
)
@click.argument("name", metavar="SEQUENCE")
@robot_option
@sequences_option
@click.option(
    "--supply-v", callback=within("V", 1, 60), metavar="V", help="Set the regulator to this instead of the robot's."
)
@click.option(
    "--fastest",
    is_flag=True,
    help="Also shorten what could be quicker, but for pauses and walks. Without this nothing gets shorter than it is.",
)
@click.option("--out", required=True, type=click.Path(path_type=Path), metavar="FILE", help="The sequence to write.")
@click.pass_context
def retime(
    context: click.Context,
    name: str,
    robot_file: Path | None,
    folder: Path | None,
    supply_v: float | None,
    fastest: bool,
    out: Path,
) -> None:
    """Find the timing, write, and say what was changed and what is left."""
    from motionhub.check.report import check
    from motionhub.check.retiming import retime as retimed
    from motionhub.cli.moves import find_sequence
    from motionhub.motion.render import render

    robot = load_robot(robot_file).on_supply(supply_v)
    sequence = find_sequence(name, open_library(folder, robot))
    long = sequence.duration_s >= LONG_S
    with bar("Trying timings", 1, long) as progress:
        result = retimed(sequence, robot, fastest=fastest, progress=progress)
    save(out, result.sequence.dump())
    for change in result.changes:
        click.echo(f"{change.from_s:.2f}-{change.to_s:.2f} s: {change.factor:.2f} times as long")
    before, after = sequence.document.tempo_bpm, result.sequence.document.tempo_bpm
    if before and after and result.changes:
        click.echo(f"tempo: {before:g} bpm before, {after:.1f} bpm now")
    was, now = sequence.duration_s, result.sequence.duration_s
    click.echo(f"{out}: {sequence.name}, {was:.1f} s before, {now:.1f} s now")
    frames = render(result.sequence, robot)
    with bar(f"Checking {frames.name}", len(frames), long) as progress:
        report = check(frames, progress=progress)
    if not report.fits:
        click.echo(f"It does not fit yet, {_why_not(now)}; motionhub check {out} says more:")
        mended: set[tuple[str, str | None]] = set()
        for finding in report.findings:
            what = (finding.rule, finding.subject)
            if finding.severity == "error" and what not in mended:
                mended.add(what)
                subject = f" ({finding.subject})" if finding.subject else ""
                click.echo(f"  {finding.rule}{subject} at {finding.start_s:.1f} s: {finding.advice}")
        context.exit(1)


def _why_not(duration_s: float) -> str:
    """Why a move that came out so long is still too fast."""
    from motionhub.motion.formats import LONGEST_S

    if duration_s < NEARLY * LONGEST_S:
        return "and time does not mend it"
    return f"and has no room to be slower: a sequence takes {LONGEST_S / 60:g} minutes at most. Make two of it"
