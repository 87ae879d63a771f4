"""A sequence that is known to make sense for a robot: its names exist and its times are in order.

:func:`parse` is the one way in from text; :func:`resolve` from a document that the program itself made.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from motionhub.errors import InputError, unknown
from motionhub.motion import jsontext
from motionhub.motion.formats import (
    LONGEST_S,
    POSE_FORMAT,
    ROUTINE_FORMAT,
    SEQUENCE_FORMAT,
    SHORTEST_S,
    BodyOffset,
    Cue,
    Keyframe,
    Offset,
    Pose,
    PoseFile,
    RoutineFile,
    SequenceFile,
    WalkStretch,
)
from motionhub.motion.gait import gaits
from motionhub.robot.model import Robot


@dataclass(frozen=True)
class Sequence:
    """A move that can be rendered: the document, and the library's poses that it names."""

    document: SequenceFile
    source: str
    """The file or name that a refusal starts with."""
    library_poses: Mapping[str, Pose]

    @property
    def name(self) -> str:
        """As the document calls it."""
        return self.document.name

    @property
    def duration_s(self) -> float:
        """When the last thing in it is over, or its stated end."""
        return _end(self.document)

    def dump(self) -> str:
        """The document as JSON text; reads back as the same."""
        return jsontext.dump(self.document)

    def seconds(self, item: Keyframe | Cue) -> float:
        """When a keyframe or cue is."""
        return _seconds(self.document, item.at_ms, item.at_beat)

    def span(self, walk: WalkStretch) -> tuple[float, float]:
        """When a walk starts and ends, in seconds."""
        return _span(self.document, walk)

    def pose_of(self, keyframe: Keyframe) -> Pose:
        """All that a keyframe moves: its named pose with its own on top."""
        if keyframe.pose is None:
            return keyframe
        named = self.document.poses.get(keyframe.pose) or self.library_poses[keyframe.pose]
        return Pose(
            body=_over(named.body, keyframe.body),
            feet={
                leg: _over_foot(named.feet.get(leg), keyframe.feet.get(leg)) for leg in {**named.feet, **keyframe.feet}
            },
            joints_deg={**named.joints_deg, **keyframe.joints_deg},
        )


def parse(text: str, source: str | Path, robot: Robot, poses: Mapping[str, Pose] | None = None) -> Sequence:
    """Read the text of a sequence.

    Args:
        text: JSON of the format ``motionhub-sequence/1``.
        source: What its user knows it as, for refusals.
        robot: Whose joints, legs and outputs it may name.
        poses: The library's poses by name; the sequence's own go before them.

    Raises:
        InputError: naming the place and what was expected there.
    """
    data = jsontext.load(text, source)
    jsontext.check_format(data, SEQUENCE_FORMAT, source)
    return resolve(jsontext.read(SequenceFile, data, source), source, robot, poses)


def parse_pose(text: str, source: str | Path, robot: Robot) -> PoseFile:
    """Read the text of a pose, ``motionhub-pose/1``; raises InputError naming the place."""
    data = jsontext.load(text, source)
    jsontext.check_format(data, POSE_FORMAT, source)
    pose = jsontext.read(PoseFile, data, source)
    _check_pose(pose, "", source, robot)
    return pose


def parse_routine(text: str, source: str | Path) -> RoutineFile:
    """Read the text of a routine, ``motionhub-routine/1``; raises InputError naming the place.

    Whether its sequences exist is asked when it is rendered: a library may be filled in any order.
    """
    data = jsontext.load(text, source)
    jsontext.check_format(data, ROUTINE_FORMAT, source)
    return jsontext.read(RoutineFile, data, source)


def resolve(
    document: SequenceFile, source: str | Path, robot: Robot, poses: Mapping[str, Pose] | None = None
) -> Sequence:
    """Check a document against a robot and the library's poses.

    Raises:
        InputError: naming the place and what was expected there.
    """
    library = dict(poses or {})
    _check_times(document, source)
    for name, pose in document.poses.items():
        _check_pose(pose, f"poses.{name}", source, robot)
    used = {}
    for i, keyframe in enumerate(document.keyframes):
        _check_pose(keyframe, f"keyframes[{i}]", source, robot)
        if keyframe.pose is not None and keyframe.pose not in document.poses:
            if keyframe.pose not in library:
                known = {*document.poses, *library}
                what = unknown("pose", keyframe.pose, known)
                raise InputError(source, f"keyframes[{i}].pose", what)
            used[keyframe.pose] = library[keyframe.pose]
            _check_pose(used[keyframe.pose], f"keyframes[{i}].pose", source, robot)
    known_gaits = gaits(robot)
    for i, walk in enumerate(document.walks):
        if walk.gait is not None and walk.gait not in known_gaits:
            raise InputError(source, f"walks[{i}].gait", unknown("gait", walk.gait, known_gaits))
    outputs = [output.name for output in robot.outputs]
    for i, cue in enumerate(document.cues):
        if cue.output not in outputs:
            raise InputError(source, f"cues[{i}].output", unknown("output", cue.output, outputs))
    return Sequence(document, str(source), used)


def _check_pose(pose: Pose, place: str, source: str | Path, robot: Robot) -> None:
    def at(key: str) -> str:
        return f"{place}.{key}" if place else key

    for leg in pose.feet:
        if leg not in robot.leg_index:
            raise InputError(source, at("feet"), unknown("leg", leg, robot.leg_names))
    for joint in pose.joints_deg:
        if joint not in robot.joint_index:
            raise InputError(source, at("joints_deg"), unknown("joint", joint, robot.joint_names))


