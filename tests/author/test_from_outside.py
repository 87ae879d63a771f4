"""Recordings and tables become few keyframes within the stated error; what does not fit is refused with its place."""

from __future__ import annotations

import json
from pathlib import Path

import msgpack
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from motionhub.errors import InputError
from motionhub.library.exchange import Columns, pack_frames, read_table
from motionhub.motion import documents
from motionhub.motion.posing import joints_for, rest_joints, standing_feet
from motionhub.motion.render import render
from motionhub.motion.thinning import body_of, cues_of, thin, transcribe
from motionhub.robot import description
from motionhub.robot.model import Robot

SHIPPED = Path(__file__).parents[2] / "sequences"
TANSY = description.load(SHIPPED / "robots" / "tansy.toml")


def frames_of(name: str, robot: Robot = TANSY) -> np.ndarray:
    sequence = documents.parse((SHIPPED / f"{name}.json").read_text(), name, robot, {})
    return render(sequence, robot, 50.0).joints


@pytest.mark.parametrize("name", ["bow", "wave"])
@pytest.mark.parametrize("error_deg", [0.3, 1.0, 3.0])
def test_the_stated_error_is_that_of_the_rendered_move(name: str, error_deg: float) -> None:
    wanted = frames_of(name)
    done = transcribe(name, wanted, 50.0, TANSY, error_deg)
    # Read anew as a document, as anybody would.
    found = render(documents.parse(done.sequence.dump(), name, TANSY, {}), TANSY, 50.0).joints
    off = float(np.rad2deg(np.abs(found - wanted).max()))
    assert len(found) == len(wanted)
    assert off == pytest.approx(done.error_deg, abs=1e-6)
    assert off <= error_deg
    assert done.keyframes < len(wanted) / (1 if error_deg < 1 else 2)


def test_a_larger_error_never_takes_more_keys() -> None:
    wanted = frames_of("bow")
    counts = [transcribe("bow", wanted, 50.0, TANSY, error).keyframes for error in (0.3, 1.0, 3.0)]
    assert counts == sorted(counts, reverse=True)


@settings(max_examples=25, deadline=None)
@given(st.lists(st.floats(-1, 1), min_size=6, max_size=6))
def test_where_the_body_is_over_planted_feet(shares: list[float]) -> None:
    """Rotation by SciPy: Rz(yaw) Ry(pitch) Rx(roll), intrinsic ZYX."""
    body = np.array(shares) * np.array([0.02, 0.02, 0.015, 0.1, 0.1, 0.12])
    feet = standing_feet(TANSY)
    turn = Rotation.from_euler("ZYX", body[[5, 4, 3]])
    joints, missed = joints_for(TANSY, body, feet)
    assert missed.max() < 1e-9
    found = body_of(np.stack([joints, joints]), TANSY)
    assert found is not None
    assert found[0, :3] == pytest.approx(body[:3], abs=1e-6)
    again = Rotation.from_euler("ZYX", found[0, [5, 4, 3]])
    assert (turn.inv() * again).magnitude() == pytest.approx(0, abs=1e-6)


def test_a_sway_is_told_by_the_body_and_a_lifted_foot_by_joints() -> None:
    sway = transcribe("sway", frames_of("sway"), 50.0, TANSY, 1.0).sequence.document
    assert any(k.body for k in sway.keyframes)
    assert not any("femur" in joint for k in sway.keyframes for joint in k.joints_deg)
    wave = transcribe("wave", frames_of("wave"), 50.0, TANSY, 1.0).sequence.document
    assert any("femur" in joint for k in wave.keyframes for joint in k.joints_deg)


def test_keys_on_a_straight_line_are_left_out() -> None:
    keyframes = [{"at_ms": i * 100, "body": {"x_mm": i}, "approach": "linear"} for i in range(21)]
    text = json.dumps({"format": "motionhub-sequence/1", "name": "line", "keyframes": keyframes})
    done = thin(documents.parse(text, "line", TANSY, {}), TANSY, 0.1)
    assert done.keyframes == 2
    assert done.sequence.duration_s == 2.0


