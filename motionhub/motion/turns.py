"""Whose turn it is to step, and at which turn of a gait to begin from feet that stand anywhere."""

from __future__ import annotations

from math import cos, inf, sin, sqrt

from motionhub.motion.foot import Foot
from motionhub.motion.gait import Timing
from motionhub.motion.manner import Manner
from motionhub.motion.planar import REST, Pose, Twist, compose, displacement

Point = tuple[float, float]


def until_lift(timing: Timing, tick: int, now: bool = False) -> list[int]:
    """Ticks from ``tick`` until each leg's next turn to lift; whose turn it is has just had it, unless ``now``."""
    cycle, stance = timing.cycle, timing.stance
    waits = [(stance - tick + touch) % cycle for touch in timing.touchdown]
    return waits if now else [wait or cycle for wait in waits]


def holds(manner: Manner, feet: list[Foot], waits: list[int], pose: Pose, twist: Twist) -> bool:
    """Whether every foot will be within its room at its next turn to lift if the body moves by ``twist`` from now on.

    Args:
        manner: How to walk, in which the rooms are.
        feet: In the ground frame. Those in the air land within their room anyway, once it is settled where.
        waits: Ticks until each foot's turn.
        pose: Of the body, in the ground frame.
        twist: The body's motion.
    """
    ends: dict[int, tuple[float, float, float, float]] = {}
    for foot, ticks, home, room in zip(feet, waits, manner.homes, manner.rooms, strict=True):
        if foot.air:
            if not foot.frozen:
                continue
            x, y = foot.tx, foot.ty
        else:
            x, y = foot.x, foot.y
        end = ends.get(ticks)
        if end is None:
            body = compose(pose, displacement(twist, ticks * manner.dt))
            end = ends[ticks] = body[0], body[1], cos(body[2]), sin(body[2])
        dx, dy, c, s = x - end[0], y - end[1], end[2], end[3]
        if (c * dx + s * dy - home[0]) ** 2 + (c * dy - s * dx - home[1]) ** 2 > room * room:
            return False
    return True


def begins(manner: Manner, feet: list[Point], twist: Twist, away: list[bool]) -> int:
    """The tick of the cycle to begin at: some legs lift there, and the others can wait for their turn.

    Towards a velocity it is where the feet bear the largest share of it; without one, where those that are
    ``away`` from home have had their turn soonest.

    Args:
        manner: How to walk.
        feet: m, all standing, in the body's frame.
        twist: What is planned or wanted.
        away: Which feet are not home.
    """
    timing = manner.timing
    if twist == REST:
        due = [0.0 if gone else inf for gone in away]
    else:
        due = [
            _lasts(foot, home, twist, room) / manner.dt
            for foot, home, room in zip(feet, manner.homes, manner.rooms, strict=True)
        ]

    def worth(tick: int) -> tuple[float, float]:
        waits = until_lift(timing, tick, now=True)
        if twist == REST:
            return -max(wait for wait, gone in zip(waits, away, strict=True) if gone or not any(away)), 0.0
        share = min(lasts / max(wait, 0.5) for lasts, wait in zip(due, waits, strict=True))
        return min(share, 1.0), -sum(waits)

    lifts = sorted({(touch + timing.stance) % timing.cycle for touch in timing.touchdown})
    return max(lifts, key=worth)


def _lasts(foot: Point, home: Point, twist: Twist, room: float) -> float:
    """Seconds for which a foot stays within ``room`` of its home while the body moves on, on a straight line."""
    dx, dy = foot[0] - home[0], foot[1] - home[1]
    vx, vy = -twist[0] + twist[2] * foot[1], -twist[1] - twist[2] * foot[0]
    square = vx * vx + vy * vy
    if square < 1e-18:
        return inf
    along = dx * vx + dy * vy
    root = along * along + square * (room * room - dx * dx - dy * dy)
    return max(0.0, (sqrt(root) - along) / square) if root > 0 else 0.0
