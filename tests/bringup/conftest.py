"""A hub, and a machine with faults that the hub knows nothing of."""

from __future__ import annotations

import pytest
from person import Begin, World, shipped

from motionhub.hub import commands as ask
from motionhub.hub.core import Hub
from motionhub.hub.snapshot import LinkView
from motionhub.library.notebook import Notebook
from motionhub.link.wire import Activity, Faults, Telemetry
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

UP = LinkView(up=True, round_trip_s=0.01, bytes_s=1000.0, budget_bytes_s=4000.0)


@pytest.fixture
def begin() -> Begin:
    """A show of a robot, with Ann in control, and a machine that is as ``truth`` says."""

    def make(
        robot: Robot, truth: Calibration, known: Calibration | None = None, notebook: Notebook | None = None
    ) -> World:
        hub = Hub(robot, known or Calibration.default(robot), notebook=notebook)
        world = World(hub, truth, robot.mid.copy())
        hub.joined("ann", "Ann", True, 0.0)
        hub.joined("bob", "Bob", True, 0.0)
        hub.link_is(UP, 0.0)
        full = round(robot.supply.battery_full_v * 1000)
        hub.robot_says(Telemetry(full, Faults(0), int(Activity.FOLLOWING), 1, 100, 10, 0, 0), 0.0)
        hub.handle("ann", ask.Take(), 0.0)
        return world

    return make


@pytest.fixture
def robot() -> Robot:
    return shipped("trestle")
