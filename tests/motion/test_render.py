"""From keyframes, walks and cues to frames."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from motionhub.errors import InputError
from motionhub.motion.documents import parse
from motionhub.motion.easing import ease
from motionhub.motion.posing import joints_for, rest_joints, standing_feet
from motionhub.motion.render import render
from motionhub.robot import kinematics

SMOOTH = ("minimum-jerk", "linear", "ease", "ease-in", "ease-out", "ease-in-out", "cubic-bezier(0.3, -0.4, 0.5, 1.6)")


@pytest.fixture
def joint(tansy):
    def degrees(frames, name):
        return np.rad2deg(frames.joints[:, tansy.joint_index[name]])

    return degrees


def body_of(frames, tansy):
    """Where the body is over its planted feet, (T, 3) in the stance frame, by a fit of all feet (Kabsch, 1976)."""
    feet = kinematics.feet(tansy, frames.joints)
    target = standing_feet(tansy)
    inner = feet - feet.mean(axis=1, keepdims=True)
    outer = target - target.mean(axis=0)
    u, _, vt = np.linalg.svd(np.swapaxes(inner, 1, 2) @ outer)
    flip = np.sign(np.linalg.det(u @ vt))
    u[:, :, 2] *= flip[:, None]
    turn = np.swapaxes(u @ vt, 1, 2)
    return target.mean(axis=0) - (turn @ feet.mean(axis=1)[..., None])[..., 0]


# ---------------------------------------------------------------- time


@pytest.mark.parametrize("rate_hz", [1, 10, 24, 33.3, 50, 60, 120, 1000])
@pytest.mark.parametrize("end_ms", [1000, 1234, 777.7])
def test_frames_come_at_exactly_the_rate_asked(rendered, rate_hz, end_ms):
    frames = rendered({"at_ms": 500, "approach": "linear", "joints_deg": {"head": 50}}, rate_hz=rate_hz, end_ms=end_ms)
    assert len(frames) == round(end_ms / 1000 * rate_hz) + 1
    expected = np.minimum(np.arange(len(frames)) / rate_hz / 0.5, 1) * 50
    np.testing.assert_allclose(np.rad2deg(frames.joints[:, -2]), expected, atol=1e-9)


@pytest.mark.parametrize("rate_hz", [0, -1, 0.5, 1001, float("nan"), float("inf")])
def test_a_rate_that_makes_no_sense_is_refused(rendered, rate_hz):
    with pytest.raises(InputError, match=r"test\.json: expected a rate"):
        rendered({"at_ms": 500, "joints_deg": {"head": 5}}, rate_hz=rate_hz)


def test_more_frames_than_memory_likes_are_refused(rendered):
    with pytest.raises(InputError, match="expected at most 1000000 frames, found 3600001"):
        rendered({"at_ms": 500, "joints_deg": {"head": 5}}, rate_hz=1000, end_ms=3_600_000)


def test_beats_are_times_of_the_tempo(rendered):
    # At 120 beats a minute a beat is half a second.
    beats = rendered(
        {"at_beat": 1, "joints_deg": {"head": 30}}, {"at_beat": 2.5, "joints_deg": {"head": -10}},
        tempo_bpm=120, end_beat=4, cues=[{"at_beat": 3, "output": "lamp", "level": 1}],
    )  # fmt: skip
    ms = rendered(
        {"at_ms": 500, "joints_deg": {"head": 30}}, {"at_ms": 1250, "joints_deg": {"head": -10}},
        end_ms=2000, cues=[{"at_ms": 1500, "output": "lamp", "level": 1}],
    )  # fmt: skip
    np.testing.assert_allclose(beats.joints, ms.joints, atol=1e-14)
    np.testing.assert_array_equal(beats.outputs, ms.outputs)


# ---------------------------------------------------------------- keys


def test_a_joint_passes_exactly_through_its_keys_and_rests_before_and_after(rendered, joint):
    head = joint(
        rendered(
            {"at_ms": 400, "joints_deg": {"head": 30}},
            {"at_ms": 1000, "approach": "ease-in", "joints_deg": {"head": -20}},
            end_ms=1500,
        ),
        "head",
    )
    np.testing.assert_allclose(head[[0, 20, 50]], [0, 30, -20], atol=1e-12)
    np.testing.assert_allclose(head[50:], -20, atol=1e-12)


@pytest.mark.parametrize("approach", SMOOTH)
def test_between_keys_it_goes_by_the_later_keys_approach(rendered, joint, approach):
    head = joint(
        rendered(
            {"at_ms": 200, "approach": "linear", "joints_deg": {"head": 10}},
            {"at_ms": 1200, "approach": approach, "joints_deg": {"head": 50}},
        ),
        "head",
    )
    np.testing.assert_allclose(head[10:], 10 + 40 * ease(approach)(np.linspace(0, 1, 51)), atol=1e-9)


def test_hold_stays_and_then_is_there(rendered, joint):
    head = joint(
        rendered(
            {"at_ms": 200, "joints_deg": {"head": 10}}, {"at_ms": 600, "approach": "hold", "joints_deg": {"head": 50}}
        ),
        "head",
    )
    np.testing.assert_allclose(head[10:30], 10, atol=1e-12)
    assert head[30] == pytest.approx(50)


def test_a_first_key_at_the_start_is_where_it_starts(rendered, joint):
    frames = rendered({"at_ms": 0, "joints_deg": {"head": 40}}, {"at_ms": 500, "joints_deg": {"head": 0}})
    assert joint(frames, "head")[0] == pytest.approx(40)


def test_what_no_keyframe_mentions_stays_at_rest(rendered, tansy):
    frames = rendered({"at_ms": 500, "joints_deg": {"head": 40}})
    others = [i for i, name in enumerate(tansy.joint_names) if name != "head"]
    np.testing.assert_array_equal(frames.joints[:, others], np.broadcast_to(rest_joints(tansy)[others], (26, 19)))


def test_the_body_moves_over_planted_feet(rendered, tansy):
    frames = rendered(
        {"at_ms": 500, "body": {"x_mm": 12, "y_mm": -9, "z_mm": -15}},
        {"at_ms": 1000, "approach": "linear", "body": {"z_mm": 5, "pitch_deg": 6}},
    )
    place = body_of(frames, tansy)
    np.testing.assert_allclose(place[25], [0.012, -0.009, tansy.rest_height - 0.015], atol=1e-9)
    # x and y have no key at the end and stay; z goes on evenly.
    np.testing.assert_allclose(place[25:, :2], np.broadcast_to([0.012, -0.009], (26, 2)), atol=1e-9)
    np.testing.assert_allclose(place[25:, 2], tansy.rest_height + np.linspace(-0.015, 0.005, 26), atol=1e-9)
    assert frames.reach_error.max() == 0


def test_a_foot_goes_where_it_is_told_from_where_it_stands(rendered, tansy):
    frames = rendered({"at_ms": 500, "feet": {"right_rear": {"x_mm": -20, "z_mm": 30}}})
    leg = tansy.leg_index["right_rear"]
    feet = kinematics.feet(tansy, frames.joints[-1])
    np.testing.assert_allclose(feet[leg], tansy.rest_feet[leg] + [-0.02, 0, 0.03], atol=1e-12)


# ---------------------------------------------------------------- partial keyframes


def test_a_wave_of_one_leg_over_a_sway_is_both(rendered, tansy):
    """Each alone, then both in one sequence, the keyframes interleaved: neither disturbs the other."""
    sway = [{"at_ms": t, "approach": "ease-in-out", "body": {"y_mm": y}} for t, y in ((300, 15), (900, -15), (1500, 0))]
    wave = [
        {"at_ms": 400, "feet": {"left_front": {"z_mm": 40}}},
        {"at_ms": 800, "joints_deg": {"left_front.coxa": 20, "left_front.femur": 60, "left_front.tibia": -50}},
        {"at_ms": 1100, "joints_deg": {"left_front.coxa": -10}},
        {"at_ms": 1600, "feet": {"left_front": {"z_mm": 0}}},
    ]
    both = rendered(*sorted(sway + wave, key=lambda k: k["at_ms"]), end_ms=2000)
    only_sway, only_wave = rendered(*sway, end_ms=2000), rendered(*wave, end_ms=2000)
    own = tansy.leg_joints(tansy.leg_index["left_front"])
    others = [i for i in range(tansy.joints) if not own.start <= i < own.stop]
    np.testing.assert_array_equal(both.joints[:, others], only_sway.joints[:, others])
    # While its angles are keyed the body under the leg does not matter to it.
    np.testing.assert_allclose(both.joints[40, own], only_wave.joints[40, own], atol=1e-12)
    np.testing.assert_allclose(np.rad2deg(both.joints[40, own]), [20, 60, -50], atol=1e-9)
    # And where it is on the ground again it stands like the rest.
    np.testing.assert_array_equal(both.joints[80:], only_sway.joints[80:])


def test_a_channel_passes_through_keyframes_that_do_not_mention_it(rendered, joint):
    alone = rendered({"at_ms": 1000, "joints_deg": {"head": 40}})
    crowded = rendered(
        {"at_ms": 150, "approach": "hold", "joints_deg": {"tail": 5}},
        {"at_ms": 300, "approach": "linear", "joints_deg": {"tail": -5}},
        {"at_ms": 810, "approach": "ease", "joints_deg": {"tail": 20}},
        {"at_ms": 1000, "joints_deg": {"head": 40}},
    )
    np.testing.assert_array_equal(joint(alone, "head"), joint(crowded, "head"))


def test_angles_take_a_leg_over_and_a_foot_key_gives_it_back(rendered, tansy, joint):
    frames = rendered(
        {"at_ms": 200, "feet": {"left_front": {"z_mm": 0}}},
        {"at_ms": 600, "approach": "linear", "joints_deg": {"left_front.femur": 70}},
        {"at_ms": 1000, "approach": "linear", "feet": {"left_front": {"z_mm": 0}}},
        end_ms=1200,
    )
    femur, rest = joint(frames, "left_front.femur"), np.rad2deg(rest_joints(tansy)[1])
    np.testing.assert_allclose(femur[:11], rest, atol=1e-9)  # not before the last key of this leg
    np.testing.assert_allclose(femur[10:31], np.linspace(rest, 70, 21), atol=1e-9)
    np.testing.assert_allclose(femur[30:51], np.linspace(70, rest, 21), atol=1e-9)
    np.testing.assert_allclose(femur[50:], rest, atol=1e-9)


def test_taking_over_fades_over_what_the_leg_does_meanwhile(rendered, tansy):
    """q = (1 - s)·from(t) + s·to(t): while the body moves, both ends of the fade move."""
    frames = rendered(
        {"at_ms": 1000, "approach": "linear", "body": {"z_mm": -20}, "joints_deg": {"left_front.femur": 70}}
    )
    share = np.linspace(0, 1, 51)
    body = np.zeros((51, 6))
    body[:, 2] = -0.02 * share
    beneath = joints_for(tansy, body, standing_feet(tansy))[0][:, 1]
    np.testing.assert_allclose(frames.joints[:, 1], (1 - share) * beneath + share * np.deg2rad(70), atol=1e-12)


def test_where_angles_are_given_no_foot_is_missed(rendered, tansy):
    far = {"at_ms": 400, "feet": {"left_front": {"x_mm": 500}}}
    assert rendered(far).reach_error[-1, 0] > 0.1
    taken = rendered(far, {"at_ms": 800, "joints_deg": {"left_front.coxa": 0}}, end_ms=1200)
    assert taken.reach_error[20, 0] > 0.1
    assert (taken.reach_error[21:, 0] == 0).all()
    assert (taken.reach_error[:, 1:] == 0).all()


# ---------------------------------------------------------------- smoothness

STEEPEST = {"minimum-jerk": 15 / 8, "linear": 1.0}
"""Greatest slope of the progress. Flash & Hogan 1985; the rest are measured from the curve below."""


def steepest(name):
    if name not in STEEPEST:
        STEEPEST[name] = float(np.abs(np.diff(ease(name)(np.linspace(0, 1, 100_001)))).max() * 100_000)
    return STEEPEST[name]


@settings(max_examples=60, deadline=None)
@given(
    keys=st.lists(
        st.tuples(st.integers(1, 30), st.floats(-70, 70), st.sampled_from(SMOOTH)), min_size=1, max_size=8
    ),
    rate_hz=st.sampled_from((25.0, 50.0, 100.0)),
)  # fmt: skip
def test_a_move_never_jumps_by_more_than_its_own_speed_says(keys, rate_hz, tansy):
    at, before, keyframes, fastest = 0, 0.0, [], 0.0
    for gap, angle, approach in keys:
        at += gap * 100
        keyframes.append({"at_ms": at, "approach": approach, "joints_deg": {"head": angle}})
        fastest = max(fastest, steepest(approach) * abs(angle - before) / (gap * 0.1))
        before = angle
    data = {"format": "motionhub-sequence/1", "name": "nods", "keyframes": keyframes}
    head = np.rad2deg(render(parse(json.dumps(data), "x", tansy), tansy, rate_hz).joints[:, tansy.joint_index["head"]])
    assert np.abs(np.diff(head)).max() <= fastest / rate_hz + 1e-9


offsets = st.fixed_dictionaries(
    {"z_mm": st.floats(-15, 15)},
    optional={
        "x_mm": st.floats(-15, 15),
        "y_mm": st.floats(-15, 15),
        "roll_deg": st.floats(-6, 6),
        "yaw_deg": st.floats(-8, 8),
    },
)
lifted = st.fixed_dictionaries({"z_mm": st.floats(0, 30)})
bent = st.fixed_dictionaries({"left_front.femur": st.floats(0, 80), "left_front.tibia": st.floats(-150, -40)})
leg_keys = st.one_of(
    st.fixed_dictionaries({"feet": st.fixed_dictionaries({"left_front": lifted})}),
    st.fixed_dictionaries({"joints_deg": bent}),
    st.fixed_dictionaries({"body": offsets}),
)


@settings(max_examples=60, deadline=None)
@given(keys=st.lists(st.tuples(st.integers(3, 12), leg_keys), min_size=1, max_size=8))
def test_legs_taken_over_and_given_back_never_jump(keys, tansy):
    """Seen sixteen times finer, what is continuous moves about a sixteenth as far a frame; a jump stays a jump."""
    at, keyframes = 0, []
    for gap, what in keys:
        at += gap * 100
        keyframes.append({"at_ms": at} | what)
    data = {"format": "motionhub-sequence/1", "name": "leg", "keyframes": keyframes}
    known = parse(json.dumps(data), "x", tansy)
    coarse = np.abs(np.diff(render(known, tansy, 50).joints, axis=0)).max()
    fine = np.abs(np.diff(render(known, tansy, 800).joints, axis=0)).max()
    assert fine <= coarse / 16 * 3 + 1e-9


def test_the_same_sequence_gives_the_same_frames(rendered):
    keyframes = [{"at_ms": 700, "body": {"yaw_deg": 8}, "joints_deg": {"tail": 30}}]
    walks = [{"from_ms": 0, "to_ms": 3000, "forward_mm_s": 40}]
    first, second = rendered(*keyframes, walks=walks), rendered(*keyframes, walks=walks)
    assert first.joints.tobytes() == second.joints.tobytes()
