"""What makes a joint as fast as it is at a moment: which channels, each between which two of its keys.

A channel runs from key to key, past keyframes that do not mention it. So what has to become longer for a joint to
become slower is not the time between two keyframes, but that between two keys of the channel that moves it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.documents import Sequence
from motionhub.motion.posing import joints_for, rest_extra, standing_feet
from motionhub.motion.render import Channels
from motionhub.motion.tracks import Track, between
from motionhub.robot.model import Robot

Array = NDArray[np.float64]
Indices = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Drive:
    """What moves the joints at N moments; C channels."""

    moved: Array
    """(N, C, J) rad: by how much each channel turns each joint in the time up to the moment."""
    start: Array
    """(N, C) s: when the channel was last at a key."""
    stop: Array
    """(N, C) s: when it comes to its next; the start again where it has none, or jumps there."""


def drive(sequence: Sequence, robot: Robot, times: Array, dt: float) -> Drive:
    """What moves the joints in the ``dt`` seconds up to each of the ``times`` (N,) in s, but for walking.

    Args:
        sequence: The move.
        robot: Its robot.
        times: (N,) s.
        dt: s, one frame.
    """
    channels, count = Channels.of(sequence, robot), len(times)
    both = np.concatenate([times - dt, times])
    body, feet = np.zeros((2 * count, 6)), np.repeat(standing_feet(robot)[None], 2 * count, axis=0)
    tracks: list[Track] = []
    for axis, track in channels.body.items():
        body[:, axis] = track.at(between(both, track.timing))
    for (leg, axis), track in channels.feet.items():
        feet[:, leg, axis] += track.at(between(both, track.timing))
    base, _ = joints_for(robot, body[:count], feet[:count])
    moved: list[Array] = []
    for axis, track in channels.body.items():
        other = body[:count].copy()
        other[:, axis] = body[count:, axis]
        moved.append(joints_for(robot, other, feet[:count])[0] - base)
        tracks.append(track)
    for (leg, axis), track in channels.feet.items():
        placed = feet[:count].copy()
        placed[:, leg, axis] = feet[count:, leg, axis]
        moved.append(joints_for(robot, body[:count], placed)[0] - base)
        tracks.append(track)
    base[:, 3 * robot.legs :] = rest_extra(robot)
    for joint, track in channels.joints.items():
        beneath = np.tile(base[:, joint], 2)
        value, says = track.blend(between(both, track.timing), beneath)
        for earlier in moved:
            # Where angles are given, body and feet have no say.
            earlier[says[count:], joint] = 0.0
        own = np.zeros_like(base)
        own[:, joint] = value[count:] - value[:count]
        moved.append(own)
        tracks.append(track)
    ends = [_ends(track, times - dt / 2) for track in tracks]
    if not tracks:
        none = np.zeros((count, 0))
        return Drive(np.zeros((count, 0, robot.joints)), none, none)
    return Drive(
        np.stack(moved, axis=1),
        np.stack([start for start, _ in ends], axis=1),
        np.stack([stop for _, stop in ends], axis=1),
    )


def _ends(track: Track, times: Array) -> tuple[Array, Array]:
    keys = np.array(track.times)
    after = np.searchsorted(keys, times, side="right")
    before = np.clip(after - 1, 0, len(keys) - 1)
    after = np.clip(after, 0, len(keys) - 1)
    jumps = np.array([name == "hold" or name.startswith("step") for name in track.approaches])[after]
    return keys[before], np.where(jumps, keys[before], keys[after])
