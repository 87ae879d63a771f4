"""Rules that a move keeps where the joints are told to be, and breaks where they are: servos that fall behind.

A move that is merely late breaks nothing. Where a joint at its limits is away from that by more than :data:`APART`, the
ground, the balance and the gaps are worked out once more for where the joints get to. What is broken there,
and not nearly so in the move as it was written, is the lag's doing, and is said of the joint that is furthest behind.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from motionhub.check import pieces
from motionhub.check.findings import Finding, stretches
from motionhub.check.mend import times_slower
from motionhub.check.rules_ground import CLEAR, MARGIN_SLACK, SLIP, TOUCH, fallen
from motionhub.check.slowness import at_rest
from motionhub.check.standing import Standing
from motionhub.check.timeline import Timeline
from motionhub.check.tracking import CREEP

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

APART = float(np.deg2rad(1.5))
"""rad: of a leg of 20 cm that is 5 mm at the foot, what a foot may slide."""
AROUND_S = 0.3
"""s before and after that are looked at, too: what a joint does late shows later."""
SPARE = 3e-3
"""m by which the move as written keeps a rule, or else the lag is not what breaks it."""
LONGEST = 6000
"""Frames that are worked out again in one move: two minutes in which servos cannot follow are enough to say so."""

PLAIN = {
    "tip-over": "the robot falls over",
    "stability": "the robot stands less steady than it should",
    "clearance": "parts touch",
    "ground": "a part hits the ground",
    "foot-slip": "a foot drags",
}


def lagging(t: Timeline) -> list[Finding]:
    """Findings of ``joint-speed`` for rules that break only because servos fall behind."""
    found: list[Finding] = []
    looked = 0
    rate = t.frames.rate_hz
    around = round(AROUND_S * rate)
    for stretch in stretches(t.apart > APART, t.apart, rate):
        first, last = max(stretch.first - around, 0), min(stretch.last + around + 1, len(t.frames))
        looked += last - first
        if looked > LONGEST:
            break
        found += _of_one(t, slice(first, last))
    return found


def _of_one(t: Timeline, part: slice) -> list[Finding]:
    told = pieces.part(t, np.arange(part.start, part.stop))
    late = Standing(t.frames.robot, t.frames.joints[part] - t.late[part])
    found = []
    for rule in PLAIN:
        # What the move breaks as it is told, or nearly, need not be worked out.
        if not _broken(told, rule, SPARE).any() and (broken := _broken(late, rule)).any():
            frames = np.flatnonzero(broken) + part.start
            found.append(_finding(t, rule, int(frames[0]), int(frames[-1])))
    return found


def _broken(s: Timeline | Standing, rule: str, spare: float = 0.0) -> Flags:
    """(T,) frames that break a rule, or that come within ``spare`` (m) of that."""
    found: Flags
    match rule:
        case "tip-over":
            found = fallen(s)
        case "stability":
            found = (s.margin < s.robot.walk.margin - MARGIN_SLACK + spare) & ~fallen(s)
        case "clearance":
            found = s.clearance < CLEAR + spare
        case "ground":
            found = (s.parts.min(axis=1, initial=1.0) < -TOUCH + spare) & ~s.tipped
        case _:
            found = (s.slip.max(axis=1) > SLIP - spare) & ~s.tipped
    return found


def _finding(t: Timeline, rule: str, first: int, last: int) -> Finding:
    rate = t.frames.rate_hz
    until = slice(max(first - round(AROUND_S * rate), 0), first + 1)
    behind = np.abs(t.late[until]).max(axis=0)
    j = int(behind.argmax())
    asked = np.abs(t.speeds[until, j])
    turned = np.abs(np.diff(t.frames.joints[until, j] - t.late[until, j], prepend=np.nan)) * rate
    value, limit = float(asked.max()), min(float(np.nanmax(turned, initial=0.0)), float(asked.max()))
    # How long ago it was told to be where it is; told to turn hardly at all, it is the whole of the time looked at.
    late_ms = 1e3 * min(float(behind[j]) / max(value, 1e-9), AROUND_S)
    share = value / max(limit, 1e-3 * value, 1e-9)

    def ask() -> str:
        slower = max(share, 1.2)
        # What moving takes is less then, by the square; what holding takes is not.
        rows = np.arange(until.start, until.stop)
        still = at_rest(pieces.part(t, rows))[:, j]
        load = np.abs(still + (t.torques[rows, j] - still) / slower**2)
        load = load / t.frames.robot.servos[j].stall_torque_at(t.rail.steady_volts[rows])
        if load.max() > 1 - CREEP:
            mend = "have it carry less, for under this load its servo does not turn"
        else:
            mend = times_slower(slower)
        return (
            f"{mend}: it falls {np.rad2deg(behind[j]):.0f} deg ({late_ms:.0f} ms) behind, "
            f"and only therefore {PLAIN[rule]} ({rule})"
        )

    return Finding(
        rule="joint-speed",
        severity="error",
        start_s=first / rate,
        end_s=last / rate,
        subject=t.frames.robot.joint_names[j],
        value=float(np.rad2deg(value)),
        limit=float(np.rad2deg(limit)),
        unit="deg/s",
        advice="",
        excess=share - 1,
        ask=ask,
    )
