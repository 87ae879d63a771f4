"""Walks as the hub drives them, played by servos in MuJoCo on the exported URDF, and how far that is from the plan.

What a plan says: where the body goes, how it turns, and that it stays as high and as level as it stands. A run is
compared where it stands again, and its height all along; it has fallen when it leans by more than
``FALLEN`` or its belly touches the floor. What counts as the same is :func:`as_planned`.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from check.scene import MOTORS, Scene
from numpy.typing import NDArray

from motionhub.hub.bearing import Bearing
from motionhub.hub.sources.standing import Standing
from motionhub.hub.steps import Steps
from motionhub.motion.gait import Gait, gaits
from motionhub.motion.manner import manner_of
from motionhub.motion.planar import REST, Twist
from motionhub.motion.posing import joints_for
from motionhub.motion.stepper import Stepper
from motionhub.robot.model import Robot
from walking.servos import BAND, PULSE_S, Servos

Array = NDArray[np.float64]

STAND_S = 0.6
"""s to stand before the walk and after it."""
FALLEN = float(np.deg2rad(12))
"""rad: twice what any driver here leans the body by."""
STEP_S = 0.002
CARRIED = np.array([0.012, *np.deg2rad([5, 5, 8])])
"""m and rad: how far up, over, down at the nose and around the driver of :func:`driven_live` carries the body."""

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
    around: float
    """m that its furthest foot goes around by that."""
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
    volts: float
    """The lowest of the rail."""
    amps: float
    """The most that the servos drew for a pulse."""
    joints: Array
    """(T, J) rad, where the joints were at the end of each pulse, standing still at the end included."""


def as_planned(o: Outcome) -> bool:
    """Way and turn within a tenth of the plan, height within 5 mm peak to peak of the plan's, no fall.

    A turn on the spot ends within a tenth of its feet's way of where it began; and a walk that should not turn faces
    where it should within a tenth of a radian, which makes a tenth of its way sideways.
    """
    near = o.apart <= 0.1 * (o.way + o.around) and o.astray <= 0.1 * max(abs(o.turn), 1.0)
    return near and o.height <= 5e-3 and not o.fell


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


def driven(robot: Robot, rng: np.random.Generator, seconds: float) -> Plan:
    """A drive as of someone who tries what it can do: any way, held for a while, let go, flicked, in any gait.

    Args:
        robot: The robot.
        rng: What the driver does next.
        seconds: For so long, and until it stands.
    """
    manners = [manner_of(robot, gait, PULSE_S) for gait in gaits(robot).values()]
    walker = Stepper(robot, dt=PULSE_S)

    def commands() -> Iterator[Twist]:
        left = round(seconds / PULSE_S)
        while left > 0:
            if rng.random() < 0.15:
                walker.change(manners[rng.integers(len(manners))])
            ticks = min(left, _held(rng))
            left -= ticks
            tops = [speed(walker.limit((w[0] * 9, w[1] * 9, w[2] * 99))[0]) for w in np.eye(3).tolist()]
            vx, vy, wz = (share * top for share, top in zip(_shares(rng), tops, strict=True))
            yield from [(vx, vy, wz)] * ticks

    return stepped(walker, commands())


def driven_live(robot: Robot, rng: np.random.Generator, seconds: float) -> Plan:
    """The same by the source of motion that a driver moves in the hub: the body is carried up, down and aside
    meanwhile, and feet are lifted lower and higher. It does not say where the body goes, so only falls can be seen.
    """
    steps = Steps(robot, PULSE_S)
    standing = Standing(robot, PULSE_S, Bearing(robot), steps)
    rows = [standing.step().joints]
    while len(rows) < seconds / PULSE_S:
        if rng.random() < 0.15:
            steps.by(steps.names[rng.integers(len(steps.names))])
        if rng.random() < 0.15:
            steps.as_high_as(rng.uniform(0.7, 1.5) * robot.walk.lift)
        if rng.random() < 0.4:
            standing.carry(*(rng.uniform(-1, 1, 4) * CARRIED).tolist())
        standing.drive(*np.clip(_shares(rng), -1, 1).tolist())
        rows += [standing.step().joints for _ in range(_held(rng))]
    standing.rest()
    while not standing.at_rest:
        rows.append(standing.step().joints)
    return Plan(robot, np.array(rows), np.zeros((len(rows), 3)))


def _shares(rng: np.random.Generator) -> Array:
    """Of the fastest forward, left and around: beyond it at times, which is the stepper's to hold."""
    kept = {"any": (1, 1, 1), "straight": (1, 0, 0), "turn": (0, 0, 1), "stop": (0, 0, 0)}
    found: Array = rng.uniform(-1.2, 1.2, 3) * kept[rng.choice(["any", "any", "straight", "turn", "stop"])]
    return found


