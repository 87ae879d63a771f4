"""What a slow radio costs, told in words, and the same words not again and again."""

from __future__ import annotations

import dataclasses

import numpy as np
from rehearsal import DT, UP, Rehearsal, Wired, clip

from motionhub.hub import commands as ask
from motionhub.hub.radio import QUIET_S, THINNED
from motionhub.motion.posing import rest_joints
from motionhub.robot.model import Robot

TWO = "The radio is slow: two frames share a packet, and the robot follows 20 ms later for that"


def slow(robot: Robot, baud: int) -> Robot:
    return dataclasses.replace(robot, link=dataclasses.replace(robot.link, baud=baud))


def restless(robot: Robot) -> np.ndarray:
    """Every joint swings its own way, as fast as servos like."""
    t = np.linspace(0, 8, 401)[:, None]
    rates = np.linspace(4.0, 7.0, robot.joints)
    joints = rest_joints(robot) + 0.12 * np.sin(rates * t) * np.minimum(t, 1)
    assert np.abs(np.diff(joints, axis=0)).max() / DT < np.deg2rad(60)
    return joints


def played(robot: Robot) -> Wired:
    show = Wired(robot)
    show.repertoire["restless"] = clip(robot, restless(robot), "restless")
    show.say(ask.Play("restless"))
    show.until("playing")
    show.until("rest", 40.0)
    return show


def delay(show: Wired) -> tuple[int, int]:
    """Ticks by which the machine's pulses follow what was meant, and how near they come then, µs."""
    playing = np.flatnonzero(np.array(show.modes) == "playing")[100:-20]
    issued = np.array([each.pulses for each in show.machine.issued])[-len(show.ticks) :]
    apart = [int(np.abs(show.pulses[playing] - issued[playing + k]).max()) for k in range(8)]
    return int(np.argmin(apart)), min(apart)


def test_a_radio_that_carries_everything_is_not_spoken_of_and_shared_packets_with_what_they_cost(tansy: Robot) -> None:
    fast, slower = played(slow(tansy, 115_200)), played(slow(tansy, 9600))
    assert not [n for n in fast.notices if "radio" in n]
    assert [n for n in slower.notices if "radio" in n] == [TWO]
    # And it is true: the pulses are those that were meant, a tick later than one by one.
    (soon, exact), (later, as_exact) = delay(fast), delay(slower)
    assert exact == as_exact == 0
    assert later == soon + 1


def test_frames_that_are_left_out_are_told_once(tansy: Robot) -> None:
    show = played(slow(tansy, 4800))
    assert show.notices.count(THINNED) == 1
    # The robot still does all of the move.
    issued = np.array([each.pulses for each in show.machine.issued])
    assert np.ptp(issued[-500:], axis=0).min() > 0.9 * np.ptp(show.pulses[-500:], axis=0).min()


def test_it_is_news_again_only_after_a_while(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    thin = dataclasses.replace(UP, thinned=True, together=2)
    for _ in range(5):
        show.link(thin)
        show.run(1.0)
        show.link(UP)
        show.run(5.0)
    assert show.notices.count(THINNED) == 1
    show.run(QUIET_S)
    show.link(thin)
    assert show.notices.count(THINNED) == 2
