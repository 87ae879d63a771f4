"""The command's frame: which subcommands there are, and how each way of failing ends.

A subcommand ``name`` is the click command called ``name`` in ``motionhub/cli/name.py``. That file is
imported when the subcommand is run, so ``motionhub serve`` does not pay for what ``motionhub check``
needs. Exit codes are 0 done, 1 the answer is no, 2 the input could not be read; besides these, 130 and
141 are what a shell reports for a program ended by Ctrl-C and by a reader that closed its pipe.
"""

from __future__ import annotations

import importlib
import importlib.util
import os
import sys
from collections.abc import Sequence

import click

from motionhub import __version__
from motionhub.errors import InputError

UNREADABLE = 2
INTERRUPTED = 130
PIPE_CLOSED = 141

# What each subcommand does, here rather than in its own file so that --help imports none of them.
COMMANDS = {
    "serve": "Run the hub and its remote.",
    "check": "Say whether moves fit the robot, and what would mend them.",
    "frames": "Write a move's joint angles as CSV.",
    "retime": "Write a move again with timing that fits the robot.",
    "play": "Send a move to the robot, without a remote.",
    "ready": "Ask the hub that runs whether the show may begin.",
    "flight": "Show what happened in the last minute, or before a fault.",
    "new": "Describe a robot: asks what a ruler and a scale can tell.",
    "sheet": "Write the wiring as a page to print.",
    "urdf": "Write the robot as URDF.",
    "firmware": "Write the program for the board on the robot.",
    "bench": "Measure what is promised about speed.",
}


class LazyGroup(click.Group):
    """A group that lists the subcommands whose files exist and imports the one that is run."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """The names of the subcommands, in the order of the table."""
        return [name for name in COMMANDS if importlib.util.find_spec(f"motionhub.cli.{name}")]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import and return one subcommand; None when there is no such one."""
        if cmd_name not in self.list_commands(ctx):
            return None
        command = getattr(importlib.import_module(f"motionhub.cli.{cmd_name}"), cmd_name)
        assert isinstance(command, click.Command)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of subcommands from the table, without importing any."""
        if rows := [(name, COMMANDS[name]) for name in self.list_commands(ctx)]:
            with formatter.section("Commands"):
                formatter.write_dl(rows)

    def invoke(self, ctx: click.Context) -> object:
        """Run the subcommand, and notice a closed pipe before the interpreter does so in its own words."""
        try:
            result: object = super().invoke(ctx)
            sys.stdout.flush()
        except BrokenPipeError:
            # What is still buffered has nowhere to go; without this, Python says so on stderr at exit.
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
            raise click.exceptions.Exit(PIPE_CLOSED) from None
        return result


@click.group(cls=LazyGroup, invoke_without_command=True, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, message="%(prog)s %(version)s")
@click.pass_context
def group(context: click.Context) -> None:
    """Author, check, drive and replay the moves of a home-built walking robot.

    Exit status: 0 done, 1 the answer is no, 2 the input could not be read.
    """
    if context.invoked_subcommand is None:
        click.echo(context.get_help())


def main(arguments: Sequence[str] | None = None) -> None:
    """Run the command and exit; never returns, never shows a traceback for what a user did.

    Args:
        arguments: Command line without the program's name; the process's own when None.
    """
    try:
        code = group.main(args=arguments, prog_name="motionhub", standalone_mode=False)
        sys.exit(code if isinstance(code, int) else 0)
    except InputError as error:
        _fail(str(error))
    except click.UsageError as error:
        path = error.ctx.command_path if error.ctx else "motionhub"
        _fail(f"{path}: {_plain(error.format_message())} ({path} --help shows what it takes)")
    except click.ClickException as error:
        _fail(_plain(error.format_message()))
    except click.Abort:
        sys.exit(INTERRUPTED)
    except OSError as error:
        # A file or an address that the operating system refused; a subcommand that knows more says more.
        _fail(": ".join(str(part) for part in (error.filename, error.strerror or error) if part))


def _plain(message: str) -> str:
    """One line, in the manner of the other error lines: lower case first, no full stop at the end."""
    line = " ".join(message.split())
    return line[:1].lower() + line[1:].removesuffix(".")


def _fail(line: str) -> None:
    click.echo(" ".join(line.split()), err=True)
    sys.exit(UNREADABLE)
