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
    robot = posture.robot
    torques = np.empty((robot.joints, posture.steps))
    felt, spin, turning = list(trunk.felt), list(trunk.spin), list(trunk.turning)
    spread = _spread(spin, turning)
    force, moment = _links(robot).body.push(felt, spread)
    for push, twist in (
        _legs(posture, speeds, accelerations, felt, spin, turning, spread, torques),
        _extras(posture, speeds, accelerations, felt, spin, turning, spread, torques),
    ):
        force, moment = _sum(force, push), _sum(moment, twist)
    return Demand(torques, np.stack(force), np.stack(moment))


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
    groups: list[list[int]]
    """Extra joints by how many others there are between them and the body."""
    extras: list[_Link]
    """Of each group, (G,)."""


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
    links = [[first + i for i in group] for group in groups]
    return _Links(
        body=_Link.of(robot.body_mass, robot.body_com, robot.body_inertia),
        coxa=_Link.of(mass[0], com[0], inertia[0]),
        both=_Link.of(mass[1:], com[1:], inertia[1:]),
        groups=groups,
        extras=[_Link.of(robot.link_mass[own], robot.link_com[own], robot.link_inertia[own]) for own in links],
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

    Joints that are equally far from the body are worked out together, (G, T), each with what carries it.
    """
    robot, first = posture.robot, 3 * posture.robot.legs
    push, twist = ([np.zeros(posture.steps) for _ in range(3)] for _ in range(2))
    count = len(robot.extra)
    if not count:
        return push, twist
    frames = np.stack(posture.turned_extras, axis=2)  # (3, 3, E, T)
    # Of every link: angular velocity and acceleration, acceleration of its joint, B, arm from its parent's joint
    arm, axes, force, moment = np.empty((4, 3, count, posture.steps))
    known = _links(robot)
    hanging = len(known.groups) > 1
    w, e, a = np.empty((3, 3, count, posture.steps if hanging else 0))
    carries = np.empty((3, 3, count, posture.steps if hanging else 0))
    for group, own in zip(known.groups, known.extras, strict=True):
        links = [first + i for i in group]
        frame = frames[:, :, group]
        at: Vector = list(np.array([robot.extra[i].at for i in group]).T[:, :, None])
        parents = [robot.extra[i].parent - first for i in group]
        if parents[0] < 0:
            w0, e0, a0, carrying = spin, turning, felt, spread
        else:
            at = _turn(frames[:, :, parents], at)
            w0, e0, a0 = list(w[:, parents]), list(e[:, parents]), list(a[:, parents])
            carrying = [list(row) for row in carries[:, :, parents]]
        axis = _turn(frame, list(np.array([robot.extra[i].axis for i in group]).T[:, :, None]))
        rate = [speeds[links] * c for c in axis]
        w1 = _sum(w0, rate)
        e1 = _sum(_sum(e0, [accelerations[links] * c for c in axis]), _cross(w0, rate))
        a1 = [a0[k] + carrying[k][0] * at[0] + carrying[k][1] * at[1] + carrying[k][2] * at[2] for k in range(3)]
        f, n = own.push(_turn_back(frame, a1), _spread(_turn_back(frame, w1), _turn_back(frame, e1)))
        arm[:, group], axes[:, group] = np.broadcast_arrays(*at, axis[0])[:3], axis
        force[:, group], moment[:, group] = _turn(frame, f), _turn(frame, n)
        if hanging:
            w[:, group], e[:, group], a[:, group], carries[:, :, group] = w1, e1, a1, _spread(w1, e1)
    for i in reversed(range(count)):  # children come after their parents
        parent = robot.extra[i].parent - first
        onto = moment[:, i] + np.stack(_cross(list(arm[:, i]), list(force[:, i])))
        torques[first + i] = (axes[:, i] * moment[:, i]).sum(axis=0)
        if parent >= 0:
            force[:, parent] += force[:, i]
            moment[:, parent] += onto
        else:
            push, twist = _sum(push, list(force[:, i])), _sum(twist, list(onto))
    return push, twist


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
