"""What the hub answers to those who make moves: what they have open, verdicts, what is kept, saved and exported.

What they ask is in :mod:`~motionhub.remote.making`.
"""

from __future__ import annotations

from typing import Literal

from motionhub.remote.making import RemedyKind
from motionhub.remote.parts import Message


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
