from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import settings

from motionhub.link.session import Event, LinkSession
from motionhub.link.simulated import SimulatedRobot
from motionhub.link.trouble import Trouble
from motionhub.motion.posing import rest_joints
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

TICK = 0.02

# How long an example takes says more of the machine than of the code.
settings.register_profile("untimed", deadline=None)
settings.load_profile("untimed")


@pytest.fixture(scope="session")
def calibration(tansy: Robot) -> Calibration:
    return Calibration.default(tansy)


@pytest.fixture(scope="session")
def rest(tansy: Robot, calibration: Calibration) -> np.ndarray:
    """Pulses of the rest pose, µs."""
    return calibration.pulses(tansy, rest_joints(tansy))


class Wire:
    """Hub and robot with a wire between them, in made-up time: a tick is 20 ms, delays are whole ticks."""

    def __init__(
        self,
        robot: Robot,
        calibration: Calibration,
        *,
        delay: int = 0,
        delay_back: int | None = None,
        charge: float = 1.0,
        session: int = 7,
    ):
        self.hub = LinkSession(robot, session)
        self.robot = SimulatedRobot(robot, calibration, charge=charge)
        self.to_robot, self.to_hub = Trouble(seed=11), Trouble(seed=12)
        self.cut = False
        self.tick = 0
        self.events: list[Event] = []
        self._inward: list[bytes] = [b""] * delay
        self._outward: list[bytes] = [b""] * (delay if delay_back is None else delay_back)

    @property
    def now(self) -> float:
        return self.tick * TICK

    def step(self, pulses, outputs=(0.5, 0.0)) -> None:
        self.carry(self.hub.send_frame(pulses, outputs, self.now))

    def carry(self, data: bytes) -> None:
        """The rest of a tick: what the hub sends goes out, what has arrived is taken at both ends."""
        now = self.now
        self._inward.append(b"" if self.cut else self.to_robot.pass_on(data))
        back = self.robot.receive(self._inward.pop(0), now) + self.robot.advance(now)
        self._outward.append(b"" if self.cut else self.to_hub.pass_on(back))
        self.events += self.hub.receive(self._outward.pop(0), now)
        self.events += self.hub.tick(now)
        self.tick += 1

    def run(self, seconds: float, pulses, outputs=(0.5, 0.0)) -> None:
        for _ in range(round(seconds / TICK)):
            self.step(pulses, outputs)

    def of(self, kind: type) -> list:
        return [event for event in self.events if isinstance(event, kind)]


@pytest.fixture(scope="session")
def make_wire(tansy: Robot, calibration: Calibration) -> Callable[..., Wire]:
    return lambda robot=tansy, calibration=calibration, **options: Wire(robot, calibration, **options)


@pytest.fixture
def wire(make_wire: Callable[..., Wire]) -> Wire:
    return make_wire()
