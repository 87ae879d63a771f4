"""Names of documents, and the files they stand for: no name leads out of its folder.

A name is letters, digits, spaces, ``_`` and ``-`` of ASCII, so there is no separator, dot, drive, control
character or look-alike in it, on any system. Names that differ only in case are the same name, because on
many disks they are the same file. What Windows reserves is refused everywhere, so that a library can be
carried from one computer to another.
"""

from __future__ import annotations

import re
from pathlib import Path

from motionhub.errors import InputError

LONGEST = 64
_NAME = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9 _-]{0,62}[A-Za-z0-9_-])?")
# https://learn.microsoft.com/windows/win32/fileio/naming-a-file (from memory)
_RESERVED = {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}


def is_name(name: str) -> bool:
    """Whether a document may be called this."""
    return _NAME.fullmatch(name) is not None and name.lower() not in _RESERVED


def checked(name: str, source: str = "name") -> str:
    """The name, if a document may be called this.

    Raises:
        InputError: saying what a name is made of.
    """
    if is_name(name):
        return name
    shown = name if len(name) <= 80 else name[:80] + "…"
    if name.lower() in _RESERVED:
        raise InputError(source, "", f"expected a name that is not reserved on some systems, found {shown!r}")
    raise InputError(
        source,
        "",
        f"expected a name of at most {LONGEST} letters, digits, spaces, _ and -, beginning with a letter or a "
        f"digit and not ending with a space, found {shown!r}",
    )


def stems(folder: Path, suffix: str) -> dict[str, Path]:
    """The documents in a folder by name, sorted without regard to case. Files with other names are none of ours."""
    try:
        found = [path for path in folder.iterdir() if path.suffix == suffix and is_name(path.stem)]
    except OSError:
        return {}
    return {path.stem: path for path in sorted(found, key=lambda path: (path.stem.lower(), path.stem))}


def locate(folder: Path, name: str, suffix: str, source: str = "name") -> Path:
    """The file that a name stands for in a folder: the one that is there, in whatever case, or the one to make.

    Raises:
        InputError: if that is no name, or the file there is a link that leads out of the folder.
    """
    checked(name, source)
    path = folder / f"{name}{suffix}"
    if not path.is_symlink() and not path.exists():
        same = [other for stem, other in stems(folder, suffix).items() if stem.lower() == name.lower()]
        path = same[0] if same else path
    if not is_inside(path, folder):
        raise InputError(path, "", "expected a file in the library's own folder, found a link that leads out of it")
    return path


def is_inside(path: Path, folder: Path) -> bool:
    """Whether a path, with all links followed, is in a folder."""
    try:
        return path.resolve().is_relative_to(folder.resolve())
    except (OSError, RuntimeError, ValueError):  # a link that goes in circles
        return False
