"""``motionhub play``: one move, checked, to the robot and to its end, without a remote."""

from __future__ import annotations

import asyncio
import contextlib
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from motionhub.cli.common import load_robot, open_library, port_option, robot_option, sequences_option
from motionhub.cli.group import COMMANDS, INTERRUPTED
from motionhub.cli.leaving import on_signals

if TYPE_CHECKING:
    from motionhub.hub.live import News, Show
    from motionhub.hub.snapshot import HubState
    from motionhub.motion.frames import Frames

ME = "terminal"

CAUTION = "The robot is about to move. Ctrl-C brings it to rest; that is software, and not an emergency stop."

STILL_HERE_S = 0.5
"""How often the hub is told that someone is here; control lapses when its holder is quiet."""

UNANSWERED_S = 2.0
"""After this long without an answer from the robot, the terminal says what is being waited for."""


@click.command(
    help=COMMANDS["play"] + " Exit status 0: played to its end, 1: it does not fit, or was not, 2: unreadable."
)
@click.argument("name", metavar="SEQUENCE")
@robot_option
@sequences_option
@port_option
@click.pass_context
def play(context: click.Context, name: str, robot_file: Path | None, folder: Path | None, port: str) -> None:
    """Read and check everything before the port is opened."""
    from motionhub.check.report import check
    from motionhub.cli.moves import find_move
    from motionhub.hub.core import RATE_HZ
    from motionhub.hub.live import Show
    from motionhub.link.coder import frame_bytes
    from motionhub.link.ports import open_port

    robot = load_robot(robot_file)
    library = open_library(folder, robot)
    calibration = library.calibration()
    frames = find_move(name, library).frames(RATE_HZ)
    link = open_port(port, robot, calibration)
    report = check(frames, frame_bytes=frame_bytes(robot, calibration, RATE_HZ))
    if not report.fits:
        from motionhub.cli.verdict import show as show_verdict

        show_verdict(report)
        context.exit(1)
    click.echo(f"{frames.name} fits {robot.name}: {frames.duration_s:.1f} s.\n{CAUTION}")
    code = asyncio.run(perform(Show(robot, calibration, library, link), frames))
    if code:
        context.exit(code)


async def perform(show: Show, frames: Frames) -> int:
    """Play ``frames`` to their end and leave the robot at rest; the exit status."""
    performance = Performance(show, frames)
    on_signals(performance.interrupt)
    await show.start()
    try:
        show.join(ME, "the terminal", operator=True)
        ends = [show.subscribe(performance.see), show.listen(performance.hear)]
        present = asyncio.create_task(performance.stay())
        code = await performance.over
        present.cancel()
        for end in ends:
            end()
    finally:
        await show.stop()
    performance.progress.end()
    click.echo({0: "Done; the robot is at rest.", INTERRUPTED: "Broken off; the robot is at rest."}.get(code, "Ended."))
    return code


class Performance:
    """One move from the first answer of the robot to the last frame, as the show's state tells it."""

    def __init__(self, show: Show, frames: Frames) -> None:
        self._show = show
        self._frames = frames
        self._began = False
        self._reached_s = -1.0
        self._asked_to_go = False
        self.progress = _Progress(frames.duration_s)
        self.over: asyncio.Future[int] = asyncio.get_running_loop().create_future()

    def interrupt(self) -> None:
        """Ctrl-C: break off."""
        self._end(INTERRUPTED)

    async def stay(self) -> None:
        """Keep control, and say what is being waited for when it takes long."""
        waited = 0.0
        while True:
            await asyncio.sleep(STILL_HERE_S)
            waited += STILL_HERE_S
            if self._began:
                from motionhub.hub.commands import Ping

                self._show.handle(ME, Ping())
            elif waited == UNANSWERED_S:
                click.echo("Waiting for the robot to answer and to stand at rest; Ctrl-C gives up.")

    def see(self, state: HubState) -> None:
        """Follow the show by one state."""
        if self.over.done():
            return
        if state.mode in ("stopping", "stopped", "limp", "fault"):
            self._fail(state.reason or "it was stopped")
        elif not self._began:
            if state.link.up and state.mode == "rest":
                self._begin()
        elif state.playing is not None:
            self._reached_s = state.playing.at_s
            self.progress.show(state.playing.at_s)
            if state.playing.waits_for_go and not self._asked_to_go:
                self._ask_to_go()
            self._asked_to_go = state.playing.waits_for_go
        elif state.mode == "rest" and self._reached_s >= 0:
            if self._reached_s >= self._frames.duration_s - 0.1:  # states come every other tick
                self._end(0)
            else:
                self._fail("it was not played to its end")

    def hear(self, news: News) -> None:
        """Pass on what people should know; a refusal ends it."""
        from motionhub.hub.events import Notice, Refused

        match news:
            case Refused(client=client, text=text) if client == ME:
                self._fail(text)
            case Notice(level="warning" | "error", text=text):
                self.progress.end()
                click.echo(text, err=True)

    def _begin(self) -> None:
        from motionhub.hub.commands import Take

        self._began = True
        self._show.handle(ME, Take())
        self._show.perform(ME, self._frames)

    def _ask_to_go(self) -> None:
        from motionhub.hub.commands import Go

        self.progress.end()
        if sys.stdin.isatty():
            click.echo("It waits. Enter lets it go on.")
            _on_enter(lambda: self._show.handle(ME, Go()))
        else:
            self._show.handle(ME, Go())  # there is nobody to ask

    def _fail(self, reason: str) -> None:
        if not self.over.done():
            self.progress.end()
            click.echo(f"{self._frames.name}: {reason}", err=True)
            self._end(1)

    def _end(self, code: int) -> None:
        if not self.over.done():
            self.over.set_result(code)


class _Progress:
    """How far it is: a bar where someone is looking, a line a second where the output is kept."""

    def __init__(self, duration_s: float) -> None:
        self._duration_s = duration_s
        self._bar = sys.stdout.isatty()
        self._open = False
        self._next_s = 0.0

    def show(self, at_s: float) -> None:
        if self._bar:
            share = min(at_s / self._duration_s, 1.0) if self._duration_s > 0 else 1.0
            done = round(30 * share)
            click.echo(f"\r[{'#' * done}{'-' * (30 - done)}] {at_s:5.1f} of {self._duration_s:.1f} s ", nl=False)
            self._open = True
        elif at_s >= self._next_s:
            click.echo(f"{at_s:.1f} of {self._duration_s:.1f} s")
            self._next_s = at_s + 1.0

    def end(self) -> None:
        """Leave the bar's line, so that what comes next has its own."""
        if self._open:
            click.echo()
            self._open = False


def _on_enter(call: Callable[[], None]) -> None:
    """Call once when a line comes in, without holding anything up."""
    loop = asyncio.get_running_loop()

    def read() -> None:
        loop.remove_reader(sys.stdin)
        sys.stdin.readline()
        call()

    with contextlib.suppress(NotImplementedError):
        loop.add_reader(sys.stdin, read)
