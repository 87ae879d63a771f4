"""Messages from a browser about the show itself: control, driving, playing, recording, stopping."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from motionhub.remote.parts import DocumentName, Message, Share


class Hello(Message):
    """The first message of a connection; nothing else is answered before it."""

    type: Literal["hello"] = "hello"
    key: Annotated[str, Field(max_length=128)]
    """From the fragment of the address: operator's or watcher's."""
    name: Annotated[str, Field(max_length=40)] = ""
    """What to call this device in the status line."""


class Take(Message):
    """Ask for control."""

    type: Literal["take"] = "take"


class Release(Message):
    """Give control back."""

    type: Literal["release"] = "release"


class Drive(Message):
    """Walk like this, as shares of what the robot can do; repeated at least 5 times a second while held."""

    type: Literal["drive"] = "drive"
    forward: Share
    left: Share
    turn: Share
    """Positive to the left."""


class Posture(Message):
    """How the body is carried while standing and walking, relative to the rest stance."""

    type: Literal["posture"] = "posture"
    height_mm: Annotated[float, Field(ge=-100, le=100, allow_inf_nan=False)] = 0.0
    roll_deg: Annotated[float, Field(ge=-30, le=30, allow_inf_nan=False)] = 0.0
    pitch_deg: Annotated[float, Field(ge=-30, le=30, allow_inf_nan=False)] = 0.0
    yaw_deg: Annotated[float, Field(ge=-30, le=30, allow_inf_nan=False)] = 0.0


class Pace(Message):
    """How fast the gait goes, as a share of the fastest."""

    type: Literal["pace"] = "pace"
    share: Annotated[float, Field(ge=0.1, le=1, allow_inf_nan=False)]


class Gait(Message):
    """Walk by this gait, one of :attr:`RobotInfo.gaits`; also while it walks."""

    type: Literal["gait"] = "gait"
    name: Annotated[str, Field(min_length=1, max_length=32)]


class Lift(Message):
    """Lift feet so high; also while it walks. Drawn into :attr:`RobotInfo.lift_range_mm`."""

    type: Literal["lift"] = "lift"
    height_mm: Annotated[float, Field(ge=0, le=500, allow_inf_nan=False)]


class Lead(Message):
    """Whether the head turns ahead of the body into a turn; see :attr:`RobotInfo.leads`."""

    type: Literal["lead"] = "lead"
    on: bool


class Play(Message):
    """Play a sequence or a routine of the library."""

    type: Literal["play"] = "play"
    name: DocumentName


class Go(Message):
    """Go on with a routine that waits for the operator."""

    type: Literal["go"] = "go"


class Stop(Message):
    """Bring every joint to rest and hold. Anybody who is paired may; it latches."""

    type: Literal["stop"] = "stop"


class Resume(Message):
    """Lift the stop and return to the rest stance."""

    type: Literal["resume"] = "resume"


class Limp(Message):
    """End the pulses: the robot sags. Taken only with ``sure`` true, which the remote asks for apart."""

    type: Literal["limp"] = "limp"
    sure: bool = False


class RecordStart(Message):
    """Record from now on what is driven and sent."""

    type: Literal["record_start"] = "record_start"


class RecordStop(Message):
    """End the recording and keep it under this name."""

    type: Literal["record_stop"] = "record_stop"
    name: DocumentName


class Replay(Message):
    """Send a recording's frames again, exactly."""

    type: Literal["replay"] = "replay"
    name: DocumentName


class SetOutput(Message):
    """Set a lamp or sounder by hand."""

    type: Literal["set_output"] = "set_output"
    output: Annotated[str, Field(max_length=32)]
    level: Annotated[float, Field(ge=0, le=1, allow_inf_nan=False)]


class MeterShows(Message):
    """A multimeter at the battery shows this: from now on the robot's reading is worth it, also after a restart."""

    type: Literal["meter_shows"] = "meter_shows"
    volts: Annotated[float, Field(gt=0, le=60, allow_inf_nan=False)]


class SendCalibration(Message):
    """Have the robot keep the hub's calibration in place of its own (:class:`RobotKeeps`)."""

    type: Literal["send_calibration"] = "send_calibration"


class TakeCalibration(Message):
    """Make what the robot keeps the hub's calibration, in place of its own."""

    type: Literal["take_calibration"] = "take_calibration"


class Ping(Message):
    """Asks for a :class:`Pong` with the same number."""

    type: Literal["ping"] = "ping"
    n: Annotated[int, Field(ge=0, le=2**31)]
