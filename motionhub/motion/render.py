"""From a sequence to frames: every channel's track over all frames at once, then one inverse-kinematics call.

What moves a leg, from the ground up: the stepper's feet where the sequence walks, the ``feet`` channels as
offsets on them, the body standing over them; and last, joint by joint, angles that the sequence keys itself.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from motionhub.errors import InputError
from motionhub.motion.documents import Sequence
from motionhub.motion.frames import Frames
from motionhub.motion.posing import joints_for, rest_extra, standing_feet
from motionhub.motion.strides import Strides, walked
from motionhub.motion.tracks import Between, Track, between
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

LOWEST_HZ, HIGHEST_HZ = 1.0, 1000.0

MOST_FRAMES = 1_000_000
"""An hour at the servos' own 50 Hz is 180,000; a million take some hundred megabytes a copy."""

_BODY = {"x_mm": 0, "y_mm": 1, "z_mm": 2, "roll_deg": 3, "pitch_deg": 4, "yaw_deg": 5}
_FOOT = {"x_mm": 0, "y_mm": 1, "z_mm": 2}


def render(sequence: Sequence, robot: Robot, rate_hz: float = 50.0) -> Frames:
    """Turn a sequence into frames.

    Args:
        sequence: What to render; made for this robot by ``documents.parse`` or ``documents.resolve``.
        robot: Whose frames.
        rate_hz: Frames a second, exactly: frame i is the move at i / rate_hz seconds.

    Returns:
        ``round(duration · rate) + 1`` frames.

    Raises:
        InputError: naming the walk that the robot cannot do as asked, or the rate.
    """
    if not LOWEST_HZ <= rate_hz <= HIGHEST_HZ:
        raise InputError(
            sequence.source, "", f"expected a rate from {LOWEST_HZ:g} to {HIGHEST_HZ:g} Hz, found {rate_hz:g}"
        )
    count = round(sequence.duration_s * rate_hz) + 1
    if count > MOST_FRAMES:
        raise InputError(
            sequence.source, "", f"expected at most {MOST_FRAMES} frames, found {count}; ask for a lower rate"
        )
    times = np.arange(count) / rate_hz
    strides = walked(sequence, robot, rate_hz, count)
    return Channels.of(sequence, robot).frames(sequence.name, robot, rate_hz, times, strides)


