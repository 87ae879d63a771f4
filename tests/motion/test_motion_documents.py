"""What a person may write down of a move, and the one clear line that answers what they may not."""

from __future__ import annotations

import json

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from motionhub.errors import InputError
from motionhub.motion import documents, jsontext
from motionhub.motion.documents import parse, parse_pose, parse_routine
from motionhub.motion.easing import KEYWORDS
from motionhub.motion.formats import Pose
from motionhub.motion.render import render

NOD = {"at_ms": 500, "joints_deg": {"head": 10}}


def sequence(**changes):
    """A small sequence that is fine, with changes; ``None`` takes a key out."""
    data = {"format": "motionhub-sequence/1", "name": "nod", "keyframes": [NOD]} | changes
    return json.dumps({key: value for key, value in data.items() if value is not None})


def key(**changes):
    return {"keyframes": [NOD | changes]}


def attempt(do):
    """What it gives, or the refusal: anything else that it raises fails the test."""
    try:
        return do(), None
    except InputError as refused:
        return None, refused


BAD = {
    "a misspelt key": (key(joint_deg={}), r"keyframes\[0\]\.joint_deg: .*'joints_deg'"),
    "a misspelt key at the top": ({"keyframs": []}, "keyframs: .*'keyframes'"),
    "a wrong unit": (key(body={"x_cm": 1}), r"keyframes\[0\]\.body\.x_cm: .*'x_mm'"),
    "an unknown joint": (key(joints_deg={"haed": 1}), r"keyframes\[0\]\.joints_deg: .*joint.*'haed'.*'head'"),
    "an unknown part of a leg": (key(joints_deg={"left_front.tibea": 1}), r"joints_deg: .*'left_front\.tibia'"),
    "an unknown leg": (key(feet={"front_left": {"z_mm": 1}}), r"keyframes\[0\]\.feet: .*leg.*'front_left'"),
    "an unknown pose": (key(pose="low"), r"keyframes\[0\]\.pose: .*pose.*'low'"),
    "an unknown output": ({"cues": [{"at_ms": 0, "output": "lmap", "level": 1}]}, r"cues\[0\]\.output: .*'lamp'"),
    "an unknown approach": (key(approach="ease-inout"), r"keyframes\[0\]\.approach: .*'ease-in-out'"),
    "a half-written approach": (key(approach="steps(x)"), r"keyframes\[0\]\.approach: expected a whole number"),
    "a wrong joint in a pose": ({"poses": {"a": {"joints_deg": {"nose": 1}}}}, r"poses\.a\.joints_deg: .*'nose'"),
    "an unknown gait": (
        {"walks": [{"from_ms": 0, "to_ms": 9000, "forward_mm_s": 9, "gait": "tripd"}]},
        r"walks\[0\]\.gait: .*'tripod'",
    ),
    "not a number": (key(at_ms=float("nan")), r"keyframes\[0\]\.at_ms: expected a finite number"),
    "infinity": (key(body={"z_mm": float("-inf")}), r"keyframes\[0\]\.body\.z_mm: expected a finite number"),
    "an infinite angle": (key(joints_deg={"head": float("inf")}), r"keyframes\[0\]\.joints_deg\.head: .*finite"),
    "an infinite tempo": ({"tempo_bpm": float("inf")}, "tempo_bpm: expected a finite number"),
    "a negative time": (key(at_ms=-1), r"keyframes\[0\]\.at_ms: .*greater than or equal to 0, found -1"),
    "a number as text": (key(at_ms="500"), r"keyframes\[0\]\.at_ms: expected a number, found '500'"),
    "a number as true": (key(at_ms=True), r"keyframes\[0\]\.at_ms: expected a number, found true"),
    "null": (key(at_ms=None), r"keyframes\[0\]\.at_ms: expected a value, found null"),
    "an angle beyond a turn": (key(joints_deg={"head": 3600}), r"joints_deg\.head: .*360"),
    "metres for millimetres": (key(body={"z_mm": 5000}), r"body\.z_mm: .*1000"),
    "a level above full": ({"cues": [{"at_ms": 0, "output": "lamp", "level": 80}]}, r"cues\[0\]\.level: .*1"),
    "a fade that is longer than its cue": (
        {"cues": [{"at_ms": 0, "output": "lamp", "level": 1, "fade_ms": 300, "for_ms": 200}]},
        r"cues\[0\]: expected fade_ms of at most for_ms",
    ),
    "keyframes out of order": (
        {"keyframes": [NOD, NOD | {"at_ms": 400}]},
        r"keyframes\[1\]\.at_ms: .*later.*found 400",
    ),
    "keyframes at the same time": ({"keyframes": [NOD, NOD]}, r"keyframes\[1\]\.at_ms: .*later.*found 500"),
    "cues out of order": (
        {"cues": [{"at_ms": 9, "output": "lamp", "level": 1}, {"at_ms": 8, "output": "lamp", "level": 0}]},
        r"cues\[1\]\.at_ms: .*found 8",
    ),
    "walks that overlap": (
        {
            "walks": [
                {"from_ms": 0, "to_ms": 6000, "forward_mm_s": 9},
                {"from_ms": 5000, "to_ms": 9999, "forward_mm_s": 9},
            ]
        },
        r"walks\[1\]\.from_ms: .*5000",
    ),
    "a walk that ends before it starts": (
        {"walks": [{"from_ms": 500, "to_ms": 400, "forward_mm_s": 9}]},
        r"walks\[0\]\.to_ms: expected an end after the start",
    ),
    "half a walk": ({"walks": [{"from_ms": 0, "forward_mm_s": 9}]}, r"walks\[0\]: expected from_ms and to_ms"),
    "two kinds of time in a walk": (
        {"walks": [{"from_ms": 0, "to_beat": 9, "forward_mm_s": 9}]},
        r"walks\[0\]: expected from_ms and to_ms, or",
    ),
    "two times for one keyframe": (key(at_beat=1), r"keyframes\[0\]: expected one time, at_ms or at_beat"),
    "no time": ({"keyframes": [{"joints_deg": {"head": 1}}]}, r"keyframes\[0\]: expected one time"),
    "beats among milliseconds": (
        {"keyframes": [NOD, {"at_beat": 4, "joints_deg": {"head": 0}}], "tempo_bpm": 60},
        r"keyframes\[1\]\.at_beat: expected all times in milliseconds, as keyframes\[0\]\.at_ms",
    ),
    "a cue in beats among milliseconds": (
        {"cues": [{"at_beat": 0, "output": "lamp", "level": 1}], "tempo_bpm": 60},
        r"cues\[0\]\.at_beat: expected all times in milliseconds",
    ),
    "an end in beats among milliseconds": ({"end_beat": 9, "tempo_bpm": 60}, "end_beat: expected all times in milli"),
    "beats without a tempo": ({"keyframes": [{"at_beat": 1, "joints_deg": {"head": 1}}]}, "tempo_bpm: is missing"),
    "two ends": ({"end_ms": 900, "end_beat": 3}, "end_beat: expected one end"),
    "an end in the middle": ({"end_ms": 499}, "end_ms: expected an end after all else, at 0.5 s, found 0.499 s"),
    "two hours": ({"end_ms": 7_200_000}, "end_ms: expected a sequence of at most 3600 s, found one of 7200 s"),
    "two hours of keyframes": ({"keyframes": [NOD, NOD | {"at_ms": 7_200_000}]}, "expected .* at most 3600 s"),
    "two hours in beats": (
        {"keyframes": [{"at_beat": 1, "joints_deg": {"head": 1}}], "tempo_bpm": 10, "end_beat": 1200},
        "end_beat: expected a sequence of at most 3600 s, found one of 7200 s",
    ),
    "nothing in no time": (key(at_ms=0), "expected a sequence of at least 20 ms, found 0 ms"),
    "an empty sequence": ({"keyframes": []}, "expected at least one keyframe or walk, found none"),
    "cues without a move": (
        {"keyframes": [], "cues": [{"at_ms": 0, "output": "lamp", "level": 1}]},
        "expected at least one keyframe or walk",
    ),
    "a keyframe that moves nothing": ({"keyframes": [{"at_ms": 500}]}, r"keyframes\[0\]: expected something to move"),
    "a keyframe with an empty body": (
        {"keyframes": [{"at_ms": 500, "body": {}}]},
        r"keyframes\[0\]: expected something to move",
    ),
    "no name": ({"name": None}, "name: is missing"),
    "a name that is a path": ({"name": "../nod"}, "name: "),
    "no format": ({"format": None}, "format: expected 'motionhub-sequence/1', found nothing"),
    "another format": ({"format": "motionhub-pose/1"}, "format: expected 'motionhub-sequence/1'"),
    "another version": (
        {"format": "motionhub-sequence/2"},
        r"format: expected version 1 .*found 'motionhub-sequence/2'",
    ),
    "a format that is no text": ({"format": 1}, "format: expected 'motionhub-sequence/1', found 1"),
}


