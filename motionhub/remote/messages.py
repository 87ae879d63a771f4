"""Every message between a browser and the hub: the one definition.

Each message is a MessagePack map with a ``type``. The TypeScript types and the published JSON schema
are generated from these models (``python -m motionhub.remote.typescript``). Units are in the names;
angles are degrees, lengths millimetres. Lengths of lists and strings are bounded: they come from outside.
Here are the two unions. Their models are in :mod:`~motionhub.remote.asking` and :mod:`~motionhub.remote.telling`
(the show, by direction), :mod:`~motionhub.remote.making` and :mod:`~motionhub.remote.answering` (moves, likewise),
:mod:`~motionhub.remote.bringing` (bring-up) and :mod:`~motionhub.remote.readying` (before and after a show).
"""

from __future__ import annotations

from enum import IntEnum
from typing import Annotated

from pydantic import Field, TypeAdapter

from motionhub.remote import answering, asking, bringing, making, readying, telling

LIVE_PATH = "/live"
"""Where the WebSocket is."""

MAX_MESSAGE_BYTES = 4096
"""No message of a browser is longer, but for an operator's that carry a document: the longest of the others that
is valid stays well under 1 kB."""


class CloseCode(IntEnum):
    """Why the hub closes a connection; RFC 6455 §7.4.1, and §7.4.2's private range for our own."""

    LEAVING = 1001
    """The hub is shutting down: come back later."""
    BINARY_ONLY = 1003
    """A text frame came; messages are MessagePack in binary frames."""
    TOO_BIG = 1009
    """A message longer than MAX_MESSAGE_BYTES."""
    FULL = 1013
    """As many browsers are connected as the hub takes: try later."""
    UNPAIRED = 4401
    """The key is not one of this hub's: pair again. Trying again with the same key will not help."""
    NO_HELLO = 4408
    """The first message was not a Hello, or none came in time."""
    UNREADABLE = 4422
    """Too many messages that could not be read."""
    TOO_MANY = 4429
    """Too many messages, or too many wrong keys from this address: wait before trying again."""


FromBrowser = Annotated[
    asking.Hello
    | asking.Take
    | asking.Release
    | asking.Drive
    | asking.Posture
    | asking.Pace
    | asking.Gait
    | asking.Lift
    | asking.Lead
    | asking.Play
    | asking.Go
    | asking.Stop
    | asking.Resume
    | asking.Limp
    | asking.RecordStart
    | asking.RecordStop
    | asking.Replay
    | asking.SetOutput
    | asking.MeterShows
    | asking.SendCalibration
    | asking.TakeCalibration
    | asking.Ping
    | bringing.BringupBegin
    | bringing.BringupLeave
    | bringing.BringupGo
    | bringing.BringupDone
    | bringing.BringupDrop
    | bringing.BringupCentre
    | bringing.BringupTry
    | bringing.BringupSaw
    | bringing.BringupPulse
    | bringing.BringupAngle
    | bringing.BringupRead
    | bringing.BringupProtractor
    | bringing.BringupForget
    | bringing.BringupTrim
    | bringing.BringupTurn
    | bringing.BringupLimit
    | bringing.BringupStand
    | bringing.BringupHeights
    | bringing.BringupLevel
    | bringing.BringupLeg
    | bringing.BringupWent
    | bringing.BringupBack
    | readying.CheckShow
    | readying.SweepJoints
    | readying.SweepSeen
    | readying.AskFlight
    | readying.AskSupply
    | making.OpenMove
    | making.CloseMove
    | making.Draft
    | making.DropDraft
    | making.SaveMove
    | making.Mend
    | making.Thin
    | making.Rehearse
    | making.ListVersions
    | making.LookBack
    | making.Transcribe
    | making.ReadTable
    | making.ReadDocument
    | making.ExportFrames
    | making.SavePose
    | making.KeepSound,
    Field(discriminator="type"),
]

FromHub = Annotated[
    telling.Welcome
    | telling.State
    | telling.Moves
    | telling.Recordings
    | telling.RobotKeeps
    | telling.Notice
    | telling.Refused
    | telling.Pong
    | bringing.Bringup
    | readying.ShowChecked
    | readying.FlightTold
    | readying.SupplyTold
    | answering.Opened
    | answering.Editing
    | answering.Kept
    | answering.Judged
    | answering.Saved
    | answering.Conflict
    | answering.Changed
    | answering.VersionList
    | answering.PastVersion
    | answering.Mended
    | answering.Made
    | answering.Exported
    | answering.SoundKept,
    Field(discriminator="type"),
]

from_browser: TypeAdapter[FromBrowser] = TypeAdapter(FromBrowser)
from_hub: TypeAdapter[FromHub] = TypeAdapter(FromHub)
