"""From one stance to another without dragging a foot that carries weight: the legs step over, in groups.

Two sets of joint angles stand for two stances: how the body is held over the ground, and where the feet are.
The ground does not say how the two lie to each other, so the second is laid over the first where the feet
that stand in both fit best. What then has to happen, from standstill to standstill, in this order::

    feet in the air that shall stand    go down where they shall stand
    the body                            moves to how it shall be held, over feet that stay
    feet that stand elsewhere           step over, the legs that the gait lifts together at a time
    feet that shall be in the air       go there

Before a group is lifted, the body moves over the feet that stay, if it has to for their sake: a robot on
four legs cannot lift one otherwise. Each part takes as long as its joints need at an unhurried speed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.easing import minimum_jerk
from motionhub.motion.gait import default_gait
from motionhub.motion.odometry import travel
from motionhub.motion.posing import joints_for, rotation
from motionhub.motion.support import rest_on_ground
from motionhub.robot.limits import top_speed
from motionhub.robot.mass import centre_of_mass
from motionhub.robot.model import Robot

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

SAME_PLACE = 3e-3
"""m: a foot this near to where it shall stand may stay. A servo's play moves it by as much."""
UNHURRIED = 0.3
"""Share of the servos' no-load speed that is used: nobody waits for it, and people stand near."""
SHORTEST_S = 0.3
"""Of one part: slower than a startle, for the same reason."""
_PEAK = 15 / 8
"""Peak speed of minimum jerk over its mean (Flash & Hogan 1985)."""
_ROUGH = np.linspace(0.0, 1.0, 25)
"""Where along a part its joint speeds are looked at before it is timed."""
_SHIFTS = np.linspace(0.0, 1.6, 49)
"""How far the body is tried to be shifted, in units of the way from its weight to the middle of the feet."""
_UP = 0.2
"""The share of a step in which the foot only rises, and the share in which it only sinks."""


@dataclass(frozen=True, eq=False)
class _Stance:
    """How the body is held, (6,) as ``joints_for`` has it, and where the feet are, (L, 3), in one stance frame."""

    body: Array
    feet: Array


@dataclass(frozen=True, eq=False)
class _Part:
    """One of the things that happen in order. ``lifted`` legs go over in the air, all others along straight lines."""

    start: _Stance
    stop: _Stance
    lifted: Flags


def restance(robot: Robot, start: Array, goal: Array, dt: float) -> Array:
    """Joint angles (T, J), T ≥ 1 ticks of ``dt`` seconds, that lead from ``start`` (J,) to ``goal`` (J,).

    Both are stood at still. The last row is ``goal``; ``start`` is not among the rows.
    """
    support = rest_on_ground(robot, np.stack([start, goal]))
    down, feet = support.down, support.level_feet
    tilt = support.tilt
    # Where the goal would have gone from, had its feet not moved: seen from the goal, that is where the start is.
    back = travel(feet[::-1, :, :2], np.broadcast_to(down.all(axis=0), down.shape), np.ones_like(support.clearance))
    yaw = float(back.heading[1])
    cos, sin = np.cos(yaw), np.sin(yaw)
    placed = feet[0].copy()
    placed[:, :2] = placed[:, :2] @ np.array([[cos, sin], [-sin, cos]]) + back.place[1]
    height = support.height - robot.rest_height
    first = _Stance(np.array([*back.place[1], height[0], *tilt[0], yaw]), placed)
    last = _Stance(np.array([0.0, 0.0, height[1], tilt[1, 0], tilt[1, 1], 0.0]), feet[1])
    parts = _parts(robot, first, last, down)
    return _render(robot, parts, start, goal, dt)


def _parts(robot: Robot, first: _Stance, last: _Stance, down: Flags) -> list[_Part]:
    none = np.zeros(robot.legs, dtype=bool)
    parts: list[_Part] = []
    now = first

    def go(stop: _Stance, lifted: Flags = none) -> None:
        nonlocal now
        if np.allclose(stop.body, now.body, atol=1e-6) and np.allclose(stop.feet, now.feet, atol=1e-6):
            return
        parts.append(_Part(now, stop, lifted))
        now = stop

    away = np.hypot(*(first.feet - last.feet)[:, :2].T)
    landing = ~down[0] & down[1]
    # A foot that is only just in the air would be dragged along on its way: it is lifted for that.
    go(replace(now, feet=np.where(landing[:, None], last.feet, now.feet)), landing & (away > SAME_PLACE))
    # Legs step over best under a high body: folded ones have far to go for the same step.
    high = last.body if last.body[2] >= first.body[2] else now.body
    go(replace(now, body=high))
    displaced = down[0] & down[1] & (away > SAME_PLACE)
    phases = np.array(default_gait(robot).phases)
    for phase in np.unique(phases[displaced]):
        group = displaced & (phases == phase)
        over = np.where(group[:, None], last.feet, now.feet)
        half_way = (now.feet + over) / 2 + group[:, None] * np.array([0.0, 0.0, robot.walk.lift])
        swing = np.stack([now.feet, half_way, over])
        go(replace(now, body=_over(robot, high, swing, down[1] & ~group)))
        go(replace(now, feet=over), group)
    go(replace(now, body=last.body))
    go(last, ~down[1] & (away > SAME_PLACE))
    return parts


