"""The link lost and found, with the simulated robot's own core in the same virtual time: no sockets, no clock."""

from __future__ import annotations

import numpy as np
import pytest
from rehearsal import DOWN, DT, UP, Rehearsal, Wired, clip, shipped

from motionhub.hub import commands as ask
from motionhub.link.wire import Activity
from motionhub.motion.posing import rest_joints
from motionhub.robot.model import Robot


def test_a_robot_that_is_switched_on_is_ready_when_it_follows(robot: Robot) -> None:
    show = Wired(robot)
    assert show.machine.controller.activity is Activity.FOLLOWING
    np.testing.assert_allclose(show.actual[-1], rest_joints(robot), atol=0.02)


def test_what_is_driven_is_what_the_robot_does(tansy: Robot) -> None:
    show = Wired(tansy)
    show.run(3.0, ask.Drive(0.5))
    # Servos lag; the robot's joints are those of some ticks before, and never far from the commanded ones.
    lag = min(np.abs(np.array(show.actual[-50:]) - show.joints[-50 - k : -k]).max() for k in range(1, 10))
    assert lag < 0.1
    assert lag < np.ptp(show.joints[-50:], axis=0).max() / 4
    assert show.state.link.up
    assert show.state.link.lost_share == 0


def jumps(show: Wired, since: int) -> float:
    """The furthest that any joint of the machine goes in one tick, rad."""
    return float(np.abs(np.diff(np.array(show.actual[since:]), axis=0)).max())


@pytest.mark.parametrize("before", ["resting", "driving", "playing"])
@pytest.mark.parametrize("away_s", [0.3, 0.9, 5.0])
def test_link_lost_and_found_ends_at_rest_without_a_jump(tansy: Robot, before: str, away_s: float) -> None:
    show = Wired(tansy)
    commands: tuple[ask.Command, ...] = ()
    if before == "driving":
        commands = (ask.Drive(0.7),)
    if before == "playing":
        t = np.linspace(0, 1, 501)
        joints = np.repeat(rest_joints(tansy)[None], len(t), axis=0)
        joints[:, -2] += 0.8 * np.sin(4 * np.pi * t)
        show.repertoire["nod"] = clip(tansy, joints, "nod")
        show.say(ask.Play("nod"))
        show.until("playing")
    show.run(1.0, *commands)
    lost = len(show.ticks)
    show.plugged = False
    show.run(away_s, *commands)
    if away_s > 0.8:
        assert show.hub.mode == "moving"
        assert not show.state.link.up
        assert any("quiet" in notice for notice in show.notices)
        assert show.say(ask.Drive(1.0)) == "there is no link to the robot"
    show.plugged = True
    show.run(0.5)
    show.until("rest", 12.0)
    show.run(1.0)
    assert show.state.link.up
    np.testing.assert_allclose(show.actual[-1], rest_joints(tansy), atol=0.02)
    # Nothing the machine does is faster than what a servo does on its way in a walk.
    assert jumps(show, lost) <= max(jumps(show, lost - 50), 0.1)


def test_people_know_within_a_second(tansy: Robot) -> None:
    show = Wired(tansy)
    show.run(1.0)
    show.plugged = False
    show.run(1.0)
    assert not show.state.link.up
    assert show.state.link.lost_share == 1


def test_it_is_known_as_well_when_only_the_way_back_is_gone(tansy: Robot) -> None:
    show = Wired(tansy)
    show.run(1.0, ask.Drive(0.6))
    show.deaf = True
    show.run(5.0, ask.Drive(0.6))
    assert not show.state.link.up
    # The hub sends nothing then, so the robot's own failsafe has brought it to rest.
    assert show.machine.controller.activity is Activity.QUIET
    np.testing.assert_allclose(show.actual[-1], rest_joints(tansy), atol=0.02)
    show.deaf = False
    show.until("rest", 12.0)
    assert show.state.link.up


def test_a_stop_outlasts_a_lost_link_and_the_robot_is_found_where_it_eased_to(tansy: Robot) -> None:
    show = Wired(tansy)
    show.run(1.3, ask.Drive(0.9, 0.0, 0.5))
    show.say(ask.Stop())
    show.until("stopped")
    show.plugged = False
    show.run(4.0)
    assert show.hub.mode == "stopped"
    show.plugged = True
    found = len(show.ticks)
    show.run(3.0, ask.Drive(1.0))
    assert show.hub.mode == "stopped"
    # It eased to rest by itself while it was alone; stopped, it is not moved from there.
    assert np.ptp(np.array(show.actual[found:]), axis=0).max() < 0.02
    show.say(ask.Resume())
    show.until("rest")


def test_a_short_silence_that_only_the_robot_noticed_ends_the_show_too(tansy: Robot) -> None:
    """Half a second without frames is enough for its failsafe, and too short for the hub's own notice."""
    show = Wired(tansy)
    show.run(1.0, ask.Drive(0.7))
    show.plugged = False
    show.run(0.6, ask.Drive(0.7))
    show.plugged = True
    show.run(0.4)
    show.until("rest", 12.0)
    assert any("lost the link for a moment" in notice for notice in show.notices)
    np.testing.assert_allclose(show.actual[-1], rest_joints(tansy), atol=0.02)


def test_limp_reaches_the_robot_and_resume_brings_it_back_gently(tansy: Robot) -> None:
    show = Wired(tansy)
    show.say(ask.Limp(sure=True))
    show.run(2.0)
    assert show.machine.controller.activity is Activity.OFF
    assert not any(show.machine.controller.pulses)
    show.say(ask.Resume())
    show.until("rest", 12.0)
    show.run(0.5)
    np.testing.assert_allclose(show.actual[-1], rest_joints(tansy), atol=0.02)


def test_a_robot_that_was_switched_off_and_on_is_waited_for(tansy: Robot) -> None:
    from motionhub.link.wire import ResetCause

    show = Wired(tansy)
    show.run(1.0, ask.Drive(0.7))
    show.machine.reset(ResetCause.POWER)
    show.run(1.5, ask.Drive(0.7))
    assert show.hub.mode != "driving"
    show.until("rest", 12.0)
    assert show.machine.controller.activity is Activity.FOLLOWING


def test_an_empty_battery_lies_the_robot_down_before_its_own_failsafe_has_to() -> None:
    show = Wired(shipped("tansy"), charge=1.0)
    show.run(1.0, ask.Drive(0.5))
    show.machine.plant.battery.charge = 0.0
    show.until("limp", 20.0, ask.Drive(0.5))
    assert show.state.battery.level == "empty"
    assert show.state.body[2] < show.robot.rest_height / 2
    assert show.say(ask.Resume()) != ""


def test_lost_links_are_told_once_each(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    for _ in range(3):
        show.link(DOWN)
        show.link(DOWN)
        show.run(5 * DT)
        show.link(UP)
        show.link(UP)
        show.robot_says()
        show.until("rest")
    assert sum("quiet" in notice for notice in show.notices) == 3
