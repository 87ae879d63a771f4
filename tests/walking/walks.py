"""Walks as the hub drives them, played by servos in MuJoCo on the exported URDF, and how far that is from the plan.

What a plan says: where the body goes, how it turns, and that it stays as high and as level as it stands. A run is
compared where it stands again, and its height all along; it has fallen when it leans by more than
``FALLEN`` or its belly touches the floor.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import mujoco
import numpy as np
from check.scene import MOTORS, Scene
from numpy.typing import NDArray

from motionhub.motion.gait import Gait
from motionhub.motion.planar import REST, Twist
from motionhub.motion.posing import joints_for
from motionhub.motion.stepper import Stepper
from motionhub.robot.model import Robot
from walking.servos import BAND, PULSE_S, Servos

Array = NDArray[np.float64]

STAND_S = 0.6
"""s to stand before the walk and after it."""
FALLEN = float(np.deg2rad(12))
STEP_S = 0.002

EIGHT_WAYS = {
    name: (float(np.cos(i * np.pi / 4)), float(np.sin(i * np.pi / 4)), 0.0)
    for i, name in enumerate(
        ("forward", "forward-left", "left", "back-left", "back", "back-right", "right", "forward-right")
    )
}
WAYS: dict[str, Twist] = {**EIGHT_WAYS, "turn-left": (0.0, 0.0, 1.0), "turn-right": (0.0, 0.0, -1.0)}


@dataclass
class Plan:
    """A walk of T ticks, all of it settled at both ends."""

    robot: Robot
    joints: Array
    """(T, J) rad."""
    travel: Array
    """(T, 3) m, m, rad."""


@dataclass
class Outcome:
    """A plan, and what became of it."""

    way: float
    """m that the plan goes, from start to end."""
    turn: float
    """rad that it turns."""
    apart: float
    """m between where it should be at the end and where it is."""
    astray: float
    """rad between how it should face at the end and how it does."""
    height: float
    """m, peak to peak, of the body's height against the plan's."""
    sunk: float
    """m that it is lower than planned, on average: what the servos droop."""
    lean: float
    """rad, at most, from the vertical."""
    fell: bool
    seconds: float
    """Until it fell, or to the end."""
    full: float
    """The largest share of its time, over the joints, in which a joint was driven with all the rail has."""
    load: float
    """The largest share of stall torque that a joint gave for a pulse."""
    late: float
    """rad: the furthest that a joint was from where it was told to be a response before."""
    volts: float
    """The lowest of the rail."""


def stepped(stepper: Stepper, commands: Iterator[Twist]) -> Plan:
    """Walk by commands, one a tick, and then until it stands."""
    stances = [stepper.stance]
    stances += [stepper.step(command) for command in commands]
    while not stepper.settled:
        stances.append(stepper.step(REST))
    joints, short = joints_for(stepper.robot, np.zeros(6), np.array([stance.feet for stance in stances]))
    assert short.max() == 0
    return Plan(stepper.robot, joints, np.array([stance.travel for stance in stances]))


def steady(robot: Robot, gait: Gait, way: Twist, share: float, seconds: float = 20.0, **stepper: float) -> Plan:
    """A walk one way, by a share of the fastest that the stepper allows, for so many seconds and until it stands."""
    walker = Stepper(robot, gait, PULSE_S, **stepper)
    most, _ = walker.limit((way[0] * 9, way[1] * 9, way[2] * 99))
    twist = (most[0] * share, most[1] * share, most[2] * share)
    return stepped(walker, iter([twist] * round(seconds / PULSE_S)))


class Player:
    """One robot over one floor, that plays plans.

    Args:
        robot: The robot.
        friction: Coefficient at the feet.
        band: See :mod:`walking.servos`.
    """

    def __init__(self, robot: Robot, friction: float = 0.8, band: float = BAND) -> None:
        self.robot = robot
        self.scene = Scene(robot, friction=friction, servo=MOTORS, step_s=STEP_S)
        self.band = band
        self.belly = {
            i for i, geom in enumerate(self.scene.model.geom_bodyid) if int(geom) == self.scene.body
        }

    def play(self, plan: Plan, watch: Callable[[int, Servos], None] | None = None) -> Outcome:
        """Play a plan; ``watch`` is called after every pulse with its number, from 0 on."""
        scene, data = self.scene, self.scene.data
        servos = Servos(scene, self.band)
        scene.put(plan.joints[0], above=0.0)
        for _ in range(round(STAND_S / PULSE_S)):
            servos.pulse(plan.joints[0])
        start, facing = data.qpos[:2].copy(), self._heading()
        after = np.repeat(plan.joints[-1:], round(STAND_S / PULSE_S), axis=0)
        heights, lean, load, late, volts = [], 0.0, 0.0, 0.0, np.inf
        full = np.zeros(self.robot.joints)
        turned, fell = facing, False
        told = np.concatenate([np.repeat(plan.joints[:1], 3, axis=0), plan.joints, after])
        for i, row in enumerate(told[3:]):
            worked = servos.pulse(row)
            if watch is not None:
                watch(i, servos)
            heights.append(float(data.qpos[2]))
            upright = float(scene.up[2])
            lean = max(lean, float(np.arccos(min(upright, 1.0))))
            heading = self._heading()
            turned += (heading - turned + np.pi) % (2 * np.pi) - np.pi
            full += worked.full
            load, volts = max(load, float(worked.load.max())), min(volts, worked.volts)
            # A servo is where it was told to be a pulse and a response before: between two and three rows.
            late = max(late, float(_off(worked.at, told[i], told[i + 1]).max()))
            if lean > FALLEN or self._lies():
                fell = True
                break
        c, s = np.cos(facing), np.sin(facing)
        place = start + np.array([[c, -s], [s, c]]) @ plan.travel[-1, :2]
        height = np.array(heights) - self.robot.rest_height
        return Outcome(
            way=float(np.hypot(*plan.travel[-1, :2])),
            turn=float(plan.travel[-1, 2]),
            apart=float(np.hypot(*(data.qpos[:2] - place))),
            astray=float(abs(turned - facing - plan.travel[-1, 2])),
            height=float(np.ptp(height)),
            sunk=-float(height.mean()),
            lean=lean,
            fell=fell,
            seconds=(i + 1) * PULSE_S,
            full=float(full.max() / (i + 1)),
            load=load,
            late=late,
            volts=volts,
        )

    def _heading(self) -> float:
        turn = self.scene.data.xmat[self.scene.body]
        return float(np.arctan2(turn[3], turn[0]))

    def _lies(self) -> bool:
        """Whether the trunk touches the floor."""
        return any(int(geom) in self.belly for geom in self.scene.data.contact.geom.flat)


def _off(at: Array, one: Array, other: Array) -> Array:
    """How far each is outside of what lies between two."""
    low, high = np.minimum(one, other), np.maximum(one, other)
    return np.maximum(np.maximum(low - at, at - high), 0.0)
