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
    def turned_extras(self) -> list[Array]:
        """The frame of each extra joint in the body frame, (3, 3, T) each."""
        first = 3 * self.robot.legs
        found: list[Array] = []
        for i, extra in enumerate(self.robot.extra, start=first):
            own = np.multiply.outer(extra.cross[0], np.sin(self.joints[i]))
            own += np.multiply.outer(extra.cross[1], 1 - np.cos(self.joints[i]))
            own += np.eye(3)[:, :, None]
            if extra.parent >= 0:
                own = np.einsum("ijt,jkt->ikt", found[extra.parent - first], own)
            found.append(own)
        return found

    @cached_property
    def ends(self) -> tuple[Array, Array]:
        """Where each link's segment begins (on its joint) and where it ends, each (3, J, T)."""
        robot, count = self.robot, self.robot.legs
        start, end = np.empty((2, 3, robot.joints, self.steps))
        cos, sin = self.turn
        hip = robot.hip.T[:, :, None]
        starts, ends = start[:, : 3 * count], end[:, : 3 * count]
        starts[:, ::3] = hip
        coxa = (np.broadcast_to(robot.coxa[:, None], cos.shape), None)
        for part, (out, up) in enumerate((coxa, self.knee, self.foot)):
            np.add(out * cos, hip[0], out=ends[0, part::3])
            np.add(out * sin, hip[1], out=ends[1, part::3])
            ends[2, part::3] = hip[2] if up is None else up + hip[2]
            if part < 2:
                starts[:, part + 1 :: 3] = ends[:, part::3]
        first = 3 * count
        for i, (extra, own) in enumerate(zip(robot.extra, self.turned_extras, strict=True), start=first):
            if extra.parent < 0:
                start[:, i] = extra.at[:, None]
            else:
                start[:, i] = start[:, extra.parent] + _along(self.turned_extras[extra.parent - first], extra.at)
            end[:, i] = start[:, i] + _along(own, extra.tip)
        return start, end

    @property
    def feet(self) -> Array:
        """Centres of the foot spheres, (3, L, T)."""
        return self.ends[1][:, 2 : 3 * self.robot.legs : 3]

    @cached_property
    def centre(self) -> Array:
        """Centre of mass of the whole robot, (3, T).

        A link whose own centre is on the line from its joint to the next (most are) counts as two masses,
        one on each; what its centre is off that line goes along the leg's left and the link's upper side.
        """
        robot, count = self.robot, self.robot.legs
        legs = slice(0, 3 * count)
        mass, com = robot.link_mass[legs], robot.link_com[legs]
        length = np.stack([robot.coxa, robot.femur, robot.tibia], axis=1).reshape(-1)
        far = mass * com[:, 0] / length
        start, end = self.ends
        # What begins on a joint is where the link before it ends; only the coxa begins on the body.
        at_ends = far.copy()
        at_ends[0::3] += (mass - far)[1::3]
        at_ends[1::3] += (mass - far)[2::3]
        total: Array = np.tensordot(at_ends, end[:, legs], (0, 1))
        total += (robot.body_mass * robot.body_com + (mass - far)[0::3] @ robot.hip)[:, None]
        left, upper = (mass * com[:, 1]).reshape(count, 3), (mass * com[:, 2]).reshape(count, 3)
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
        for i, own in enumerate(self.turned_extras, start=3 * count):
            total += robot.link_mass[i] * (start[:, i] + _along(own, robot.link_com[i]))
        total /= robot.mass
        return total


def _cut(value: Any, part: slice) -> Any:
    """A stretch of time of an array, or of each in a tuple or list of them."""
    return value[..., part] if isinstance(value, np.ndarray) else type(value)(_cut(one, part) for one in value)


def _along(frame: Array, fixed: Array) -> Array:
    """R v, (3, T), for R (3, 3, T) and one v (3,)."""
    found: Array = frame[:, 0] * fixed[0] + frame[:, 1] * fixed[1] + frame[:, 2] * fixed[2]
    return found
