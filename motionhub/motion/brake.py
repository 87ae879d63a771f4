"""Coming to a standstill: all joints slow down together, as fast as their limits allow, and stay where they end up.

This is what Stop does, live and in the check alike: the ticks that are checked are the ticks that are sent.

*Together* means that all go on for the same time σ: every joint by its own speed times σ, and legs that walk by their
feet's speed over the ground times σ, so that one that stands stays where it is (:mod:`motionhub.motion.over_ground`).
Were each joint to stop by itself, the fast ones would go on further than the slow ones, and drag feet and tilt the
body. The pace u = dσ/dt falls from 1 to 0 along an S-curve, for the joint that has the longest way::

    1 .__                 u' from -κ, what it slows down by already, to -p at the rate β,
         `.               there for a while if p = α, the most, is reached,
           `.             and back to 0 at the rate β
    0 ._____ `.____ t     α = 1/(BRAKE_S r), β = α/ONSET_S, r the greatest share of a top speed

A leg in the air drags nothing, so it may be quicker: stopped with the others just before it lands, it would run on
into the ground, and another foot, lifted by that, leaves the weight on three that were never meant to carry it.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, sqrt

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.over_ground import OverGround
from motionhub.motion.support import plane_it_rests_on
from motionhub.robot.kinematics import feet
from motionhub.robot.limits import top_speed
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

BRAKE_S = 0.2
"""From a servo's top speed to nothing, at steady braking: sharper than any move, for this is a stop."""
ONSET_S = 0.06
"""How long braking takes to set in and to let go: what a printed leg puts up with instead of a blow."""
STANDSTILL_S = 0.4
"""It is never longer than this: both of the above, and some ticks for rounding."""
STILL = 1e-9
"""Share of a joint's top speed below which there is nothing to stop, and whose square may be no number at all."""
CARRIES = 2e-5
"""m above the ground up to which a foot carries weight; one that is further up is still on its way."""
GIVES = 3e-4
"""m that a foot may run on into the ground: a printed leg gives by as much, and lifts no other foot."""
SHARPEST = 6.0
"""How many times as quick a stop may be so that no joint leaves its range, and no foot lands harder; a joint that
still would is held at the end of its range."""


def brake(robot: Robot, dt: float, joints: Array, velocity: Array, acceleration: Array) -> Array:
    """The ticks of a stop, as joint angles (T, J), T ≥ 1; in the last of them everything is at rest.

    Args:
        robot: The robot.
        dt: Seconds a tick.
        joints: (J,) rad, where the joints are.
        velocity: (J,) rad/s.
        acceleration: (J,) rad/s².
    """
    top = top_speed(robot)
    share = float((np.abs(velocity) / top).max())
    if share < STILL:
        return joints[None].copy()
    # Of the acceleration it has, only what slows all of it down is kept: the rest is what shall end.
    slowing = -float((acceleration * velocity / top**2).sum() / (velocity**2 / top**2).sum())
    pace = _Pace.of(share, slowing)
    # From outside its range (a hand moved it, or the file changed) a joint may come back, but not go further.
    low, high = np.minimum(robot.lower, joints), np.maximum(robot.upper, joints)
    room, way = np.where(velocity > 0, high - joints, joints - low), pace.way
    too_far = float((np.abs(velocity) * way / np.maximum(room, 1e-9))[velocity != 0].max())
    quicker = min(max(too_far, 1.0), SHARPEST)
    ticks = max(1, ceil(pace.duration / quicker / dt - 1e-9))
    ground = plane_it_rests_on(robot, joints[None])
    stands = _above(robot, feet(robot, joints[None]), *ground)[0] <= CARRIES
    over = OverGround.of(robot, joints, velocity, stands)

    def gone_on(body: Array, own: Array) -> Array:
        """(T, J) when the body has gone on for so long (T,) and each joint for its own (T, J), in s."""
        rows = joints + own * velocity
        if over is not None:
            over.lead(rows, body, own[:, : 3 * robot.legs : 3])
        return np.clip(rows, low, high)

    ends = gone_on(np.full(1, way / quicker), np.full((1, robot.joints), way / quicker))
    own = np.full(robot.joints, quicker)
    own[: 3 * robot.legs] /= np.repeat(down_to_ground(robot, joints[None], ends, *ground), 3)
    own = np.minimum(own, SHARPEST)
    times = np.arange(1, ticks + 1, dtype=np.float64) * dt
    found = gone_on(pace.at(times * quicker) / quicker, pace.at(times[:, None] * own) / own)
    # Whatever happens, a stop is not to be stopped by the guard.
    step, now = top * dt, joints
    if (np.abs(np.diff(found, axis=0)) <= step).all() and (np.abs(found[0] - joints) <= step).all():
        return found
    for row in found:
        np.clip(row, now - step, now + step, out=row)
        now = row
    return found


