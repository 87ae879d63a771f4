"""What the servos, and the ground, have to give for a robot to move as it does: inverse dynamics of many frames.

Recursive Newton-Euler (Luh, Walker & Paul, J. Dyn. Syst. Meas. Control 102, 1980; Featherstone, *Rigid Body
Dynamics Algorithms*, 2008, §5.3) with the body floating, over T frames at once, time last. What makes it
short is that a leg moves in a plane: the coxa turns that plane, femur and tibia turn in it about one
direction, so a link's angular velocity is that of the plane less its own turning about the plane's y.

Of a rigid link, the points r (from its joint) accelerate by a + B r, with B = [α×] + [ω×][ω×] the same for
all of them. So with its mass m, first moment m c and second moments Σ = ∫ r rᵀ dm, all fixed in the link,

    force = m a + B m c        moment about the joint = m c × a + ∫ r × B r dm

and the integral's x is (B Σ)_zy - (B Σ)_yz, and so on around. Gravity is an acceleration upwards.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from motionhub.robot.model import STANDARD_GRAVITY, Robot
from motionhub.robot.posture import Posture

Array = NDArray[np.float64]
Vector = list[Array]
"""Three coordinates, each of any shape that ends in T."""
Matrix = list[Vector]

CHUNK = 1024
"""Frames at a time: some dozen rows of a leg's links are worked on together."""


@dataclass(frozen=True, eq=False)
class Trunk:
    """How the body moves, in its own frame, each (3, T)."""

    felt: Array
    """m/s²: acceleration of the body's reference point less that of gravity, what an accelerometer there would show."""
    spin: Array
    """rad/s, angular velocity."""
    turning: Array
    """rad/s², its rate of change."""

    @classmethod
    def at_rest(cls, normal: Array) -> Trunk:
        """Held still on ground whose normal (3, T) is given in the body frame."""
        none = np.zeros_like(normal)
        return cls(STANDARD_GRAVITY * normal, none, none)


@dataclass(frozen=True, eq=False)
class Demand:
    """What the motion takes, the feet pushing against nothing."""

    torques: Array
    """(J, T) N·m that the servos give, in the direction of the joint."""
    force: Array
    """(3, T) N that the world gives the robot, in the body frame."""
    moment: Array
    """(3, T) N·m, about the body's reference point."""


def inverse_dynamics(posture: Posture, speeds: Array, accelerations: Array, trunk: Trunk) -> Demand:
    """Torques and the wrench from outside that move the robot so.

    Args:
        posture: Of T frames.
        speeds: (J, T) rad/s.
        accelerations: (J, T) rad/s².
        trunk: How the body moves meanwhile.
    """
    steps = posture.steps
    torques, force, moment = np.empty((posture.robot.joints, steps)), np.empty((3, steps)), np.empty((3, steps))
    for start in range(0, steps, CHUNK):
        own = slice(start, start + CHUNK)
        _chunk(
            posture.between(own) if steps > CHUNK else posture, speeds[:, own], accelerations[:, own],
            Trunk(trunk.felt[:, own], trunk.spin[:, own], trunk.turning[:, own]),
            Demand(torques[:, own], force[:, own], moment[:, own]),
        )  # fmt: skip
    return Demand(torques, force, moment)


def holding(posture: Posture, up: Array) -> Demand:
    """The same for a robot that is held still, for which weights and their arms are enough.

    Args:
        posture: Of T frames.
        up: (3, T) the ground's normal in the body frame.
    """
    robot, count, steps = posture.robot, posture.robot.legs, posture.steps
    felt = STANDARD_GRAVITY * up
    force = robot.mass * felt
    x, y, z = posture.centre
    moment = np.stack([y * force[2] - z * force[1], z * force[0] - x * force[2], x * force[1] - y * force[0]])
    torques = np.empty((robot.joints, steps))
    (cos, sin), (lean_cos, lean_sin) = posture.turn, posture.lean
    ahead, aside = felt[0] * cos + felt[1] * sin, felt[1] * cos - felt[0] * sin
    mass = robot.link_mass[: 3 * count].reshape(count, 3, 1)
    first = mass * robot.link_com[: 3 * count].reshape(count, 3, 3)
    legs = torques[: 3 * count].reshape(count, 3, steps)
    # First moments, out along the leg's plane and up: of the tibia about its axis, with the femur's about that one's
    out = lean_cos[1] * first[:, 2, :1] - lean_sin[1] * first[:, 2, 2:]
    high = lean_sin[1] * first[:, 2, :1] + lean_cos[1] * first[:, 2, 2:]
    legs[:, 2] = out * felt[2] - high * ahead
    along = first[:, 1, :1] + mass[:, 2] * robot.femur[:, None]
    out += lean_cos[0] * along - lean_sin[0] * first[:, 1, 2:]
    high += lean_sin[0] * along + lean_cos[0] * first[:, 1, 2:]
    legs[:, 1] = out * felt[2] - high * ahead
    out += (mass[:, 1] + mass[:, 2]) * robot.coxa[:, None] + first[:, 0, :1]
    legs[:, 0] = out * aside - first[:, :, 1].sum(axis=1)[:, None] * ahead
    _hold_extras(posture, felt, torques)
    return Demand(torques, force, moment)