@pytest.mark.parametrize("case", BAD)
def test_what_cannot_be_used_is_refused_in_one_line_that_names_the_place(case, tansy):
    changes, expected = BAD[case]
    with pytest.raises(InputError, match=expected) as refused:
        parse(sequence(**changes), "moves/nod.json", tansy)
    line = str(refused.value)
    assert line.startswith("moves/nod.json: ")
    assert "\n" not in line


BROKEN = {
    "": "line 1: expected value",
    "{": "line 1: expected property name",
    '{"name": "a",}': "line 1: expected property name",
    '{\n"name": "a"\n"b": 1}': "line 3: expected ',' delimiter",
    "[]": "expected a JSON object",
    '"nod"': "expected a JSON object",
    "{} {}": "line 1: expected JSON, found extra data",
    '{"name": "a", "name": "b"}': "name: expected each key once, found it twice",
    '{"keyframes": [{}, {"body": {"x_mm": 1, "z_mm": 2, "x_mm": 3}}]}': r"keyframes\[1\]\.body\.x_mm: .*twice",
    "[" * 100_000: "nested too deeply",
    '{"a":' * 100_000: "nested too deeply",
    '{"name": ' + "9" * 5000 + "}": "a number too long",
    "\ufeff{}": "line 1: expected JSON, found unexpected UTF-8 BOM",
}


