"""Gaits that a robot file brings along, and robots with five and seven legs: walked, or refused by name."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from test_sway import distance_inside, margins
from walkers import DT, REST, TANSY, text_of, walk_until_settled, without

from motionhub.errors import InputError
from motionhub.motion.documents import parse as parse_move
from motionhub.motion.gait import GAITS, Gait, creep, gaits, tripod, wave
from motionhub.motion.manner import manner_of
from motionhub.motion.posing import joints_for, standing_feet
from motionhub.motion.render import render
from motionhub.motion.stepper import Stepper
from motionhub.robot import description
from motionhub.robot.believable import TAKEN
from motionhub.robot.kinematics import within
from motionhub.robot.mass import centre_of_mass
from motionhub.robot.model import Robot

AMBLE = """
[gaits.amble]                # one side after the other, from rear to front
duty = 0.75
touchdown.left_front = 0.0
touchdown.left_middle = 0.75
touchdown.left_rear = 0.5
touchdown.right_front = 0.5
touchdown.right_middle = 0.25
touchdown.right_rear = 0.0
cycle_ms = 1440
lift_mm = 20
stride_mm = 40
wider_mm = 12
"""


def with_gait(text: str) -> Robot:
    return Robot.from_file(description.parse(text_of("tansy") + text, "mine.toml"))


def test_a_written_gait_is_walked_with_its_own_cycle_lift_stride_and_stance() -> None:
    robot = with_gait(AMBLE)
    assert list(gaits(robot)) == [*gaits(TANSY), "amble"]
    stepper = Stepper(robot, gaits(robot)["amble"], DT)
    assert stepper.timing.cycle * DT == pytest.approx(1.44, rel=0.01)
    walked = walk_until_settled(stepper, [(1.0, 0.0, 0.0)] * 5 * stepper.timing.cycle)
    steady = slice(3 * stepper.timing.cycle, 5 * stepper.timing.cycle)
    feet, down = walked.feet[steady], walked.down[steady]
    assert feet[..., 2].max() == pytest.approx(robot.foot_radius[0] + 0.020, rel=0.02)
    for leg in range(robot.legs):
        on_ground = feet[down[:, leg], leg]
        assert np.ptp(on_ground[:, 0]) == pytest.approx(0.040, rel=0.05)
        # 12 mm further from the hip than the 110 mm of the file, in the middle of the stance
        out = np.hypot(*(on_ground[:, :2].mean(axis=0) - robot.hip[leg, :2]))
        assert out == pytest.approx(0.122, abs=0.002)
    assert np.array_equal(stepper.stance.feet, standing_feet(robot))
    assert down.mean() == pytest.approx(0.75, abs=0.01)


def stately(gait: Gait, more: str = "") -> Robot:
    """Tansy with a gait of that shape, under a name of its own."""
    touchdown = ", ".join(f"{leg} = {at:.6f}" for leg, at in zip(TANSY.leg_names, gait.phases, strict=True))
    return with_gait(f"[gaits.stately]\nduty = {gait.duty}\ntouchdown = {{ {touchdown} }}\n{more}")


@pytest.mark.parametrize("make", [wave, creep])
def test_a_sway_that_is_asked_for_takes_the_weight_further_inside_the_feet(make: Callable[[Robot], Gait]) -> None:
    """By the convex hull (SciPy), at full speed some ways; and as fast as without it."""
    least, paces = [], []
    for more in ("", "sway_margin_mm = 80\n"):
        robot = stately(make(TANSY), more)
        gait = gaits(robot)["stately"]
        manner = manner_of(robot, gait, DT)
        assert bool(manner.sway) == bool(more)
        paces.append(min(manner.pace))
        found = []
        for way in ((9.0, 0.0, 0.0), (9.0, -9.0, 0.0), (-9.0, -9.0, 0.0), (0.0, 9.0, 0.0), (0.0, 0.0, 9.0)):
            walked = walk_until_settled(Stepper(robot, gait, DT), [way] * 2 * manner.timing.cycle)
            found.append(margins(robot, walked).min())
            joints, missed = joints_for(robot, np.zeros(6), walked.feet)
            assert missed.max() == 0
            assert within(robot, joints).all()
        least.append(min(found))
    print(f"{make.__name__}: margin {least[0] * 1e3:.1f} mm, swaying {least[1] * 1e3:.1f} mm")
    assert least[1] > least[0] + 0.003
    assert manner.margin >= 0.080  # of the steady walk, as was asked
    assert paces[1] == pytest.approx(paces[0])


def test_the_gait_that_the_readme_shows_is_one_that_sways() -> None:
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    robot = with_gait(text.split("```toml\n[gaits", 1)[1].split("```", 1)[0].join(["[gaits", ""]))
    manner = manner_of(robot, gaits(robot)["stately"], DT)
    assert manner.sway
    assert manner.margin >= 0.080


def test_a_sway_that_would_gain_nothing_is_left_out() -> None:
    """Alternate tripods change over at once: nowhere to sway to in between."""
    plain, asked = (
        manner_of(robot, gaits(robot)["stately"], DT)
        for robot in (stately(tripod(TANSY)), stately(tripod(TANSY), "sway_margin_mm = 150\n"))
    )
    assert asked.margin >= plain.margin
    assert asked.able


def test_a_written_gait_is_one_that_a_sequence_may_name() -> None:
    robot = with_gait(AMBLE)
    move = {
        "format": "motionhub-sequence/1", "name": "stroll",
        "walks": [{"from_ms": 0, "to_ms": 6000, "forward_mm_s": 15, "gait": "amble"}],
    }  # fmt: skip
    assert render(parse_move(json.dumps(move), "stroll.json", robot), robot).travel[-1, 0] > 0.04
    with pytest.raises(InputError, match="amble"):
        parse_move(json.dumps(move), "stroll.json", TANSY)


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("gaits.amble", "gaits.tripod", "gaits.tripod: expected a name of its own, found 'tripod', which is a gait"),
        ("left_front =", "left_fron =", r"gaits.amble.touchdown.left_fron: .*did you mean 'left_front'"),
        ("touchdown.left_front = 0.0", "", "gaits.amble.touchdown: expected every leg in it, found none of left_f"),
        ("left_front = 0.0", "left_front = 1.25", "gaits.amble.touchdown.left_front: expected .*less than 1"),
        ("duty = 0.75", "duty = 1.0", "gaits.amble.duty: expected .*less than 1"),
        ("duty = 0.75", "duty = 0.3", r"gaits.amble: expected 3 feet on the ground at any time, found [01] at 0\.\d+"),
        ("duty = 0.75", "dutty = 0.75", "gaits.amble.dutty: is not a known key here; did you mean 'duty'"),
        ("[gaits.amble]", "[gaits.Amble]", "gaits.Amble.*: expected a name of at most 32 small letters"),
    ],
)  # fmt: skip
def test_what_cannot_be_a_gait_is_refused_by_place(old: str, new: str, expected: str) -> None:
    assert old in AMBLE
    with pytest.raises(InputError, match=r"mine\.toml: " + expected):
        with_gait(AMBLE.replace(old, new, 1))


def test_the_names_that_are_taken_are_those_of_the_gaits_that_there_are() -> None:
    assert set(TAKEN) == set(GAITS)


def test_a_gait_that_leaves_the_weight_outside_its_feet_is_not_walked_by() -> None:
    """All of the left side in the air at once: three feet stand, on one side."""
    robot = with_gait("""
