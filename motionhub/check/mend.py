"""Advice that mends: small changes of a stance are tried, and the least one that fits is named.

A trial shifts the feet against the body in a handful of frames of a finding's stretch, works out joints,
attitude, loads and supply again, and asks the rule whether it fits now. The changes are those that a
person can make in one keyframe: raise or lower the body, move, lean or turn it over the planted feet, set the
feet nearer or wider. All of them are tried in the worst frame, and those that mend that, from the least on, in
the others.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from math import ceil

import numpy as np
from numpy.typing import NDArray

from motionhub.check import supply
from motionhub.check.findings import Finding, Stretch
from motionhub.check.loads import loads_at_rest
from motionhub.check.parts import clearances, heights
from motionhub.check.pieces import part
from motionhub.check.slowed import slow_enough
from motionhub.check.slowness import at_rest
from motionhub.check.timeline import Timeline
from motionhub.motion.posing import rotation
from motionhub.motion.support import Support, rest_on_ground
from motionhub.robot.kinematics import leg_angles, within
from motionhub.robot.posture import Posture

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]

SAMPLES = 6
"""Frames of a stretch that a change is tried in."""
STEPS_MM = np.array([2, 4, 6, 8, 10, 12, 15, 18, 22, 26, 30, 35, 40, 50, 60], dtype=np.float64)
STEPS_DEG = np.array([2, 4, 6, 8, 10, 12, 15], dtype=np.float64)
DEG_AS_MM = 2.5
"""A degree is as much of a change as so many millimetres: as far as it moves a foot 14 cm away."""
LOOKED_AT = 50
"""Frames of a stretch in which is looked for how much slower it has to be."""
TRIALS = 16
"""Stretches that get trials in one check, the worst ones: more than that are not seen at once, nor mended at once."""
BATCH = 6
"""Changes that are tried at a time in all samples, at first; twice as many each time."""
SLOWEST = 10.0
"""A move that has to be so many times slower is another move."""
SPARE = 0.97
"""A change counts as mending when it leaves 3 %: the frames between the samples are not tried."""

WAYS: tuple[tuple[str, str, tuple[float, float, float]], ...] = (
    ("height", "lower the body by {by:g} mm", (0, 0, -1)),
    ("height", "raise the body by {by:g} mm", (0, 0, 1)),
    ("feet", "bring the feet in by {by:g} mm", (-1, 0, 0)),
    ("feet", "set the feet out by {by:g} mm", (1, 0, 0)),
    ("body", "move the body {by:g} mm forward", (1, 0, 0)),
    ("body", "move the body {by:g} mm back", (-1, 0, 0)),
    ("body", "move the body {by:g} mm to the left", (0, 1, 0)),
    ("body", "move the body {by:g} mm to the right", (0, -1, 0)),
    ("body", "move the body {by:g} mm forward and as far to the left", (1, 1, 0)),
    ("body", "move the body {by:g} mm forward and as far to the right", (1, -1, 0)),
    ("body", "move the body {by:g} mm back and as far to the left", (-1, 1, 0)),
    ("body", "move the body {by:g} mm back and as far to the right", (-1, -1, 0)),
    ("tilt", "lean the body {by:g} deg to the right", (1, 0, 0)),
    ("tilt", "lean the body {by:g} deg to the left", (-1, 0, 0)),
    ("tilt", "lean the body {by:g} deg forward", (0, 1, 0)),
    ("tilt", "lean the body {by:g} deg back", (0, -1, 0)),
    ("tilt", "turn the body {by:g} deg to the left", (0, 0, 1)),
    ("tilt", "turn the body {by:g} deg to the right", (0, 0, -1)),
)
"""Kinds of change, their words, and their direction: mm forward, left and up (of feet: outwards); of a tilt the degrees
of roll, pitch and yaw."""


@dataclass(frozen=True, eq=False)
class Poses:
    """What holding still in some poses would be like; arrays are (…), one for each, of any leading shape."""

    joints: Array
    tipped: Flags
    margin: Array
    torques: Array
    amps: Array
    volts: Array
    parts: Array
    clearance: Array


@dataclass(frozen=True, eq=False)
class Trial(Poses):
    """C changes tried in S frames; arrays are (C, S, …)."""

    frames: Indices
    """(S,) which frames of the move."""
    reached: Flags
    """(C, S) every leg reaches."""


def poses(
    t: Timeline,
    frames: Indices,
    joints: Array,
    speeds: Array | None = None,
    moving: Array | None = None,
    near: Array | None = None,
) -> Poses:
    """What it is like to hold still in poses of a move's robot.

    Args:
        t: The move.
        frames: (S,) the frame of the move that each pose is a change of: outputs are those.
        joints: (…, S, J) rad.
        speeds: (S, J) rad/s that the servos' current is taken for; none when not given.
        moving: (S, J) N·m that moving takes besides; none when not given.
        near: (N, 3) the ground's normal before each of the N poses, in the body frame; that of the one before if None.
    """
    robot, shape = t.frames.robot, joints.shape[:-1]
    flat = joints.reshape(-1, robot.joints)
    repeat = np.tile(frames, len(flat) // len(frames))
    bones = Posture(robot, flat)
    rest = rest_on_ground(robot, flat, near, bones)
    torques = loads_at_rest(robot, flat, rest, bones).torques
    if moving is not None:
        torques = torques + np.tile(moving, (len(flat) // len(frames), 1))
    turning = np.zeros_like(flat) if speeds is None else np.tile(speeds, (len(flat) // len(frames), 1))
    rail = supply.solve(robot, torques, turning, t.frames.outputs[repeat], t.set_v)
    return Poses(
        joints=joints,
        tipped=rest.tipped.reshape(shape),
        margin=rest.margin.reshape(shape),
        torques=torques.reshape(*shape, -1),
        amps=rail.amps.reshape(shape),
        volts=rail.steady_volts.reshape(shape),
        parts=heights(robot, bones, rest).reshape(*shape, -1),
        clearance=clearances(robot, bones)[0].reshape(shape),
    )


def times_slower(factor: float) -> str:
    """``1.4 times slower``: rounded up, with a little to spare for the samples in between.

    Beyond :data:`SLOWEST` slowing down is no help.
    """
    slower = f"{ceil(factor * 10.1) / 10:.1f} times slower"
    return slower if factor <= SLOWEST else f"{slower if factor < 100 else 'far slower'}; better done another way"


def up_to(value: float, step: float) -> float:
    """Rounded up to a step, so that what is advised is enough."""
    return round(ceil(value / step - 1e-9) * step, 6)


class Budget:
    """Trials that are left for one check: of the move, of the ways to and from it, and of its stops together.

    Counted and not timed, so that the same move gets the same advice on any machine.
    """

    def __init__(self, trials: int = TRIALS) -> None:
        self.left = trials

    def spend(self) -> bool:
        """Whether there was one left, which is then spent."""
        self.left -= 1
        return self.left >= 0


@dataclass(frozen=True)
class _Change:
    words: str
    kind: str
    by: float
    """mm, of a tilt degrees."""
    direction: tuple[float, float, float]

    @property
    def size(self) -> float:
        """How much of a change it is, in mm."""
        return self.by * DEG_AS_MM if self.kind == "tilt" else self.by


_CHANGES = tuple(
    _Change(words, kind, float(by), way)
    for kind, words, way in WAYS
    for by in (STEPS_DEG if kind == "tilt" else STEPS_MM)
)


Rule = Callable[[Timeline, "Mender"], list[Finding]]


class Mender:
    """Tries changes on one move, as far as the budget goes; without one it tries nothing."""

    def __init__(self, timeline: Timeline, budget: Budget | None = None) -> None:
        self.timeline = timeline
        self.budget = budget or Budget(0)

    def least(
        self,
        stretch: Stretch,
        fits: Callable[[Trial], Flags],
        kinds: tuple[str, ...] = ("height", "feet", "body", "tilt"),
        window: int | None = None,
    ) -> str | None:
        """The smallest change that makes a stretch fit.

        Args:
            stretch: Where something is broken.
            fits: Given a trial, (C,) which of its changes mend it.
            kinds: Which kinds of change to try, of ``height``, ``feet``, ``body`` and ``tilt``.
            window: Frames up to the worst one that the samples are taken from; the stretch itself when None.

        Returns:
            What to do, in words; None when no change that is tried mends it.
        """
        if not self.budget.spend():
            return None
        changes = sorted((c for c in _CHANGES if c.kind in kinds), key=lambda c: (c.size, kinds.index(c.kind)))
        if window is None:
            # What does not mend the worst frame does not mend the stretch. What adds up over a window may.
            good = self._mends(np.array([stretch.worst]), changes, fits)
            changes = [changes[i] for i in good]
        frames, done, some = self._samples(stretch, window), 0, BATCH
        while done < len(changes):
            good = self._mends(frames, changes[done : done + some], fits)
            if good.size:
                change = changes[done + int(good[0])]
                return change.words.format(by=change.by)
            done, some = done + some, 2 * some
        return None

    def slower(
        self, stretch: Stretch, need: Callable[[Timeline, Array], Array], rule: Rule, subject: str | None = None
    ) -> str | None:
        """By how many times a stretch has to be slower, in words; None when that does not mend it.

        Args:
            stretch: Where something is broken.
            need: Of some frames and what holding still takes in them: by what factor each has to be slower, 0 where
                that is no help. It is where the trials begin.
            rule: What finds it broken, in the stretch tried more slowly.
            subject: The joint that it is about.
        """
        rows = np.unique(np.r_[np.linspace(stretch.first, stretch.last, LOOKED_AT).astype(np.intp), stretch.worst])
        some = part(self.timeline, rows)
        needed = need(some, at_rest(some))
        at_least = max(float(needed.max()), 1.0)
        if not needed[rows == stretch.worst].all() or at_least > SLOWEST:
            return None
        if not self.budget.spend():
            return times_slower(at_least)

        def broken(t: Timeline) -> bool:
            return any(finding.subject == subject for finding in rule(t, Mender(t)))

        found = slow_enough(self.timeline, stretch, at_least, broken)
        return None if found is None else times_slower(found)

    def nearest(self, frame: int, leg: int) -> Array:
        """Where to move a foot that is out of reach, so that it is not, by a millimetre: (3,) m forward, left, up."""
        robot, own = self.timeline.frames.robot, np.array([frame])
        support = rest_on_ground(robot, self.timeline.frames.joints[own])
        # Where it gets to is the nearest point to where it is wanted.
        way = support.rotation[0] @ (support.feet[0] - self._asked(own, support.feet)[0])[leg]
        length = float(np.linalg.norm(way))
        found: Array = way * ((length + 1e-3) / max(length, 1e-9))
        return found

    def _samples(self, stretch: Stretch, window: int | None) -> Indices:
        first, last = (stretch.first, stretch.last) if window is None else (stretch.worst - window, stretch.worst)
        spread = np.linspace(max(first, 0), last, SAMPLES).round().astype(np.intp)
        return np.unique(np.r_[spread, stretch.worst])

    def _mends(self, frames: Indices, changes: list[_Change], fits: Callable[[Trial], Flags]) -> Indices:
        """Which of the changes fit in all of the frames."""
        trial = self._try(frames, changes)
        good = fits(trial) & trial.reached.all(axis=1) & ~trial.tipped.any(axis=1)
        good &= within(self.timeline.frames.robot, trial.joints).all(axis=(1, 2))
        return np.flatnonzero(good)

    def _try(self, frames: Indices, changes: list[_Change]) -> Trial:
        t = self.timeline
        robot = t.frames.robot
        joints = t.frames.joints[frames]
        support = rest_on_ground(robot, joints)
        asked = self._asked(frames, support.feet)
        shifts = {(c.kind, c.direction) for c in changes if c.kind != "tilt"}
        ways = {way: self._directions(support, *way) for way in shifts}
        feet = [
            _tilted(support, asked, c) if c.kind == "tilt" else asked + c.by * 1e-3 * ways[c.kind, c.direction]
            for c in changes
        ]
        reach = leg_angles(robot, np.stack(feet))
        moved = np.broadcast_to(joints, (len(changes), *joints.shape)).copy()
        moved[..., : 3 * robot.legs] = reach.joints.reshape(len(changes), len(frames), -1)
        reached = np.asarray(reach.ok.all(axis=-1))
        # What moving takes is taken to be the same in another stance.
        moving = t.torques[frames] - loads_at_rest(robot, joints, support).torques
        return Trial(frames=frames, reached=reached, **vars(poses(t, frames, moved, t.speeds[frames], moving)))

    def _directions(self, support: Support, kind: str, direction: tuple[float, float, float]) -> Array:
        """Where each foot goes in the body frame, (S, L, 3), for one unit of a change."""
        robot = self.timeline.frames.robot
        if kind == "feet":
            arm = support.feet - robot.hip
            up = support.normal[:, None, :]
            arm = arm - (arm * up).sum(axis=-1, keepdims=True) * up
            found: Array = direction[0] * arm / np.maximum(np.linalg.norm(arm, axis=-1, keepdims=True), 1e-9)
            return found
        # The feet stay and the body goes: in the body frame it is the feet that go the other way.
        level = np.array(direction, dtype=np.float64) @ support.rotation
        return np.broadcast_to(-level[:, None, :], (len(level), robot.legs, 3))

    def _asked(self, frames: Indices, feet: Array) -> Array:
        """Where the move wants the feet: beyond where they got to, by what they fall short."""
        robot, t = self.timeline.frames.robot, self.timeline
        short = t.frames.reach_error[frames]
        if not short.any():
            return feet
        angles = t.frames.joints[frames][:, : 3 * robot.legs].reshape(len(frames), robot.legs, 3)
        turn = angles[..., 0] + robot.heading
        axis = robot.hip + np.stack([robot.coxa * np.cos(turn), robot.coxa * np.sin(turn), 0 * turn], axis=-1)
        arm = feet - axis
        length = np.linalg.norm(arm, axis=-1)
        outward = np.where(length > (robot.femur + robot.tibia) / 2, 1.0, -1.0)
        found: Array = feet + arm * (outward * short / np.maximum(length, 1e-9))[..., None]
        return found


def _tilted(support: Support, feet: Array, change: _Change) -> Array:
    """Feet (S, L, 3) in the frame of a body that leans or turns over them, about its reference point."""
    roll, pitch, yaw = (np.deg2rad(change.by * part) for part in change.direction)
    turn = np.swapaxes(support.rotation, -1, -2) @ rotation(roll, pitch, yaw) @ support.rotation
    found: Array = feet @ turn
    return found
