"""What a move leads to besides itself: the way from rest to its start, from its end to rest, and Stop on the way.

These are moves too, made by the planners that the show makes them with, and judged by the same rules. To and
from rest there is one way each. Stop may be pressed at any frame, and a brake for each is too dear, so:

1. Moments are *sampled*: every :data:`EVERY_S`, and as often as a stop would end :data:`APART` from where the last
   one did, so every frame of a quick move; but not many more than :data:`MOST` of them. Besides, the fastest
   frame, and the fastest of a foot that stands.
2. Where the joints of each would come to rest follows in closed form, and what the ground, the weight and the
   other legs say to that pose is worked out for all of them at once.
3. The fastest, the worst by each measure if it comes near a limit in the pose that it ends in, and the worst of
   each stretch that breaks one there are *braked* tick by tick by the live brake and judged by all rules; a stop
   ends held for good.

What the move itself is found to do wrong at that time is not said again.

A stop latches, and what it holds it holds until someone comes. So a servo that holds too much after a stop is an
error if it gets too hot before anyone can be there (:data:`SOMEONE_S`), by the heat that its current makes
(:func:`~motionhub.check.rules_joints.holds_for`). If it takes longer than that, it is a warning that says how long:
a robot has to pass through a crouch to stand up, and its holding there for a minute harms nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Iterator
from dataclasses import dataclass, replace
from functools import lru_cache
from math import floor

import numpy as np
from numpy.typing import NDArray

from motionhub.check.findings import APART_S, Finding, advised, stretches
from motionhub.check.memory import Memory
from motionhub.check.mend import Budget, Mender, poses
from motionhub.check.pieces import join, part
from motionhub.check.rules_ground import CLEAR, MARGIN_SLACK, TOUCH
from motionhub.check.rules_joints import holds_for
from motionhub.check.slowed import between
from motionhub.check.timeline import Timeline, work_out
from motionhub.motion.brake import brake, down_to_ground, run_out
from motionhub.motion.frames import Frames
from motionhub.motion.handover import NEAR, hand_over
from motionhub.motion.posing import rest_joints
from motionhub.robot.limits import top_speed
from motionhub.robot.model import Robot

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]
Rule = Callable[[Timeline, Mender], list[Finding]]

EVERY_S = 0.1
"""Between two moments at which Stop is tried, at most."""
APART = float(np.deg2rad(2))
"""rad: and where some joint would come to rest so much further on: of a leg of 20 cm, 7 mm at the foot."""
MOST = 1500
"""Moments in one move, or little more: a longer or busier one is tried at fewer of them, spread evenly."""
WORST = 4
"""Stretches that are braked for each measure: whoever has more to mend than that mends it step by step."""
NEAR_BY = 5e-3
"""m: what stays further from a limit than this, where a stop ends, need not be looked at on the way there."""
SOMEONE_S = 60.0
"""s: in which whoever drives the robot is there, and lifts it or takes it out of the stop."""
MEASURES = ((MARGIN_SLACK, -NEAR_BY), (0.0, -NEAR_BY), (TOUCH, -NEAR_BY), (1.0, 0.9))
"""Of the margin, gaps, the ground and loads: how bad a pose may be to end in, and from where on it is near to that."""
_LEAD = 20
"""Rows before and after each way that are not judged: accelerations in it, and what servos still have to catch up
with, are taken from them, too."""


@dataclass(frozen=True, eq=False)
class _Way:
    """Joints (N, J) of a way, from the frame of the move that it belongs to or to it, and what it is in words."""

    words: str
    frame: int
    before: Array
    """(_LEAD, J): where the joints were until then."""
    joints: Array
    instead: str = ""
    """What makes the way needless."""
    stop: bool = False

    def key(self, t: Timeline, rules: tuple[Rule, ...]) -> Hashable:
        """All that a verdict on it depends on."""
        of = (self.before, self.joints, t.frames.outputs[self.frame])
        return (t.frames.robot, t.frames.rate_hz, rules, *(part.tobytes() for part in of))


@dataclass(frozen=True, eq=False)
class _Verdict:
    """What was found on a way, and who gives advice on it."""

    mender: Mender
    findings: tuple[Finding, ...]


_remembered: dict[Hashable, _Verdict] = {}
"""Verdicts on the last ways. Whoever edits a move checks it over and over, and most edits change none of them."""
REMEMBERED = 64
_ended = Memory(2 * MOST)
"""What comes of the poses in which stops end."""


def around(t: Timeline, rules: Iterable[Rule], own: Iterable[Finding], budget: Budget | None = None) -> list[Finding]:
    """What goes wrong on the ways to and from a move, and when it is stopped.

    Args:
        t: The move.
        rules: All that such a way has to keep.
        own: Findings on the move itself.
        budget: For the advice, if it is asked for.

    Returns:
        Findings with times of the move, in words that begin with what it is that goes wrong.
    """
    known = list(own)
    found = list(_judged(t, [*_to_and_from(t), *_stops(t)], tuple(rules), budget or Budget(0)))
    said: list[Finding] = []
    # By what two findings have to have in common, so that each is held against few others.
    by_rule: dict[Hashable, list[Finding]] = {}
    for finding in known:
        _note(by_rule, finding)
    for finding in sorted(found, key=lambda f: -f.excess):
        # When a stop drags feet, it is the stop that does it and not the feet.
        alike = [(finding.rule, finding.subject)]
        if finding.rule == "foot-slip" and finding.way.startswith("stopping"):
            alike.append((finding.rule, finding.way))
        if not any(_near(finding, other) for key in alike for other in by_rule.get(key, ())):
            said.append(finding)
            _note(by_rule, finding)
    return said


def _note(by_rule: dict[Hashable, list[Finding]], finding: Finding) -> None:
    by_rule.setdefault((finding.rule, finding.subject), []).append(finding)
    if finding.way:
        by_rule.setdefault((finding.rule, finding.way), []).append(finding)


def _near(one: Finding, other: Finding) -> bool:
    return other.start_s - APART_S <= one.start_s <= other.end_s + APART_S


# ------------------------------------------------------------------ the ways


def _to_and_from(t: Timeline) -> Iterator[_Way]:
    robot, joints, dt = t.frames.robot, t.frames.joints, 1 / t.frames.rate_hz
    rest = rest_joints(robot)
    for words, end, frame, start, goal in (
        ("on the way to its start", "start", 0, rest, joints[0]),
        ("on the way back to rest", "end", len(joints) - 1, joints[-1], rest),
    ):
        # From where it falls over there is no way; the fall itself is found in the move.
        if np.abs(goal - start).max() > NEAR and not t.tipped[frame]:
            way = _planned(hand_over, robot, start.tobytes(), goal.tobytes(), dt=dt)
            before = np.repeat(start[None], _LEAD, axis=0)
            yield _Way(words, frame, before, way, f"let it {end} nearer to rest")


def _stops(t: Timeline) -> Iterator[_Way]:
    robot, joints, rate = t.frames.robot, t.frames.joints, t.frames.rate_hz
    for frame in _worst(t):
        speed = t.speeds[frame]
        gain = (speed - t.speeds[max(frame - 1, 0)]) * rate
        before = joints[np.maximum(np.arange(frame + 1 - _LEAD, frame + 1), 0)]
        words = f"stopping at {frame / rate:.1f} s"
        stop = _planned(_brake, robot, joints[frame].tobytes(), speed.tobytes(), gain.tobytes(), dt=1 / rate)
        yield _Way(words, frame, before, stop, stop=True)


@lru_cache(maxsize=REMEMBERED)
def _planned(plan: Callable[..., Array], robot: Robot, *state: bytes, dt: float) -> Array:
    """A way that is planned from a state (J,) of each kind, which for all but an edit or two was planned before."""
    way = plan(robot, *(np.frombuffer(part) for part in state), dt)
    way.flags.writeable = False
    return way


def _brake(robot: Robot, joints: Array, speed: Array, gain: Array, dt: float) -> Array:
    return brake(robot, dt, joints, speed, gain)


def _worst(t: Timeline) -> list[int]:
    """The frames at which a stop is looked at closely."""
    count, rate = len(t.frames), t.frames.rate_hz
    robot = t.frames.robot
    share = np.abs(t.speeds)
    share /= top_speed(robot)
    legs = share[:, : 3 * robot.legs].reshape(count, robot.legs, 3).max(axis=2)
    chosen = {int(share.max(axis=1).argmax()), int((legs * t.down).max(axis=1).argmax())}
    further = run_out(robot, t.speeds)
    tried = np.unique([*_told_apart(t.speeds, further, rate), *chosen])
    here = t.frames.joints[tried]
    ends = np.clip(here + further[tried], np.minimum(robot.lower, here), np.maximum(robot.upper, here))
    roll, pitch = t.tilt[tried].T
    up = np.stack([-np.sin(pitch), np.cos(pitch) * np.sin(roll), np.cos(pitch) * np.cos(roll)], axis=1)
    own = np.repeat(down_to_ground(robot, here, ends, up, t.height[tried]), 3, axis=1)
    ends[:, : 3 * robot.legs] -= (1 - own) * (ends - here)[:, : 3 * robot.legs]
    for badness, (limit, near) in zip(_ending(t, tried, ends, up), MEASURES, strict=True):
        worse = np.full(count, -np.inf)
        worse[tried] = badness
        found = sorted(stretches(worse > limit, worse, rate), key=lambda s: -worse[s.worst])
        chosen |= {stretch.worst for stretch in found[:WORST]}
        if worse.max() > near:
            chosen.add(int(worse.argmax()))
    return sorted(chosen)


def _told_apart(speeds: Array, further: Array, rate: float) -> Indices:
    """Frames whose stops are worth telling apart, by where they end: at most about :data:`MOST`.

    Args:
        speeds: (T, J) rad/s, from the frame before.
        further: (T, J) rad that a stop then still goes on.
        rate: Frames a second.
    """
    apart = np.diff(further, axis=0)
    apart += speeds[1:] / rate
    way = np.concatenate([[0.0], np.cumsum(np.abs(apart, out=apart).max(axis=1))])
    often = max(EVERY_S * rate, len(speeds) / MOST)
    # By the way that they have gone, and by time; where either passes a mark, there is a frame.
    marks = np.floor(np.stack([way / max(APART, 2 * float(way[-1]) / MOST), np.arange(len(speeds)) / often]))
    found: Indices = np.flatnonzero(np.diff(marks, axis=1, prepend=-1.0).any(axis=0))
    return found


def _ending(t: Timeline, tried: Indices, ends: Array, up: Array) -> Array:
    """How bad it is to come to rest at ``ends`` (N, J) by each of :data:`MEASURES`, (4, N).

    Args:
        t: The move.
        tried: (N,) the frames at which Stop is pressed.
        ends: (N, J) rad.
        up: (N, 3) the ground's normal in the body frame until then.
    """
    robot, near = t.frames.robot, np.round(up, 6)  # what it lay nearest to hangs on no rounding

    def work_out(fresh: Indices) -> Array:
        end = poses(t, tried[fresh], ends[fresh], near=near[fresh])
        load = np.stack(
            [
                np.abs(end.torques[:, j]) / (servo.hold_fraction * servo.stall_torque_at(end.volts))
                for j, servo in enumerate(robot.servos)
            ]
        )
        margin = robot.walk.margin - end.margin + end.tipped
        lowest = end.parts.min(axis=1, initial=np.inf)
        return np.stack([margin, CLEAR - end.clearance, -lowest, load.max(axis=0)], axis=1)

    return _ended.of(robot, np.concatenate([ends, near, t.frames.outputs[tried]], axis=1), work_out).T


# ------------------------------------------------------------------ judging them


SLOWER = (1.2, 1.5, 2.0, 3.0, 5.0)
"""Times as slow as it is that a move is tried to be where it is stopped."""


def _slower_stop(t: Timeline, way: _Way, rules: tuple[Rule, ...], rule: str) -> float | None:
    """How many times slower the move has to be where a stop is pressed so that the rule is kept; None if it is not."""
    robot, joints, rate = t.frames.robot, t.frames.joints, t.frames.rate_hz
    speed = t.speeds[way.frame]
    gain = (speed - t.speeds[max(way.frame - 1, 0)]) * rate
    slower = []
    for times in SLOWER:
        before = between(joints, np.maximum(way.frame - np.arange(_LEAD - 1, -1, -1) / times, 0.0))
        stop = brake(robot, 1 / rate, joints[way.frame], speed / times, gain / times**2)
        slower.append(replace(way, before=before, joints=stop))
    for times, verdict in zip(SLOWER, _found(t, slower, rules), strict=True):
        if not any(finding.rule == rule for finding in verdict.findings):
            return times
    return None


def _judged(t: Timeline, ways: list[_Way], rules: tuple[Rule, ...], budget: Budget) -> Iterator[Finding]:
    keys = [way.key(t, rules) for way in ways]
    fresh = {key: way for key, way in zip(keys, ways, strict=True) if key not in _remembered}
    found = {key: _remembered[key] for key in keys if key not in fresh}
    if fresh:
        found |= dict(zip(fresh, _found(t, list(fresh.values()), rules), strict=True))
    for key, way in zip(keys, ways, strict=True):
        # What was asked for last is kept longest.
        _remembered.pop(key, None)
        _remembered[key] = found[key]
        found[key].mender.budget = budget
        for finding in found[key].findings:
            yield _told(finding, way, t, rules, budget)
    for key in list(_remembered)[:-REMEMBERED]:
        _remembered.pop(key, None)


def _found(t: Timeline, ways: list[_Way], rules: tuple[Rule, ...]) -> list[_Verdict]:
    """What the rules find on each of the ways."""
    whole, pieces = _pieces(t, ways)
    suspects = _suspects(whole, pieces, rules)
    found = []
    for i, piece in enumerate(pieces):
        mender = Mender(piece)
        own = (finding for rule in rules if i in suspects for finding in rule(piece, mender))
        found.append(_Verdict(mender, tuple(own)))
    return found


def _pieces(t: Timeline, ways: list[_Way]) -> tuple[Timeline, list[Timeline]]:
    """The ways worked out: all in one, with what is around them, and each by itself."""
    rows = [np.concatenate([way.before, way.joints, np.repeat(way.joints[-1:], _LEAD, axis=0)]) for way in ways]
    outputs = [
        np.repeat(t.frames.outputs[way.frame][None], len(own), axis=0) for way, own in zip(ways, rows, strict=True)
    ]
    robot, count = t.frames.robot, sum(map(len, rows))
    everything = Frames(
        robot,
        t.frames.name,
        t.frames.rate_hz,
        np.concatenate(rows),
        np.concatenate(outputs),
        np.zeros((count, robot.legs)),
    )
    whole = work_out(everything)
    ends = np.cumsum([len(own) for own in rows])
    return whole, [
        part(whole, np.arange(end - len(own) + _LEAD - 1, end - _LEAD)) for end, own in zip(ends, rows, strict=True)
    ]


def _suspects(whole: Timeline, pieces: list[Timeline], rules: tuple[Rule, ...]) -> list[int]:
    """Those of the pieces that may break a rule: seen all at once, as if one followed the other, since most do not."""
    stops = np.cumsum([len(piece.frames) for piece in pieces])
    joined, rate = join(pieces), whole.frames.rate_hz
    ends = tuple(int(frame) for frame in np.concatenate([stops[:-1], stops - 1]))
    joined = replace(joined, frames=replace(joined.frames, holds=ends))
    mender = Mender(joined)
    found = np.zeros(len(pieces), dtype=bool)
    for finding in (finding for rule in rules for finding in rule(joined, mender)):
        first, last = np.searchsorted(stops, np.rint([finding.start_s * rate, finding.end_s * rate]), "right")
        found[first : last + 1] = True
    return [int(i) for i in np.flatnonzero(found)]


def _told(finding: Finding, way: _Way, t: Timeline, rules: tuple[Rule, ...], budget: Budget) -> Finding:
    at = way.frame / t.frames.rate_hz
    severity, ending = finding.severity, f", or {way.instead}" if way.instead else ""
    if finding.rule == "holding-torque" and way.stop:
        servo = t.frames.robot.servos[t.frames.robot.joint_index[finding.subject or ""]]
        lasts = holds_for(servo, servo.hold_fraction * finding.value / finding.limit)
        ending += f"; held by a stop, the servo is too hot after {_about(lasts)}"
        severity = "error" if lasts < SOMEONE_S else "warning"

    def ask() -> str:
        # Where a servo gets too hot only slowly, it is the pose that does it and not where the stop runs on to.
        if way.stop and severity == "error" and budget.spend():
            times = _slower_stop(t, way, rules, finding.rule)
            if times is not None:
                return f"{way.words}: go there {times:g} times slower"
        advice = advised(finding).advice
        if way.instead and "slower" in advice:
            # How quickly it is gone is the show's to say, and in no move.
            return f"{way.words}: {way.instead}"
        return f"{way.words}: {advice}{ending}"

    return replace(finding, start_s=at, end_s=at, advice="", severity=severity, way=way.words, ask=ask)


def _about(seconds: float) -> str:
    """In words, rounded down: two digits are more than anybody knows of a winding."""
    if seconds < 120:
        return f"some {max(floor(seconds / 5) * 5, 1)} s"
    return f"some {floor(seconds / 60)} min"
