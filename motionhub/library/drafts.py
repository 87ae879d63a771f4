"""Drafts: moves as they are being edited, kept so that neither a crash nor a power cut takes them.

In the library's folder, apart from what is saved, one for each hand that edits::

    DIR/.drafts/<move>/<hand>.draft

A hand is what a browser calls itself; two that edit one move have a draft each. A file is a line of JSON with what
the edits began from, and the document's text as it came: a draft need not make sense yet.
"""

from __future__ import annotations

import contextlib
import json
import re
from dataclasses import dataclass
from pathlib import Path

from motionhub.errors import InputError
from motionhub.library.atomic import make_folder, sweep, sync_folder, write_bytes
from motionhub.library.names import checked
from motionhub.library.shelf import unsaved

FORMAT = "motionhub-draft/1"
HANDS_KEPT = 12
"""Drafts of one move; beyond that the ones that nobody has touched for longest go."""
SUFFIX = ".draft"
_HAND = re.compile(r"[A-Za-z0-9]{1,40}")


@dataclass(frozen=True)
class StoredDraft:
    """A move as it is being edited."""

    hand: str
    base: str
    """The version that its edits began from; empty for a new move."""
    n: int
    """Its browser's count of edits."""
    by: str
    """Whose device."""
    made: str
    """Local date and time, ISO 8601."""
    text: str


class Drafts:
    """The drafts of a library.

    Args:
        folder: The library's own folder.
    """

    def __init__(self, folder: Path) -> None:
        self._folder = folder / ".drafts"

    def keep(self, name: str, draft: StoredDraft) -> None:
        """Put a draft on the disk, in place of the hand's last one; it is there when this returns.

        Raises:
            InputError: if that is no name, or it could not be written; then the last one is as it was.
        """
        path = self._path(name, draft.hand)
        fields = {"format": FORMAT, "base": draft.base, "n": draft.n, "by": draft.by, "made": draft.made}
        data = json.dumps(fields).encode() + b"\n" + draft.text.encode("utf-8", "surrogatepass")
        try:
            make_folder(path.parent)
            write_bytes(path, data)
        except OSError as error:
            raise unsaved(path, error) from None
        self._prune(path.parent)

    def of(self, name: str) -> list[StoredDraft]:
        """All drafts of a move, the latest first; one that cannot be read is left out.

        Raises:
            InputError: if that is no name.
        """
        found: list[tuple[int, StoredDraft]] = []
        for path in self._files(self._path(name, "x").parent):
            with contextlib.suppress(OSError, ValueError, KeyError, TypeError):
                head, _, text = path.read_bytes().partition(b"\n")
                fields = json.loads(head)
                if fields["format"] == FORMAT:
                    draft = StoredDraft(
                        hand=path.stem,
                        base=str(fields["base"]),
                        n=int(fields["n"]),
                        by=str(fields["by"]),
                        made=str(fields["made"]),
                        text=text.decode("utf-8"),
                    )
                    found.append((path.stat().st_mtime_ns, draft))
        return [draft for _, draft in sorted(found, key=lambda item: -item[0])]

    def drop(self, name: str, hand: str) -> None:
        """Throw a hand's draft away; nothing if there is none.

        Raises:
            InputError: if that is no name, or it could not be removed.
        """
        path = self._path(name, hand)
        try:
            if path.exists():
                path.unlink()
                sync_folder(path.parent)
        except OSError as error:
            raise unsaved(path, error) from None

    def _path(self, name: str, hand: str) -> Path:
        if not _HAND.fullmatch(hand):
            raise InputError("hand", "", f"expected letters and digits, found {hand[:40]!r}")
        # Lower case, because names that differ only in case are the same name.
        return self._folder / checked(name).lower() / f"{hand}{SUFFIX}"

    @staticmethod
    def _files(folder: Path) -> list[Path]:
        try:
            return [path for path in folder.iterdir() if path.suffix == SUFFIX and not path.name.startswith(".")]
        except OSError:
            return []

    def _prune(self, folder: Path) -> None:
        files = self._files(folder)
        if len(files) <= HANDS_KEPT:
            return
        with contextlib.suppress(OSError):
            newest = max(path.stat().st_mtime for path in files)
            sweep(folder, older_than_s=3600, now=newest)
            for path in sorted(files, key=lambda path: path.stat().st_mtime)[:-HANDS_KEPT]:
                path.unlink()
