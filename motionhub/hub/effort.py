"""How much of a walk's speed the servos and the supply give now: loads worked out once, at the voltage of the moment.

A manner of walking is as fast as geometry, joint ranges and servos without load allow. What the weight takes
of each servo, and all servos together of the regulator, is worked out on a steady walk at a few speeds, with the
check's own loads and supply; how much of that is there hangs on the battery, and is asked again when it has changed.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from motionhub.check.loads import loads_in_motion
from motionhub.check.supply import solve
from motionhub.motion.manner import Manner
from motionhub.motion.posing import joints_for, standing_feet
from motionhub.motion.steady import cycle_feet, directions
from motionhub.motion.support import rest_on_ground
from motionhub.robot.dynamics import Trunk
from motionhub.robot.model import Robot
from motionhub.robot.posture import Posture

Array = NDArray[np.float64]
Power = Literal["", "torque", "current", "voltage"]

SPARE = 0.95
"""Of what servos can give; the rest is for what no plan knows of."""
SPARE_A = 0.97
"""Of what the regulator can give: a steady walk draws a few per cent less than one that begins or ends."""

SHARES = (1.0, 0.6, 0.3)
"""Of the pace, at which loads are worked out; between them they are taken to go evenly."""

WAYS = (0, 2, 4, 6, 8, 9)
"""Which of the directions are looked at: ahead, aside, back and around."""

MOMENTS = 24
"""Of a cycle, at least, that are looked at."""


@dataclass(frozen=True)
class Given:
    """What there is now: the share of a manner's pace, above 0, and what keeps it from being all of it."""

    share: float
    short_of: Power


ALL = Given(1.0, "")


class Effort:
    """What a manner's pace asks of servos and supply. Use :func:`effort_of`, which remembers."""

    def __init__(self, robot: Robot, manner: Manner) -> None:
        self._robot = robot
        self._able = manner.able
        if self._able:
            parts = [_loads(robot, manner, share) for share in SHARES]
            self._torques = np.concatenate([torques for torques, _ in parts])
            self._speeds = np.concatenate([speeds for _, speeds in parts])

    def given(self, battery_v: float | None = None) -> Given:
        """What there is of it on a battery of so many volts without load; its nominal voltage when None."""
        if not self._able:
            return ALL
        robot = self._robot
        none = np.zeros((len(self._torques), len(robot.outputs)))
        rail = solve(robot, self._torques, self._speeds, none, battery_v=battery_v)
        torque = np.zeros(len(none))
        for j, servo in enumerate(robot.servos[: 3 * robot.legs]):
            load = np.abs(self._torques[:, j]) / np.maximum(servo.stall_torque_at(rail.steady_volts), 1e-9)
            pace = np.abs(self._speeds[:, j]) / np.maximum(servo.free_speed_at(rail.steady_volts), 1e-9)
            np.maximum(torque, load + pace, out=torque)
        current = rail.amps / robot.supply.regulator_a
        least = max(servo.min_v for servo in robot.servos)
        set_v = robot.supply.regulator_v
        voltage = (set_v - rail.volts) / max(set_v - least, 1e-9)
        used = {
            "torque": torque.reshape(len(SHARES), -1).max(axis=1) / SPARE,
            "current": current.reshape(len(SHARES), -1).max(axis=1) / SPARE_A,
            "voltage": voltage.reshape(len(SHARES), -1).max(axis=1),
        }
        share, short_of = 1.0, ""
        for name, values in used.items():
            if (found := _largest(values)) < share:
                share, short_of = found, name
        return Given(share, short_of)  # type: ignore[arg-type]


@lru_cache(maxsize=128)
def effort_of(robot: Robot, manner: Manner) -> Effort:
    """The effort of a manner, worked out once in some tens of milliseconds."""
    return Effort(robot, manner)


def _largest(used: Array) -> float:
    """The largest share at which no more than 1 is used, between those looked at; the least of them if none is."""
    good = np.flatnonzero(used <= 1)
    if not good.size:
        return SHARES[-1]
    i = int(good[0])
    if i == 0:
        return 1.0
    # Somewhere between the share that is too much and this one
    more, enough = float(used[i - 1]), float(used[i])
    return SHARES[i] + (SHARES[i - 1] - SHARES[i]) * (1 - enough) / (more - enough)


def _loads(robot: Robot, manner: Manner, share: float) -> tuple[Array, Array]:
    """Torques (N·m) and speeds (rad/s), each (N, J), over steady walks at a share of the pace."""
    homes = standing_feet(robot)
    homes[:, :2] = manner.homes
    velocity = directions(homes[:, :2], np.array(manner.pace) * share)[list(WAYS)]
    feet, _ = cycle_feet(manner.timing, manner.dt, homes, manner.lift, velocity, manner.sway)
    joints, _ = joints_for(robot, np.zeros(6), feet)
    before, after = np.roll(joints, 1, axis=1), np.roll(joints, -1, axis=1)
    some = slice(None, None, max(1, manner.timing.cycle // MOMENTS))

    def picked(values: Array) -> Array:
        return np.ascontiguousarray(values[:, some].reshape(-1, robot.joints))

    speeds = picked((after - before) / (2 * manner.dt))
    gains = picked((after - 2 * joints + before) / manner.dt**2)
    here = picked(joints)
    posture = Posture(robot, here)
    support = rest_on_ground(robot, here, posture=posture)
    loads = loads_in_motion(posture, support, speeds.T, gains.T, Trunk.at_rest(support.normal.T))
    return loads.torques, speeds
