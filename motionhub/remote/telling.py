"""Messages from the hub to every browser: what the robot is, how it does, what there is to play, what happened."""

from __future__ import annotations

from typing import Literal

from motionhub.remote.parts import Message


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
