"""How the body moves: from the velocity that is wanted to the one that is had, without a jump in acceleration.

A planned velocity goes towards the wanted one by at most so much a tick, counted in shares of the pace of the
feet, and is then averaged over some ticks: the plan's ramps have corners, their average has none.
"""

from __future__ import annotations

from collections import deque
from copy import copy
from math import hypot
from typing import Self

from motionhub.motion.manner import Manner
from motionhub.motion.planar import REST, Pose, Twist, compose, displacement


def share_of(manner: Manner, twist: Twist) -> float:
    """The share of what the feet can do that a twist asks for: a norm, the greatest over the feet."""
    vx, vy, wz = twist
    if vx == vy == wz == 0:
        return 0.0
    if not manner.able:
        return float("inf")
    greatest = 0.0
    for (x, y), pace in zip(manner.homes, manner.pace, strict=True):
        share = hypot(vx - wz * y, vy + wz * x) / pace
        if share > greatest:
            greatest = share
    return greatest


class Velocity:
    """The body's velocity: ``planned``, and ``twist``, its average over the last ticks. Starts at rest."""

    def __init__(self, smooth: int) -> None:
        self.planned = self.twist = REST
        self._recent: deque[Twist] = deque([REST] * smooth)

    def copy(self) -> Self:
        """Another in the same state, that goes on by itself."""
        other = copy(self)
        other._recent = self._recent.copy()
        return other

    @property
    def resting(self) -> bool:
        """Whether there is no motion, and none to come of what was planned."""
        return self.planned == REST and self.twist == REST

    def average_over(self, smooth: int) -> None:
        """Average over another number of ticks from now on; the average stays what it is."""
        if smooth != len(self._recent):
            self._recent = deque([self.twist] * smooth)

    def braked(self, manner: Manner) -> Twist:
        """What is planned after one more tick of braking: slower along the same arc."""
        share = share_of(manner, self.planned)
        if share <= manner.brake:
            return REST
        keep = 1 - manner.brake / share
        return self.planned[0] * keep, self.planned[1] * keep, self.planned[2] * keep

    def plan(self, twist: Twist) -> None:
        """Plan this from now on, and move by what that makes of the average."""
        self.planned = twist
        recent = self._recent
        recent.append(twist)
        recent.popleft()
        x = y = w = 0.0
        for vx, vy, wz in recent:  # summed anew each time, so that rest comes out as exactly nothing
            x += vx
            y += vy
            w += wz
        n = len(recent)
        self.twist = x / n, y / n, w / n

    def resting_pose(self, manner: Manner, pose: Pose) -> Pose:
        """Where the body comes to rest from ``pose`` if it brakes from the next tick on, this tick's motion to come."""
        trial = self.copy()
        while not trial.resting:
            pose = compose(pose, displacement(trial.twist, manner.dt))
            trial.plan(trial.braked(manner))
        return pose
