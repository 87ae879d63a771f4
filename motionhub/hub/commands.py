"""What people ask of the show, in SI units and radians.

These mirror the browser's messages one to one; the remote converts, so the hub knows neither browsers nor
their units. Values are taken as already checked for type and bounds (the remote's models do that), and the
hub checks only what it alone can know: who holds control, the mode, whether a name exists.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import get_args

from motionhub.hub.bringup import asks


@dataclass(frozen=True)
class Take:
    """Ask for control."""


@dataclass(frozen=True)
class Release:
    """Give control back."""


@dataclass(frozen=True)
class Drive:
    """Walk like this, as shares -1..1 of what the robot can do; ``turn`` is positive to the left.

    Holds only for :data:`motionhub.hub.core.DEAD_MAN_S`: a driver repeats it while the stick is held.
    """

    forward: float = 0.0
    left: float = 0.0
    turn: float = 0.0


@dataclass(frozen=True)
class Posture:
    """How the body is carried, relative to the rest stance: metres and radians."""

    height: float = 0.0
    roll: float = 0.0
    pitch: float = 0.0
    yaw: float = 0.0


@dataclass(frozen=True)
class Pace:
    """How fast the gait goes, as a share 0..1 of the fastest."""

    share: float


@dataclass(frozen=True)
class Gait:
    """Walk by this gait, one that suits the robot."""

    name: str


@dataclass(frozen=True)
class Lift:
    """Lift feet so high, in metres."""

    height: float


@dataclass(frozen=True)
class Lead:
    """Whether a head turns ahead of the body into a turn."""

    on: bool


@dataclass(frozen=True)
class Play:
    """Play a sequence or a routine of the library."""

    name: str


@dataclass(frozen=True)
class Go:
    """Go on with a routine that waits for the operator."""


@dataclass(frozen=True)
class Stop:
    """Bring every joint to a standstill and hold; latches. Anybody who is paired may."""


@dataclass(frozen=True)
class Resume:
    """Lift the stop and return to the rest stance."""


@dataclass(frozen=True)
class Limp:
    """End the pulses: the robot sags. Refused unless ``sure``."""

    sure: bool = False


@dataclass(frozen=True)
class RecordStart:
    """Record from now on what is driven and sent."""


@dataclass(frozen=True)
class RecordStop:
    """End the recording and keep it under this name."""

    name: str


@dataclass(frozen=True)
class Replay:
    """Send a recording's frames again, exactly."""

    name: str


@dataclass(frozen=True)
class SetOutput:
    """Set a lamp or sounder by hand, to a level 0..1."""

    output: str
    level: float


@dataclass(frozen=True)
class MeterShows:
    """A multimeter at the battery shows so many volts: from now on the robot's reading is worth that."""

    volts: float


@dataclass(frozen=True)
class SendCalibration:
    """Have the robot keep the hub's calibration in place of its own."""


@dataclass(frozen=True)
class TakeCalibration:
    """Make what the robot keeps the hub's calibration, in place of its own."""


@dataclass(frozen=True)
class Ping:
    """Says only that its sender is still there, which keeps its lease of control alive."""


Command = (
    Take
    | Release
    | Drive
    | Posture
    | Pace
    | Gait
    | Lift
    | Lead
    | Play
    | Go
    | Stop
    | Resume
    | Limp
    | RecordStart
    | RecordStop
    | Replay
    | SetOutput
    | MeterShows
    | SendCalibration
    | TakeCalibration
    | Ping
    | asks.Ask
)


def name_of(command: Command) -> str:
    """A command's name, as messages and recordings have it: ``RecordStart`` is ``record_start``."""
    return _NAMES[type(command)]


_NAMES = {kind: re.sub(r"(?<!^)(?=[A-Z])", "_", kind.__name__).lower() for kind in get_args(Command)}
