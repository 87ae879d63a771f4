"""How the robot stands, and where it has walked to, out of the joints it is commanded to have.

Whatever moves the joints, a foot that stands does not move over the ground. So from one look to the next
the feet that stood in both tell how the body went.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.odometry import travel
from motionhub.motion.support import EXACT, Support, rest_on_ground
from motionhub.robot.model import Robot

Array = NDArray[np.float64]


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

    def look(self, joints: Array) -> Figure:
        """How it stands with these joints (J,); looks are to be close enough in time for a foot not to step twice."""
        support = rest_on_ground(self._robot, joints[None], self._normal)
        self._normal = support.normal[0]
        if self._before is not None:
            two = (self._before, support)
            feet = np.concatenate([s.level_feet[..., :2] for s in two])
            # A foot that has just left the ground, or is about to meet it, says little.
            firm = np.concatenate([s.clearance <= EXACT for s in two]) + 1e-3
            gone = travel(feet, np.concatenate([s.down for s in two]), firm)
            self._place = self._place + _turned(self._yaw, gone.place[1])
            self._yaw += float(gone.heading[1])
        self._before = support
        com = self._place + _turned(self._yaw, support.com[0])
        roll, pitch = support.tilt[0]
        body = np.array([*self._place, support.height[0], roll, pitch, self._yaw])
        return Figure(body, support.down[0], com, float(support.margin[0]))


def _turned(yaw: float, point: Array) -> Array:
    cos, sin = np.cos(yaw), np.sin(yaw)
    return np.array([cos * point[0] - sin * point[1], sin * point[0] + cos * point[1]])