def _hold_extras(posture: Posture, felt: Array, torques: Array) -> None:
    """The torques of extra joints, each carrying all that hangs on it: children come after their parents."""
    robot, first = posture.robot, 3 * posture.robot.legs
    frames, starts = posture.turned_extras, posture.extras[0]
    masses = [float(robot.link_mass[first + i]) for i in range(len(robot.extra))]
    moments = [_turn(frames[:, :, i], list(masses[i] * robot.link_com[first + i])) for i in range(len(masses))]
    for i, extra in reversed(list(enumerate(robot.extra))):
        axis, turn = _turn(frames[:, :, i], list(extra.axis)), _cross(moments[i], list(felt))
        torques[first + i] = axis[0] * turn[0] + axis[1] * turn[1] + axis[2] * turn[2]
        if extra.parent >= 0:
            own = extra.parent - first
            arm = starts[:, i] - starts[:, own]
            moments[own] = [m + n + masses[i] * a for m, n, a in zip(moments[own], moments[i], arm, strict=True)]
            masses[own] += masses[i]


def _chunk(posture: Posture, speeds: Array, accelerations: Array, trunk: Trunk, into: Demand) -> None:
    """The same for so few frames that the work on them stays within a processor's cache."""
    felt, spin, turning = list(trunk.felt), list(trunk.spin), list(trunk.turning)
    spread = _spread(spin, turning)
    given = (posture, speeds, accelerations, felt, spin, turning, spread, into.torques)
    parts = (_links(posture.robot).body.push(felt, spread), _legs(*given), _extras(*given))
    for i in range(3):
        into.force[i] = sum(push[i] for push, _ in parts)
        into.moment[i] = sum(twist[i] for _, twist in parts)


def foot_torques(posture: Posture, forces: Array, below: Array) -> Array:
    """Torques (3 L, T) N·m that the ground's forces on the feet take off the legs' servos: Jᵀ f.

    Args:
        posture: Of T frames.
        forces: (3, L, T) N in the body frame.
        below: (3, L, T) m from each foot's centre to the point that the force acts on.
    """
    robot, count = posture.robot, posture.robot.legs
    cos, sin = posture.turn
    x, y = forces[0] * cos + forces[1] * sin, forces[1] * cos - forces[0] * sin
    z = forces[2]
    out, up = posture.foot
    out, left, up = out + below[0] * cos + below[1] * sin, below[1] * cos - below[0] * sin, up + below[2]
    found = np.empty((count, 3, posture.steps))
    found[:, 0] = out * y - left * x
    found[:, 1] = (out - robot.coxa[:, None]) * z - up * x
    knee_out, knee_up = posture.knee
    found[:, 2] = (out - knee_out) * z - (up - knee_up) * x
    return found.reshape(3 * count, -1)