[gaits.tilt]
duty = 0.5
touchdown = { left_front = 0, left_middle = 0, left_rear = 0, right_front = 0.5, right_middle = 0.5, right_rear = 0.5 }
""")
    manner = manner_of(robot, gaits(robot)["tilt"], DT)
    assert not manner.able
    stepper = Stepper(robot, gaits(robot)["tilt"], DT)
    assert stepper.limit((0.05, 0, 0)) == (REST, True)
    stepper.step((0.05, 0, 0))
    assert stepper.settled


LAME = {
    "five": without("tansy", "left_middle"),
    "seven": without("harrow", "left_2"),
    "a corner short": without("harrow", "right_4"),
}


@pytest.mark.parametrize("name", LAME)
@pytest.mark.parametrize("twist", [(1.0, 0, 0), (0, -1.0, 0), (0.3, 0.3, -3.0)])
def test_an_odd_number_of_legs_creeps_inside_its_feet(name: str, twist: tuple[float, float, float]) -> None:
    robot = LAME[name]
    assert list(gaits(robot)) == ["creep"]
    stepper = Stepper(robot, None, DT)
    top, _ = stepper.limit(twist)
    assert np.hypot(*top[:2]) > 0.002
    walked = walk_until_settled(stepper, [top] * 3 * stepper.timing.cycle)
    joints, missed = joints_for(robot, np.zeros(6), walked.feet)
    weight = centre_of_mass(robot, joints)[:, :2]
    stances = zip(walked.feet, walked.down, weight, strict=True)
    assert min(distance_inside(feet[down, :2], at) for feet, down, at in stances) >= robot.walk.margin
    assert within(robot, joints).all()
    assert missed.max() == 0
    assert walked.down.sum(axis=1).min() == robot.legs - 1
    assert np.array_equal(stepper.stance.feet, standing_feet(robot))
