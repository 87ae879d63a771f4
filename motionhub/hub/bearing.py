"""How far the body may be carried up, down and aside while every leg can still stand and step.

A posture asks for height, roll, pitch and yaw of the body over its feet. Whether the legs allow it depends
on where the feet are: at home while standing, and all over their strides, on the ground and lifted, while
walking. And the weight goes aside with a body that leans: no further than what the stance, or the walk, has over
the margin that the robot file asks for. What does not fit is scaled down towards the rest stance, further for
walking than for standing.
"""

from __future__ import annotations

from functools import lru_cache
from itertools import product

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.manner import Manner
from motionhub.motion.polygon import stability_margin
from motionhub.motion.posing import joints_for, rotation, standing_feet
from motionhub.motion.steady import swing_along, swing_height
from motionhub.motion.workspace import SPEED_SHARE
from motionhub.robot.kinematics import RANGE_SLACK, within
from motionhub.robot.limits import top_speed
from motionhub.robot.mass import centre_of_mass
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

AROUND = 8
"""Directions in which the feet are tried."""

SLOWEST = 0.2
"""Of the pace that a walk has at rest height, what is left of it in any posture that it is allowed to walk in."""

SPARE = float(np.deg2rad(1))
"""Of a joint's range, for what lies between the places and postures that are looked at."""

_ROUGH = np.linspace(0.25, 1.0, 4)
"""Shares of a posture that are tried first, and are enough where all is well."""
_BETWEEN = 8
"""Parts of the way from one of them to the next, that are tried where the next fails."""
_MOST_TURNED = np.deg2rad(30)
"""rad: no posture asks for more lean or turn than this."""
_TALLEST = 0.1
"""m: no posture asks for more height than this."""


class Bearing:
    """Knows which postures (height in m, roll, pitch, yaw in rad) the legs of a robot allow."""

    def __init__(self, robot: Robot) -> None:
        self._robot = robot
        home = standing_feet(robot)
        self._home = home[None]
        self._standing = home[None], *_ranges(robot, home[None])
        self._middle = self._weight(np.zeros((1, 4)))[0]
        level = home[:, :2].T[:, :, None]
        down = np.ones((robot.legs, 1), dtype=bool)
        self._margin = float(stability_margin(level, down, self._middle[:, None])[0])
        self.height_range = (
            float(self.allowed(np.array([-_TALLEST, 0.0, 0.0, 0.0]))[0]),
            float(self.allowed(np.array([_TALLEST, 0.0, 0.0, 0.0]))[0]),
        )
        """m below (negative) and above the rest height between which the body may be carried, level and standing."""
        self.lean_range = self._furthest(1), self._furthest(2), self._furthest(3)
        """rad to which the body may be turned either way, by roll, pitch or yaw alone, standing at rest height."""

    def allowed(self, posture: Array, manner: Manner | None = None) -> Array:
        """As much of ``posture`` (4,) as the legs allow: itself, or scaled down towards the rest stance.

        While walking in ``manner``; while standing if it is None.
        """
        if not posture.any():
            return posture
        good = self._fits(_ROUGH[:, None] * posture, manner)
        if good.all():
            return posture
        # The largest share up to which nothing fails: beyond a gap the legs could not get there.
        first = int(np.argmin(good))
        shares = np.linspace(_ROUGH[first - 1] if first else 0.0, _ROUGH[first], _BETWEEN + 1)
        good = self._fits(shares[1:-1, None] * posture, manner)
        allowed: Array = posture * shares[int(np.argmin(good)) if not good.all() else _BETWEEN - 1]
        return allowed

    def learn(self, manner: Manner) -> None:
        """Work out what any posture in this manner is weighed by, before anybody chooses it."""
        _strides(self._robot, manner)
        _swings(self._robot, manner)

    def fit(self, postures: Array, manner: Manner | None = None) -> bool:
        """Whether the legs allow all of these postures (N, 4)."""
        return not postures.any() or bool(self._fits(postures, manner).all())

    def aside(self, posture: Array) -> tuple[float, float]:
        """How far the centre of mass is aside, x and y in m, in this posture (4,) from where it is at rest."""
        x, y = self._weight(posture[None])[0] - self._middle
        return float(x), float(y)

    def pace_share(self, posture: Array, manner: Manner) -> float:
        """How much of its pace a walk has in this posture (4,): joints that stand otherwise are turned faster."""
        if not posture.any() or not manner.able:
            return 1.0
        robot = self._robot
        legs = 3 * robot.legs
        body = np.zeros(6)
        body[2:] = posture
        joints, _ = joints_for(robot, body, _swings(robot, manner))
        turning = np.abs(np.diff(joints[..., :legs], axis=0)).max(axis=(0, 1)) / manner.dt
        used = float((turning / (top_speed(robot)[:legs] * SPEED_SHARE)).max())
        return min(1.0, max(SLOWEST, 1 / max(used, 1e-9)))

    def _furthest(self, angle: int) -> float:
        both = [self.allowed(sign * _MOST_TURNED * np.eye(4)[angle])[angle] for sign in (-1.0, 1.0)]
        return float(np.abs(both).min())

    def _fits(self, postures: Array, manner: Manner | None) -> NDArray[np.bool_]:
        """Which postures (N, 4) leave every foot in reach and in range, and enough of the margin, (N,)."""
        robot = self._robot
        body = np.zeros((len(postures), 1, 6))
        body[:, 0, 2:] = postures
        feet, low, high = self._standing if manner is None else _strides(robot, manner)
        joints, missed = joints_for(robot, body, feet)
        legs = joints[..., : 3 * robot.legs]
        inside = ((legs >= low) & (legs <= high)).all(axis=(1, 2))
        reached = (missed <= 1e-6).all(axis=(1, 2))
        aside = np.hypot(*(self._weight(postures) - self._middle).T)
        margin = self._margin if manner is None else manner.margin
        spare = max(margin - robot.walk.margin, 0.0)
        found: NDArray[np.bool_] = inside & reached & (aside <= spare)
        return found

    def _weight(self, postures: Array) -> Array:
        """Where the centre of mass is over the ground, (N, 2) m, standing in each posture (N, 4)."""
        robot = self._robot
        body = np.zeros((len(postures), 6))
        body[:, 2:] = postures
        joints, _ = joints_for(robot, body, self._home)
        turned = rotation(*body[:, 3:].T)
        found: Array = np.einsum("nij,nj->ni", turned, centre_of_mass(robot, joints))[:, :2]
        return found


