"""Messages for making a move in the browser: opening, drafts, verdicts, saving, mends, what comes from outside.

Documents travel as the JSON text that they are on disk, so that nothing but the format itself describes them.
Only operators may send these. Those in :data:`LONG` carry a document or a file, and have a budget of their own.
An edit has a number ``n`` that its browser counts up; the newest one is worked on, and answers name theirs.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from motionhub.remote.parts import DocumentName, Message

DOCUMENT_CHARACTERS = 1_000_000
"""Of the longest document that is edited in a browser: some 5,000 keyframes."""

SOUND_PART_BYTES = 262_144
"""Of a sound, at a time."""

SOUND_PARTS = 48
"""Of one sound at most: 12 MB, some ten minutes of a compressed one."""

LONG_MESSAGE_BYTES = 4_000_000
"""No message of an operator is longer: a document whose every character takes four bytes just fits."""

DocumentText = Annotated[str, Field(max_length=DOCUMENT_CHARACTERS)]
"""A document as JSON text; empty for one that there is not."""
VersionId = Annotated[str, Field(max_length=64)]
"""Tells one saved text of a document from another; empty while there is none."""
Edit = Annotated[int, Field(ge=0, le=2**31)]
Seconds = Annotated[float, Field(ge=0, le=3600, allow_inf_nan=False)]
ErrorDeg = Annotated[float, Field(ge=0.05, le=20, allow_inf_nan=False)]
Heading = Annotated[str, Field(max_length=64)]
Hand = Annotated[str, Field(pattern=r"^[A-Za-z0-9]{1,40}$")]
"""A browser's own mark, which it keeps: its drafts are found again by it."""
RemedyKind = Literal["slower", "lower", "higher", "shift", "tilt", "feet-in", "feet-out", "foot", "joint"]
"""slower: more time where it is needed. lower, higher, shift, tilt: the body over its feet. feet-in, feet-out: all of
them, for the whole move. foot: that one, to where its leg reaches. joint: that one, back into its range."""

# ---------------------------------------------------------------- from the browser


class OpenMove(Message):
    """Begin to edit a sequence; one that is not there yet is a new one."""

    type: Literal["open_move"] = "open_move"
    name: DocumentName
    hand: Hand


class CloseMove(Message):
    """Edit it no longer; its draft stays."""

    type: Literal["close_move"] = "close_move"
    name: DocumentName


class Draft(Message):
    """The sequence as it is now being edited: to be judged and, unless a hand is still moving it, kept."""

    type: Literal["draft"] = "draft"
    name: DocumentName
    hand: Hand
    base: VersionId
    """What the edits began from."""
    n: Edit
    text: DocumentText
    keep: bool = True
    """Keep it on the disk; answered by a Kept once it is there."""
    whole: bool = False
    """Answer with all frames, not only with those that have changed."""


class DropDraft(Message):
    """Throw this hand's draft of a sequence away."""

    type: Literal["drop_draft"] = "drop_draft"
    name: DocumentName
    hand: Hand


class SaveMove(Message):
    """Save a sequence, if what is saved now is still what the edits began from."""

    type: Literal["save_move"] = "save_move"
    name: DocumentName
    hand: Hand
    base: VersionId
    text: DocumentText


class Mend(Message):
    """Change a sequence so that a finding goes away; answered by a Mended."""

    type: Literal["mend"] = "mend"
    name: DocumentName
    n: Edit
    text: DocumentText
    rule: Annotated[str, Field(max_length=32)]
    subject: Annotated[str, Field(max_length=64)] | None
    start_s: Seconds
    remedy: RemedyKind


class Thin(Message):
    """Leave out keys that are not needed to stay within an error; answered by a Mended."""

    type: Literal["thin"] = "thin"
    name: DocumentName
    n: Edit
    text: DocumentText
    error_deg: ErrorDeg


class Rehearse(Message):
    """Play a sequence as it is being edited on the robot, at a share of its speed; only for who holds control."""

    type: Literal["rehearse"] = "rehearse"
    name: DocumentName
    text: DocumentText
    share: Annotated[float, Field(ge=0.1, le=1, allow_inf_nan=False)]


class ListVersions(Message):
    """Ask for what was saved of a sequence before."""

    type: Literal["list_versions"] = "list_versions"
    name: DocumentName


