"""What the ground pushes with, and what each servo must give for the robot to move so.

Inverse dynamics says what force and moment the world has to give the robot for its trunk and links to
accelerate as they do; at rest that is its weight. The ground gives it with forces at the contacts. Their
vertical parts balance about the point on the ground where the moment has no level part (at rest that is
under the centre of mass; moving, the zero moment point: Vukobratović & Borovac, Int. J. Humanoid Robotics
1(1), 2004). They are determinate on three contacts. On more, every contact is taken as a spring of the
same stiffness under a rigid body, which is the share of least norm; and since the ground cannot pull,
contacts that would have to are let go. Level parts, which only motion asks for, are shared as friction
holds, in proportion to the vertical ones, and turned about that point as far as the moment's vertical part asks.
What the legs push against each other besides is not known from the joints, and is nothing where the robot
has settled.

The servos then give what inverse dynamics says less what the ground does for them, and what their own rotors and
gears take to be turned faster, τ = id(q, v, a) - Jᵀ f + J_m a
(any robotics textbook, e.g. Siciliano et al., 2009, §7.1).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.support import Support
from motionhub.robot.dynamics import Demand, Trunk, foot_torques, holding, inverse_dynamics
from motionhub.robot.model import STANDARD_GRAVITY, Robot
from motionhub.robot.posture import Posture

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

ROUNDS = 12
"""Of letting contacts go and taking them back; two or three settle it, and every pose tried took at most five."""

LIGHTEST = 0.05
"""Share of its weight that a robot presses on the ground with at least, however fast it drops: less is no stance."""


@dataclass(frozen=True, eq=False)
class Loads:
    """Forces and torques, frame by frame."""

    feet: Array
    """(T, L) N, each foot's push from the ground, along the ground's normal."""
    belly: Array
    """(T,) N, that on the body's underside."""
    torques: Array
    """(T, J) N·m that the servos give, in the direction of the joint."""


def loads_at_rest(robot: Robot, joints: Array, support: Support, posture: Posture | None = None) -> Loads:
    """Ground forces and joint torques for joint angles (T, J) rad that rest as ``support`` says.

    ``posture`` is that of the same joints, where it is known already.
    """
    posture = Posture(robot, joints) if posture is None else posture
    return _loads(posture, support, holding(posture, support.normal.T))


def forces_at_rest(robot: Robot, support: Support) -> Array:
    """The vertical forces on the feet alone, (T, L) N, as if every frame were held still."""
    x, y, touching = _contacts(support)
    weight = np.full(len(support.height), robot.mass * STANDARD_GRAVITY)
    return ground_forces(x - support.com[:, 0], y - support.com[:, 1], touching, weight)[: robot.legs].T


def loads_in_motion(posture: Posture, support: Support, speeds: Array, accelerations: Array, trunk: Trunk) -> Loads:
    """Ground forces and joint torques for a robot that moves.

    Args:
        posture: Of T frames.
        support: How they rest.
        speeds: (J, T) rad/s.
        accelerations: (J, T) rad/s².
        trunk: How the body moves.
    """
    demand = inverse_dynamics(posture, speeds, accelerations, trunk)
    demand.torques[:] += posture.robot.rotor_inertia[:, None] * accelerations
    return _loads(posture, support, demand)


def _loads(posture: Posture, support: Support, demand: Demand) -> Loads:
    """What ground and servos give for what a motion takes."""
    robot, count = posture.robot, posture.robot.legs
    level = support.rotation.transpose(1, 2, 0)
    ahead, aside, up = _turned(level, demand.force)
    roll, pitch, yaw = _turned(level, demand.moment)
    # From the body's reference point to the ground under it
    roll, pitch = roll - support.height * aside, pitch + support.height * ahead
    weight = np.maximum(up, LIGHTEST * robot.mass * STANDARD_GRAVITY)
    centre_x, centre_y = -pitch / weight, roll / weight
    x, y, touching = _contacts(support)
    x, y = x - centre_x, y - centre_y
    vertical = ground_forces(x, y, touching, weight)
    spread = (vertical * (x * x + y * y)).sum(axis=0)
    spin = (yaw - centre_x * aside + centre_y * ahead) / np.maximum(spread, 1e-4 * weight)
    held, share = vertical[:count], vertical[:count] / np.maximum(vertical.sum(axis=0), 1e-9)
    forward, left = share * ahead - held * y[:count] * spin, share * aside + held * x[:count] * spin
    # Along the body's axes
    forces = np.stack([level[0, i] * forward + level[1, i] * left + level[2, i] * held for i in range(3)])
    below = -robot.foot_radius[:, None] * level[2][:, None]
    torques = demand.torques
    torques[: 3 * count] -= foot_torques(posture, forces, below)
    return Loads(held.T, vertical[count:].sum(axis=0), torques.T)


