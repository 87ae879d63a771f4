"""Everything that the rules judge, worked out for every frame of a move, in blocks.

A block is enough frames that what each call costs does not show, and few enough that the memory is bounded. It
is worked out with a few frames more at either end, since speeds and accelerations lean on their neighbours. What
is kept of each frame is a few dozen numbers, so an hour at 50 Hz takes some hundred megabytes; time runs along
each number's own row, in which the rules, too, ask for it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motionhub.check import supply
from motionhub.check.attitude import falls, rolls_over
from motionhub.check.derivatives import derivatives, half_width
from motionhub.check.loads import forces_at_rest, loads_at_rest, loads_in_motion
from motionhub.check.parts import clearances, heights
from motionhub.check.tracking import Followed, Follower, Lag, LagSums
from motionhub.check.trunk import trunk_motion
from motionhub.motion.frames import Frames
from motionhub.motion.odometry import Odometer, Travel
from motionhub.motion.support import rest_on_ground
from motionhub.robot.model import Robot
from motionhub.robot.posture import Posture

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Progress = Callable[[int, int], None]

BLOCK = 4096
"""Frames at a time. What works on many rows at once (:mod:`~motionhub.robot.dynamics`) takes fewer, for the cache."""


@dataclass(frozen=True, eq=False)
class Timeline:
    """A move's frames and what follows from each of them. Arrays in SI; T frames."""

    frames: Frames
    speeds: Array
    """(T, J) rad/s, from the frame before; the first frame is still."""
    down: Flags
    """(T, L) feet on the ground."""
    belly: Flags
    """(T,)"""
    yaw: Array
    """(T,) rad of the body within its level frame: what is left of yaw when it leans two ways."""
    feet: Array
    """(T, L, 2) m, foot centres in the level frame, seen from above."""
    height: Array
    """(T,) of the body's reference point above the ground."""
    tilt: Array
    """(T, 2) roll and pitch."""
    margin: Array
    """(T,) static stability margin."""
    tipped: Flags
    """(T,) nothing carries the weight."""
    rolled: Array
    """(T,) rad by which the robot falls from one facet onto another on arriving at this frame, else 0."""
    parts: Array
    """(T, P) lowest point above the ground of each part of ``parts.part_names``, which should stay off it."""
    clearance: Array
    """(T,) smallest gap between any two parts."""
    nearest: NDArray[np.intp]
    """(T,) between which, by the order of ``parts.pairs``."""
    forces: Array
    """(T, L) N, on each foot."""
    torques: Array
    """(T, J) N·m, of the servos: weight, ground and inertia."""
    late: Array
    """(T, J) rad, float32: by how much each joint is behind what it is told; see :mod:`~motionhub.check.tracking`."""
    apart: Array
    """(T,) rad that some joint is away from where it would be if its servo had no limits."""
    lags: tuple[Lag, ...]
    """Of every joint, over all frames."""
    heaviest: tuple[float, ...]
    """For every joint the largest torque, as a share of its servo's stall torque at the voltage of the moment."""
    hardest: tuple[float, ...]
    """The largest sum of that and of its speed as a share of the no-load speed: above 1 it cannot."""
    rail: supply.Rail
    travel: Travel

    @property
    def set_v(self) -> float:
        """V, the regulator's set-point."""
        return self.frames.robot.supply.regulator_v

    @property
    def robot(self) -> Robot:
        """Whose move it is."""
        return self.frames.robot

    @property
    def slip(self) -> Array:
        """(T, L) m, as in ``travel``."""
        return self.travel.slip

    @cached_property
    def held(self) -> tuple[NDArray[np.intp], Array]:
        """(H,) frames whose poses are held: the first, the last, and where a routine waits; and (H, J) N·m for that."""
        robot, frames = self.frames.robot, np.unique([0, len(self.frames) - 1, *self.frames.holds]).astype(np.intp)
        joints = self.frames.joints[frames]
        return frames, loads_at_rest(robot, joints, rest_on_ground(robot, joints)).torques

    @property
    def standing(self) -> Flags:
        """(T,) frames that rest on something; loads mean nothing in the others."""
        return ~self.tipped


def work_out(frames: Frames, battery_v: float | None = None, progress: Progress | None = None) -> Timeline:
    """Work out a move.

    Args:
        frames: The move; at least one frame.
        battery_v: The battery's voltage without load; its nominal when None.
        progress: Called with frames done and frames in all after each block.
    """
    count = len(frames)
    found: dict[str, NDArray[Any]] = {}
    blocks = _Blocks(frames, battery_v)
    for start in range(0, count, BLOCK):
        end = min(start + BLOCK, count)
        for key, values in blocks.work_out(start, end).items():
            if key not in found:
                found[key] = np.empty((count, *values.shape[1:]), dtype=values.dtype, order="F")
            found[key][start:end] = values
        if progress is not None:
            progress(end, count)
    travel = Travel(*(found.pop(name) for name in ("place", "heading", "slip")))
    rail = supply.Rail(**{name: found.pop(f"rail.{name}") for name in supply.Rail.__dataclass_fields__})
    return Timeline(
        frames=frames,
        lags=blocks.lags.lags(),
        heaviest=tuple(blocks.heaviest.tolist()),
        hardest=tuple(blocks.hardest.tolist()),
        rail=rail,
        travel=travel,
        **found,
    )


