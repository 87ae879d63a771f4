import dataclasses
from collections.abc import Callable, Iterator
from pathlib import Path

import chip
import core_build
import numpy as np
import pytest
from chip import Chip, Program
from core_twin import Pair
from hypothesis import settings

from motionhub.robot.calibration import Calibration
from motionhub.robot.description import load
from motionhub.robot.model import Robot

ROBOTS = Path(__file__).parents[2] / "sequences" / "robots"

settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")


def fitted(robot: Robot) -> Calibration:
    """As of a built machine: trims, mirrored servos, ends, servos unlike their data sheet, two plugs swapped."""
    rng = np.random.default_rng(7)
    default = Calibration.default(robot)
    n = robot.joints
    return Calibration(
        robot.name,
        robot.joint_names,
        np.deg2rad(rng.uniform(-6, 6, n)),
        np.where(rng.random(n) < 0.4, -1.0, 1.0),
        default.low_us + rng.integers(0, 120, n),
        default.high_us - rng.integers(0, 120, n),
        np.where(rng.random(n) < 0.3, rng.uniform(0.9, 1.1, n), 1.0),
        connector=(0, 4, 2, 3, 1, *range(5, n)),
    )


def lamped(name: str) -> Robot:
    """A robot whose lamps warn of the battery."""
    robot = load(ROBOTS / f"{name}.toml")
    outputs = (dataclasses.replace(output, low_battery=output.kind == "lamp") for output in robot.outputs)
    return dataclasses.replace(robot, outputs=tuple(outputs))


class Workshop:
    """Robots, and libraries of the core built for them, once each."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._robots: dict[str, tuple[Robot, Calibration]] = {}
        self._built: dict[str, Path] = {}

    def robot(self, name: str) -> tuple[Robot, Calibration]:
        if name not in self._robots:
            robot = lamped(name)
            self._robots[name] = robot, fitted(robot)
        return self._robots[name]

    def pair(self, name: str) -> Pair:
        robot, calibration = self.robot(name)
        if name not in self._built:
            shape = core_build.of_robot(robot, calibration)
            host = core_build.HERE / "host.cpp"
            flags = ["-O1", "-fPIC"]
            self._built[name] = core_build.build(self._folder / name, shape, "g++", flags, host, "core.so", ["-shared"])
        return Pair(self._built[name], robot, calibration)


@pytest.fixture(scope="session")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Workshop:
    if not core_build.able("g++"):
        pytest.skip("g++ is not on this machine, so the robot's program was not built for it")
    return Workshop(tmp_path_factory.mktemp("core"))


@pytest.fixture
def pair(workshop: Workshop) -> Iterator[Callable[..., Pair]]:
    made: list[Pair] = []

    def make(name: str = "tansy") -> Pair:
        made.append(workshop.pair(name))
        return made[-1]

    yield make
    for each in made:
        each.close()


class Boards:
    """Emulated boards, and programs built for them, once each."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._board = chip.build_board(folder)
        self._programs: dict[tuple[str, int], Program] = {}
        self.made: list[Chip] = []

    def program(self, name: str = "tansy", baud: int = 57_600) -> Program:
        if (name, baud) not in self._programs:
            robot = lamped(name)
            robot = dataclasses.replace(robot, link=dataclasses.replace(robot.link, baud=baud))
            folder = self._folder / f"{name}{baud}"
            self._programs[name, baud] = chip.build_program(folder, robot, fitted(robot))
        return self._programs[name, baud]

    def switch_on(self, program: Program, mv: int | None = None, eeprom: bytes | None = None) -> Chip:
        self.made.append(Chip(self._board, program, mv, eeprom))
        return self.made[-1]


@pytest.fixture(scope="session")
def all_boards(tmp_path_factory: pytest.TempPathFactory) -> Boards:
    if missing := chip.able():
        pytest.skip(missing)
    return Boards(tmp_path_factory.mktemp("boards"))


@pytest.fixture
def boards(all_boards: Boards) -> Iterator[Boards]:
    yield all_boards
    while all_boards.made:
        all_boards.made.pop().close()
