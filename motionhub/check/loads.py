"""What the ground pushes with, and what each servo must give to hold the robot so.

Vertical forces from the ground are determinate on three contacts. On more, every contact is taken as a
spring of the same stiffness under a rigid body, which is the share of least norm; and since the ground
cannot pull, contacts that would have to are let go. Friction is left out: what the legs push against
each other sideways is not known from the joints, and is nothing where the robot has settled.

Torques are the statics of each leg: the servo holds the weight of the links beyond it against the push
of the ground, τ = g(q) - Jᵀ f (any robotics textbook, e.g. Siciliano et al., 2009, §7.1).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.support import Support
from motionhub.robot.kinematics import foot_jacobians
from motionhub.robot.mass import gravity_torques
from motionhub.robot.model import STANDARD_GRAVITY, Robot

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

ROUNDS = 12
"""Of letting contacts go and taking them back; two or three settle it, and every pose tried took at most five."""


@dataclass(frozen=True, eq=False)
class Loads:
    """Forces and torques at rest, frame by frame."""

    feet: Array
    """(T, L) N, each foot's push from the ground, along the ground's normal."""
    belly: Array
    """(T,) N, that on the body's underside."""
    torques: Array
    """(T, J) N·m that the servos give, in the direction of the joint."""


def loads_at_rest(robot: Robot, joints: Array, support: Support) -> Loads:
    """Ground forces and joint torques for joint angles (T, J) rad that rest as ``support`` says."""
    count = robot.legs
    touching = np.concatenate([support.down, support.corners], axis=1)
    weight = robot.mass * STANDARD_GRAVITY
    forces = ground_forces(support.contacts - support.com[:, None], touching, weight)
    torques = gravity_torques(robot, joints, -support.normal)
    # Jᵀ n for every leg, times the force along n
    lever = (np.swapaxes(foot_jacobians(robot, joints), -1, -2) @ support.normal[:, None, :, None])[..., 0]
    torques[:, : 3 * count] -= (lever * forces[:, :count, None]).reshape(len(joints), 3 * count)
    return Loads(forces[:, :count], forces[:, count:].sum(axis=1), torques)


def ground_forces(arms: Array, touching: Flags, weight: float) -> Array:
    """Vertical forces of equal springs that carry a weight and do not pull.

    Minimises Σ F² subject to Σ F = weight, Σ F·arm = 0 and F ≥ 0. Its solution is F = max(0, λ·(1, x, y))
    for the three multipliers λ that balance the weight, found by trying which contacts are pushed.

    Args:
        arms: (T, N, 2) m, the contacts seen from above, from the centre of mass.
        touching: (T, N) which of them touch.
        weight: N.

    Returns:
        (T, N) N. Where the centre of mass is outside the contacts no such forces exist (the robot
        tips); then the pushing share of the springs, scaled to the weight.
    """
    x, y = np.ascontiguousarray(arms[..., 0].T), np.ascontiguousarray(arms[..., 1].T)
    touch = np.ascontiguousarray(touching.T)
    forces, _ = _springs(x, y, touch, weight)
    pulls = np.flatnonzero((forces < 0).any(axis=0))
    if pulls.size:
        forces[:, pulls] = _pushing(x[:, pulls], y[:, pulls], touch[:, pulls], weight)
    return forces.T


def _pushing(x: Array, y: Array, touch: Flags, weight: float) -> Array:
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


def _springs(x: Array, y: Array, touch: Flags, weight: float) -> tuple[Array, Array]:
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
