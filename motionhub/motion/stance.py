"""What a stepper gives of each tick: where the feet are as the body sees them, and which of them carry weight."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import cos, sin

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.foot import Foot
from motionhub.motion.planar import Pose

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Stance:
    """Where the feet are. Arrays are read-only.

    Args:
        feet: (L, 3) m, foot centres in the stance frame (see :mod:`motionhub.motion.posing`).
        down: (L,) whether each foot carries weight.
        travel: x, y (m) and yaw (rad, not wrapped) of the stance frame in the ground frame, since the start.
    """

    feet: Array
    down: Flags
    travel: Pose


def at_home(home: Array, pose: Pose) -> Stance:
    """Standing with every foot home, (L, 3) m in the stance frame, which is at ``pose``."""
    down = np.ones(len(home), dtype=np.bool_)
    down.flags.writeable = False
    return Stance(home, down, pose)


def seen(feet: Sequence[Foot], ground: Sequence[float], pose: Pose) -> Stance:
    """Feet in the ground frame, each ``ground`` m high when it stands, as the body at ``pose`` sees them."""
    c, s = cos(pose[2]), sin(pose[2])
    x, y = pose[0], pose[1]
    rows = []
    down = []
    for foot, z in zip(feet, ground, strict=True):
        dx, dy = foot.x - x, foot.y - y
        rows.append((c * dx + s * dy, c * dy - s * dx, z + foot.height if foot.air else z))
        down.append(not foot.air)
    flags = np.array(down)
    flags.flags.writeable = False
    places = np.array(rows)
    places.flags.writeable = False
    return Stance(places, flags, pose)