class LookBack(Message):
    """Ask for the text of an earlier version."""

    type: Literal["look_back"] = "look_back"
    name: DocumentName
    id: VersionId


class Transcribe(Message):
    """Make a sequence of a recording, or of a part of it; answered by a Made."""

    type: Literal["transcribe"] = "transcribe"
    recording: DocumentName
    name: DocumentName
    from_s: Seconds = 0.0
    to_s: Seconds | None = None
    error_deg: ErrorDeg = 1.0


class ReadTable(Message):
    """Make a sequence of a table of joint angles in degrees, as CSV; answered by a Made."""

    type: Literal["read_table"] = "read_table"
    name: DocumentName
    text: DocumentText
    columns: Annotated[dict[Heading, Heading], Field(max_length=256)] = Field(default_factory=dict)
    """From a joint to the heading of its column; a joint that is not named here has one of its own name, or none."""
    time: Heading = ""
    """The heading of the column with the time; empty when a row follows each 1 / rate_hz seconds."""
    milliseconds: bool = False
    """Whether that time is in ms rather than in s."""
    rate_hz: Annotated[float, Field(ge=1, le=1000, allow_inf_nan=False)] = 50.0
    error_deg: ErrorDeg = 1.0


class ReadDocument(Message):
    """Look whether a sequence from elsewhere suits this robot; answered by a Made."""

    type: Literal["read_document"] = "read_document"
    name: DocumentName
    text: DocumentText


class ExportFrames(Message):
    """Ask for the frames of a sequence as MessagePack; answered by an Exported."""

    type: Literal["export_frames"] = "export_frames"
    name: DocumentName
    text: DocumentText
    rate_hz: Annotated[float, Field(ge=1, le=200, allow_inf_nan=False)] = 50.0


class SavePose(Message):
    """Keep a pose in the library, for every move."""

    type: Literal["save_pose"] = "save_pose"
    name: DocumentName
    text: DocumentText


class KeepSound(Message):
    """A part of a sound to work against, kept in the library; after the last one a SoundKept answers."""

    type: Literal["keep_sound"] = "keep_sound"
    name: DocumentName
    part: Annotated[int, Field(ge=0, lt=SOUND_PARTS)]
    parts: Annotated[int, Field(ge=1, le=SOUND_PARTS)]
    data: Annotated[bytes, Field(max_length=SOUND_PART_BYTES)]


LONG = (Draft, SaveMove, Mend, Thin, Rehearse, ReadTable, ReadDocument, ExportFrames, SavePose, KeepSound)
"""What may be longer than other messages."""

# ---------------------------------------------------------------- from the hub


class GaitSpeed(Message):
    """A way of walking, and how fast it goes at most with the usual cycle and lift."""

    name: str
    forward_mm_s: float
    left_mm_s: float
    turn_deg_s: float


class MakerInfo(Message):
    """What a browser needs to know of the robot to make moves for it, besides how it looks."""

    low_deg: list[float]
    """Per joint, in the order of the robot's joints."""
    high_deg: list[float]
    rest_deg: list[float]
    """The rest stance."""
    rest_feet_mm: list[tuple[float, float, float]]
    """Per leg, the foot's centre at rest: x forward, y left, z up from the ground under the body."""
    gaits: list[GaitSpeed]
    """The usual one first."""
    cycle_ms: float
    lift_mm: float
    margin_mm: float
    """Of static stability, that the check asks for."""
    regulator_a: float


class KeptDraft(Message):
    """A draft that is on the disk."""

    hand: str
    text: str
    base: str
    """What its edits began from."""
    n: int
    by: str
    """Whose device; empty when it did not say."""
    made: str
    """Local date and time, ISO 8601."""


class Opened(Message):
    """Answer to OpenMove."""

    type: Literal["opened"] = "opened"
    name: str
    text: str
    """As it is saved; empty for a new one."""
    version: str
    shipped: bool
    """It came with the program: saving it makes one's own, which covers it."""
    drafts: list[KeptDraft]
    """Of this sequence, the latest first."""
    others: list[str]
    """Who else has it open."""
    maker: MakerInfo
    poses: str
    """The library's poses, JSON from name to pose."""
    sounds: list[str]
    sound_path: str
    """A sound of the library is at this path, a slash, and its name; it holds a secret, so it is not for showing."""


class Editing(Message):
    """Who else has a sequence open, whenever that changes."""

    type: Literal["editing"] = "editing"
    name: str
    others: list[str]


