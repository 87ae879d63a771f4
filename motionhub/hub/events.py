"""What the hub's core says back: words for people, and work that it may not do itself.

The core reads no file and waits for nothing. What needs either, it asks of the shell around it by a
:class:`Prepare` or a :class:`Keep`; the shell answers a ``Prepare`` through ``Hub.prepared`` when it is done.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from motionhub.hub.recorder import Recorded


@dataclass(frozen=True)
class Refused:
    """A command that was not taken, for the one who gave it. ``to`` is the command's name, as ``set_output``."""

    client: str
    to: str
    text: str


@dataclass(frozen=True)
class Notice:
    """Something that everybody should know."""

    level: Literal["info", "warning", "error"]
    text: str


@dataclass(frozen=True)
class Prepare:
    """Load, check and render this move (or load this recording), away from the tick; then call ``Hub.prepared``."""

    job: int
    client: str
    kind: Literal["move", "recording"]
    name: str


@dataclass(frozen=True)
class Keep:
    """Write this recording into the library under this name."""

    client: str
    name: str
    recorded: Recorded


Event = Refused | Notice | Prepare | Keep