@dataclass
class Channels:
    """The tracks of a sequence, in SI units."""

    body: defaultdict[int, Track] = field(default_factory=lambda: defaultdict(_from_nothing))
    feet: defaultdict[tuple[int, int], Track] = field(default_factory=lambda: defaultdict(_from_nothing))
    joints: dict[int, Track] = field(default_factory=dict)
    outputs: dict[int, Track] = field(default_factory=dict)

    @classmethod
    def of(cls, sequence: Sequence, robot: Robot) -> Channels:
        """All that a sequence keys."""
        found = cls()
        found._add_keyframes(sequence, robot)
        found._add_cues(sequence, robot)
        return found

    def _add_keyframes(self, sequence: Sequence, robot: Robot) -> None:
        poses = [sequence.pose_of(keyframe) for keyframe in sequence.document.keyframes]
        for name in {name: None for pose in poses for name in pose.joints_deg}:
            joint = robot.joint_index[name]
            # A leg's joint starts out let go: the inverse kinematics has it.
            own = joint - 3 * robot.legs
            self.joints[joint] = _from(None if own < 0 else float(rest_extra(robot)[own]))
        for keyframe, pose in zip(sequence.document.keyframes, poses, strict=True):
            time, approach = sequence.seconds(keyframe), keyframe.approach
            for key, value in pose.body.model_dump(exclude_none=True).items() if pose.body else ():
                unit = 1e-3 if key.endswith("_mm") else np.pi / 180
                self.body[_BODY[key]].add(time, value * unit, approach)
            for name, offset in pose.feet.items():
                leg = robot.leg_index[name]
                moved = offset.model_dump(exclude_none=True)
                for key, value in moved.items():
                    self.feet[leg, _FOOT[key]].add(time, value * 1e-3, approach)
                for part, joint in zip(("coxa", "femur", "tibia"), range(3 * leg, 3 * leg + 3), strict=True):
                    if moved and joint in self.joints and f"{name}.{part}" not in pose.joints_deg:
                        self.joints[joint].add(time, None, approach)
            for name, degrees in pose.joints_deg.items():
                self.joints[robot.joint_index[name]].add(time, float(np.deg2rad(degrees)), approach)

    def _add_cues(self, sequence: Sequence, robot: Robot) -> None:
        for index, output in enumerate(robot.outputs):
            changes: list[tuple[float, float, float]] = []  # when, to what level, over how long
            told = 0.0
            for cue in (c for c in sequence.document.cues if c.output == output.name):
                time, fade = sequence.seconds(cue), cue.fade_ms / 1000
                # What a cue's end would have gone back to gives way to a later cue.
                changes = [change for change in changes if change[0] <= time]
                told = changes[-1][1] if changes else 0.0
                changes.append((time, cue.level, fade))
                if cue.for_ms is not None:
                    changes.append((time + cue.for_ms / 1000, told, fade))
            if changes:
                self.outputs[index] = _faded(changes)

    def frames(self, name: str, robot: Robot, rate_hz: float, times: Array, strides: Strides | None) -> Frames:
        """The move at ``times`` (T,) in s, on top of what walking does."""
        count, legs = len(times), robot.legs
        progress: dict[object, Between] = {}

        def at(track: Track) -> Between:
            key = track.timing
            if key not in progress:
                progress[key] = between(times, key)
            return progress[key]

        # What no key moves stays one row: standing still needs its inverse kinematics once.
        body = np.zeros((count if self.body else 1, 6))
        for i, track in self.body.items():
            body[:, i] = track.at(at(track))
        feet = standing_feet(robot)[None]
        if self.feet or strides is not None:
            feet = np.repeat(feet, count, axis=0) if strides is None else strides.feet.copy()
        for (leg, axis), track in self.feet.items():
            feet[:, leg, axis] += track.at(at(track))
        posed, missed = joints_for(robot, body, feet)
        joints = np.repeat(posed, count, axis=0) if len(posed) == 1 else posed
        missed = np.broadcast_to(missed, (count, legs)).copy()
        for joint, track in self.joints.items():
            joints[:, joint], says = track.blend(at(track), joints[:, joint])
            if joint < 3 * legs:
                # Where angles are given, no place is asked for that the foot could miss.
                missed[says, joint // 3] = 0.0
        outputs = np.zeros((count, len(robot.outputs)))
        for i, track in self.outputs.items():
            outputs[:, i] = np.clip(track.at(at(track)), 0.0, 1.0)
        travel = np.zeros((count, 3)) if strides is None else strides.travel
        return Frames(robot, name, rate_hz, joints, outputs, missed, travel)


def _from(rest: float | None) -> Track:
    """A track with its implicit key: at rest at the start."""
    return Track([0.0], [rest], ["linear"])


def _from_nothing() -> Track:
    """The track of an offset: none at the start."""
    return _from(0.0)


def _faded(changes: list[tuple[float, float, float]]) -> Track:
    """Levels over time: each change (when, to what level, over how long) starts where the one before has got to."""
    track = Track([0.0], [0.0], ["hold"])

    def key(time: float, level: float, approach: str) -> None:
        track.times.append(time)
        track.values.append(level)
        track.approaches.append(approach)

    start, origin, level, fade = 0.0, 0.0, 0.0, 0.0
    for time, target, over in changes:
        if start + fade <= time:
            key(start + fade, level, "linear" if fade > 0 else "hold")
            now = level
        else:
            now = origin + (level - origin) * (time - start) / fade
        key(time, now, "linear")
        start, origin, level, fade = time, now, target, over
    key(start + fade, level, "linear" if fade > 0 else "hold")
    return track
