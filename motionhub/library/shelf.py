"""One folder of documents of one kind: named, saved whole or not at all, the last versions kept.

Old versions sit under ``.history/`` of the library, one folder for each document, each file named by the
moment (nanoseconds of UTC) at which it was replaced. Every save first files what it is about to replace and
then replaces it, under a lock that other processes see, so two writers lose neither's text.
"""

from __future__ import annotations

import contextlib
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from motionhub.errors import InputError
from motionhub.library.atomic import hold, make_folder, sync_folder, write_bytes
from motionhub.library.names import is_inside, locate, stems

KEEP = 20
"""Versions of each document that are kept besides the present one, unless its shelf says otherwise."""

LARGEST = 64 * 1024 * 1024
"""Bytes of the largest file that is read: a recording of an hour is half of it."""

_LOCK = threading.RLock()


@dataclass(frozen=True)
class Version:
    """An earlier text of a document."""

    replaced: datetime
    """When another took its place, UTC."""
    path: Path


@dataclass(frozen=True)
class Shelf:
    """Documents in ``folder`` with one suffix; their earlier versions in ``past``. Neither need exist yet."""

    root: Path
    """The library's own folder: nothing outside it is read or written."""
    folder: Path
    past: Path
    suffix: str = ".json"
    keep: int = KEEP

    def names(self) -> dict[str, Path]:
        """What is there, sorted."""
        return stems(self.folder, self.suffix)

    def path(self, name: str) -> Path:
        """The file of a name, whether it is there or not.

        Raises:
            InputError: if the name cannot be one, or the place is a link that leads out of the library.
        """
        path = locate(self.folder, name, self.suffix)
        if not is_inside(path, self.root):
            raise InputError(path, "", "expected a file in the library's own folder, found a link that leads out of it")
        return path

    def read(self, name: str) -> tuple[Path, str] | None:
        """A document's file and text, or ``None`` if there is no such document.

        Raises:
            InputError: if it cannot be read.
        """
        path = self.path(name)
        return (path, read_text(path)) if path.exists() else None

    def write(self, name: str, text: str, may: Callable[[], None] = lambda: None) -> Path:
        """Save a document; the text that it replaces is kept. Saving what is already there does nothing.

        Args:
            name: Its name.
            text: Its text.
            may: Called while nobody else can write, before anything is; what it raises ends the save.

        Raises:
            InputError: if that is no name, or it could not be saved; then all is as it was.
        """
        path = self.path(name)
        try:
            with self._alone():
                data, old = text.encode("utf-8"), _bytes_of(path)
                if data == old:
                    return path
                may()
                make_folder(self.folder)
                if old is not None:
                    self._file_away(path.stem, old)
                write_bytes(path, data)
                self._prune(path.stem)
        except (OSError, UnicodeEncodeError) as error:
            raise unsaved(path, error) from None
        return path

    def take_in(self, part: Path, name: str) -> Path:
        """Give a finished file in :attr:`folder` its name; a document that had it is kept as a version.

        Raises:
            InputError: if that is no name, or it could not be done; then both files are as they were.
        """
        path = self.path(name)
        try:
            with self._alone():
                old = _bytes_of(path)
                if old is not None:
                    self._file_away(path.stem, old)
                part.replace(path)
                sync_folder(self.folder)
                self._prune(path.stem)
        except OSError as error:
            raise unsaved(path, error) from None
        return path

    def remove(self, name: str) -> bool:
        """Take a document away; its last text is kept as a version. Whether it was there.

        Raises:
            InputError: if that is no name, or it could not be removed.
        """
        path = self.path(name)
        try:
            with self._alone():
                old = _bytes_of(path)
                if old is None:
                    return False
                self._file_away(path.stem, old)
                path.unlink()
                sync_folder(self.folder)
                self._prune(path.stem)
        except OSError as error:
            raise unsaved(path, error) from None
        return True

    def history(self, name: str) -> list[Version]:
        """A document's earlier versions, newest first.

        Raises:
            InputError: if that is no name.
        """
        found = []
        for stem, path in self._versions(self.path(name).stem):
            seconds, rest = divmod(stem, 1_000_000_000)
            found.append(Version(datetime.fromtimestamp(seconds, UTC).replace(microsecond=rest // 1000), path))
        return found[::-1]

    # ------------------------------------------------------------------ versions

    def _place(self, stem: str) -> Path:
        # Lower case, because names that differ only in case are the same name.
        return self.past / stem.lower()

    def _versions(self, stem: str) -> list[tuple[int, Path]]:
        try:
            paths = [path for path in self._place(stem).iterdir() if path.suffix == self.suffix]
        except OSError:
            return []
        return sorted((int(path.stem), path) for path in paths if path.stem.isdecimal())

    def _file_away(self, stem: str, data: bytes) -> None:
        place = self._place(stem)
        make_folder(place)
        versions = self._versions(stem)
        # A small computer without a clock battery may wake up in the past: order matters more than the date.
        moment = max(time.time_ns(), versions[-1][0] + 1 if versions else 0)
        write_bytes(place / f"{moment:020d}{self.suffix}", data)

    def _prune(self, stem: str) -> None:
        for _, path in self._versions(stem)[: -self.keep]:
            with contextlib.suppress(OSError):
                path.unlink()

    @contextlib.contextmanager
    def _alone(self) -> Iterator[None]:
        """No other writer, of this process or another, while this lasts."""
        with _LOCK:
            make_folder(self.past.parent)
            with (self.past.parent / ".lock").open("a") as file:
                hold(file, wait=True)
                yield


def _bytes_of(path: Path) -> bytes | None:
    try:
        return path.read_bytes()
    except FileNotFoundError:
        return None


def read_text(path: Path) -> str:
    """The text of a file.

    Raises:
        InputError: if it is no ordinary file, is too large, may not be read, or is not UTF-8.
    """
    try:
        if not path.is_file():
            raise InputError(path, "", "expected a file")
        if (size := path.stat().st_size) > LARGEST:
            raise InputError(path, "", f"expected a file of at most {LARGEST} bytes, found {size}")
        return path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise InputError(path, f"byte {error.start}", "expected UTF-8 text") from None
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise InputError(path, "", f"expected a file that can be read, found: {reason}") from None


def unsaved(path: Path, error: Exception) -> InputError:
    """A save that failed, as a refusal."""
    reason = (getattr(error, "strerror", None) or str(error)).lower()
    return InputError(path, "", f"expected to be able to save here, found: {reason}")
