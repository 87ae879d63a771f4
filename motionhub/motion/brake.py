"""Coming to a standstill: every joint slows down as fast as its limits allow, and stays where it ends up.

This is what Stop does, live and in the check alike: the ticks that are checked are the ticks that are sent.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.transition import Limits, Transition
from motionhub.robot.limits import top_speed
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

BRAKE_S = 0.2
"""From a servo's top speed to nothing, at steady braking: sharper than any move, for this is a stop."""
ONSET_S = 0.06
"""How long braking takes to set in and to let go: what a printed leg puts up with instead of a blow."""
STANDSTILL_S = 0.4
"""It is never longer than this: both of the above, and some ticks for rounding."""


def brake(robot: Robot, dt: float, joints: Array, velocity: Array, acceleration: Array) -> Array:
    """The ticks of a stop, as joint angles (T, J), T ≥ 1; in the last of them everything is at rest.

    Args:
        robot: The robot.
        dt: Seconds a tick.
        joints: (J,) rad, where the joints are.
        velocity: (J,) rad/s.
        acceleration: (J,) rad/s².
    """
    if not velocity.any():
        return joints[None].copy()
    top = top_speed(robot)
    most = top / BRAKE_S
    limits = Limits(top, most, most / ONSET_S, robot.lower, robot.upper)
    # Of the acceleration it has, only what slows it down is kept: the rest is what shall end.
    slowing = np.where(acceleration * velocity < 0, np.clip(acceleration, -most, most), 0.0)
    path = Transition.brake(robot, joints, velocity, slowing, limits)
    ticks = max(1, int(np.ceil(path.duration / dt - 1e-9)))
    step = top * dt
    found = np.empty((ticks, len(joints)))
    now = joints
    for tick in range(ticks):
        wanted = path.at((tick + 1) * dt)[0]
        # Whatever happens, a stop is not to be stopped by the guard.
        now = now + np.clip(wanted - now, -step, step)
        found[tick] = now
    return found
