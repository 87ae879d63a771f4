"""From many frames to few keyframes, within a stated error.

What was performed, or comes as a table of angles, has a value for every joint in every frame. Nobody edits that.
Here each group of joints that belong together (a leg, a head) gets keyframes of its own: from one key the next is
put as far away as a curve between them still stays within the error of every frame, of all curves that are offered
(:data:`CURVES`). That is greedy, and needs the fewest keys that any choice of ends in order can have for one curve,
as the longest reach is never worse to go on from when shorter stretches fit too. The error that is stated in the end
is measured on the frames that the finished sequence renders to.

Where all feet stay where they stand at rest, the legs are not told by their joints: the body's position and attitude
say the same in six numbers, and can be edited. They follow from where the feet are in the body's frame (the rigid
motion that fits them best: Umeyama, IEEE PAMI 13(4), 1991).
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from motionhub.errors import InputError
from motionhub.motion import documents, jsontext
from motionhub.motion.documents import Sequence
from motionhub.motion.easing import ease
from motionhub.motion.formats import SEQUENCE_FORMAT, Cue, SequenceFile
from motionhub.motion.posing import joints_for, standing_feet
from motionhub.motion.render import render
from motionhub.robot.kinematics import feet as feet_of
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

CURVES = ("linear", "minimum-jerk", "ease-in-out", "ease-in", "ease-out")
"""Tried in this order; the first that fits is taken."""
LONGEST = 500
"""Frames between two keys at most: a key now and then is something to hold on to."""
PLANTED = 2e-3
"""m: feet that stay so near to where they stand at rest are taken to stand there."""
STILL_DEG = 0.02
"""A joint that never moves by more than this is not keyed after its first frame."""
MOST_FRAMES = 30_000
"""Ten minutes at 50 Hz: more is cut into pieces first."""


@dataclass(frozen=True)
class Thinned:
    """A sequence that goes as the frames went."""

    sequence: Sequence
    keyframes: int
    error_deg: float
    """The most that any joint is off in any frame, as rendered."""


@dataclass
class _Group:
    """Channels that are keyed together, (T, C), and by how much each may be off."""

    names: list[tuple[str, str, str]]
    values: Array
    error: Array
    keys: list[tuple[int, str]] = field(default_factory=list)


def transcribe(
    name: str, joints: Array, rate_hz: float, robot: Robot, error_deg: float = 1.0, about: str = ""
) -> Thinned:
    """A sequence from joint angles.

    Args:
        name: What to call it.
        joints: (T, J) rad, T at least 2.
        rate_hz: Frames a second.
        robot: Whose joints.
        error_deg: How far any joint may be off in any frame.
        about: A line about where it comes from.

    Returns:
        The sequence; its error is at most ``error_deg``.

    Raises:
        InputError: There are too few or too many frames.
    """
    if not 2 <= len(joints) <= MOST_FRAMES:
        raise InputError(name, "", f"expected from 2 to {MOST_FRAMES} frames, found {len(joints)}")
    share = 1.0
    for _ in range(6):
        found = _transcribed(name, joints, rate_hz, robot, error_deg * share, about)
        if found.error_deg <= error_deg:
            break
        # Rounding, and the body's share in the legs: what is keyed is held a little tighter.
        share *= 0.8 * error_deg / found.error_deg
    return found


def _transcribed(name: str, joints: Array, rate_hz: float, robot: Robot, error_deg: float, about: str) -> Thinned:
    groups = _groups(joints, robot, error_deg)
    for group in groups:
        group.keys = _keys(group.values, group.error)
    document = _document(name, groups, len(joints), rate_hz, about)
    sequence = documents.parse(jsontext.dump(document), name, robot)
    frames = render(sequence, robot, rate_hz)
    count = min(len(frames), len(joints))
    off = float(np.rad2deg(np.abs(frames.joints[:count] - joints[:count]).max()))
    return Thinned(sequence, len(document.keyframes), off)


def body_of(joints: Array, robot: Robot) -> Array | None:
    """Where the body is over feet that stand as at rest, (T, 6) m and rad; None if some foot does not stand so."""
    standing = standing_feet(robot)
    own = feet_of(robot, joints)  # in the body's frame
    centre, middle = own.mean(axis=1, keepdims=True), standing.mean(axis=0)
    spread = np.einsum("tli,lj->tij", own - centre, standing - middle)
    u, _, v = np.linalg.svd(spread)
    flip = np.ones((len(joints), 3))
    flip[:, 2] = np.sign(np.linalg.det(u) * np.linalg.det(v))
    turn = np.einsum("tji,tj,tkj->tik", v, flip, u)
    place = middle - np.einsum("tij,tj->ti", turn, centre[:, 0])
    body = np.empty((len(joints), 6))
    body[:, :3] = place - np.array([0.0, 0.0, robot.rest_height])
    body[:, 3] = np.arctan2(turn[:, 2, 1], turn[:, 2, 2])
    body[:, 4] = np.arcsin(np.clip(-turn[:, 2, 0], -1, 1))
    body[:, 5] = np.arctan2(turn[:, 1, 0], turn[:, 0, 0])
    placed = np.einsum("tij,tlj->tli", turn, own) + place[:, None]
    if np.abs(placed - standing).max() > PLANTED:
        return None
    return body


def _groups(joints: Array, robot: Robot, error_deg: float) -> list[_Group]:
    legs = 3 * robot.legs
    degrees = np.rad2deg(joints)
    groups: list[_Group] = []
    body = body_of(joints, robot)
    if body is not None:
        posed = joints_for(robot, body, standing_feet(robot))[0][:, :legs]
        if np.rad2deg(np.abs(posed - joints[:, :legs]).max()) < 0.7 * error_deg:
            names = [("body", "", key) for key in ("x_mm", "y_mm", "z_mm", "roll_deg", "pitch_deg", "yaw_deg")]
            values = np.hstack([body[:, :3] * 1e3, np.rad2deg(body[:, 3:])])
            # What a millimetre or a degree of the body is in a leg's joints: by this robot's own measures.
            reach = float((robot.femur + robot.tibia).min()) * 1e3
            mm = np.deg2rad(error_deg) * reach / 6
            groups.append(_Group(names, values, np.array([mm] * 3 + [error_deg / 6] * 3)))
    if not groups:
        for i in range(robot.legs):
            part = slice(3 * i, 3 * i + 3)
            names = [("joints_deg", name, "") for name in robot.joint_names[part]]
            groups.append(_Group(names, degrees[:, part], np.full(3, error_deg)))
    for j in range(legs, robot.joints):
        groups.append(_Group([("joints_deg", robot.joint_names[j], "")], degrees[:, j : j + 1], np.array([error_deg])))
    return groups


def _keys(values: Array, error: Array, curves: tuple[str, ...] = CURVES) -> list[tuple[int, str]]:
    """Frames to key, the first one among them, and by which curve each is approached."""
    last = len(values) - 1
    keys = [(0, curves[0])]
    if (np.ptp(values, axis=0) <= STILL_DEG).all():
        return keys
    at = 0
    while at < last:
        reach, curve = 1, curves[0]
        step = 1
        # Longer and longer until none fits, then halving between what did and what did not.
        low, high = 1, min(last - at, LONGEST)
        while low <= high:
            found = _fitting(values[at : at + step + 1], error, curves)
            if found is not None:
                reach, curve, low = step, found, step + 1
                step = min(2 * step, high) if step < high and reach * 2 <= high else (low + high + 1) // 2
            else:
                high = step - 1
                step = (low + high + 1) // 2
        at += reach
        keys.append((at, curve))
    return keys


def _fitting(values: Array, error: Array, curves: tuple[str, ...]) -> str | None:
    share = np.linspace(0.0, 1.0, len(values))[:, None]
    for name in curves:
        way = values[0] + (values[-1] - values[0]) * ease(name)(share)
        if (np.abs(way - values) <= error).all():
            return name
    return None


def _document(name: str, groups: list[_Group], count: int, rate_hz: float, about: str) -> SequenceFile:
    """Keyframes of all groups; groups that share a time share a keyframe where the curve is the same, too."""
    at: dict[int, dict[str, list[tuple[_Group, int]]]] = {}
    for group in groups:
        for frame, curve in group.keys:
            at.setdefault(frame, {}).setdefault(curve, []).append((group, frame))
    keyframes = []
    for frame in sorted(at):
        for i, (curve, keyed) in enumerate(sorted(at[frame].items())):
            # Two curves into one time need two keyframes: the second a microsecond later.
            ms = round(frame / rate_hz * 1e3, 3) + i * 1e-3
            keyframes.append({"at_ms": round(ms, 3), "approach": curve, **_pose(keyed)})
    end = round((count - 1) / rate_hz * 1e3 + 0.01, 3)
    data = {"format": SEQUENCE_FORMAT, "name": name, "about": about[:2000], "keyframes": keyframes, "end_ms": end}
    return SequenceFile.model_validate(data, strict=False)


def _pose(keyed: list[tuple[_Group, int]]) -> dict[str, object]:
    body: dict[str, float] = {}
    joints: dict[str, float] = {}
    for group, frame in keyed:
        for (kind, part, key), value in zip(group.names, group.values[frame], strict=True):
            if kind == "body":
                body[key] = round(float(value), 2) + 0.0
            else:
                joints[part] = round(float(value), 2) + 0.0
    pose: dict[str, object] = {}
    if body:
        pose["body"] = body
    if joints:
        pose["joints_deg"] = joints
    return pose


LEVEL = 0.04
"""What an output may be off by: less than can be seen of a lamp."""


def cues_of(outputs: Array, rate_hz: float, names: Iterable[str]) -> list[Cue]:
    """Cues that set outputs (T, O) as they were set, levels 0 to 1."""
    cues = []
    for name, levels in zip(names, outputs.T, strict=True):
        keys = [frame for frame, _ in _keys(np.clip(levels, 0, 1)[:, None], np.array([LEVEL]), CURVES[:1])]
        if levels[0] > LEVEL:
            cues.append(Cue(at_ms=0.0, output=name, level=round(float(np.clip(levels[0], 0, 1)), 2)))
        for start, stop in pairwise(keys):
            if abs(levels[stop] - levels[start]) > LEVEL / 2:
                begin, end = (round(frame / rate_hz * 1e3, 3) for frame in (start, stop))
                level = round(float(np.clip(levels[stop], 0, 1)), 2)
                cues.append(Cue(at_ms=begin, output=name, level=level, fade_ms=round(end - begin, 3)))
    return sorted(cues, key=lambda cue: cue.at_ms or 0.0)


# ------------------------------------------------------------------ fewer keys of a sequence that there is


def thin(sequence: Sequence, robot: Robot, error_deg: float, rate_hz: float = 50.0) -> Thinned:
    """Leave out keyframes of a sequence that it goes nearly the same without.

    One after the other is left out for a trial, those that change least first, as long as no joint is off by more than
    the error in any frame. Walks, cues, and the first and the last keyframe stay.

    Args:
        sequence: The move.
        robot: Its robot.
        error_deg: How far any joint may be off in any frame.
        rate_hz: Frames a second at which it is measured.

    Raises:
        InputError: if the move cannot be rendered.
    """
    wanted = render(sequence, robot, rate_hz).joints
    document = sequence.document

    def error(kept: list[int]) -> float:
        trial = _of(sequence, robot, kept)
        found = render(trial, robot, rate_hz).joints
        return float(np.rad2deg(np.abs(found - wanted).max()))

    kept = list(range(len(document.keyframes)))
    kept = _without(kept, error, error_deg)
    return Thinned(_of(sequence, robot, kept), len(kept), error(kept))


TRIALS = 400
"""Renderings that thinning takes at most: a few seconds."""


def _without(kept: list[int], error: Callable[[list[int]], float], most: float) -> list[int]:
    """Leave out runs of keyframes, long ones first, where that stays within the error."""
    trials = TRIALS
    run = max(1, (len(kept) - 2) // 2)
    while run >= 1 and trials > 0:
        i = 1
        while i + run < len(kept) and trials > 0:
            trial = kept[:i] + kept[i + run :]
            trials -= 1
            if error(trial) <= most:
                kept = trial
            else:
                i += run
        run //= 2
    return kept


def _of(sequence: Sequence, robot: Robot, kept: list[int]) -> Sequence:
    document = sequence.document
    some = [document.keyframes[i] for i in kept]
    update: dict[str, object] = {"keyframes": some}
    if document.end_ms is None and document.end_beat is None:
        # What was the end stays the end.
        update["end_ms" if not _beats(document) else "end_beat"] = _end(sequence)
    changed = document.model_copy(update=update)
    return documents.resolve(changed, sequence.source, robot, sequence.library_poses)


def _beats(document: SequenceFile) -> bool:
    return bool(document.keyframes and document.keyframes[0].at_beat is not None)


def _end(sequence: Sequence) -> float:
    end = sequence.duration_s
    tempo = sequence.document.tempo_bpm
    return round(end * 1e3, 3) if not _beats(sequence.document) else round(end * (tempo or 0) / 60, 6)