@pytest.mark.parametrize("text", BROKEN, ids=[text[:20] or "empty" for text in BROKEN])
def test_broken_json_is_refused_with_the_line_or_the_place(text, tansy):
    with pytest.raises(InputError, match=BROKEN[text]):
        parse(text, "nod.json", tansy)


def test_numbers_beyond_every_bound_are_refused_not_an_error(tansy):
    for number in ("1e999", "-1e999", "1" + "0" * 400):
        with pytest.raises(InputError, match=r"keyframes\[0\]"):
            parse(sequence().replace("500", number), "nod.json", tansy)


def test_a_key_given_twice_would_have_been_lost_by_the_standard_reader():
    """The trap itself, so that the day Python refuses it we can drop our own check."""
    assert json.loads('{"a": 1, "a": 2}') == {"a": 2}


# ---------------------------------------------------------------- poses


def test_a_pose_of_the_sequence_goes_before_one_of_the_library(tansy):
    library = {"low": Pose(joints_deg={"head": 40.0}), "high": Pose(joints_deg={"head": -40.0})}
    text = sequence(
        poses={"low": {"joints_deg": {"head": 20}}},
        keyframes=[{"at_ms": 100, "pose": "low"}, {"at_ms": 200, "pose": "high"}],
    )
    head = render(parse(text, "x", tansy, library), tansy).joints[:, tansy.joint_index["head"]]
    np.testing.assert_allclose(np.rad2deg(head[[5, 10]]), [20, -40])


def test_a_keyframe_goes_before_the_pose_it_names_channel_by_channel(tansy):
    pose = {
        "body": {"z_mm": -20, "roll_deg": 5},
        "feet": {"left_front": {"x_mm": 3, "z_mm": 9}},
        "joints_deg": {"head": 7},
    }
    keyframe = {
        "at_ms": 100,
        "pose": "low",
        "body": {"z_mm": 1},
        "feet": {"left_front": {"z_mm": 2}},
        "joints_deg": {"tail": 4},
    }
    known = parse(sequence(poses={"low": pose}, keyframes=[keyframe]), "x", tansy)
    merged = known.pose_of(known.document.keyframes[0]).model_dump(exclude_none=True)
    assert merged == {
        "body": {"z_mm": 1, "roll_deg": 5},
        "feet": {"left_front": {"x_mm": 3, "z_mm": 2}},
        "joints_deg": {"head": 7, "tail": 4},
    }


def test_a_pose_of_another_robot_is_refused_where_it_is_used(tansy):
    with pytest.raises(InputError, match=r"keyframes\[0\]\.pose\.joints_deg: .*'gripper'"):
        parse(sequence(**key(pose="grip")), "x", tansy, {"grip": Pose(joints_deg={"gripper": 1.0})})


