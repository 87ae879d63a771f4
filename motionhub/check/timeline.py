"""Everything that the rules judge, worked out for every frame of a move, in blocks.

A block is as many frames as keep the work within a processor's cache and the memory bounded; what is
kept of each is a few dozen numbers a frame, so an hour at 50 Hz takes some hundred megabytes.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motionhub.check import supply
from motionhub.check.attitude import rolls_over
from motionhub.check.loads import loads_at_rest
from motionhub.check.parts import clearances, heights, skeleton
from motionhub.motion.frames import Frames
from motionhub.motion.odometry import Travel, travel
from motionhub.motion.support import rest_on_ground

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Progress = Callable[[int, int], None]

BLOCK = 1024
"""Frames at a time: the arrays of a block stay within a processor's second cache."""


@dataclass(frozen=True, eq=False)
class Timeline:
    """A move's frames and what follows from each of them. Arrays in SI; T frames."""

    frames: Frames
    set_v: float
    """The regulator's set-point that it was worked out for."""
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
    """(T, J) N·m, of the servos."""
    rail: supply.Rail
    travel: Travel

    @property
    def standing(self) -> Flags:
        """(T,) frames that rest on something; loads mean nothing in the others."""
        return ~self.tipped


def work_out(
    frames: Frames, set_v: float | None = None, battery_v: float | None = None, progress: Progress | None = None
) -> Timeline:
    """Work out a move.

    Args:
        frames: The move; at least one frame.
        set_v: The regulator's set-point in volts; the robot's own when None.
        battery_v: The battery's voltage without load; its nominal when None.
        progress: Called with frames done and frames in all after each block.
    """
    robot, joints = frames.robot, frames.joints
    count = len(joints)
    setting = robot.supply.regulator_v if set_v is None else set_v
    speeds = np.empty_like(joints)
    blocks: list[dict[str, NDArray[Any]]] = []
    normal: Array | None = None
    facet: NDArray[np.intp] | None = None
    for start in range(0, count, BLOCK):
        own = joints[start : start + BLOCK]
        speed = speeds[start : start + BLOCK]
        before = joints[start - 1 : start] if start else own[:1]
        np.subtract(own, np.concatenate([before, own[:-1]]), out=speed)
        speed *= frames.rate_hz
        support = rest_on_ground(robot, own, normal)
        loads = loads_at_rest(robot, own, support)
        rail = supply.solve(robot, loads.torques, speed, frames.outputs[start : start + BLOCK], setting, battery_v)
        bones = skeleton(robot, own, support.feet)
        gap, nearest = clearances(robot, bones)
        rolled = rolls_over(robot, support, facet)
        normal, facet = support.normal[-1], support.facet[-1]
        blocks.append(
            {
                "down": support.down,
                "belly": support.belly,
                "height": support.height,
                "yaw": np.arctan2(support.rotation[:, 1, 0], support.rotation[:, 0, 0]),
                "feet": support.contacts[:, : robot.legs],
                "tilt": support.tilt,
                "margin": support.margin,
                "tipped": support.tipped,
                "rolled": rolled,
                "parts": heights(robot, bones, support),
                "clearance": gap,
                "nearest": nearest,
                "forces": loads.feet,
                "torques": loads.torques,
                **{f"rail.{k}": v for k, v in vars(rail).items()},
            }
        )
        if progress is not None:
            progress(min(start + BLOCK, count), count)
    whole = {key: np.concatenate([block[key] for block in blocks]) for key in blocks[0]}
    rail_arrays = {key.removeprefix("rail."): whole.pop(key) for key in list(whole) if key.startswith("rail.")}
    return Timeline(
        frames=frames,
        set_v=setting,
        speeds=speeds,
        rail=supply.Rail(**rail_arrays),
        travel=travel(whole["feet"], whole["down"], whole["forces"]),
        **whole,
    )
