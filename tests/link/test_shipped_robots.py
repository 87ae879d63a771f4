"""Any number of legs and joints: each shipped robot connects, stands up, does as told, and lies down."""

from pathlib import Path

import numpy as np
import pytest

from motionhub.link.plant import lowered_joints
from motionhub.link.wire import Activity
from motionhub.motion.posing import rest_joints
from motionhub.robot.calibration import Calibration
from motionhub.robot.description import load
from motionhub.robot.kinematics import within

FILES = sorted((Path(__file__).parents[2] / "sequences" / "robots").glob("*.toml"))


@pytest.mark.parametrize("file", FILES, ids=lambda file: file.stem)
def test_stands_moves_and_lies_down(file, make_wire):
    robot = load(file)
    calibration = Calibration.default(robot)
    wire = make_wire(robot, calibration)
    rest = calibration.pulses(robot, rest_joints(robot))
    outputs = [0.5] * len(robot.outputs)
    wire.run(3, rest, outputs)
    assert wire.robot.controller.activity == Activity.FOLLOWING
    assert wire.robot.joints == pytest.approx(rest_joints(robot), abs=np.deg2rad(0.2))
    turned = rest.copy()
    turned[0] += 60
    wire.run(1, turned, outputs)
    assert wire.robot.controller.pulses == [int(p) for p in np.rint(turned)]
    lowered = lowered_joints(robot)
    assert within(robot, lowered).all()
    wire.run(1, None, outputs)
    assert wire.robot.controller.activity == Activity.OFF


def test_there_are_robots_of_several_shapes():
    assert len({load(file).legs for file in FILES}) >= 3