class _Blocks:
    """Works a move out block by block, each going on from the one before."""

    def __init__(self, frames: Frames, battery_v: float | None) -> None:
        self.frames = frames
        self.battery_v = battery_v
        self.odometer = Odometer()
        self.normal: Array | None = None
        robot = frames.robot
        self.follower = Follower(robot, frames.rate_hz, frames.joints[0])
        self.lags = LagSums(robot.joints)
        self.heaviest, self.hardest = np.zeros((2, robot.joints))
        kinds = {id(servo): servo for servo in robot.servos}
        self.kinds = [(kind, [i for i, s in enumerate(robot.servos) if s is kind]) for kind in kinds.values()]

    def work_out(self, start: int, end: int) -> dict[str, NDArray[Any]]:
        """All of frames ``start`` to ``end``: the fields of :class:`Timeline`, of :class:`Travel`, and ``rail.…``."""
        robot, rate = self.frames.robot, self.frames.rate_hz
        wide = half_width(rate)
        # Beyond its ends the move stands still.
        window = np.clip(np.arange(start - 2 * wide, end + 2 * wide), 0, len(self.frames) - 1)
        rows = np.ascontiguousarray(self.frames.joints[window].T)
        around, own = slice(wide, -wide), slice(wide, wide + end - start)
        posture = Posture.of_rows(robot, rows[:, around])
        support = rest_on_ground(robot, rows[:, around].T, self.normal, posture)
        rolled = rolls_over(robot, rows[:, around].T, support)
        still = forces_at_rest(robot, support)
        # The next block's first frame is ``wide`` before its own, and leans on the one before that.
        ahead = end - start
        path = self.odometer.follow(support.contacts[:, : robot.legs], support.down, still, carry=ahead)
        self.normal = support.normal[ahead - 1]
        trunk = trunk_motion(support, path.place, path.heading, falls(support, rolled), rate)
        turning, gaining = derivatives(rows[:, wide:-wide], rate)
        posture, support = posture.between(own), support.between(own)
        loads = loads_in_motion(posture, support, turning, gaining, trunk)
        here = rows[:, 2 * wide : -2 * wide]
        speeds = (here - rows[:, 2 * wide - 1 : -2 * wide - 1]) * rate
        outputs = self.frames.outputs[start:end]
        rail = supply.solve(robot, loads.torques, speeds.T, outputs, robot.supply.regulator_v, self.battery_v)
        followed = self._follow(here, speeds, loads.torques.T, rail.steady_volts, support.tipped)
        gap, nearest = clearances(robot, posture)
        return {
            "speeds": speeds.T,
            "down": support.down,
            "belly": support.belly,
            "feet": support.contacts[:, : robot.legs],
            "height": support.height,
            "yaw": np.arctan2(support.rotation[:, 1, 0], support.rotation[:, 0, 0]),
            "tilt": support.tilt,
            "margin": support.margin,
            "tipped": support.tipped,
            "rolled": rolled[own],
            "parts": heights(robot, posture, support),
            "clearance": gap,
            "nearest": nearest,
            "forces": loads.feet,
            "torques": loads.torques,
            "late": followed.late.T.astype(np.float32),
            "apart": followed.apart,
            "place": path.place[own],
            "heading": path.heading[own],
            "slip": path.slip[own],
            **{f"rail.{name}": values for name, values in vars(rail).items()},
        }

    def _follow(self, joints: Array, speeds: Array, torques: Array, volts: Array, tipped: Flags) -> Followed:
        """Let the servos follow, all (J, n); and keep how hard they have to work at most."""
        load, pace, free = np.abs(torques), np.abs(speeds), [volts] * len(torques)
        for kind, own in self.kinds:
            load[own] /= kind.stall_torque_at(volts)
            pace[own] /= (most := kind.free_speed_at(volts))
            for j in own:
                free[j] = most
        at_most, fastest = load.max(axis=1), pace.max(axis=1)
        if tipped.any():
            standing = ~tipped
            heavy, hard = (load * standing).max(axis=1), ((load + pace) * standing).max(axis=1)
        else:
            heavy, hard = at_most, (load + pace).max(axis=1)
        np.maximum(self.heaviest, heavy, out=self.heaviest)
        np.maximum(self.hardest, hard, out=self.hardest)
        followed = self.follower.follow(joints, fastest, load, at_most, free, torques, speeds)
        self.lags.add(followed.late, speeds)
        return followed
