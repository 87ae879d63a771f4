"""A first look at the stretch of a move that was just edited, while the whole of a long move takes longer to check.

It is the same check, of a piece of the move alone. What hangs on all of it is left out (the charge, how warm a servo
gets that holds, the ways to and from the move and its stops), and a foot that slips before the piece has not slipped in
it. So a glance is for showing at once what an edit has done there; whether a move fits, only the check says.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from motionhub.check.findings import APART_S, Finding, worst_first
from motionhub.check.mend import Budget, Mender
from motionhub.check.report import MOVE_RULES
from motionhub.check.timeline import Timeline, work_out
from motionhub.motion.frames import Frames

LEAD_S = 1.0
"""So much before and after the edit is worked out with it: servos that lag, and bodies that are gathering way."""
NOTHING = 0, -1
"""No frame is another."""
OF_ALL = ("holding-torque", "charge", "link-rate")
"""Rules that are about the whole of a move."""


@dataclass(frozen=True)
class Glance:
    """What a look at frames ``start`` to ``end`` of a move found."""

    start: int
    end: int
    timeline: Timeline
    """Of those frames alone; the ground is where the robot is at the first of them."""
    findings: tuple[Finding, ...]
    """Of the edit and what is near it, in times of the move; none can be asked for advice."""


def edited(frames: Frames, before: Frames) -> tuple[int, int] | None:
    """The first and last frame that differ, or :data:`NOTHING`; None if the two cannot be held against each other."""
    if len(frames) != len(before) or frames.robot is not before.robot:
        return None
    names = ("joints", "outputs", "travel", "reach_error")
    changed = np.zeros(len(frames), dtype=bool)
    for name in names:
        changed |= (getattr(frames, name) != getattr(before, name)).any(axis=1)
    where = np.flatnonzero(changed)
    return (int(where[0]), int(where[-1])) if where.size else NOTHING


def glance(frames: Frames, first: int, last: int, step: int = 1) -> Glance:
    """Look at an edit.

    Args:
        frames: The move as it is now.
        first: The first frame that the edit has changed.
        last: And the last.
        step: The piece that is looked at begins at a multiple of so many frames.
    """
    lead = round(LEAD_S * frames.rate_hz)
    start, end = max(0, first - lead) // step * step, min(len(frames), last + 1 + lead)
    names = ("joints", "outputs", "travel", "reach_error")
    piece = replace(frames, holds=(), **{name: getattr(frames, name)[start:end] for name in names})
    timeline = work_out(piece)
    mender = Mender(timeline, Budget(0))
    since = start / frames.rate_hz
    found = [finding for rule in MOVE_RULES for finding in rule(timeline, mender) if finding.rule not in OF_ALL]
    near = first / frames.rate_hz - since, last / frames.rate_hz - since
    own = [
        replace(f, start_s=f.start_s + since, end_s=f.end_s + since, ask=None)
        for f in found
        if f.start_s <= near[1] and f.end_s >= near[0]
    ]
    return Glance(start, end, timeline, tuple(own))


def put_in(findings: tuple[Finding, ...], looked: Glance, first_s: float, last_s: float) -> tuple[Finding, ...]:
    """What was found before, with what a glance has found in the place of what there was in the edited stretch."""

    def stays(f: Finding) -> bool:
        return f.rule in OF_ALL or f.start_s < first_s - APART_S or f.end_s > last_s + APART_S

    kept = [f for f in findings if stays(f) or f.end_s < first_s or f.start_s > last_s]

    def is_part(f: Finding) -> bool:
        """Whether what goes on beyond the edit says so already."""
        alike = (other for other in kept if (other.rule, other.subject) == (f.rule, f.subject))
        return any(o.start_s <= f.end_s and f.start_s <= o.end_s and f.excess <= o.excess for o in alike)

    return tuple(worst_first([*kept, *(f for f in looked.findings if not is_part(f))]))
