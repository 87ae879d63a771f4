"""What a person writes down of a move: poses, sequences and routines, as JSON in the units of a workshop.

These models mirror the files key by key. Offsets are from the rest stance: a body at 0 0 0 stands at rest, a
foot at 0 0 0 stands where it stands at rest. A joint's angle is its own, with the zero of the robot file, as
``motionhub frames`` writes it and as its range is given. What names something of the robot, or of the
library, is checked in :mod:`motionhub.motion.documents`, which also gives it its meaning.
"""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import Field, field_validator, model_validator

from motionhub.motion.easing import DEFAULT, ease
from motionhub.motion.jsontext import Part

SEQUENCE_FORMAT = "motionhub-sequence/1"
ROUTINE_FORMAT = "motionhub-routine/1"
POSE_FORMAT = "motionhub-pose/1"

LONGEST_S = 3600.0
"""An hour: longer is a slip of the pen, and more frames than a check should be asked for."""
SHORTEST_S = 0.02
"""One period of a hobby servo."""
SLOWEST_BPM, FASTEST_BPM = 10.0, 400.0
LONGEST_CYCLE_MS = 20_000.0

_MAX_ITEMS = 20_000

# Bounds that catch a value in the wrong unit and nothing else.
Millimetres = Annotated[float, Field(ge=-1000, le=1000)]
Degrees = Annotated[float, Field(ge=-360, le=360)]
Tilt = Annotated[float, Field(ge=-90, le=90)]
Milliseconds = Annotated[float, Field(ge=0, le=1e9)]
Beats = Annotated[float, Field(ge=0, le=1e6)]
Title = Annotated[str, Field(min_length=1, max_length=64, pattern=r"^[A-Za-z0-9][A-Za-z0-9 _-]*$")]
Words = Annotated[str, Field(max_length=2000)]


class Offset(Part):
    """How far a foot is from where it stands at rest."""

    x_mm: Millimetres | None = None
    y_mm: Millimetres | None = None
    z_mm: Millimetres | None = None


class BodyOffset(Part):
    """How far the body is from where it is at rest, and how it is turned: Rz(yaw) Ry(pitch) Rx(roll)."""

    x_mm: Millimetres | None = None
    y_mm: Millimetres | None = None
    z_mm: Millimetres | None = None
    roll_deg: Tilt | None = None
    pitch_deg: Tilt | None = None
    yaw_deg: Tilt | None = None


class Pose(Part):
    """Any mix of body, feet and joints; what it does not mention, it does not touch."""

    body: BodyOffset | None = None
    feet: dict[str, Offset] = Field(default_factory=dict)
    joints_deg: dict[str, Degrees] = Field(default_factory=dict)

    @property
    def empty(self) -> bool:
        """Whether it mentions nothing at all."""
        given = [self.body, *self.feet.values()]
        return not self.joints_deg and not any(
            part is not None and part.model_dump(exclude_none=True) for part in given
        )


class PoseFile(Pose):
    """A pose with a name, as the library keeps it."""

    format: Literal["motionhub-pose/1"]
    name: Title
    about: Words = ""

    @model_validator(mode="after")
    def _not_empty(self) -> Self:
        if self.empty:
            raise ValueError("expected something to move: body, feet or joints_deg")
        return self


class Moment(Part):
    """Something at a time, in milliseconds or in beats of the sequence's tempo."""

    at_ms: Milliseconds | None = None
    at_beat: Beats | None = None

    @model_validator(mode="after")
    def _one_time(self) -> Self:
        if (self.at_ms is None) == (self.at_beat is None):
            raise ValueError("expected one time, at_ms or at_beat")
        return self


class Keyframe(Pose, Moment):
    """Where some channels are at one time, and how they get there."""

    approach: str = DEFAULT
    pose: str | None = None
    """A pose by name; what this keyframe gives itself goes before what the pose gives."""

    @field_validator("approach")
    @classmethod
    def _known_approach(cls, value: str) -> str:
        ease(value)  # raises the ValueError that says what was expected
        return value

    @model_validator(mode="after")
    def _not_empty(self) -> Self:
        if self.pose is None and self.empty:
            raise ValueError("expected something to move: pose, body, feet or joints_deg")
        return self


