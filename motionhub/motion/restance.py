"""From one stance to another without dragging a foot that carries weight: the legs step over, in groups.

Two sets of joint angles stand for two stances: how the body is held over the ground, and where the feet are.
The ground does not say how the two lie to each other, so the second is laid over the first where the feet
that stand in both fit best. What then has to happen, from standstill to standstill, in this order::

    legs that hang somewhere            come above where they shall stand (:mod:`~motionhub.motion.gather`)
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
from motionhub.motion.gather import gather
from motionhub.motion.odometry import travel
from motionhub.motion.polygon import stability_margin
from motionhub.motion.posing import joints_for, rotation
from motionhub.motion.support import Support, rest_on_ground
from motionhub.robot.limits import top_speed
from motionhub.robot.mass import centre_of_mass
from motionhub.robot.model import Robot

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

SAME_PLACE = 2e-4
"""m: a foot this near to where it shall stand may stay: less than a foot that carries weight may be dragged."""
PLAY = 3e-3
"""m that a servo's play moves a foot by (*practice*): one no higher than that may have stood a moment ago."""
SAME_ANGLE = 0.05
"""rad: a leg that is held otherwise by more than this is not as inverse kinematics would have it."""
WHIRL = 0.25
"""rad from one of the 25 places of ``_ROUGH`` to the next; the longest of sound steps takes 0.2."""
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
_GATHERS = 4
"""Rounds: the body over the feet that stand, legs that hang, and then, since more stand, legs that stand oddly."""
COSTS = 1e-3
"""m of margin that legs which come down may cost before the body is moved for it."""
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


def restance(robot: Robot, start: Array, goal: Array, dt: float, gathers: int = _GATHERS) -> Array:
    """Joint angles (T, J), T ≥ 1 ticks of ``dt`` seconds, that lead from ``start`` (J,) to ``goal`` (J,).

    Both are stood at still. The last row is ``goal``; ``start`` is not among the rows. Legs that hang anywhere are
    gathered first, in at most so many rounds.
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
    if gathers and (whirls := _whirls(robot, first, last, support, start)).any():
        rows = _gathered(robot, first, last, support, start, whirls, dt)
        return np.concatenate([rows, restance(robot, rows[-1], goal, dt, gathers - 1)])
    parts = _parts(robot, first, last, down)
    return _render(robot, parts, start, goal, dt)


def _whirls(robot: Robot, first: _Stance, last: _Stance, support: Support, start: Array) -> Flags:
    """Legs (L,) whose feet cannot go straight to where they shall stand, and that the robot can stand without."""
    down = support.down
    goes = down[1] & (~down[0] | (np.hypot(*(first.feet - last.feet)[:, :2].T) > PLAY))
    legs = 3 * robot.legs
    odd = np.abs(joints_for(robot, first.body, first.feet)[0] - start)[:legs] > SAME_ANGLE
    for part in _parts(robot, first, last, down):
        odd |= np.abs(np.diff(_joints(robot, part, _ROUGH)[:, :legs], axis=0)).max(axis=0) > WHIRL
    found: Flags = goes & odd.reshape(-1, 3).any(axis=1)
    if (found & ~down[0]).any():
        hanging: Flags = found & ~down[0]
        return hanging  # those first: with them down, more carry the weight
    level = support.level_feet[0, :, :2].T[:, :, None]
    others = (down[0] & ~found)[:, None]
    if others.sum() < 3 or stability_margin(level, others, support.com[:1].T)[0] < robot.walk.margin / 2:
        first_down: Flags = down[1] & ~down[0] & found.any()
        return first_down  # what hangs comes down first, to carry with the others
    return found


def _gathered(
    robot: Robot, first: _Stance, last: _Stance, support: Support, start: Array, go: Flags, dt: float
) -> Array:
    """The body over the feet that carry it meanwhile, if it is not, or else those legs down where they shall stand."""
    legs, speed, down = 3 * robot.legs, top_speed(robot) * UNHURRIED, support.down[0]
    above = np.where(go[:, None], last.feet + np.array([0.0, 0.0, robot.walk.lift]), first.feet)
    body = _over(robot, first.body, np.stack([first.feet, above]), down & ~go)
    part = _Part(first, replace(first, body=body), ~down)
    stand = np.append(np.repeat(down, 3), np.zeros(robot.joints - legs, dtype=bool))
    steps = np.abs(np.diff(_joints(robot, part, _ROUGH), axis=0))[:, stand]
    if np.hypot(*(body - first.body)[:2]) > PLAY and steps.max() < WHIRL:
        seconds = float((steps.max(axis=0) * (len(_ROUGH) - 1) / speed[stand]).max())
        ticks = round(max(seconds, SHORTEST_S) / dt)
        way = _joints(robot, part, np.arange(ticks + 1) / ticks)
        rows: Array = start + np.where(stand, way - way[0], 0.0)
        return np.clip(rows[1:], np.minimum(robot.lower, start), np.maximum(robot.upper, start))
    up, height = support.rotation[0, 2], float(support.height[0])
    ways, here = [], start
    for feet in (above, last.feet):
        there = np.clip(joints_for(robot, first.body, feet)[0], robot.lower, robot.upper)
        ways.append(gather(robot, here, there, go, up, height, speed, SHORTEST_S, dt))
        here = ways[-1][-1]
    return np.concatenate(ways)


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
    # Legs weigh something on their way down, too: what stands must not tip over onto one that is about to land.
    if landing.any():
        landed = np.where(landing[:, None], last.feet, now.feet)
        # One that only just hangs stood a moment ago, and shared the weight: lifted, it leaves it to the others.
        lifts = landing & (now.feet[:, 2] - last.feet[:, 2] < PLAY) & (away > SAME_PLACE)
        allowed = None if lifts.any() else COSTS
        body = _over(robot, now.body, np.stack([now.feet, landed]), down[0], allowed)
        along = ~down[0][:, None] * (body - now.body)[:3]  # in the air, legs are carried as they hang
        go(replace(now, body=body, feet=now.feet + along))
    # A foot that is only just in the air would be dragged along on its way: it is lifted for that.
    aside = np.hypot(*(now.feet - last.feet)[:, :2].T) > SAME_PLACE
    go(replace(now, feet=np.where(landing[:, None], last.feet, now.feet)), landing & aside)
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


def _over(robot: Robot, body: Array, swing: Array, standing: Flags, allowed: float | None = None) -> Array:
    """``body`` (6,), shifted as little as gives it the margin that walking asks for, over the feet that stand.

    Legs weigh something: they stay behind when the body goes, and shift the weight when they go over. So the
    centre of mass is looked at for each shift that is tried and at each of the feet (K, L, 3) of the swing.
    Without three feet to stand on, nothing helps: the body stays. It also does if the swing costs no more than
    ``allowed`` m of the margin that there is before it.
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
    at_each = inward.min(axis=2)
    if allowed is not None and at_each[0].min() >= at_each[0, 0] - allowed:
        return body
    margins = at_each.min(axis=1)
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
