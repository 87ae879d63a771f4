"""Where the moves are that come with the program: the read-only layer under everybody's own."""

from __future__ import annotations

from pathlib import Path

from motionhub.errors import InputError

_PACKAGE = Path(__file__).resolve().parent.parent


def shipped_folder() -> Path:
    """The folder with the shipped moves and, in ``robots/``, the robot files.

    It is inside the installed package, or in a source checkout beside it.

    Raises:
        InputError: if the installation is incomplete.
    """
    for folder in (_PACKAGE / "_shipped", _PACKAGE.parent / "sequences"):
        if (folder / "robots").is_dir():
            return folder
    raise InputError(_PACKAGE, "", "expected the shipped robots and moves beside the program; install it again")