# ---------------------------------------------------------------- times


def _seconds(document: SequenceFile, ms: float | None, beat: float | None) -> float:
    if ms is not None:
        return ms / 1000
    assert beat is not None  # the models ask for one of them
    assert document.tempo_bpm is not None  # and _check_times for the tempo
    return beat * 60 / document.tempo_bpm


def _span(document: SequenceFile, walk: WalkStretch) -> tuple[float, float]:
    return _seconds(document, walk.from_ms, walk.from_beat), _seconds(document, walk.to_ms, walk.to_beat)


def _natural_end(document: SequenceFile) -> float:
    ends = [_seconds(document, k.at_ms, k.at_beat) for k in document.keyframes]
    ends += [_span(document, walk)[1] for walk in document.walks]
    for cue in document.cues:
        fade = cue.fade_ms / 1000
        ends.append(
            _seconds(document, cue.at_ms, cue.at_beat) + (fade if cue.for_ms is None else cue.for_ms / 1000 + fade)
        )
    return max(ends)


def _end(document: SequenceFile) -> float:
    if document.end_ms is None and document.end_beat is None:
        return _natural_end(document)
    return _seconds(document, document.end_ms, document.end_beat)


def _check_times(document: SequenceFile, source: str | Path) -> None:
    """All in one measure of time, in order, nothing after the end, neither endless nor over at once."""
    _check_measure(document, source)

    def seconds(item: Keyframe | Cue) -> float:
        return _seconds(document, item.at_ms, item.at_beat)

    def word(item: Keyframe | Cue) -> str:
        return "at_ms" if item.at_ms is not None else "at_beat"

    def refuse_order(place: str, i: int, item: Keyframe | Cue, before: Keyframe | Cue, how: str) -> InputError:
        key = word(item)
        return InputError(
            source,
            f"{place}[{i}].{key}",
            f"expected {how} {place}[{i - 1}] at {getattr(before, key):g}, found {getattr(item, key):g}",
        )

    for i, (before, item) in enumerate(zip(document.keyframes, document.keyframes[1:], strict=False), start=1):
        if seconds(item) <= seconds(before):
            raise refuse_order("keyframes", i, item, before, "a time later than")
    for i, (first, cue) in enumerate(zip(document.cues, document.cues[1:], strict=False), start=1):
        if seconds(cue) < seconds(first):
            raise refuse_order("cues", i, cue, first, "a time not before")
    last = 0.0
    for i, walk in enumerate(document.walks):
        start, stop = _span(document, walk)
        ms = walk.from_ms is not None
        if start < last:
            found, unit = (walk.from_ms, "ms") if ms else (walk.from_beat, "beats")
            key = "from_ms" if ms else "from_beat"
            raise InputError(
                source, f"walks[{i}].{key}", f"expected a start after walks[{i - 1}] ends, found {found:g} {unit}"
            )
        if stop <= start:
            key = "to_ms" if ms else "to_beat"
            raise InputError(source, f"walks[{i}].{key}", f"expected an end after the start, found {stop:g} s")
        last = stop
    natural, end = _natural_end(document), _end(document)
    key = "end_beat" if document.end_beat is not None else "end_ms" if document.end_ms is not None else ""
    if end < natural - 1e-9:
        raise InputError(source, key, f"expected an end after all else, at {natural:g} s, found {end:g} s")
    if end > LONGEST_S:
        raise InputError(source, key, f"expected a sequence of at most {LONGEST_S:g} s, found one of {end:g} s")
    if end < SHORTEST_S:
        raise InputError(
            source,
            key,
            f"expected a sequence of at least {SHORTEST_S * 1000:g} ms, found {end * 1000:g} ms; set end_ms",
        )


def _check_measure(document: SequenceFile, source: str | Path) -> None:
    timed: list[tuple[str, bool]] = []
    timed += [(f"keyframes[{i}].at_", k.at_beat is not None) for i, k in enumerate(document.keyframes)]
    timed += [(f"walks[{i}].from_", w.from_beat is not None) for i, w in enumerate(document.walks)]
    timed += [(f"cues[{i}].at_", c.at_beat is not None) for i, c in enumerate(document.cues)]
    if document.end_ms is not None or document.end_beat is not None:
        timed.append(("end_", document.end_beat is not None))
    if document.end_ms is not None and document.end_beat is not None:
        raise InputError(source, "end_beat", "expected one end, end_ms or end_beat, found both")
    in_beats = timed[0][1]
    for place, beats in timed:
        if beats != in_beats:
            first = timed[0][0] + ("beat" if in_beats else "ms")
            raise InputError(
                source,
                place + ("beat" if beats else "ms"),
                f"expected all times in {'beats' if in_beats else 'milliseconds'}, as {first} has them",
            )
    if in_beats and document.tempo_bpm is None:
        raise InputError(source, "tempo_bpm", "is missing; times in beats need a tempo")


# ---------------------------------------------------------------- a pose over a pose


def _over(under: BodyOffset | None, top: BodyOffset | None) -> BodyOffset | None:
    if under is None or top is None:
        return top or under
    return BodyOffset(**{**under.model_dump(exclude_none=True), **top.model_dump(exclude_none=True)})


def _over_foot(under: Offset | None, top: Offset | None) -> Offset:
    merged = [part.model_dump(exclude_none=True) for part in (under, top) if part is not None]
    return Offset(**{key: value for part in merged for key, value in part.items()})
