"""The shipped robots and their gaits, walks as arrays, and commands as fingers give them: for the tests of walking."""

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest
from hypothesis import strategies as st

from motionhub.motion.gait import gaits
from motionhub.motion.planar import REST, Twist
from motionhub.motion.stepper import Stepper
from motionhub.robot import description
from motionhub.robot.model import Robot

_SHIPPED = Path(__file__).parents[2] / "sequences" / "robots"
TANSY, TRESTLE, HARROW = ROBOTS = [
    description.load(_SHIPPED / f"{name}.toml") for name in ("tansy", "trestle", "harrow")
]
DT = 0.02
WALKS = [(robot, gait) for robot in ROBOTS for gait in gaits(robot).values()]
WALK_IDS = [f"{robot.name}-{gait.name}" for robot, gait in WALKS]
WALK_OF = dict(zip(WALK_IDS, WALKS, strict=True))
every_walk = pytest.mark.parametrize(("robot", "gait"), WALKS, ids=WALK_IDS)


@dataclass
class Walked:
    """A walk of T ticks from standing: stance 0 is the start."""

    feet: np.ndarray  # (T + 1, L, 3), stance frame
    down: np.ndarray  # (T + 1, L)
    travel: np.ndarray  # (T + 1, 3)
    twists: np.ndarray  # (T + 1, 3), what the body did on the way to each

    @property
    def ground(self) -> np.ndarray:
        """Feet in the ground frame, (T + 1, L, 3)."""
        c, s = np.cos(self.travel[:, 2, None]), np.sin(self.travel[:, 2, None])
        x, y, z = np.moveaxis(self.feet, 2, 0)
        return np.stack([self.travel[:, 0, None] + c * x - s * y, self.travel[:, 1, None] + s * x + c * y, z], axis=2)


def walk(stepper: Stepper, commands: list[Twist]) -> Walked:
    stances, twists = [stepper.stance], [REST]
    for command in commands:
        stances.append(stepper.step(command))
        twists.append(stepper.twist)
    return Walked(
        np.array([s.feet for s in stances]),
        np.array([s.down for s in stances]),
        np.array([s.travel for s in stances]),
        np.array(twists),
    )


def walk_until_settled(stepper: Stepper, commands: list[Twist]) -> Walked:
    after = stepper.copy()
    for command in commands:
        after.step(command)
    return walk(stepper, commands + [REST] * after.ticks_to_settle())


def longest(stepper: Stepper) -> float:
    """More speed than any foot is allowed, m/s."""
    return 3 * max(stepper.manner.pace)


@st.composite
def streams(draw, top: float = 0.4) -> list[Twist]:
    """Commands as fingers give them: held for a while, then something else; sometimes let go, sometimes flicked."""
    commands: list[Twist] = []
    for _ in range(draw(st.integers(1, 8))):
        kind = draw(st.sampled_from(["any", "any", "straight", "turn", "stop"]))
        speed = st.floats(-top, top)
        twist = {
            "any": st.tuples(speed, speed, st.floats(-3, 3)),
            "straight": st.tuples(speed, st.just(0.0), st.just(0.0)),
            "turn": st.tuples(st.just(0.0), st.just(0.0), st.floats(-3, 3)),
            "stop": st.just(REST),
        }[kind]
        commands += [draw(twist)] * draw(st.integers(1, 90))
    return commands


walking = st.sampled_from(WALK_IDS)  # by name, since a robot fills pages when a test fails


def text_of(robot: str) -> str:
    """A shipped robot's file."""
    return (_SHIPPED / f"{robot}.toml").read_text(encoding="utf-8")


def without(robot: str, *legs: str, more: str = "") -> Robot:
    """A shipped robot that has lost some legs; and what its file says besides."""
    head, *tables = re.split(r"(?m)^(?=\[)", text_of(robot))
    kept = [table for table in tables if not any(f'name = "{leg}"' in table for leg in legs)]
    return Robot.from_file(description.parse("".join([head, *kept]) + more, "lame.toml"))