@dataclass(frozen=True)
class _Link:
    """Mass and moments of one rigid link or of a stack of them, about its joint; None where all are zero."""

    mass: Array
    first: list[Array | None]
    second: list[list[Array | None]]

    @classmethod
    def of(cls, mass: Array | float, com: Array, inertia: Array) -> _Link:
        """From mass (…), centre (…, 3) and inertia about the centre (…, 3, 3)."""
        weight = np.asarray(mass, dtype=np.float64)[..., None]
        trace = np.trace(inertia, axis1=-2, axis2=-1)[..., None, None]
        second = trace / 2 * np.eye(3) - inertia + weight[..., None] * com[..., :, None] * com[..., None, :]
        first = weight * com

        def some(values: Array) -> Array | None:
            # A last axis for time; what is zero for every link is not worth multiplying by.
            return values[..., None] if values.any() else None

        return cls(
            weight,
            [some(first[..., i]) for i in range(3)],
            [[some(second[..., i, j]) for j in range(3)] for i in range(3)],
        )

    def push(self, a: Vector, spread: Matrix) -> tuple[Vector, Vector]:
        """Force, and moment about the joint, that accelerate the link: ``a`` of its joint, and B of ``spread``."""
        force, moment = [], []
        for i in range(3):
            total = self.mass * a[i]
            for j, first in enumerate(self.first):
                if first is not None:
                    total += first * spread[i][j]
            force.append(total)
        for i in range(3):
            j, k = (i + 1) % 3, (i + 2) % 3
            turn: Array | None = None
            for sign, at, by in ((1, j, a[k]), (-1, k, a[j])):
                turn = _add(turn, self.first[at], by, sign)
            for m in range(3):
                turn = _add(turn, self.second[m][j], spread[k][m], 1)
                turn = _add(turn, self.second[m][k], spread[j][m], -1)
            moment.append(np.zeros_like(force[0]) if turn is None else turn)
        return force, moment


@dataclass(frozen=True)
class _Links:
    """All of a robot's links, in the stacks that they are worked out in."""

    body: _Link
    coxa: _Link
    """(L,)"""
    both: _Link
    """(2, L): femur and tibia."""
    levels: list[_Level]
    """Extra joints by how many others there are between them and the body."""


@dataclass(frozen=True)
class _Level:
    """Extra joints that are equally far from the body, G of them."""

    joints: slice | list[int]
    """Among the extra joints: a slice where they follow one another, which copies nothing."""
    parents: list[int]
    """(G,) among the joints of the level before; for those on the body, nothing."""
    carries: bool
    """Whether there is a level after it."""
    axis: Vector
    """3 of (G, 1): of each joint, in the frame of what carries it (turning about it leaves it where it is)."""
    at: Vector
    """3 of (G, 1): where the joint is there."""
    links: _Link
    """(G,)"""


@lru_cache(maxsize=16)
def _links(robot: Robot) -> _Links:
    count, first = robot.legs, 3 * robot.legs
    mass = robot.link_mass[:first].reshape(count, 3).T
    com = robot.link_com[:first].reshape(count, 3, 3).swapaxes(0, 1)
    inertia = robot.link_inertia[:first].reshape(count, 3, 3, 3).swapaxes(0, 1)
    depth: list[int] = []
    for extra in robot.extra:
        depth.append(0 if extra.parent < 0 else depth[extra.parent - first] + 1)
    groups = [[i for i, own in enumerate(depth) if own == level] for level in sorted(set(depth))]
    levels = []
    for level, group in enumerate(groups):
        one, links = [robot.extra[i] for i in group], [first + i for i in group]
        levels.append(
            _Level(
                joints=slice(group[0], group[-1] + 1) if group[-1] - group[0] + 1 == len(group) else group,
                parents=[groups[level - 1].index(extra.parent - first) for extra in one] if level else [],
                carries=level + 1 < len(groups),
                axis=list(np.array([extra.axis for extra in one]).T[:, :, None]),
                at=list(np.array([extra.at for extra in one]).T[:, :, None]),
                links=_Link.of(robot.link_mass[links], robot.link_com[links], robot.link_inertia[links]),
            )
        )
    return _Links(
        body=_Link.of(robot.body_mass, robot.body_com, robot.body_inertia),
        coxa=_Link.of(mass[0], com[0], inertia[0]),
        both=_Link.of(mass[1:], com[1:], inertia[1:]),
        levels=levels,
    )


def _add(total: Array | None, factor: Array | None, by: Array, sign: int) -> Array | None:
    if factor is None:
        return total
    if total is None:
        return sign * factor * by
    if sign > 0:
        total += factor * by
    else:
        total -= factor * by
    return total


