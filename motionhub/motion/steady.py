"""A gait at a steady speed: one closed cycle of it, all at once, and how steady the robot is meanwhile.

What a stepper comes to when nothing changes any more. What a gait allows is found out on it before anybody
walks: how far the weight stays inside the feet, how fast the joints have to be, what the servos have to give.
"""

from __future__ import annotations

from math import pi

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.gait import Timing
from motionhub.motion.polygon import stability_margin
from motionhub.motion.posing import joints_for
from motionhub.robot.mass import centre_of_mass
from motionhub.robot.model import Robot

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

STRAIGHT = 8
"""Directions that are looked at; besides them, turning on the spot both ways."""


def swing_height(share: Array) -> Array:
    """Height of a foot, as a share of the lift, at each share of its swing: ``64 s³(1 - s)³``.

    The lowest polynomial that leaves and meets the ground without speed or acceleration and reaches 1
    half-way.
    """
    return 64 * (share * (1 - share)) ** 3


def swing_along(share: Array, swing_s: float, stance_s: float) -> Array:
    """Where a foot in the air is from its home, for a body that passes over it at 1 m/s, in m.

    Over the ground it goes a whole cycle's way, minimum-jerk (Flash & Hogan 1985), while the body goes on evenly.
    """
    ease = share**3 * (10 - share * (15 - 6 * share))
    found: Array = ease * (swing_s + stance_s) - share * swing_s - stance_s / 2
    return found


def directions(homes: Array, pace: Array) -> Array:
    """How fast each foot goes when a robot goes its fastest in each direction, and around, (K, L, 2) m/s.

    Args:
        homes: (L, 2) m, where the feet stand in the middle of a step.
        pace: (L,) m/s, the fastest that each foot may be passed over.
    """
    angles = np.arange(STRAIGHT) * (2 * pi / STRAIGHT)
    heading = np.stack([np.cos(angles), np.sin(angles)], axis=-1)
    straight = np.repeat(heading[:, None] * pace.min(), len(homes), axis=1)
    away = np.hypot(homes[:, 0], homes[:, 1])
    turn = np.stack([-homes[:, 1], homes[:, 0]], axis=-1) * (pace / np.maximum(away, 1e-9)).min()
    return np.concatenate([straight, turn[None], -turn[None]])


def cycle_feet(
    timing: Timing, dt: float, homes: Array, lift: float, velocity: Array, sway: tuple[tuple[float, float], ...] = ()
) -> tuple[Array, Flags]:
    """Foot centres over one cycle, tick by tick, in the stance frame, (K, T, L, 3) m, and who stands, (T, L).

    Args:
        timing: The gait on ticks.
        dt: Seconds a tick.
        homes: (L, 3) m, where feet stand in the middle of their stance, in the frame of a body that does not sway.
        lift: Height in m to which feet are lifted.
        velocity: (K, L, 2) m/s at which the body passes over each foot.
        sway: Where the body is over its feet besides, x and y in m, tick by tick; nowhere when empty.
    """
    touch = np.array(timing.touchdown)
    since = (np.arange(timing.cycle)[:, None] - touch) % timing.cycle
    down = since < timing.stance
    half = timing.stance * dt / 2
    share = np.clip((since - timing.stance) / timing.swing, 0, 1)
    # A standing foot is as far behind as the body has come since half of its stance was over.
    along = np.where(down, half - since * dt, swing_along(share, timing.swing * dt, timing.stance * dt))
    feet = np.empty((len(velocity), timing.cycle, len(homes), 3))
    feet[..., :2] = homes[:, :2] + along[:, :, None] * velocity[:, None]
    feet[..., 2] = homes[:, 2] + np.where(down, 0.0, swing_height(share) * lift)
    if sway:
        feet[..., :2] -= np.array(sway)[:, None]
    return feet, down


def least_margin(robot: Robot, feet: Array, down: Flags) -> float:
    """The least static stability margin in m over cycles of feet (K, T, L, 3), of which (T, L) stand."""
    joints, _ = joints_for(robot, np.zeros(6), feet)
    weight = centre_of_mass(robot, joints)[..., :2].reshape(-1, 2)
    seen = feet[..., :2].reshape(-1, robot.legs, 2)
    touching = np.broadcast_to(down, (len(feet), *down.shape)).reshape(-1, robot.legs)
    return float(stability_margin(seen.transpose(2, 1, 0), touching.T, weight.T).min())
