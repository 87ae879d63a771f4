"""How much slower each frame of a move has to be to be one that the robot can do.

A joint's speed is held against its servo's, that speed against what its load leaves of it (of which the part that
moving takes, for legs, body and the servos' own rotors, falls with the square), and the current that turning and
speeding up take against what standing still leaves of the regulator.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from motionhub.check import supply
from motionhub.check.loads import loads_at_rest
from motionhub.check.timeline import BLOCK, Timeline
from motionhub.motion.support import rest_on_ground
from motionhub.robot.limits import top_speed
from motionhub.robot.posture import Posture

Array = NDArray[np.float64]
Indices = NDArray[np.intp]

MOST = 20.0
"""A piece that would have to be slower than this jumps, and slowing does not mend it."""
FASTEST = 0.02
"""Nothing is made quicker than this in one go."""
_HALVINGS = 20


def slower_by(t: Timeline) -> tuple[Array, Indices]:
    """By what factor (T,) each frame has to be slower to fit, below 1 where it could be faster, and for which joint.

    The joint is -1 where it is the supply. Where no timing helps, the factor is that of the other limits.
    """
    robot, count = t.frames.robot, len(t.frames)
    need = np.abs(t.speeds) / top_speed(robot, t.set_v)
    still = at_rest(t)
    for j in range(robot.joints):
        np.maximum(need[:, j], for_torque(t, j, still), out=need[:, j])
    need[need > MOST] = 0.0
    joint = need.argmax(axis=1)
    found = np.maximum(need[np.arange(count), joint], FASTEST)
    drawn = for_current(t, still)
    joint = np.where(drawn > found, -1, joint)
    return np.maximum(found, drawn), joint


def at_rest(t: Timeline) -> Array:
    """(T, J) N·m that holding still takes in each frame."""
    robot, joints, near = t.frames.robot, t.frames.joints, None
    found = np.empty(joints.shape, order="F")
    for start in range(0, len(joints), BLOCK):
        own = joints[start : start + BLOCK]
        posture = Posture(robot, own)
        support = rest_on_ground(robot, own, near, posture)
        found[start : start + BLOCK] = loads_at_rest(robot, own, support, posture).torques
        near = support.normal[-1]
    return found


def for_torque(t: Timeline, j: int, still: Array) -> Array:
    """By what factor (T,) joint ``j`` has to be slower for its servo's torque; 0 where not even standing still fits.

    Args:
        t: The move.
        j: The joint.
        still: As :func:`at_rest` gives it.
    """
    servo, volts = t.frames.robot.servos[j], t.rail.steady_volts
    share = np.abs(t.speeds[:, j]) / servo.free_speed_at(volts)
    slow = _slower(still[:, j], t.torques[:, j] - still[:, j], share, servo.stall_torque_at(volts))
    return np.where(t.standing, slow, 0.0)


def for_current(t: Timeline, still: Array) -> Array:
    """The same, for the current that the regulator gives."""
    robot, speeds, outputs = t.frames.robot, np.abs(t.speeds), t.frames.outputs
    limit = robot.supply.regulator_a
    idle = supply.solve(robot, still, 0 * speeds, outputs, t.set_v).amps
    turning = supply.solve(robot, still, speeds, outputs, t.set_v).amps
    left = np.maximum(limit - idle, 1e-3)
    # What turning takes falls with the speed, what speeding up takes with its square: a/k + b/k² is what is left.
    a, b = turning - idle, t.rail.amps - turning
    found = (a + np.sqrt(np.maximum(a**2 + 4 * b * left, 0.0))) / (2 * left)
    # That is too much where speeding up unloads a servo and then loads it the other way: there, by halving.
    over = np.flatnonzero((t.rail.amps > limit) & (idle < limit))
    low, high = np.ones(over.size), np.minimum(found[over], MOST * 1.01)
    moving = t.torques[over] - still[over]
    for _ in range(_HALVINGS if over.size else 0):
        middle = np.sqrt(low * high)
        slow = middle[:, None]
        amps = supply.solve(robot, still[over] + moving / slow**2, speeds[over] / slow, outputs[over], t.set_v).amps
        low, high = np.where(amps <= limit, low, middle), np.where(amps <= limit, middle, high)
    found[over] = high
    drawn: Array = np.where(t.standing & (idle < limit) & (found <= MOST), found, 0.0)
    return drawn


def _slower(still: Array, moving: Array, share: Array, stall: Array) -> Array:
    """The k (T,) from which on |still + moving/k²| ≤ stall·(1 - share/k); 0 where standing still is too much.

    For u = 1/k these are two parabolas, ±moving·u² + stall·share·u ± still - stall, both below zero at u = 0: the least
    of their first zeros, each as -2c/(b + √(b² - 4ac)), which loses no digits.
    """
    b = stall * share
    most = np.full(still.shape, 1 / FASTEST)
    for sign in (1.0, -1.0):
        c = np.minimum(sign * still - stall, -1e-12)
        inside = b * b - 4 * sign * moving * c
        root = b + np.sqrt(np.maximum(inside, 0.0))
        zero = np.where(inside >= 0, -2 * c / np.maximum(root, 1e-300), np.inf)
        np.minimum(most, zero, out=most)
    found: Array = np.minimum(1 / np.maximum(most, 1e-9), MOST * 1.01)
    return np.where(np.abs(still) < 0.98 * stall, found, 0.0)
