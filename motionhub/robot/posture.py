"""Many poses at once, time last: what kinematics, statics and dynamics of a whole move share.

A move of T frames is worked through as rows of T numbers, one row per joint or coordinate, so that each
step is one long vector and every sine is taken once. Functions of single poses are in
:mod:`~motionhub.robot.kinematics`; both are the leg that is drawn in :mod:`~motionhub.robot.model`.
"""

from __future__ import annotations

from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motionhub.robot.model import Robot

Array = NDArray[np.float64]


class Posture:
    """Joint angles of T frames and what follows from them, each worked out when it is first asked for.

    Coordinates are of the body frame, in metres; ``out`` and ``up`` are those of a leg's own plane, from
    its hip: along the radius that the coxa points, and upwards.

    Args:
        robot: The robot.
        joints: (T, J) rad.
    """

    def __init__(self, robot: Robot, joints: Array) -> None:
        self.robot = robot
        self.joints: Array = np.ascontiguousarray(joints.T)
        """(J, T) rad."""

    @classmethod
    def of_rows(cls, robot: Robot, rows: Array) -> Posture:
        """From joint angles (J, T) that are rows already."""
        return cls(robot, rows.T)

    def between(self, part: slice) -> Posture:
        """Some of the frames; what has been worked out is not worked out again."""
        found = Posture.__new__(Posture)
        for name, value in vars(self).items():
            found.__dict__[name] = value if name == "robot" else _cut(value, part)
        return found

    @property
    def steps(self) -> int:
        """How many frames, T."""
        return int(self.joints.shape[1])

    @cached_property
    def turn(self) -> tuple[Array, Array]:
        """Cosine and sine, each (L, T), of where the coxa points."""
        angle = self.joints[: 3 * self.robot.legs : 3] + self.robot.heading[:, None]
        return np.cos(angle), np.sin(angle)

    @cached_property
    def lean(self) -> tuple[Array, Array]:
        """Cosine and sine, each (2, L, T), of how far the femur and the tibia are lifted from level."""
        count = self.robot.legs
        angle = np.empty((2, count, self.steps))
        angle[0] = self.joints[1 : 3 * count : 3]
        np.add(angle[0], self.joints[2 : 3 * count : 3], out=angle[1])
        return np.cos(angle), np.sin(angle)

    @cached_property
    def knee(self) -> tuple[Array, Array]:
        """Out and up of the tibia's axis, each (L, T)."""
        cos, sin = self.lean
        length = self.robot.femur[:, None]
        return self.robot.coxa[:, None] + length * cos[0], length * sin[0]

    @cached_property
    def foot(self) -> tuple[Array, Array]:
        """Out and up of the foot's centre, each (L, T)."""
        cos, sin = self.lean
        out, up = self.knee
        length = self.robot.tibia[:, None]
        return out + length * cos[1], up + length * sin[1]

    @cached_property
    def turned_extras(self) -> Array:
        """The frame of each extra joint in the body frame, (3, 3, E, T)."""
        robot, first = self.robot, 3 * self.robot.legs
        found = np.empty((3, 3, len(robot.extra), self.steps))
        sin, more = np.sin(self.joints[first:]), 1 - np.cos(self.joints[first:])
        for i, extra in enumerate(robot.extra):
            own = found[:, :, i]
            np.multiply.outer(extra.cross[0], sin[i], out=own)
            own += np.multiply.outer(extra.cross[1], more[i])
            own += np.eye(3)[:, :, None]
            if extra.parent >= 0:
                own[:] = np.einsum("ijt,jkt->ikt", found[:, :, extra.parent - first], own)
        return found

    @cached_property
    def points(self) -> Array:
        """Along each leg: its hip, the femur's axis, the tibia's axis and the foot's centre, (3, 4, L, T)."""
        robot = self.robot
        cos, sin = self.turn
        found = np.empty((3, 4, robot.legs, self.steps))
        hip = robot.hip.T[:, :, None]
        found[:, 0] = hip
        coxa = robot.coxa[:, None]
        for at, out, up in ((1, coxa, None), (2, *self.knee), (3, *self.foot)):
            np.add(out * cos, hip[0], out=found[0, at])
            np.add(out * sin, hip[1], out=found[1, at])
            found[2, at] = hip[2] if up is None else up + hip[2]
        return found

    @cached_property
    def extras(self) -> tuple[Array, Array]:
        """Where the segment of each extra link begins (on its joint) and where it ends, each (3, E, T)."""
        robot, first = self.robot, 3 * self.robot.legs
        start, end = np.empty((2, 3, len(robot.extra), self.steps))
        frames = self.turned_extras
        for i, extra in enumerate(robot.extra):
            if extra.parent < 0:
                start[:, i] = extra.at[:, None]
            else:
                parent = extra.parent - first
                start[:, i] = start[:, parent] + _along(frames[:, :, parent], extra.at)
            end[:, i] = start[:, i] + _along(frames[:, :, i], extra.tip)
        return start, end

    def segment(self, link: int) -> tuple[Array, Array]:
        """Where a link's segment begins and where it ends, each (3, T); links in the order of the joints."""
        if link < 3 * self.robot.legs:
            leg, part = divmod(link, 3)
            return self.points[:, part, leg], self.points[:, part + 1, leg]
        start, end = self.extras
        return start[:, link - 3 * self.robot.legs], end[:, link - 3 * self.robot.legs]

    @property
    def feet(self) -> Array:
        """Centres of the foot spheres, (3, L, T)."""
        return self.points[:, 3]

    @cached_property
    def centre(self) -> Array:
        """Centre of mass of the whole robot, (3, T).

        A link whose own centre is on the line from its joint to the next (most are) counts as two masses,
        one on each; what its centre is off that line goes along the leg's left and the link's upper side.
        """
        robot, count = self.robot, self.robot.legs
        mass = robot.link_mass[: 3 * count].reshape(count, 3)
        com = robot.link_com[: 3 * count].reshape(count, 3, 3)
        far = mass * com[..., 0] / np.stack([robot.coxa, robot.femur, robot.tibia], axis=1)
        near = mass - far
        at_points = np.zeros((4, count))
        at_points[:3] += near.T
        at_points[1:] += far.T
        total: Array = at_points.reshape(-1) @ self.points.reshape(3, 4 * count, -1)
        total += (robot.body_mass * robot.body_com)[:, None]
        left, upper = mass * com[..., 1], mass * com[..., 2]
        (cos, sin), (lean_cos, lean_sin) = self.turn, self.lean
        if left.any():
            aside = left.sum(axis=1)
            total[0] -= aside @ sin
            total[1] += aside @ cos
        if upper.any():
            femur, tibia = upper[:, 1, None], upper[:, 2, None]
            inward = femur * lean_sin[0] + tibia * lean_sin[1]
            total[0] -= (inward * cos).sum(axis=0)
            total[1] -= (inward * sin).sum(axis=0)
            total[2] += upper[:, 0].sum() + (femur * lean_cos[0] + tibia * lean_cos[1]).sum(axis=0)
        for i in range(len(robot.extra)):
            link = 3 * count + i
            own = self.turned_extras[:, :, i]
            total += robot.link_mass[link] * (self.extras[0][:, i] + _along(own, robot.link_com[link]))
        total /= robot.mass
        return total


def _cut(value: Any, part: slice) -> Any:
    """A stretch of time of an array, or of each in a tuple or list of them."""
    return value[..., part] if isinstance(value, np.ndarray) else type(value)(_cut(one, part) for one in value)


def _along(frame: Array, fixed: Array) -> Array:
    """R v, (3, T), for R (3, 3, T) and one v (3,)."""
    found: Array = frame[:, 0] * fixed[0] + frame[:, 1] * fixed[1] + frame[:, 2] * fixed[2]
    return found