def _held(rng: np.random.Generator) -> int:
    """For how many ticks a finger stays where it is."""
    return round(float(rng.choice([0.1, 0.5, 2.0, 6.0])) * rng.uniform(0.2, 1.0) / PULSE_S) + 1


def speed(twist: Twist) -> float:
    """m/s, or rad/s of a turn on the spot."""
    along = float(np.hypot(twist[0], twist[1]))
    return along if along > 0 else abs(twist[2])


class Player:
    """One robot over one floor, that plays plans.

    Args:
        robot: The robot.
        friction: Coefficient at the feet.
        band: See :mod:`walking.servos`, as ``limits``.
    """

    def __init__(self, robot: Robot, friction: float = 0.8, band: float = BAND, limits: bool = True) -> None:
        self.robot, self.limits = robot, limits
        self.scene = Scene(robot, friction=friction, servo=MOTORS, step_s=STEP_S)
        # A foot that friction can hold stays: by MuJoCo's softer friction it creeps some tenths of a millimetre a step.
        self.scene.model.opt.impratio = 100
        self.band = band
        self.belly = {i for i, geom in enumerate(self.scene.model.geom_bodyid) if int(geom) == self.scene.body}

    def play(self, plan: Plan, watch: Callable[[int, Servos], None] | None = None) -> Outcome:
        """Play a plan; ``watch`` is called after every pulse with its number, from 0 on."""
        scene, data = self.scene, self.scene.data
        servos = Servos(scene, self.band, limits=self.limits)
        scene.put(plan.joints[0], above=0.0)
        for _ in range(round(STAND_S / PULSE_S)):
            servos.pulse(plan.joints[0])
        start, facing = data.qpos[:2].copy(), self._heading()
        after = np.repeat(plan.joints[-1:], round(STAND_S / PULSE_S), axis=0)
        heights, joints, lean, load, volts, amps = [], [], 0.0, 0.0, np.inf, 0.0
        full = np.zeros(self.robot.joints)
        turned, fell = facing, False
        for i, row in enumerate(np.concatenate([plan.joints, after])):
            worked = servos.pulse(row)
            if watch is not None:
                watch(i, servos)
            joints.append(worked.at)
            heights.append(float(data.qpos[2]))
            upright = float(scene.up[2])
            lean = max(lean, float(np.arccos(min(upright, 1.0))))
            heading = self._heading()
            turned += (heading - turned + np.pi) % (2 * np.pi) - np.pi
            full += worked.full
            load, volts = max(load, float(worked.load.max())), min(volts, worked.volts)
            amps = max(amps, worked.amps)
            if lean > FALLEN or self._lies():
                fell = True
                break
        c, s = np.cos(facing), np.sin(facing)
        place = start + np.array([[c, -s], [s, c]]) @ plan.travel[-1, :2]
        height = np.array(heights) - self.robot.rest_height
        return Outcome(
            way=float(np.hypot(*plan.travel[-1, :2])),
            turn=float(plan.travel[-1, 2]),
            around=float(abs(plan.travel[-1, 2]) * np.linalg.norm(self.robot.rest_feet[:, :2], axis=1).max()),
            apart=float(np.hypot(*(data.qpos[:2] - place))),
            astray=float(abs(turned - facing - plan.travel[-1, 2])),
            height=float(np.ptp(height)),
            sunk=-float(height.mean()),
            lean=lean,
            fell=fell,
            seconds=(i + 1) * PULSE_S,
            full=float(full.max() / (i + 1)),
            load=load,
            volts=volts,
            amps=amps,
            joints=np.array(joints),
        )

    def _heading(self) -> float:
        turn = self.scene.data.xmat[self.scene.body]
        return float(np.arctan2(turn[3], turn[0]))

    def _lies(self) -> bool:
        """Whether the trunk touches the floor."""
        return any(int(geom) in self.belly for geom in self.scene.data.contact.geom.flat)
