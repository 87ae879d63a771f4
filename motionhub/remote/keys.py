"""The two keys that pair a browser with the hub: one to drive, one to watch.

They are kept in a file that only its owner may read, so that a phone that was paired stays paired when
the hub starts again. They are not kept with the moves: a folder of moves gets shared.
"""

from __future__ import annotations

import contextlib
import hmac
import json
import os
import re
import secrets
import tempfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

Role = Literal["operator", "watcher"]

KEY_BYTES = 16
"""128 bits: twice what NIST SP 800-63B §7.1 asks of a session's secret, and still a small QR code."""

_FORMAT = "motionhub-keys/1"
_KEY = re.compile(r"[A-Za-z0-9_-]{22,128}")


@dataclass(frozen=True)
class Keys:
    """Both keys; kept out of ``repr`` so that they do not end up in a log."""

    operator: str = field(repr=False)
    watcher: str = field(repr=False)

    @classmethod
    def make(cls) -> Keys:
        """New ones, from the system's source of secrets."""
        return cls(secrets.token_urlsafe(KEY_BYTES), secrets.token_urlsafe(KEY_BYTES))

    def role_of(self, key: str) -> Role | None:
        """Which of the two ``key`` is; takes as long for one as for the other, and for neither."""
        given = key.encode()
        operator = hmac.compare_digest(given, self.operator.encode())
        watcher = hmac.compare_digest(given, self.watcher.encode())
        if operator:
            return "operator"
        return "watcher" if watcher else None


def load_or_make(path: Path, *, renew: bool = False) -> Keys:
    """The keys in ``path``, or new ones kept there if there are none, they are damaged, or ``renew`` is asked.

    Raises:
        OSError: They cannot be kept there.
    """
    if not renew:
        found = kept(path)
        if found is not None:
            return found
    keys = Keys.make()
    _write(path, keys)
    return keys


def kept(path: Path) -> Keys | None:
    """The keys in ``path``; None if there are none, or they are damaged."""
    try:
        # Whoever may read the file may drive the robot: take that back, if a copy or a umask gave it.
        path.chmod(0o600)
        data = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    if not isinstance(data, dict) or data.get("format") != _FORMAT:
        return None
    operator, watcher = data.get("operator"), data.get("watcher")
    if not (isinstance(operator, str) and isinstance(watcher, str) and operator != watcher):
        return None
    if not (_KEY.fullmatch(operator) and _KEY.fullmatch(watcher)):
        return None
    return Keys(operator, watcher)


def _write(path: Path, keys: Keys) -> None:
    """Whole or not at all, and never readable by others, not even for a moment: mkstemp makes it 0600."""
    path.parent.mkdir(parents=True, exist_ok=True)
    text = json.dumps({"format": _FORMAT, "operator": keys.operator, "watcher": keys.watcher}, indent=1) + "\n"
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=f".{path.name}-")
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        Path(name).replace(path)
    except BaseException:
        with contextlib.suppress(OSError):
            Path(name).unlink()
        raise