class Kept(Message):
    """A draft is on the disk, up to this edit; a power cut does not take it."""

    type: Literal["kept"] = "kept"
    name: str
    n: int


class Remedy(Message):
    """A change that may mend a finding, at one press."""

    kind: RemedyKind
    words: str


class FindingInfo(Message):
    """What the check says against a move, as ``motionhub check`` has it, and what can be pressed against it."""

    rule: str
    severity: Literal["error", "warning"]
    start_s: float
    end_s: float
    subject: str | None
    value: float
    limit: float
    unit: str
    advice: str
    remedies: list[Remedy]


class PreviewInfo(Message):
    """How a move goes, frame by frame; little-endian arrays, row after row. Only rows from ``first`` on are here.

    The rows before it, and those after the ones here, are as they were in the answer to edit ``since``: those at
    the end keep their distance to the end. With ``since`` -1 all of them are here.
    """

    rate_hz: float
    frames: int
    first: int
    since: int
    joints: bytes
    """int16, per joint: hundredths of a degree."""
    body: bytes
    """float32, 6: x_mm, y_mm, z_mm, roll_deg, pitch_deg, yaw_deg over the ground, as it stands on its feet."""
    com: bytes
    """float32, 2: x_mm and y_mm of the centre of mass on the ground."""
    down: bytes
    """uint8: bit i is set when the foot of leg i carries weight."""
    outputs: bytes
    """uint8, per output: 255 is the full level."""
    margin: bytes
    """int16: tenths of a millimetre."""
    amps: bytes
    """uint16: hundredths of an ampere."""
    load: bytes
    """uint8, per joint: percent of the torque that its servo has at that moment, 255 for as much or more."""


class Judged(Message):
    """The verdict on a draft."""

    type: Literal["judged"] = "judged"
    name: str
    n: int
    place: str
    """Where it cannot be read or done, as ``walks[0].gait``; empty when there is no such place."""
    problem: str
    """Why it cannot be read or done at all; empty when it can, and then there is a preview."""
    fits: bool
    duration_s: float
    findings: list[FindingInfo]
    preview: PreviewInfo | None
    advising: bool
    """Whether some advice is still being worked out, and there is none yet: the same verdict follows with it."""
    partly: bool
    """Whether only the edited stretch was looked at, and the rest is as it was: the verdict on all of it follows."""
    took_ms: float
    """How long it was worked on."""


class Saved(Message):
    """A sequence is saved and on the disk; its draft is gone."""

    type: Literal["saved"] = "saved"
    name: str
    version: str


class Conflict(Message):
    """A sequence was not saved, for something else has been saved under its name since the edits began."""

    type: Literal["conflict"] = "conflict"
    name: str
    version: str
    text: str
    """What is saved now."""
    words: str
    """Who saved it, and when."""


class Changed(Message):
    """A sequence that is open here has been saved by someone else."""

    type: Literal["changed"] = "changed"
    name: str
    version: str
    words: str


class VersionInfo(Message):
    """An earlier text of a sequence."""

    id: str
    replaced: str
    """When another took its place: local date and time, ISO 8601."""


class VersionList(Message):
    """Answer to ListVersions, the newest first."""

    type: Literal["version_list"] = "version_list"
    name: str
    items: list[VersionInfo]


class PastVersion(Message):
    """Answer to LookBack."""

    type: Literal["past_version"] = "past_version"
    name: str
    id: str
    text: str


class Mended(Message):
    """A changed sequence, to be taken over as one step that can be undone."""

    type: Literal["mended"] = "mended"
    name: str
    n: int
    """The edit that it was made from: if others have followed, it is out of date."""
    text: str
    words: str
    """What was done."""
    left: bool
    """The finding is still there, or another of its kind."""


class Made(Message):
    """A sequence made of a recording or a table, or one that came from elsewhere."""

    type: Literal["made"] = "made"
    name: str
    text: str
    words: str
    keyframes: int
    error_deg: float
    """The most that any joint is away from where it was, at any frame, as rendered."""


class Exported(Message):
    """The frames of a sequence, as :mod:`motionhub.library.exchange` describes them."""

    type: Literal["exported"] = "exported"
    name: str
    data: bytes


class SoundKept(Message):
    """A sound is in the library and on the disk."""

    type: Literal["sound_kept"] = "sound_kept"
    name: str
