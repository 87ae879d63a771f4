"""Every move that ships: it is read, written back the same, comes alive at the rate asked, and Tansy can do it."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from motionhub.check.report import check
from motionhub.motion.documents import parse, parse_routine
from motionhub.motion.posing import rest_joints
from motionhub.motion.render import render
from motionhub.motion.routine import render_routine
from motionhub.motion.support import rest_on_ground
from motionhub.robot.limits import top_speed

SHIPPED = Path(__file__).parents[2] / "sequences"
ROUTINES = ("an-evening",)
MOVES = sorted(path.stem for path in SHIPPED.glob("*.json") if path.stem not in ROUTINES)

PROMISED = {
    "stand-up", "lie-down", "wave", "bow", "look-about", "sway", "tail-wag", "march-on-the-spot", "turn-left",
    "turn-right", "startle", "lantern-walk",
}  # fmt: skip


def text(name):
    return (SHIPPED / f"{name}.json").read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def moves(tansy):
    return {name: parse(text(name), f"{name}.json", tansy) for name in MOVES}


@pytest.fixture(scope="module")
def frames(moves, tansy):
    return {name: render(move, tansy) for name, move in moves.items()}


def test_the_promised_moves_are_there():
    assert set(MOVES) >= PROMISED


@pytest.mark.parametrize("name", MOVES)
def test_a_move_is_named_as_its_file_and_written_as_the_program_writes_it(name, moves):
    assert moves[name].name == name
    assert moves[name].document.about
    assert moves[name].dump() == text(name)


@pytest.mark.parametrize("name", MOVES)
def test_the_check_has_nothing_against_it(name, frames):
    report = check(frames[name])
    assert [finding for finding in report.findings if finding.severity == "error"] == []
    assert report.fits


@pytest.mark.parametrize("name", MOVES)
def test_it_is_of_a_length_that_people_watch(name, moves):
    assert 3 <= moves[name].duration_s <= 12


@pytest.mark.parametrize("name", MOVES)
def test_it_is_alive(name, frames, tansy):
    """Head, tail and light all take part, and no joint ever snaps to its place or stands out of reach."""
    shown = frames[name]
    moved = np.ptp(shown.joints, axis=0)
    assert np.rad2deg(moved[tansy.joint_index["head"]]) > 10
    assert np.rad2deg(moved[tansy.joint_index["tail"]]) > 10
    assert np.ptp(shown.outputs[:, 0]) > 0.2
    assert (np.abs(np.diff(shown.joints, axis=0)) * shown.rate_hz <= top_speed(tansy)).all()
    assert shown.reach_error.max() == 0


@pytest.mark.parametrize("name", sorted(PROMISED - {"stand-up", "lie-down"}))
def test_it_starts_and_ends_standing_at_rest(name, frames, tansy):
    rest = rest_joints(tansy)
    np.testing.assert_allclose(frames[name].joints[0], rest, atol=1e-9)
    np.testing.assert_allclose(frames[name].joints[-1], rest, atol=1e-9)
    assert frames[name].outputs[-1, 1] == 0  # never leaves the sounder on


def test_lying_down_ends_where_standing_up_begins(frames, tansy):
    down, up = frames["lie-down"].joints, frames["stand-up"].joints
    np.testing.assert_allclose(down[0], rest_joints(tansy), atol=1e-9)
    np.testing.assert_allclose(up[-1], rest_joints(tansy), atol=1e-9)
    np.testing.assert_allclose(down[-1], up[0], atol=1e-9)


def test_lying_down_never_drops_the_body(frames, tansy):
    """By what the robot rests on: the underside ends within 5 mm of the ground, and sinks at most 80 mm/s."""
    resting = rest_on_ground(tansy, frames["lie-down"].joints)
    underside = tansy.body_centre[2] - tansy.body_size[2] / 2
    assert 0 <= resting.height[-1] + underside <= 0.005
    assert (np.diff(resting.height) * 50 >= -0.080).all()
    assert not resting.tipped.any()


def test_the_wave_shifts_its_weight_before_it_lifts_and_stands_on_five_feet(frames, tansy):
    shown = frames["wave"]
    resting = rest_on_ground(tansy, shown.joints)
    leg = tansy.leg_index["left_front"]
    others = [i for i in range(tansy.legs) if i != leg]
    assert resting.down[:, others].all()
    up = np.flatnonzero(~resting.down[:, leg])
    assert up[0] / 50 < 2
    # The weight's line has moved away from the leg, to the rear and to the right, before the foot leaves the ground.
    towards = tansy.hip[leg, :2] / np.linalg.norm(tansy.hip[leg, :2])
    shift = (resting.com - resting.com[0]) @ towards
    # com is under the body: the feet's centre moving forward under it is the body moving back.
    feet = resting.feet[:, others, :2].mean(axis=1) @ towards
    assert (shift - (feet - feet[0]))[up[0]] < -0.005
    assert resting.margin[up].min() > 0.05
    assert resting.clearance[up, leg].max() > 0.06


def test_turning_left_and_right_are_mirror_images(frames, tansy):
    left, right = frames["turn-left"].travel[-1], frames["turn-right"].travel[-1]
    assert np.rad2deg(left[2]) > 45
    np.testing.assert_allclose(left, right * [1, -1, -1], atol=1e-9)


@pytest.mark.parametrize("name", ROUTINES)
def test_the_routine_is_performed_and_checked_whole(name, moves, tansy):
    routine = parse_routine(text(name), f"{name}.json")
    assert routine.name == name
    shown = render_routine(routine, f"{name}.json", moves, tansy)
    assert shown.holds[0] == 0
    assert len(shown.holds) >= 3
    report = check(shown)
    assert [finding for finding in report.findings if finding.severity == "error"] == []