class WalkStretch(Part):
    """A stretch of walking. It starts and ends standing, so its first and last step are its own.

    One that starts when another of the same gait, cycle and lift ends goes on from it without a stop, and with no speed
    it stands on its feet meanwhile.
    """

    from_ms: Milliseconds | None = None
    to_ms: Milliseconds | None = None
    from_beat: Beats | None = None
    to_beat: Beats | None = None
    gait: str | None = None
    """By name; the one that the robot walks by unless told otherwise when not given."""
    forward_mm_s: Annotated[float, Field(ge=-2000, le=2000)] = 0.0
    left_mm_s: Annotated[float, Field(ge=-2000, le=2000)] = 0.0
    turn_deg_s: Annotated[float, Field(ge=-360, le=360)] = 0.0
    """Positive turns to the left."""
    cycle_ms: Annotated[float, Field(ge=200, le=LONGEST_CYCLE_MS)] | None = None
    """One step of every leg takes this long; the robot file's cycle when not given."""
    lift_mm: Annotated[float, Field(gt=0, le=300)] | None = None

    @model_validator(mode="after")
    def _one_pair_of_times(self) -> Self:
        ms, beat = (self.from_ms, self.to_ms), (self.from_beat, self.to_beat)
        if not ((None not in ms and beat == (None, None)) or (None not in beat and ms == (None, None))):
            raise ValueError("expected from_ms and to_ms, or from_beat and to_beat")
        return self


class Cue(Moment):
    """A level of an output from a time on."""

    output: str
    level: Annotated[float, Field(ge=0, le=1)]
    fade_ms: Milliseconds = 0.0
    for_ms: Annotated[float, Field(gt=0, le=1e9)] | None = None
    """After so long it goes back, as slowly as it came, to the level that it had been told before."""

    @model_validator(mode="after")
    def _time_to_fade(self) -> Self:
        if self.for_ms is not None and self.fade_ms > self.for_ms:
            raise ValueError(f"expected fade_ms of at most for_ms, {self.for_ms:g}, found {self.fade_ms:g}")
        return self


class Sound(Part):
    """A sound to work against; who makes the move hears it in step with the preview. The robot does not play it."""

    name: Title
    """Of the library's sounds."""
    at_ms: Annotated[float, Field(ge=-1e7, le=1e7)] = 0.0
    """When in the move the sound begins; below 0 its beginning is left out."""


class SequenceFile(Part):
    """One move."""

    format: Literal["motionhub-sequence/1"]
    name: Title
    about: Words = ""
    tempo_bpm: Annotated[float, Field(ge=SLOWEST_BPM, le=FASTEST_BPM)] | None = None
    poses: dict[str, Pose] = Field(default_factory=dict)
    keyframes: Annotated[list[Keyframe], Field(max_length=_MAX_ITEMS)] = Field(default_factory=list)
    walks: Annotated[list[WalkStretch], Field(max_length=_MAX_ITEMS)] = Field(default_factory=list)
    cues: Annotated[list[Cue], Field(max_length=_MAX_ITEMS)] = Field(default_factory=list)
    end_ms: Milliseconds | None = None
    end_beat: Beats | None = None
    sound: Sound | None = None

    @model_validator(mode="after")
    def _not_empty(self) -> Self:
        if not self.keyframes and not self.walks:
            raise ValueError("expected at least one keyframe or walk, found none")
        return self


class Step(Part):
    """One sequence of a routine, and what comes around it."""

    sequence: str
    """By name, of the library."""
    times: Annotated[int, Field(ge=1, le=1000)] = 1
    wait: bool = False
    """Stand still before it until the operator says go."""
    pause_ms: Milliseconds = 0.0
    """Stand still after it, and after each repeat, for so long."""
    hand_over_ms: Milliseconds | None = None
    """How long to take from where the one before ended to where this one starts, where they differ; as
    long as the joints need for it without hurry when not given."""


class RoutineFile(Part):
    """Sequences in order."""

    format: Literal["motionhub-routine/1"]
    name: Title
    about: Words = ""
    steps: Annotated[list[Step], Field(min_length=1, max_length=1000)]
