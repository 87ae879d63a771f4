"""What the robot says is wrong, in words."""

import pytest

from motionhub.hub.faults import RESTARTS, WORDS, RobotFaults
from motionhub.link.wire import Activity, Faults, ResetCause, Telemetry

NONE = Faults(0)


def says(faults=NONE, uptime=100, cause=ResetCause.POWER):
    return Telemetry(7800, faults, Activity.FOLLOWING, cause, 100, uptime, 0, 0)


@pytest.mark.parametrize("fault", WORDS)
def test_a_fault_is_told_once_and_again_after_it_was_gone(fault):
    robot = RobotFaults()
    assert robot.hear(says(), 0.0) == []
    (words,) = robot.hear(says(fault), 0.1)
    assert words == WORDS[fault]
    # While it stays, or comes and goes, that is old news.
    assert not any(robot.hear(says(fault if i % 3 else NONE), i / 10) for i in range(2, 300))
    assert robot.hear(says(), 35.0) == []
    assert robot.hear(says(fault), 45.0) == [words]


@pytest.mark.parametrize("cause", ResetCause)
def test_a_restart_is_told_with_its_cause(cause):
    robot = RobotFaults()
    assert robot.hear(says(uptime=3, cause=cause), 0.0) == []
    assert robot.hear(says(uptime=4, cause=cause), 1.0) == []
    assert robot.hear(says(uptime=0, cause=cause), 2.0) == [RESTARTS[cause]]
    assert robot.hear(says(uptime=1, cause=cause), 3.0) == []


def test_what_the_hub_tells_otherwise_is_not_told_twice():
    every = Faults.BATTERY_LOW | Faults.BATTERY_EMPTY | Faults.QUIET
    assert RobotFaults().hear(says(every), 0.0) == []
    assert set(WORDS) | {Faults.BATTERY_LOW, Faults.BATTERY_EMPTY, Faults.QUIET} == set(Faults)