def _spread(w: Vector, e: Vector) -> Matrix:
    """B = [e×] + [w×][w×] for angular velocity ``w`` and acceleration ``e``."""
    xx, yy, zz = w[0] * w[0], w[1] * w[1], w[2] * w[2]
    xy, xz, yz = w[0] * w[1], w[0] * w[2], w[1] * w[2]
    return [
        [-(yy + zz), xy - e[2], xz + e[1]],
        [xy + e[2], -(xx + zz), yz - e[0]],
        [xz - e[1], yz + e[0], -(xx + yy)],
    ]


def _legs(
    posture: Posture, speeds: Array, accelerations: Array, felt: Vector, spin: Vector, turning: Vector,
    spread: Matrix, torques: Array,
) -> tuple[Vector, Vector]:  # fmt: skip
    """Write the legs' torques; the wrench (3 of (T,)) that they take of the body, about its reference point."""
    robot, count = posture.robot, posture.robot.legs
    steps = posture.steps
    v = speeds[: 3 * count].reshape(count, 3, steps)
    a = accelerations[: 3 * count].reshape(count, 3, steps)
    cos, sin = posture.turn
    hip = robot.hip[:, :, None]
    at_hip = [
        felt[i] + hip[:, 0] * spread[i][0] + hip[:, 1] * spread[i][1] + hip[:, 2] * spread[i][2] for i in range(3)
    ]

    def planar(vector: Vector) -> Vector:
        """From the body frame to each leg's plane."""
        x, y, z = vector
        return [x * cos + y * sin, y * cos - x * sin, z]

    # Of the plane: angular velocity and acceleration, and acceleration of the hip
    wx, wy, _ = planar(spin)
    ex, ey, _ = planar(turning)
    ex, ey, ez = ex + wy * v[:, 0], ey - wx * v[:, 0], turning[2] + a[:, 0]
    wz = spin[2] + v[:, 0]
    ox, oy, oz = planar(at_hip)

    lean_cos, lean_sin = posture.lean
    # Femur and tibia together, (2, L, T): how fast they lift, and w and e along their own axes
    lift, lifting = np.empty((2, count, steps)), np.empty((2, count, steps))
    lift[0], lifting[0] = v[:, 1], a[:, 1]
    np.add(v[:, 1], v[:, 2], out=lift[1])
    np.add(a[:, 1], a[:, 2], out=lifting[1])
    gx, gz = ex + wz * lift, ez - wx * lift
    coxa = _spread([wx, wy, wz], [ex, ey, ez])
    both = _spread(
        [lean_cos * wx + lean_sin * wz, wy - lift, lean_cos * wz - lean_sin * wx],
        [lean_cos * gx + lean_sin * gz, ey - lifting, lean_cos * gz - lean_sin * gx],
    )
    # Acceleration of the femur's and the tibia's joint in the plane, then along the links' own axes
    reach, thigh = robot.coxa[:, None], robot.femur[:, None]
    jx, jy, jz = np.empty((3, 2, count, steps))
    jx[0], jy[0], jz[0] = ox + reach * coxa[0][0], oy + reach * coxa[1][0], oz + reach * coxa[2][0]
    along, aside, across = thigh * both[0][0][0], thigh * both[1][0][0], thigh * both[2][0][0]
    jx[1] = jx[0] + along * lean_cos[0] - across * lean_sin[0]
    jy[1] = jy[0] + aside
    jz[1] = jz[0] + along * lean_sin[0] + across * lean_cos[0]
    links = _links(robot)
    own = [lean_cos * jx + lean_sin * jz, jy, lean_cos * jz - lean_sin * jx]
    f, n = links.both.push(own, both)
    fx, fy, fz = lean_cos * f[0] - lean_sin * f[2], f[1], lean_sin * f[0] + lean_cos * f[2]
    nx, ny, nz = lean_cos * n[0] - lean_sin * n[2], n[1], lean_sin * n[0] + lean_cos * n[2]
    f0, n0 = links.coxa.push([ox, oy, oz], coxa)

    out = torques[: 3 * count].reshape(count, 3, steps)
    np.negative(ny[1], out=out[:, 2])
    # Tibia onto femur: the arm is the femur, (x, 0, z) in the plane
    x, z = thigh * lean_cos[0], thigh * lean_sin[0]
    nx1 = nx[0] + nx[1] - z * fy[1]
    ny1 = ny[0] + ny[1] + z * fx[1] - x * fz[1]
    nz1 = nz[0] + nz[1] + x * fy[1]
    np.negative(ny1, out=out[:, 1])
    # Femur onto coxa: the arm is the coxa, (reach, 0, 0)
    hx, hy, hz = fx[0] + fx[1], fy[0] + fy[1], fz[0] + fz[1]
    nx0, ny0 = n0[0] + nx1, n0[1] + ny1 - reach * hz
    nz0 = np.add(n0[2] + nz1, reach * hy, out=out[:, 0])
    hx, hy, hz = hx + f0[0], hy + f0[1], hz + f0[2]
    # Coxa onto the body
    push = [hx * cos - hy * sin, hx * sin + hy * cos, hz]
    twist = [nx0 * cos - ny0 * sin, nx0 * sin + ny0 * cos, nz0]
    at = robot.hip
    moment = [twist[i].sum(axis=0) + at[:, i - 2] @ push[i - 1] - at[:, i - 1] @ push[i - 2] for i in range(3)]
    return [p.sum(axis=0) for p in push], moment


