"""Messages for making a move, from the browser: opening, drafts, saving, mends, what comes from outside.

What the hub answers is in :mod:`~motionhub.remote.answering`.

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
