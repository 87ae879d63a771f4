"""Every message between a browser and the hub: the one definition.

Each message is a MessagePack map with a ``type``. The TypeScript types and the published JSON schema
are generated from these models (``python -m motionhub.remote.typescript``). Units are in the names;
angles are degrees, lengths millimetres. Lengths of lists and strings are bounded: they come from outside.
Those for making moves are in :mod:`~motionhub.remote.making`, those for bring-up in :mod:`~motionhub.remote.bringing`.
"""

from __future__ import annotations

from enum import IntEnum
from typing import Annotated, Literal

from pydantic import Field, TypeAdapter

from motionhub.remote import bringing, making, readying
from motionhub.remote.parts import DocumentName, Message, Share

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


# ---------------------------------------------------------------- from the browser


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


FromBrowser = Annotated[
    Hello
    | Take
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

# ---------------------------------------------------------------- from the hub


class LegInfo(Message):
    """A leg's geometry, for drawing it. Joint angles follow motionhub.robot.model's conventions."""

    name: str
    hip_mm: tuple[float, float, float]
    heading_deg: float
    coxa_mm: float
    femur_mm: float
    tibia_mm: float
    foot_radius_mm: float


class ExtraInfo(Message):
    """An extra joint's geometry; ``parent`` is an index into the extra joints, -1 for the body."""

    name: str
    parent: int
    at_mm: tuple[float, float, float]
    axis: tuple[float, float, float]
    tip_mm: tuple[float, float, float]
    radius_mm: float


class OutputInfo(Message):
    """A lamp or sounder."""

    name: str
    kind: Literal["lamp", "sounder"]


class GaitInfo(Message):
    """A gait that suits the robot. Of a cycle each foot stands the share ``duty``, from its ``touchdown`` on."""

    name: str
    duty: float
    touchdown: list[float]
    """Per leg, the share of the cycle at which its foot is set down."""


class RobotInfo(Message):
    """What a browser needs to draw the robot and name its parts."""

    name: str
    joints: list[str]
    legs: list[LegInfo]
    extra: list[ExtraInfo]
    outputs: list[OutputInfo]
    body_size_mm: tuple[float, float, float]
    body_centre_mm: tuple[float, float, float]
    rest_height_mm: float
    height_range_mm: tuple[float, float]
    """How far below and above the rest height the body may be carried."""
    lean_range_deg: tuple[float, float, float]
    """How far either way the body may be turned, by roll, by pitch or by yaw alone, standing at rest height."""
    gaits: list[GaitInfo]
    """The first is the one that it walks by unless told otherwise."""
    lift_range_mm: tuple[float, float]
    """Between which heights feet may be told to be lifted."""
    leads: bool
    """Whether it has a head, or anything else, that turns ahead of the body."""


class Welcome(Message):
    """Answer to a good :class:`Hello`."""

    type: Literal["welcome"] = "welcome"
    role: Literal["operator", "watcher"]
    you: str
    """This connection's id, as in :attr:`State.driver`."""
    hub_version: str
    robot: RobotInfo


Mode = Literal[
    "rest", "moving", "playing", "waiting", "driving", "stopping", "stopped", "limp", "fault", "setup", "halted"
]
"""rest: standing still, ready. moving: on the way to or from a stance. waiting: a routine waits for Go.
stopped: latched until Resume. fault: the guard or the robot ended it; Resume tries again.
setup: bring-up, raw pulses for the joints that were chosen. halted: stopped in it, latched until Resume."""


class LinkState(Message):
    """The radio link, over the last second."""

    up: bool
    round_trip_ms: float | None
    lost_share: float
    """Of frames sent, how many were not acknowledged."""
    bytes_s: float
    budget_bytes_s: float
    together: int
    """Frames that share a packet on a slow radio, 1 where each goes out alone."""
    thinned: bool
    """Whether every second frame is left out, since the radio does not carry all of this motion."""


class BatteryState(Message):
    """As the robot reports it; level is ``ok``, ``low`` or ``empty`` by the robot file's voltages."""

    volts: float | None
    level: Literal["ok", "low", "empty", "unknown"]
    minutes_left: float | None
    """Until the cut-off, used as in the last minutes; null while that is not known."""
    words: str
    """All of it in one line, the same on every screen."""


class Driver(Message):
    """Who holds control."""

    id: str
    name: str


class Progress(Message):
    """What is being played or replayed."""

    name: str
    at_s: float
    duration_s: float
    waits_for_go: bool = False


class State(Message):
    """The live state, about 25 times a second."""

    type: Literal["state"] = "state"
    tick: int
    mode: Mode
    reason: str = ""
    """Why it is stopped or at fault, in words; empty otherwise."""
    joints_deg: list[float]
    body: tuple[float, float, float, float, float, float]
    """x_mm, y_mm, z_mm, roll_deg, pitch_deg, yaw_deg over the ground, as it stands on its feet."""
    down: list[bool]
    """Per leg, whether its foot carries weight."""
    com_mm: tuple[float, float]
    """Centre of mass above the ground, ground frame."""
    margin_mm: float
    """Static stability margin; negative outside the support polygon."""
    outputs: list[float]
    limit: Literal["", "reach", "speed", "margin", "acceleration", "torque", "current", "voltage", "posture", "none"]
    """Why less is done than was asked, and nothing when all of it is. reach: as long a step as the legs have room for.
    speed, torque: all that the servos give. current, voltage: all that the supply gives now. margin: the weight
    would come too near to the edge of the feet. acceleration: it could not stop in time. posture: the body cannot be
    carried like that. none: no foot can step at all like that."""
    gait: str
    lift_mm: float
    cycle_ms: float
    """How long one step of every leg takes in this gait."""
    pace: float
    """As :class:`Pace` has set it."""
    posture: tuple[float, float, float, float]
    """height_mm, roll_deg, pitch_deg, yaw_deg as :class:`Posture` has asked; zero again after a move or a stop."""
    leads: bool
    """As :class:`Lead` has set it."""
    walking: bool
    """Whether feet step or are about to: in mode driving it may only be carrying its body otherwise."""
    feet: list[int]
    """For the last ticks up to this one, oldest first, which feet were down, as bits: 1 for the first leg, 2 for the
    next, 4, 8 and so on; -1 where nobody knows, as when limp. Six ticks, so that a lost state leaves no gap."""
    link: LinkState
    battery: BatteryState
    driver: Driver | None
    playing: Progress | None
    recording_s: float | None
    watchers: int


class MoveInfo(Message):
    """A line of the list of moves."""

    name: str
    kind: Literal["sequence", "routine"]
    duration_s: float | None
    verdict: Literal["fits", "warns", "fails", "unreadable", "checking"]
    reason: str = ""
    """The first finding in words, or why it cannot be read."""
    shipped: bool


class Moves(Message):
    """The whole list, sent after Welcome and whenever it changes."""

    type: Literal["moves"] = "moves"
    items: list[MoveInfo]


class RecordingInfo(Message):
    """A line of the list of recordings."""

    name: str
    duration_s: float
    made: str
    """Local date and time, ISO 8601."""


class Recordings(Message):
    """The whole list, sent after Welcome and whenever it changes."""

    type: Literal["recordings"] = "recordings"
    items: list[RecordingInfo]


class KeptDifference(Message):
    """A joint whose calibration is another one on the robot, in words."""

    joint: str
    ours: str
    theirs: str


class RobotKeeps(Message):
    """How the calibration that the robot keeps compares with the hub's; sent after Welcome and whenever it changes."""

    type: Literal["robot_keeps"] = "robot_keeps"
    state: Literal["unknown", "reading", "same", "differs", "sending", "waiting", "refused", "failed"]
    """unknown: there is no link. waiting: written on the robot, and used once no servo stands beyond the new ends."""
    sent: bool
    """Whether what the robot uses was sent to it; else it came with its program."""
    differences: list[KeptDifference]


class Notice(Message):
    """Something that people should know, in words."""

    type: Literal["notice"] = "notice"
    level: Literal["info", "warning", "error"]
    text: str


class Refused(Message):
    """A message that could not be taken, and why."""

    type: Literal["refused"] = "refused"
    to: str
    """The refused message's type, or empty when it could not be read."""
    text: str


class Pong(Message):
    """Answer to :class:`Ping`."""

    type: Literal["pong"] = "pong"
    n: int


FromHub = Annotated[
    Welcome
    | State
    | Moves
    | Recordings
    | RobotKeeps
    | Notice
    | Refused
    | Pong
    | bringing.Bringup
    | readying.ShowChecked
    | readying.FlightTold
    | readying.SupplyTold
    | making.Opened
    | making.Editing
    | making.Kept
    | making.Judged
    | making.Saved
    | making.Conflict
    | making.Changed
    | making.VersionList
    | making.PastVersion
    | making.Mended
    | making.Made
    | making.Exported
    | making.SoundKept,
    Field(discriminator="type"),
]

from_browser: TypeAdapter[FromBrowser] = TypeAdapter(FromBrowser)
from_hub: TypeAdapter[FromHub] = TypeAdapter(FromHub)
