"""What the advice of a finding says to do, done: the move changed so that the finding goes away.

The check's advice was tried on a few frames; here it is worked into the keyframes, and the whole move is judged
again. Where the advised amount is not enough, since channels ease from key to key, a little more is tried.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from motionhub.check.findings import APART_S, Finding
from motionhub.check.mend import WAYS
from motionhub.check.retiming import retime
from motionhub.errors import InputError
from motionhub.motion import documents, jsontext
from motionhub.motion.documents import Sequence
from motionhub.motion.formats import BodyOffset, Keyframe, Offset, Pose, SequenceFile
from motionhub.motion.posing import standing_feet
from motionhub.motion.retime import counts_beats, knots, stretched
from motionhub.robot.model import Robot

Judge = Callable[[Sequence], list[Finding]]
Channel = tuple[str, str, str]
"""``("body", "", "z_mm")``, ``("feet", leg, "x_mm")`` or ``("joints", joint, "")``."""

MORE = (1.0, 1.3, 1.7)
"""Times the advised amount that is tried."""
LEAD_S = 0.5
"""How long a change takes to come and go where nothing is keyed."""
LENGTHENED = ("joint-speed", "joint-torque", "supply-current", "supply-voltage")
"""Rules that :func:`~motionhub.check.retiming.retime` knows of."""

_NUMBER = r"([+-]?\d+(?:\.\d+)?)"
_CHANGES = [
    (kind, direction, re.compile(re.escape(words).replace(r"\{by:g\}", _NUMBER) + r"(?! and as far)"))
    for kind, words, direction in WAYS
]
_FOOT = re.compile(rf"keep the foot .* its hip \(x {_NUMBER}, y {_NUMBER}, z {_NUMBER} mm\)")
_TURN = re.compile(rf"turn (\S+) {_NUMBER} deg less")
_SLOWER = re.compile(r"times slower|take at least \S+ ms")


@dataclass(frozen=True)
class Remedy:
    """A change of a move that may mend a finding."""

    kind: str
    """slower, lower, higher, shift, tilt, feet-in, feet-out, foot or joint."""
    words: str
    direction: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """mm to change by: of the body, of the foot, or with the feet's first number outwards; of a tilt roll, pitch and
    yaw in degrees."""
    joint: str = ""
    degrees: float = 0.0


@dataclass(frozen=True)
class Remedied:
    """A move after a remedy."""

    sequence: Sequence
    words: str
    left: bool
    """Whether the finding, or another by the same rule at that time, is still there."""


def remedies(finding: Finding) -> list[Remedy]:
    """What can be done about a finding at one press, by its own advice."""
    found: list[Remedy] = []
    on_the_way = finding.way.startswith("on the way")
    if not on_the_way and (_SLOWER.search(finding.advice) or (finding.way and finding.rule in LENGTHENED)):
        found.append(Remedy("slower", "Give it the time that it needs"))
    if finding.way:
        return found
    for kind, direction, pattern in _CHANGES:
        if match := pattern.search(finding.advice):
            by = float(match.group(1))
            words = match.group(0)[:1].upper() + match.group(0)[1:]
            x, y, z = (by * part for part in direction)
            name = {
                "body": "shift",
                "tilt": "tilt",
                "height": "lower" if z < 0 else "higher",
                "feet": "feet-in" if x < 0 else "feet-out",
            }
            found.append(Remedy(name[kind], words, (x, y, z)))
    if match := _FOOT.search(finding.advice):
        x, y, z = (float(part) for part in match.groups())
        found.append(Remedy("foot", f"Pull {finding.subject} to where it reaches", (x, y, z)))
    if match := _TURN.search(finding.advice):
        found.append(Remedy("joint", f"Turn {match[1]} {match[2]} deg less", joint=match[1], degrees=float(match[2])))
    return found


def remedied(sequence: Sequence, robot: Robot, finding: Finding, remedy: Remedy, judge: Judge) -> Remedied:
    """The move with a remedy worked in.

    Args:
        sequence: The move.
        robot: Its robot.
        finding: What is to go away.
        remedy: One of its :func:`remedies`.
        judge: What the whole check finds in a move.

    Raises:
        InputError: if the change makes no move that can be rendered.
    """
    before = judge(sequence)
    best: Remedied | None = None
    for changed in _tries(sequence, robot, finding, remedy):
        after = judge(changed)
        left = any(_same(finding, other) for other in after)
        fresh = _fresh(before, after)
        words = remedy.words + (f"; now {fresh} is found" if fresh else "")
        if best is None or (best.left and not left):
            best = Remedied(changed, words, left)
        if not left:
            break
    if best is None:
        raise InputError(
            sequence.source, "", f"nothing in the move is there to {remedy.words[:1].lower()}{remedy.words[1:]}"
        )
    return best


def _same(finding: Finding, other: Finding) -> bool:
    near = other.start_s <= finding.end_s + APART_S and other.end_s >= finding.start_s - APART_S
    return near and (finding.rule, finding.subject) == (other.rule, other.subject)


def _fresh(before: list[Finding], after: list[Finding]) -> str:
    known = {(f.rule, f.subject) for f in before}
    return ", ".join(sorted({f.rule for f in after if f.severity == "error" and (f.rule, f.subject) not in known}))


def _tries(sequence: Sequence, robot: Robot, finding: Finding, remedy: Remedy) -> Iterator[Sequence]:
    if remedy.kind == "slower":
        yield from _slower(sequence, robot, finding)
        return
    for more in MORE:
        try:
            changed = _changed(sequence, robot, finding, remedy, more)
        except InputError:
            if more == MORE[0]:
                raise
            return
        if changed is not None:
            yield changed


def _slower(sequence: Sequence, robot: Robot, finding: Finding) -> Iterator[Sequence]:
    """First with more time only where the finding is; then everywhere that the move is too quick."""
    made = retime(sequence, robot)
    if not made.changes:
        return
    at = knots(sequence)
    factors = np.ones(len(at) - 1)
    for change in made.changes:
        piece = int(np.argmin(np.abs(at[:-1] - change.from_s)))
        if change.to_s >= finding.start_s - 0.05 and change.from_s <= finding.end_s + 0.05:
            factors[piece] = change.factor
    if (factors != 1).any() and (factors != 1).sum() < len(made.changes):
        yield stretched(sequence, robot, factors)
    yield made.sequence


# ------------------------------------------------------------------ changing channels


def _changed(sequence: Sequence, robot: Robot, finding: Finding, remedy: Remedy, more: float) -> Sequence | None:
    span = finding.start_s, finding.end_s
    x, y, z = (more * part for part in remedy.direction)
    match remedy.kind:
        case "lower" | "higher" | "shift":
            shifts: dict[Channel, float] = {
                ("body", "", key): mm for key, mm in (("x_mm", x), ("y_mm", y), ("z_mm", z)) if mm
            }
        case "tilt":
            shifts = {("body", "", key): deg for key, deg in (("roll_deg", x), ("pitch_deg", y), ("yaw_deg", z)) if deg}
        case "foot":
            leg = finding.subject or ""
            shifts = {("feet", leg, key): mm for key, mm in (("x_mm", x), ("y_mm", y), ("z_mm", z)) if mm}
        case "feet-in" | "feet-out":
            span = 0.0, sequence.duration_s
            shifts = _outwards(robot, x)
        case _:
            values = [value for _, value in _keys(sequence, ("joints", remedy.joint, ""))]
            if not values:
                return None
            middle = float(np.rad2deg(robot.lower + robot.upper)[robot.joint_index[remedy.joint]]) / 2
            sign = -1.0 if max(values, key=lambda v: abs(v - middle)) > middle else 1.0
            shifts = {("joints", remedy.joint, ""): sign * more * remedy.degrees}
    return shifted(sequence, robot, shifts, *span)


def _outwards(robot: Robot, mm: float) -> dict[Channel, float]:
    arm = standing_feet(robot)[:, :2] - robot.hip[:, :2]
    arm = arm / np.maximum(np.linalg.norm(arm, axis=1, keepdims=True), 1e-9)
    return {
        ("feet", leg, key): mm * float(arm[i, k])
        for i, leg in enumerate(robot.leg_names)
        for k, key in enumerate(("x_mm", "y_mm"))
    }


def shifted(sequence: Sequence, robot: Robot, shifts: Mapping[Channel, float], from_s: float, to_s: float) -> Sequence:
    """The move with channels shifted over a stretch of time, in mm and degrees.

    The keys that give a channel its value there are shifted; a channel without keys gets some, and is back at rest
    before and after.

    Raises:
        InputError: if a value is then beyond what a document holds.
    """
    moved: dict[float, dict[Channel, float]] = {}
    for channel, by in shifts.items():
        keys = _keys(sequence, channel)
        for time, value in _around(keys, from_s, to_s, by, sequence.duration_s):
            moved.setdefault(time, {})[channel] = round(value, 2)
    document = _with_keys(sequence, moved)
    return documents.parse(jsontext.dump(document), sequence.source, robot, sequence.library_poses)


def _keys(sequence: Sequence, channel: Channel) -> list[tuple[float, float]]:
    """When a channel is keyed, and at what."""
    found = []
    for keyframe in sequence.document.keyframes:
        value = _value(sequence.pose_of(keyframe), channel)
        if value is not None:
            found.append((sequence.seconds(keyframe), value))
    return found


def _value(pose: Pose, channel: Channel) -> float | None:
    kind, part, key = channel
    if kind == "joints":
        return pose.joints_deg.get(part)
    offset = pose.body if kind == "body" else pose.feet.get(part)
    value: float | None = getattr(offset, key, None)
    return value


def _around(
    keys: list[tuple[float, float]], from_s: float, to_s: float, by: float, end_s: float
) -> list[tuple[float, float]]:
    """The keys that are to be changed, with their new values."""
    if not keys:
        lead = [(from_s - LEAD_S, 0.0)] if from_s > LEAD_S else []
        after = [(to_s + LEAD_S, 0.0)] if to_s + LEAD_S < end_s else []
        inside = [(from_s, by)] if from_s == to_s else [(from_s, by), (to_s, by)]
        return [*lead, *inside, *after]
    times = [time for time, _ in keys]
    first = max((time for time in times if time <= from_s + 1e-9), default=-1.0)
    last = min((time for time in times if time >= to_s - 1e-9), default=end_s)
    return [(time, value + by) for time, value in keys if first <= time <= last]


def _with_keys(sequence: Sequence, moved: Mapping[float, Mapping[Channel, float]]) -> SequenceFile:
    document = sequence.document
    keyframes = []
    left = dict(moved)
    for keyframe in document.keyframes:
        own = sequence.seconds(keyframe)
        near = next((time for time in left if abs(time - own) < 1e-3), None)
        keyframes.append(keyframe if near is None else _over(keyframe, left.pop(near)))
    beats = counts_beats(document)
    for time, values in left.items():
        beat, ms = round(time * (document.tempo_bpm or 0) / 60, 6), round(time * 1e3, 3)
        bare = Keyframe.model_construct(at_beat=beat) if beats else Keyframe.model_construct(at_ms=ms)
        keyframes.append(_over(bare, values))
    keyframes.sort(key=lambda k: k.at_beat if k.at_beat is not None else k.at_ms or 0.0)
    return document.model_copy(update={"keyframes": keyframes})


def _over(keyframe: Keyframe, values: Mapping[Channel, float]) -> Keyframe:
    body = keyframe.body.model_dump(exclude_none=True) if keyframe.body else {}
    feet = {leg: offset.model_dump(exclude_none=True) for leg, offset in keyframe.feet.items()}
    joints = dict(keyframe.joints_deg)
    for (kind, part, key), value in values.items():
        if kind == "body":
            body[key] = value
        elif kind == "feet":
            feet.setdefault(part, {})[key] = value
        else:
            joints[part] = value
    return keyframe.model_copy(
        update={
            "body": BodyOffset.model_construct(**body) if body else None,
            "feet": {leg: Offset.model_construct(**offset) for leg, offset in feet.items()},
            "joints_deg": joints,
        }
    )
