"""Options and arguments that several subcommands share, and turning them into what they stand for.

Nothing heavy is imported at the top: each function imports what it needs when it is called.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from motionhub.errors import InputError

if TYPE_CHECKING:
    from motionhub.library.store import Library
    from motionhub.robot.model import Robot

F = TypeVar("F", bound=Callable[..., Any])


def within(
    unit: str, least: float, most: float
) -> Callable[[click.Context, click.Parameter, str | None], float | None]:
    """A callback for an option that takes a number of ``unit``: finite, from ``least`` to ``most``, or not given."""

    def read(_ctx: click.Context, _param: click.Parameter, value: str | None) -> float | None:
        if value is None:
            return None
        try:
            number = float(value)
        except ValueError:
            number = math.nan
        if not least <= number <= most:
            raise click.BadParameter(f"expected a number from {least:g} to {most:g} {unit}, found {value}")
        return number

    return read


def robot_option(function: F) -> F:
    """``--robot FILE``, passed on as ``robot_file``."""
    return click.option(
        "--robot", "robot_file", type=click.Path(path_type=Path), metavar="FILE",
        help="The robot file (TOML); the demo robot when not given.",
    )(function)  # fmt: skip


def sequences_option(function: F) -> F:
    """``--sequences DIR``, passed on as ``folder``."""
    return click.option(
        "--sequences", "folder", type=click.Path(path_type=Path), metavar="DIR",
        help="The library: the folder with your moves; in your user data when not given.",
    )(function)  # fmt: skip


def port_option(function: F) -> F:
    """``--port PORT``, passed on as ``port``."""
    return click.option(
        "--port", default="simulated", show_default=True, metavar="PORT",
        help="Where the robot is: simulated, a serial device, or tcp://HOST:PORT.",
    )(function)  # fmt: skip


def load_robot(robot_file: Path | None) -> Robot:
    """The robot of ``--robot``, or the shipped demo robot.

    Raises:
        InputError: The file cannot be read as a robot.
    """
    from motionhub.library.shipped import shipped_folder
    from motionhub.robot import description

    return description.load(robot_file or shipped_folder() / "robots" / "tansy.toml")


def open_library(folder: Path | None, robot: Robot) -> Library:
    """The library of ``--sequences``, or the user's own, over the shipped moves.

    Raises:
        InputError: ``--sequences`` names something that is not a folder.
    """
    from motionhub.library.shipped import shipped_folder
    from motionhub.library.store import Library

    if folder is None:
        import platformdirs

        folder = Path(platformdirs.user_data_dir("motionhub", appauthor=False)) / "library"
    elif not folder.is_dir():
        raise InputError("--sequences", str(folder), "expected a folder, found " + _found(folder))
    return Library(folder, shipped_folder(), robot)


def save(path: Path, content: str | bytes) -> None:
    """Write a file that a user asked for, whole or not at all.

    Raises:
        InputError: It cannot be written there.
    """
    from motionhub.library.atomic import write_bytes

    try:
        write_bytes(path, content.encode("utf-8") if isinstance(content, str) else content)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise InputError(path, "", f"expected a place to write to, found: {reason}") from None


def _found(path: Path) -> str:
    return "a file" if path.exists() else "nothing there"