def _extras(
    posture: Posture, speeds: Array, accelerations: Array, felt: Vector, spin: Vector, turning: Vector,
    spread: Matrix, torques: Array,
) -> tuple[Vector, Vector]:  # fmt: skip
    """The same for heads, tails and grippers: any axis, along the body's axes.

    Joints that are equally far from the body are worked out together, (G, T) each: outwards how they move, and
    back inwards what carries them.
    """
    robot, first = posture.robot, 3 * posture.robot.legs
    none = [np.zeros(posture.steps) for _ in range(3)]
    if not robot.extra:
        return none, none
    frames, v, gain, out = posture.turned_extras, speeds[first:], accelerations[first:], torques[first:]
    # Of what carries them: angular velocity and acceleration, acceleration of its joint, and B
    w, e, a, carrying = spin, turning, felt, spread
    done: list[tuple[_Level, Vector, Vector, Vector, Vector]] = []
    for level in _links(robot).levels:
        axis, at = level.axis, level.at
        if done:
            base = frames[:, :, done[-1][0].joints][:, :, level.parents]
            axis, at = _turn(base, axis), _turn(base, at)
            w, e, a = ([c[level.parents] for c in vector] for vector in (w, e, a))
            carrying = [[c[level.parents] for c in row] for row in carrying]
        frame, rate = frames[:, :, level.joints], [v[level.joints] * c for c in axis]
        a = [a[k] + carrying[k][0] * at[0] + carrying[k][1] * at[1] + carrying[k][2] * at[2] for k in range(3)]
        e = _sum(_sum(e, [gain[level.joints] * c for c in axis]), _cross(w, rate))
        w = _sum(w, rate)
        own = [_turn_back(frame, vector) for vector in (a, w, e)]
        force, moment = level.links.push(own[0], _spread(own[1], own[2]))
        done.append((level, axis, at, _turn(frame, force), _turn(frame, moment)))
        carrying = _spread(w, e) if level.carries else carrying
    for i, (level, axis, at, force, moment) in reversed(list(enumerate(done))):
        out[level.joints] = axis[0] * moment[0] + axis[1] * moment[1] + axis[2] * moment[2]
        moment = _sum(moment, _cross(at, force))
        if not i:
            return [c.sum(axis=0) for c in force], [c.sum(axis=0) for c in moment]
        for k in range(3):
            for child, parent in enumerate(level.parents):
                done[i - 1][3][k][parent] += force[k][child]
                done[i - 1][4][k][parent] += moment[k][child]
    return none, none


def _turn(frame: Array, v: Vector) -> Vector:
    """R v, for R (3, 3, T)."""
    return [frame[i, 0] * v[0] + frame[i, 1] * v[1] + frame[i, 2] * v[2] for i in range(3)]


def _turn_back(frame: Array, v: Vector) -> Vector:
    """Rᵀ v."""
    return [frame[0, i] * v[0] + frame[1, i] * v[1] + frame[2, i] * v[2] for i in range(3)]


def _sum(a: Vector, b: Vector) -> Vector:
    return [x + y for x, y in zip(a, b, strict=True)]


def _cross(a: Vector, b: Vector) -> Vector:
    return [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
