"""How the robot stands, and where it has walked to, out of the joints it is commanded to have.

Whatever moves the joints, a foot that stands does not move over the ground. So from one look to the next
the feet that stood in both tell how the body went.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.odometry import travel
from motionhub.motion.support import EXACT, Support, rest_on_ground
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

LOOKED_AWAY = 8
"""Ticks between two looks after which a foot may have stepped unseen."""
FEET_TICKS = 6
"""Ticks of which a state says which feet were down: with a state every other tick, two in a row may be lost."""


@dataclass(frozen=True, eq=False)
class Figure:
    """How it stands at one moment."""

    body: Array
    """(6,) x, y, z in m and roll, pitch, yaw in rad, over the ground; yaw is not wrapped."""
    down: NDArray[np.bool_]
    """(L,) which feet carry weight."""
    com: Array
    """(2,) m, centre of mass above the ground, in the ground frame."""
    margin: float
    """m, static stability margin."""


class Footing:
    """Follows the robot over the ground, from look to look; starts at the origin, facing along x."""

    def __init__(self, robot: Robot) -> None:
        self._robot = robot
        self._place = np.zeros(2)
        self._yaw = 0.0
        self._before: Support | None = None
        self._normal: Array | None = None

    def forget(self) -> None:
        """It may have walked unseen: the next look says how it stands, and takes it to be where it was."""
        self._before = None

    def look(self, joints: Array) -> tuple[Figure, NDArray[np.bool_]]:
        """How it stands after the last of these joints (T, J), T ≥ 1, and which feet were down in each of them, (T, L).

        Looks are to be close enough in time for a foot not to step twice from one row to the next. Several rows cost
        little more than one.
        """
        seen = rest_on_ground(self._robot, joints, self._normal)
        last = seen.between(slice(-1, None))
        self._normal = last.normal[0]
        parts = (seen,) if self._before is None else (self._before, seen)
        feet = np.concatenate([part.level_feet[..., :2] for part in parts])
        # A foot that has just left the ground, or is about to meet it, says little.
        firm = np.concatenate([part.clearance <= EXACT for part in parts]) + 1e-3
        gone = travel(feet, np.concatenate([part.down for part in parts]), firm)
        self._place = self._place + _turned(self._yaw, gone.place[-1])
        self._yaw += float(gone.heading[-1])
        self._before = last
        com = self._place + _turned(self._yaw, last.com[0])
        roll, pitch = last.tilt[0]
        body = np.array([*self._place, last.height[0], roll, pitch, self._yaw])
        return Figure(body, last.down[0], com, float(last.margin[0])), seen.down


class Onlooker:
    """Sees every tick pass, and works out what came of it only when somebody looks: seldom enough to be cheap.

    Args:
        robot: The robot.
        joints: (J,) rad, where it begins.
    """

    def __init__(self, robot: Robot, joints: Array) -> None:
        self._footing = Footing(robot)
        self.figure, _ = self._footing.look(joints[None])
        self._unseen = 0
        self._passed: deque[Array] = deque(maxlen=LOOKED_AWAY)
        self._feet: deque[tuple[bool, ...] | None] = deque(maxlen=FEET_TICKS)

    def passes(self, joints: Array) -> None:
        """A tick's joints, (J,) rad."""
        self._passed.append(joints)
        self._unseen += 1

    def look(self, known: bool) -> None:
        """See how it stands, tick by tick since the last look; ``known``: whether it stands as it was told to."""
        if not self._unseen:
            return
        if self._unseen > LOOKED_AWAY:
            self._footing.forget()
            self._feet.clear()
        self._unseen = 0
        self.figure, down = self._footing.look(np.array(self._passed))
        self._passed.clear()
        self._feet.extend(tuple(row) if known else None for row in down.tolist())

    @property
    def feet(self) -> tuple[tuple[bool, ...] | None, ...]:
        """For the last ticks, oldest first, which feet were down; None where nobody knows."""
        return tuple(self._feet)


def _turned(yaw: float, point: Array) -> Array:
    cos, sin = np.cos(yaw), np.sin(yaw)
    return np.array([cos * point[0] - sin * point[1], sin * point[0] + cos * point[1]])