def test_cues_say_what_an_output_did() -> None:
    levels = np.concatenate([np.zeros(25), np.linspace(0, 1, 26), np.ones(25)])[:, None]
    cues = cues_of(levels, 50.0, ["lamp"])
    keyframes = [{"at_ms": 0, "body": {"x_mm": 0}}]
    doc = {"format": "motionhub-sequence/1", "name": "c", "keyframes": keyframes, "end_ms": 1500}
    doc["cues"] = [cue.model_dump(exclude_none=True) for cue in cues]
    found = render(documents.parse(json.dumps(doc), "c", TANSY, {}), TANSY, 50.0).outputs[:, 0]
    assert found == pytest.approx(levels[: len(found), 0], abs=0.08)


def test_a_table_comes_back_as_it_went_out() -> None:
    joints = frames_of("bow")
    rows = ["t_s," + ",".join(TANSY.joint_names)]
    rows += [f"{i / 50:.6f}," + ",".join(f"{v:.6f}" for v in row) for i, row in enumerate(np.rad2deg(joints))]
    found, passed = read_table("\n".join(rows), "bow.csv", TANSY, Columns(time="t_s"), 50.0)
    assert found == pytest.approx(joints, abs=1e-6)
    assert passed == []


def test_columns_by_other_names_in_milliseconds_with_a_decimal_comma() -> None:
    text = "Zeit;Kopf;note\n0;0,0;a\n500;10,5;b\n1000;21,0;c\n"
    columns = Columns({"head": "Kopf"}, "Zeit", milliseconds=True)
    found, passed = read_table(text, "x.csv", TANSY, columns, 10.0)
    head = TANSY.joint_index["head"]
    assert np.rad2deg(found[:, head]) == pytest.approx(np.linspace(0, 21, 11))
    others = np.delete(np.arange(TANSY.joints), head)
    assert found[:, others] == pytest.approx(np.tile(rest_joints(TANSY)[others], (11, 1)))
    assert passed == ["note"]


@pytest.mark.parametrize(
    ("text", "columns", "words"),
    [
        ("", Columns(), ["line 1", "headings"]),
        ("a,b\n1,2\n1,2\n", Columns(), ["line 1", "map them"]),
        ("head,head\n1,2\n", Columns(), ["line 1", "twice"]),
        ("head\n1\n", Columns(), ["two rows"]),
        ("head\n1\nx\n", Columns(), ["line 3, head", "number", "'x'"]),
        ("head\n1\nnan\n", Columns(), ["line 3, head", "number"]),
        ("head\n1\n400\n", Columns(), ["line 3, head", "360", "400"]),
        ("head,tail\n1,2\n3\n", Columns(), ["line 3", "2 columns", "found 1"]),
        ("head\n1\n2\n", Columns({"haed": "head"}), ["columns", "'head'"]),
        ("kopf\n1\n2\n", Columns({"head": "kopff"}), ["line 1", "'kopf'"]),
        ("t,head\n0,1\n0,2\n", Columns(time="t"), ["line 3, t", "later"]),
        ("t,head\n0,1\n900000,2\n", Columns(time="t"), ["t", "seconds?"]),
    ],
)
def test_what_does_not_fit_is_refused_with_its_place(text: str, columns: Columns, words: list[str]) -> None:
    with pytest.raises(InputError) as caught:
        read_table(text, "x.csv", TANSY, columns, 50.0)
    assert all(word in str(caught.value) for word in words), caught.value


def test_frames_as_messagepack() -> None:
    sequence = documents.parse((SHIPPED / "bow.json").read_text(), "bow", TANSY, {})
    frames = render(sequence, TANSY, 50.0)
    found = msgpack.unpackb(pack_frames(frames))
    assert (found["format"], found["rate_hz"], found["joints"]) == ("motionhub-frames/1", 50, list(TANSY.joint_names))
    # float32 holds 24 bits: better than a hundred-thousandth of a degree here.
    assert np.deg2rad(found["joints_deg"]) == pytest.approx(frames.joints, abs=1e-6)
