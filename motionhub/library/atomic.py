"""Writing a file whole or not at all, whatever happens in between.

The text goes to a temporary file in the same folder, is flushed to the disk (fsync), and takes the file's
place by a rename, which POSIX makes atomic; then the folder is flushed, so that the rename too survives a
power cut. A reader sees the old text or the new one, and a crash leaves at worst a stray ``.part`` file,
which :func:`sweep` removes.
"""

from __future__ import annotations

import contextlib
import os
import secrets
from pathlib import Path
from typing import IO, Any

try:
    import fcntl
except ImportError:  # pragma: no cover - Windows: one process at a time is taken on trust there
    fcntl = None  # type: ignore[assignment]

PART = ".part"
"""Suffix of a file that is being written. Such a name also begins with a dot."""


def write_text(path: str | Path, text: str) -> None:
    """Make ``text`` (as UTF-8, line ends as they are) the content of ``path``, as :func:`write_bytes` does.

    Raises:
        OSError: if it could not be written.
        UnicodeEncodeError: if it holds half a surrogate pair; nothing has been touched then.
    """
    write_bytes(path, text.encode("utf-8"))


def write_bytes(path: str | Path, data: bytes) -> None:
    """Make ``data`` the content of ``path``, whole or not at all.

    A symbolic link at ``path`` is replaced, not followed.

    Raises:
        OSError: if it could not be written; then ``path`` is as it was, or (only if flushing the folder
            failed) already complete and new.
    """
    path = Path(path)
    part = path.with_name(f".{path.name[:80]}.{secrets.token_hex(6)}{PART}")
    try:
        # O_EXCL: nobody's file is ever opened through a guessed or planted name.
        with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666), "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, path)
    except BaseException:
        with contextlib.suppress(OSError):
            part.unlink()
        raise
    sync_folder(path.parent)


def sync_folder(folder: Path) -> None:
    """Flush a folder, so that the names in it survive a power cut. Does nothing where folders cannot be opened."""
    if os.name == "nt":  # pragma: no cover - renames are journalled there, and a folder has no descriptor
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def make_folder(folder: Path) -> None:
    """Make a folder and those above it, durably; nothing if it is there."""
    if folder.is_dir():
        return
    make_folder(folder.parent)
    folder.mkdir(exist_ok=True)
    sync_folder(folder.parent)


def sweep(folder: Path, older_than_s: float, now: float) -> None:
    """Remove what writes that never finished left in ``folder``, if last touched ``older_than_s`` before ``now``."""
    for part in folder.glob(f".*{PART}"):
        with contextlib.suppress(OSError):
            if now - part.lstat().st_mtime > older_than_s:
                part.unlink()


def hold(file: IO[Any], *, wait: bool) -> bool:
    """Lock an open file against other processes and other openings of it, until it is closed.

    Returns whether the lock was got; with ``wait`` it always is.
    """
    if fcntl is None:  # pragma: no cover
        return True
    try:
        fcntl.flock(file, fcntl.LOCK_EX if wait else fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True