def test_poses_and_routines_are_read_and_refused_alike(tansy):
    pose = {"format": "motionhub-pose/1", "name": "low", "body": {"z_mm": -20}}
    assert parse_pose(json.dumps(pose), "low.json", tansy).body.z_mm == -20
    for changes, expected in (
        ({"format": "motionhub-pose/9"}, "low.json: format: expected version 1"),
        ({"body": {"z": 1}}, r"low.json: body\.z: is not a known key"),
        ({"joints_deg": {"hed": 1}}, "low.json: joints_deg: .*'head'"),
        ({"body": None}, "low.json: expected something"),
    ):
        text = json.dumps({k: v for k, v in (pose | changes).items() if v is not None})
        with pytest.raises(InputError, match=expected):
            parse_pose(text, "low.json", tansy)
    routine = {"format": "motionhub-routine/1", "name": "show", "steps": [{"sequence": "wave"}]}
    assert parse_routine(json.dumps(routine), "show.json").steps[0].times == 1
    for step, expected in (
        ({"sequence": "wave", "times": 0}, r"steps\[0\]\.times: .*1"),
        ({"sequence": "wave", "times": 1.5}, r"steps\[0\]\.times: expected a whole number"),
        ({"sequence": "wave", "pause": 1}, r"steps\[0\]\.pause: .*'pause_ms'"),
        ({"sequence": "wave", "pause_ms": -1}, r"steps\[0\]\.pause_ms: .*0"),
        ({"wait": True}, r"steps\[0\]\.sequence: is missing"),
    ):
        with pytest.raises(InputError, match="show.json: " + expected):
            parse_routine(json.dumps(routine | {"steps": [step]}), "show.json")
    with pytest.raises(InputError, match=r"show\.json: steps: "):
        parse_routine(json.dumps(routine | {"steps": []}), "show.json")


# ---------------------------------------------------------------- any document

LEGS = ("left_front", "right_middle", "left_rear")
millimetres = st.floats(-150, 150)
tilts = st.floats(-40, 40)


def some(**options):
    return st.fixed_dictionaries({}, optional=options)


bodies = some(x_mm=millimetres, y_mm=millimetres, z_mm=millimetres, roll_deg=tilts, pitch_deg=tilts, yaw_deg=tilts)
feet = st.dictionaries(st.sampled_from(LEGS), some(x_mm=millimetres, y_mm=millimetres, z_mm=millimetres), max_size=3)
joints = st.dictionaries(
    st.sampled_from(("head", "tail", "left_front.coxa", "left_front.femur", "right_middle.tibia")),
    st.floats(-360, 360),
    max_size=3,
)
approaches = st.sampled_from(
    (*KEYWORDS, "cubic-bezier(0.3, -0.5, 0.2, 1.8)", "cubic-bezier(0,1,1,0)", "steps(3, jump-both)")
)
times = st.one_of(st.integers(0, 4000), st.floats(0, 4000))


offset = st.fixed_dictionaries({"z_mm": millimetres}, optional={"x_mm": millimetres, "y_mm": millimetres})
moved = st.one_of(
    st.fixed_dictionaries({"body": st.fixed_dictionaries({"z_mm": millimetres}, optional={"pitch_deg": tilts})}),
    st.fixed_dictionaries({"feet": st.dictionaries(st.sampled_from(LEGS), offset, min_size=1, max_size=3)}),
    st.fixed_dictionaries({"joints_deg": st.fixed_dictionaries({"left_front.femur": st.floats(-360, 360)})}),
    st.fixed_dictionaries({"body": bodies, "feet": feet, "joints_deg": joints}),
)
walks = st.fixed_dictionaries(
    {"forward_mm_s": st.floats(-60, 60)}, optional={"left_mm_s": st.floats(-40, 40), "turn_deg_s": st.floats(-25, 25)}
)


@st.composite
def cues(draw):
    stay = draw(st.none() | st.floats(1, 2000))
    cue = {"output": draw(st.sampled_from(("lamp", "sounder"))), "level": draw(st.floats(0, 1))}
    return cue | {"fade_ms": draw(st.floats(0, stay or 900))} | ({"for_ms": stay} if stay else {})