def _around() -> Array:
    angles = np.arange(AROUND) * (2 * np.pi / AROUND)
    return np.stack([np.cos(angles), np.sin(angles), np.zeros_like(angles)], axis=1)


def _ranges(robot: Robot, feet: Array) -> tuple[Array, Array]:
    """Between which angles (K, 3L) rad the joints may be for feet (K, L, 3): those that need the last of it have it."""
    legs = 3 * robot.legs
    at_rest = joints_for(robot, np.zeros(6), feet)[0][..., :legs]
    low = np.minimum(robot.lower[:legs] + SPARE, at_rest) - RANGE_SLACK
    return low, np.maximum(robot.upper[:legs] - SPARE, at_rest) + RANGE_SLACK


@lru_cache(maxsize=256)
def _strides(robot: Robot, manner: Manner) -> tuple[Array, Array, Array]:
    """Where feet get to in a manner of walking, (K, L, 3) m: all around their homes, down and lifted; and _ranges."""
    home = standing_feet(robot)
    walking = home.copy()
    walking[:, :2] = manner.homes
    timing = manner.timing
    # As it lifts, a foot is left behind for a while, further than it was from home on the ground.
    share = np.linspace(0.0, 1.0, 4 * timing.swing + 1)
    along = np.abs(swing_along(share, timing.swing * manner.dt, timing.stance * manner.dt))
    behind = int(along.argmax())
    level = np.vstack([np.zeros((1, 3)), _around(), float(along[behind] / along[0]) * _around()])
    height = np.zeros_like(level)
    height[:, 2] = manner.lift
    height[1 + AROUND :, 2] *= swing_height(share[behind])
    around = np.stack([level, level])[:, :, None, :] * np.array(manner.rooms)[:, None]
    around[1] += height[:, None, :]
    tried = walking + around.reshape(-1, robot.legs, 3)
    if manner.sway:
        # The body is nearer to some feet and further from others than they know.
        x, y = np.abs(np.array(manner.sway)).max(axis=0)
        tried = np.concatenate([tried + np.array([a * x, b * y, 0.0]) for a, b in product((-1, 1), repeat=2)])
    tried = np.concatenate([tried, home[None]])
    # What the legs cannot do even at rest is the walk's own affair, and no reason to refuse a posture.
    joints, missed = joints_for(robot, np.zeros(6), tried)
    legs = 3 * robot.legs
    able = within(robot, joints)[..., :legs].reshape(len(tried), robot.legs, 3).all(axis=-1) & (missed <= 1e-6)
    feet = np.where(able[..., None], tried, home)
    return feet, *_ranges(robot, feet)


@lru_cache(maxsize=256)
def _swings(robot: Robot, manner: Manner) -> Array:
    """Feet on their way through the air at full pace, each way around, tick by tick, (ticks, ways, L, 3) m."""
    home = standing_feet(robot)
    home[:, :2] = manner.homes
    timing = manner.timing
    share = np.arange(timing.swing + 1) / timing.swing
    along = swing_along(share, timing.swing * manner.dt, timing.stance * manner.dt)
    found: Array = home + along[:, None, None, None] * _around()[:, None] * np.array(manner.pace)[:, None]
    found[..., 2] += (swing_height(share) * manner.lift)[:, None, None]
    return found
