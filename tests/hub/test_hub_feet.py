"""What a state says of feet, tick by tick, and of what the driver has asked for."""

from __future__ import annotations

import numpy as np
import pytest
from rehearsal import DOWN, DT, Rehearsal, clip, shipped

from motionhub.hub import commands as ask
from motionhub.hub.figure import FEET_TICKS
from motionhub.link.wire import Activity
from motionhub.motion.posing import rest_joints
from motionhub.robot.kinematics import feet
from motionhub.robot.model import Robot

TOUCHES = 1e-3
"""m above the lowest foot: less than the play of servos moves a foot."""


@pytest.mark.parametrize("name", ["trestle", "tansy", "harrow"])
def test_every_tick_of_a_walk_is_told_even_when_states_are_lost(name: str) -> None:
    """Against the heights of the feet over the lowest of them, by forward kinematics; the body walks level."""
    show = Rehearsal(shipped(name))
    start = len(show.ticks)
    told: dict[int, tuple[bool, ...] | None] = {}
    for i in range(360):
        if i % 5 == 0:
            show.say(ask.Drive(0.6, 0.2, 0.3) if i < 250 else ask.Drive())
        show.tick()
        if i % 2 == 0:
            state = show.state
            if i % 6 == 0:  # two of three states do not get through
                for back, down in enumerate(reversed(state.feet)):
                    assert told.setdefault(state.tick - back, down) == down
    first = show.hub.ticks - 360
    height = feet(show.robot, show.joints[start:])[..., 2] - show.robot.foot_radius
    seen = height - height.min(axis=1, keepdims=True) <= TOUCHES
    ticks = sorted(told)
    assert ticks[-1] - ticks[0] == len(ticks) - 1, "no tick is left out"
    walked = [tick for tick in ticks if tick > first]
    assert len(walked) > 350
    np.testing.assert_array_equal([told[tick] for tick in walked], [seen[tick - first - 1] for tick in walked])
    assert any(not all(told[tick] or ()) for tick in walked), "and it did step"


def test_nobody_knows_the_feet_of_a_robot_that_is_limp_or_away(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    show.run(0.2)
    assert show.state.feet[-1] == (True,) * 6
    show.link(DOWN)
    show.tick()
    assert show.state.feet[-1] is None
    show = Rehearsal(tansy)
    show.robot_says(Activity.EASING)
    show.tick()
    assert show.state.feet[-1] is None
    show = Rehearsal(tansy)
    show.say(ask.Limp(sure=True))
    show.tick()
    assert show.state.feet[-1] is None


def test_who_has_not_looked_for_long_is_told_the_ticks_since_and_no_older_ones(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    show.run(0.1)
    assert len(show.state.feet) <= FEET_TICKS
    show.run(1.0, ask.Drive(0.7))
    known = show.state.feet
    assert 1 <= len(known) <= FEET_TICKS
    assert known[-1] == tuple(show.state.down.tolist())


def test_what_the_driver_has_asked_for_is_told_and_ends_with_a_stop(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    show.say(ask.Pace(0.4))
    show.say(ask.Posture(0.01, 0.05, -0.04, 0.1))
    show.run(DT)
    assert show.state.pace == 0.4
    assert show.state.posture == (0.01, 0.05, -0.04, 0.1)
    assert show.state.mode == "driving"
    assert not show.state.walking, "the body moves, the feet stay"
    show.run(0.5, ask.Drive(0.5))
    assert show.state.walking
    show.say(ask.Stop())
    show.until("stopped")
    assert not show.state.walking
    show.say(ask.Resume())
    show.until("rest")
    assert show.state.posture == (0.0, 0.0, 0.0, 0.0)
    show.repertoire["nod"] = clip(tansy, np.repeat(rest_joints(tansy)[None], 5, axis=0), "nod")
    show.say(ask.Play("nod"))
    show.until("rest")
    assert show.state.pace == 0.4


def test_the_body_leans_as_far_as_it_is_said_to(robot: Robot) -> None:
    show = Rehearsal(robot)
    for angle, most in zip(("roll", "pitch", "yaw"), show.hub.lean_range, strict=True):
        for sign in (1, -1):
            show.say(ask.Posture(**{angle: sign * most}))
            while show.hub.mode != "rest":
                show.run(2 * DT)
                show.state  # noqa: B018  it is followed from look to look
            assert not show.state.limit
            place = {"roll": 3, "pitch": 4, "yaw": 5}[angle]
            assert show.state.body[place] == pytest.approx(sign * most, abs=2e-3)


def test_a_head_turns_ahead_of_the_body_unless_told_not_to(tansy: Robot) -> None:
    head = 3 * tansy.legs + next(i for i, joint in enumerate(tansy.extra) if joint.leads)
    turned = []
    for on in (True, False):
        show = Rehearsal(tansy)
        show.say(ask.Lead(on))
        show.run(1.0, ask.Drive(turn=0.8))
        assert show.state.leads is on
        turned.append(show.joints[-1, head] - rest_joints(tansy)[head])
    assert turned[0] > np.deg2rad(5), "to the left, as the body turns"
    assert turned[1] == 0