@st.composite
def sequences(draw):
    """Sequences, most of them fine: times in order, names that exist, walks that may ask too much."""
    in_beats = draw(st.booleans())
    at, start, stop = ("at_beat", "from_beat", "to_beat") if in_beats else ("at_ms", "from_ms", "to_ms")
    scale = 1 / 500 if in_beats else 1.0

    def timed(item, least, most, **options):
        moments = sorted(draw(st.lists(times, min_size=least, max_size=most, **options)))
        return [draw(item) | {at: moment * scale} for moment in moments]

    data = {"format": "motionhub-sequence/1", "name": "any"}
    if in_beats or draw(st.booleans()):
        data["tempo_bpm"] = draw(st.floats(60, 240))
    if draw(st.booleans()):
        data["poses"] = {"low": draw(some(body=bodies, feet=feet, joints_deg=joints))}
        moves = st.tuples(moved, some(approach=approaches, pose=st.just("low"))).map(lambda parts: parts[0] | parts[1])
    else:
        moves = st.tuples(moved, some(approach=approaches)).map(lambda parts: parts[0] | parts[1])
    data["keyframes"] = timed(moves, draw(st.integers(0, 1)), 5, unique=True)
    data["cues"] = timed(cues(), 0, 4)
    if draw(st.booleans()) or not data["keyframes"]:
        first = draw(st.floats(0, 1000))
        data["walks"] = [draw(walks) | {start: first * scale, stop: (first + draw(st.floats(900, 4000))) * scale}]
    return data


@settings(max_examples=150, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(data=sequences())
def test_any_sequence_renders_to_finite_frames_or_is_refused_by_place(data, tansy):
    known, refused = attempt(lambda: parse(json.dumps(data), "any.json", tansy))
    frames, refused = (None, refused) if refused else attempt(lambda: render(known, tansy))
    if refused:
        assert refused.source == "any.json"
        assert refused.expected
        assert "\n" not in str(refused)
        return
    assert len(frames) == round(known.duration_s * 50) + 1
    assert np.isfinite(frames.joints).all()
    assert np.isfinite(frames.travel).all()
    assert ((frames.outputs >= 0) & (frames.outputs <= 1)).all()
    assert (frames.reach_error >= 0).all()


@settings(max_examples=150, deadline=None)
@given(data=sequences())
def test_saving_and_loading_is_the_identity(data, tansy):
    known, refused = attempt(lambda: parse(json.dumps(data), "any.json", tansy))
    if refused:
        return
    again = parse(known.dump(), "again.json", tansy)
    assert again.document == known.document
    assert again.dump() == known.dump()


json_values = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=8),
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(st.text(max_size=8), inner, max_size=3),
    max_leaves=8,
)


@settings(max_examples=200, deadline=None)
@given(data=sequences(), path=st.lists(st.integers(0, 3), min_size=1, max_size=5), value=json_values)
def test_a_document_with_anything_put_anywhere_is_read_or_refused(data, path, value, tansy):
    here, steps = data, list(path)
    while True:
        keys = list(here) if isinstance(here, dict) else list(range(len(here)))
        if not keys:
            return
        chosen = keys[steps.pop(0) % len(keys)]
        if not steps or not isinstance(here[chosen], dict | list):
            here[chosen] = value
            break
        here = here[chosen]
    _, refused = attempt(lambda: render(parse(json.dumps(data), "odd.json", tansy), tansy))
    assert "\n" not in str(refused)


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused(text):
    found, refused = attempt(lambda: jsontext.load(text, "odd.json"))
    assert isinstance(found, dict) or refused.expected


def test_a_document_the_program_made_is_held_to_the_same_rules(tansy):
    known = parse(sequence(), "x", tansy)
    longer = known.document.model_copy(update={"end_ms": 1e8})
    with pytest.raises(InputError, match="x: end_ms: expected a sequence of at most 3600 s"):
        documents.resolve(longer, "x", tansy)


def test_what_is_written_reads_well(tansy):
    text = parse(sequence(end_ms=1500, cues=[{"at_ms": 0, "output": "lamp", "level": 0.5}]), "x", tansy).dump()
    assert text.splitlines() == [
        "{",
        '  "format": "motionhub-sequence/1",',
        '  "name": "nod",',
        '  "keyframes": [{"at_ms": 500, "joints_deg": {"head": 10}}],',
        '  "cues": [{"at_ms": 0, "output": "lamp", "level": 0.5}],',
        '  "end_ms": 1500',
        "}",
    ]