def _turned(level: Array, vector: Array) -> Array:
    """From the body frame into the level frame, (3, T)."""
    found: Array = level[:, 0] * vector[0] + level[:, 1] * vector[1] + level[:, 2] * vector[2]
    return found


def _contacts(support: Support) -> tuple[Array, Array, Flags]:
    """All contacts of the frames, each (N, T); without the body's corners where none touches in any frame."""
    x, y = support.contacts[..., 0].T, support.contacts[..., 1].T
    if support.corners.any():
        return x, y, np.concatenate([support.down.T, support.corners.T])
    legs = support.down.shape[1]
    return x[:legs], y[:legs], support.down.T


def ground_forces(x: Array, y: Array, touching: Flags, weight: Array) -> Array:
    """Vertical forces (N, T) in N of equal springs that carry a weight and do not pull.

    Minimises Σ F² subject to Σ F = weight, Σ F·arm = 0 and F ≥ 0. Its solution is F = max(0, λ·(1, x, y))
    for the three multipliers λ that balance the weight, found by trying which contacts are pushed.
    Where the centre of mass is outside the contacts no such forces exist (the robot tips); then they are
    the pushing share of the springs, scaled to the weight.

    Args:
        x: (N, T) m, the contacts seen from above, from the centre of mass.
        y: (N, T) m.
        touching: (N, T) which of them touch.
        weight: (T,) N.
    """
    forces, _ = _springs(x, y, touching, weight)
    pulls = np.flatnonzero((forces < 0).any(axis=0))
    if pulls.size:
        forces[:, pulls] = _pushing(x[:, pulls], y[:, pulls], touching[:, pulls], weight[pulls])
    return forces


def _pushing(x: Array, y: Array, touch: Flags, weight: Array) -> Array:
    """The same, (N, T), where some contacts have to be let go."""
    pushed = touch
    for _ in range(ROUNDS):
        _, everywhere = _springs(x, y, pushed, weight)
        again = touch & (everywhere > 0)
        # Two contacts hold no attitude: what was found before is as near as springs come to it.
        again = np.where((again.sum(axis=0) < 3), pushed & (everywhere > 0), again)
        if (again == pushed).all():
            break
        pushed = np.where(again.sum(axis=0) >= 2, again, pushed)
    forces, _ = _springs(x, y, pushed, weight)
    forces = np.maximum(forces, 0.0)
    forces *= weight / np.maximum(forces.sum(axis=0), 1e-9)
    return forces


def _springs(x: Array, y: Array, touch: Flags, weight: Array) -> tuple[Array, Array]:
    """Springs that may pull: forces (N, T) of those that touch, and what every contact would have."""
    m = touch.astype(np.float64)
    mx, my = m * x, m * y
    n, sx, sy = m.sum(axis=0), mx.sum(axis=0), my.sum(axis=0)
    sxx, sxy, syy = (mx * x).sum(axis=0), (mx * y).sum(axis=0), (my * y).sum(axis=0)
    # Contacts in a line leave the turn about it open; a whisker of stiffness takes the least of it.
    whisker = 1e-12 * (sxx + syy) + 1e-18
    sxx, syy = sxx + whisker, syy + whisker
    a, b, c = sxx * syy - sxy * sxy, sxy * sy - sx * syy, sx * sxy - sxx * sy
    scale = weight / np.maximum(n * a + sx * b + sy * c, 1e-24)
    everywhere: Array = scale * a + (scale * b) * x + (scale * c) * y
    return everywhere * m, everywhere