def _over(robot: Robot, body: Array, swing: Array, standing: Flags) -> Array:
    """``body`` (6,), shifted as little as gives it the margin that walking asks for, over the feet that stand.

    Legs weigh something: they stay behind when the body goes, and shift the weight when they go over. So the
    centre of mass is looked at for each shift that is tried and at each of the feet (K, L, 3) of the swing.
    Without three feet to stand on, nothing helps: the body stays.
    """
    if standing.sum() < 3:
        return body
    corners = swing[0, standing, :2]
    middle = corners.mean(axis=0)
    ring = corners[np.argsort(np.arctan2(*(corners - middle).T[::-1]))]
    edge = np.roll(ring, -1, axis=0) - ring
    away = middle - _weight(robot, body[None], swing[:1])[0, 0]
    bodies = np.repeat(body[None], len(_SHIFTS), axis=0)
    bodies[:, :2] += _SHIFTS[:, None] * away
    from_corner = _weight(robot, bodies, swing)[:, :, None] - ring
    inward = (edge[:, 0] * from_corner[..., 1] - edge[:, 1] * from_corner[..., 0]) / np.linalg.norm(edge, axis=1)
    margins = inward.min(axis=(1, 2))
    found: Array = bodies[int(np.argmax(margins >= min(robot.walk.margin, margins.max())))]
    return found


def _weight(robot: Robot, bodies: Array, feet: Array) -> Array:
    """Where the centre of mass is over the ground (N, K, 2) for bodies (N, 6) over feet (K, L, 3), in their frame."""
    joints, _ = joints_for(robot, bodies[:, None], feet)
    turn = rotation(bodies[:, 3], bodies[:, 4], bodies[:, 5])
    found: Array = bodies[:, None, :2] + np.einsum("nij,nkj->nki", turn, centre_of_mass(robot, joints))[..., :2]
    return found


def _render(robot: Robot, parts: list[_Part], start: Array, goal: Array, dt: float) -> Array:
    legs = 3 * robot.legs
    limit = top_speed(robot) * UNHURRIED
    counts = []
    for part in parts:
        rough = _joints(robot, part, _ROUGH)[:, :legs]
        fastest = np.abs(np.diff(rough, axis=0)).max(axis=0) * (len(_ROUGH) - 1)
        needed = float((fastest / limit[:legs]).max())
        counts.append(max(1, round(max(needed, SHORTEST_S) / dt)))
    extra = float((_PEAK * np.abs(goal - start)[legs:] / limit[legs:]).max(initial=0.0))
    total = sum(counts)
    if (short := round(extra / dt) - total) > 0 or total == 0:
        # Heads and tails take longer than the legs, or all that moves is they.
        counts.append(max(short, 1))
        still = parts[-1].stop if parts else None
        rows = [_joints(robot, p, np.arange(1, n + 1) / n) for p, n in zip(parts, counts[:-1], strict=True)]
        rows.append(np.repeat(_still(robot, still, goal)[None], counts[-1], axis=0))
    else:
        rows = [_joints(robot, p, np.arange(1, n + 1) / n) for p, n in zip(parts, counts, strict=True)]
    joints = np.concatenate(rows)
    share = minimum_jerk(np.arange(1, len(joints) + 1) / len(joints))[:, None]
    joints[:, legs:] = start[legs:] + share * (goal - start)[legs:]
    # A leg that was posed by its angles need not stand as inverse kinematics has it: that difference is
    # faded out from the start, and faded in towards the goal.
    own = _joints(robot, parts[0], np.zeros(1))[0] if parts else start
    joints[:, :legs] += (1 - share) * (start - own)[:legs] + share * (goal - rows[-1][-1])[:legs]
    joints[-1] = goal
    found: Array = np.clip(joints, np.minimum(robot.lower, start), np.maximum(robot.upper, start))
    return found


def _still(robot: Robot, stance: _Stance | None, goal: Array) -> Array:
    return goal.copy() if stance is None else joints_for(robot, stance.body, stance.feet)[0]


def _joints(robot: Robot, part: _Part, time: Array) -> Array:
    """The joints (N, J) of a part at shares ``time`` (N,) of its duration."""
    share = minimum_jerk(time)
    body = part.start.body + share[:, None] * (part.stop.body - part.start.body)
    way = part.stop.feet - part.start.feet
    feet = part.start.feet + share[:, None, None] * way
    if part.lifted.any():
        across = minimum_jerk(np.clip((time - _UP) / (1 - 2 * _UP), 0.0, 1.0))
        high = robot.walk.lift * np.sin(np.pi * time) ** 2
        lifted = part.start.feet + across[:, None, None] * way
        lifted[..., 2] += high[:, None]
        feet = np.where(part.lifted[:, None], lifted, feet)
    return joints_for(robot, body, feet)[0]