def run_out(robot: Robot, velocity: Array) -> Array:
    """How far (…, J) in rad joints at ``velocity`` (…, J) rad/s still go when they are stopped out of steady motion."""
    share = (np.abs(velocity) / top_speed(robot)).max(axis=-1, keepdims=True)
    duration = np.where(share * BRAKE_S >= ONSET_S, share * BRAKE_S + ONSET_S, 2 * np.sqrt(share * BRAKE_S * ONSET_S))
    found: Array = velocity * (duration / 2)  # the S-curve is symmetrical
    return found


def down_to_ground(robot: Robot, joints: Array, ends: Array, normal: Array, height: Array) -> Array:
    """The share (N, L) of the way of each foot in the air that leads down to the ground and no further; 1 of others.

    Args:
        robot: The robot.
        joints: (N, J) rad.
        ends: (N, J) rad, where they run on to.
        normal: (N, 3) of the ground in the body frame, as the robot rests at ``joints``.
        height: (N,) m, of the body's reference point over the ground there.
    """
    above, end = (_above(robot, feet(robot, at), normal, height) for at in (joints, ends))
    carries = above <= CARRIES
    # The body goes up by what the feet that carry it go down.
    rises = ((above - end) * carries).sum(axis=1) / np.maximum(carries.sum(axis=1), 1)
    left = end + rises[:, None]
    presses = ~carries & (left < -GIVES)
    found: Array = np.where(presses, above / np.where(presses, above - left, 1.0), 1.0)
    return np.maximum(found, 1 / SHARPEST)


def _above(robot: Robot, at: Array, normal: Array, height: Array) -> Array:
    """How far feet (N, L, 3) in the body frame are over the ground, (N, L) m."""
    found: Array = np.einsum("nli,ni->nl", at, normal) + height[:, None] - robot.foot_radius
    return found


@dataclass(frozen=True)
class _Pace:
    """The S-curve: u' falls at the rate ``beta`` for ``onset`` s from -``slowing``, rests for ``hold``, and rises."""

    slowing: float
    beta: float
    onset: float
    hold: float

    @classmethod
    def of(cls, share: float, slowing: float) -> _Pace:
        """For a joint at this ``share`` of its top speed, whose speed falls by so much of itself a second already."""
        alpha = 1 / (BRAKE_S * share)
        beta = alpha / ONSET_S
        # What slows down harder than it could let go of before it stands would turn round.
        slowing = min(max(slowing, 0.0), alpha, sqrt(2 * beta))
        # (p² - κ²)/2β + p·hold + p²/2β = 1 for the peak p
        peak = min(alpha, sqrt(beta + slowing**2 / 2))
        hold = max((1 - (2 * peak**2 - slowing**2) / (2 * beta)) / peak, 0.0)
        return cls(slowing, beta, (peak - slowing) / beta, hold)

    @property
    def duration(self) -> float:
        """Until it stands."""
        peak = self.slowing + self.beta * self.onset
        return self.onset + self.hold + peak / self.beta

    @property
    def way(self) -> float:
        """σ when it stands, in s."""
        return float(self.at(np.array([self.duration]))[0])

    def at(self, t: Array) -> Array:
        """σ after ``t`` seconds, of the shape of ``t``; where it stands, the last."""
        t = np.minimum(t, self.duration)
        # Each part adds the cubic that its jerk makes from its start on.
        found: Array = t - self.slowing * t**2 / 2 - self.beta * t**3 / 6
        for start in (self.onset, self.onset + self.hold):
            found += self.beta * np.maximum(t - start, 0.0) ** 3 / 6
        return found
