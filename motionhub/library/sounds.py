"""Sounds to work against: files as they came, in the library, found by name. The hub neither reads nor plays them."""

from __future__ import annotations

from pathlib import Path

from motionhub.errors import InputError, unknown
from motionhub.library.atomic import make_folder, write_bytes
from motionhub.library.names import locate, stems
from motionhub.library.shelf import unsaved

SUFFIX = ".sound"
LARGEST = 16 * 1024 * 1024
"""Bytes: what is longer is a film."""


class Sounds:
    """The sounds of a library.

    Args:
        folder: The library's own folder.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder / "sounds"

    def names(self) -> list[str]:
        """What there is."""
        return list(stems(self._folder, SUFFIX))

    def read(self, name: str) -> bytes:
        """A sound.

        Raises:
            InputError: if there is none of that name, or it cannot be read.
        """
        path = locate(self._folder, name, SUFFIX)
        try:
            if path.stat().st_size > LARGEST:
                raise InputError(path, "", f"expected a file of at most {LARGEST} bytes")
            return path.read_bytes()
        except FileNotFoundError:
            raise InputError("library", "", unknown("sound", name, self.names())) from None
        except OSError as error:
            reason = (error.strerror or str(error)).lower()
            raise InputError(path, "", f"expected a file that can be read, found: {reason}") from None

    def save(self, name: str, data: bytes) -> None:
        """Keep a sound, in place of one of that name; it is on the disk when this returns.

        Raises:
            InputError: if that is no name, or it could not be saved; then all is as it was.
        """
        path = locate(self._folder, name, SUFFIX)
        try:
            make_folder(self._folder)
            write_bytes(path, data)
        except OSError as error:
            raise unsaved(path, error) from None
