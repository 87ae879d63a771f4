"""What the hub's core says back: words for people, and work that it may not do itself.

The core reads no file and waits for nothing. What needs either, it asks of the shell around it; a
:class:`Prepare` is answered through ``Hub.prepared`` when it is done.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal

from motionhub.library.notebook import Notebook
from motionhub.robot.calibration import Calibration


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
class Began:
    """A recording begins: the ticks that carry one from now on belong to it."""


@dataclass(frozen=True)
class Keep:
    """The recording is over; it is to be kept under this name."""

    client: str
    name: str


@dataclass(frozen=True)
class AskCalibration:
    """Ask the robot for the calibration that it uses."""


@dataclass(frozen=True)
class SendCalibration:
    """Have the robot keep this image of the calibration."""

    image: bytes


@dataclass(frozen=True, eq=False)
class Calibrated:
    """What is known of the machine has changed, and is to be kept."""

    calibration: Calibration


@dataclass(frozen=True, eq=False)
class Think:
    """Something to be worked out away from the tick: call ``work`` in a thread, then ``take`` with what it returns.

    After that, publish what ``Hub.thought`` returns.
    """

    work: Callable[[], Any]
    take: Callable[[Any], None]


@dataclass(frozen=True, eq=False)
class KeepBringup:
    """Keep the bring-up's notebook on the disk, and the calibration before it when there is another one."""

    notebook: Notebook
    calibration: Calibration | None


@dataclass(frozen=True)
class BringupChanged:
    """What :attr:`Hub.bringup` shows is another now."""


Event = (
    Refused
    | Notice
    | Prepare
    | Began
    | Keep
    | Calibrated
    | AskCalibration
    | SendCalibration
    | Think
    | KeepBringup
    | BringupChanged
)
