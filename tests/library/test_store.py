"""The library: what is saved comes back the same, and one bad file does not hide the others."""

import json
import os
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from motionhub.errors import InputError
from motionhub.library.names import is_name
from motionhub.library.shelf import KEEP
from motionhub.library.shipped import shipped_folder
from motionhub.library.store import Library, file_name_of
from motionhub.motion import jsontext
from motionhub.motion.formats import Keyframe, PoseFile, RoutineFile, SequenceFile, Step
from motionhub.robot import description
from motionhub.robot.calibration import Calibration

TANSY = description.load(shipped_folder() / "robots" / "tansy.toml")
same_folder = settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])

# ------------------------------------------------------------------ documents as people might write them

names = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9 _-]{0,20}", fullmatch=True).filter(is_name)
mm = st.floats(-1000, 1000)
degrees = st.floats(-360, 360)
tilt = st.floats(-90, 90)
words = st.text(st.characters(exclude_categories=["Cs"]), max_size=40)


def given_some(**fields):
    """A dict with any of the fields, at least one."""
    return st.fixed_dictionaries({}, optional=fields).filter(bool)


offsets = given_some(x_mm=mm, y_mm=mm, z_mm=mm)
bodies = given_some(x_mm=mm, y_mm=mm, z_mm=mm, roll_deg=tilt, pitch_deg=tilt, yaw_deg=tilt)
moved = given_some(
    body=bodies,
    feet=st.dictionaries(st.sampled_from(TANSY.leg_names), offsets, min_size=1, max_size=3),
    joints_deg=st.dictionaries(st.sampled_from(TANSY.joint_names), degrees, min_size=1, max_size=3),
)
approaches = st.sampled_from(
    ["linear", "hold", "ease-in-out", "cubic-bezier(0.1, 0.2, 0.3, 0.4)", "steps(3, jump-end)"]
)
poses = st.builds(
    lambda name, about, pose: PoseFile.model_validate(
        {"format": "motionhub-pose/1", "name": name, "about": about} | pose
    ),
    names,
    words,
    moved,
)


@st.composite
def sequences(draw) -> SequenceFile:
    beats = draw(st.booleans())
    word = "at_beat" if beats else "at_ms"
    times = sorted(draw(st.sets(st.integers(20, 3000), min_size=1, max_size=6)))
    keyframes = [draw(moved) | {word: float(t), "approach": draw(approaches)} for t in times]
    cues = [
        {word: float(t), "output": draw(st.sampled_from(["lamp", "sounder"])), "level": draw(st.floats(0, 1))}
        for t in times[: draw(st.integers(0, 3))]
    ]
    data = {
        "format": "motionhub-sequence/1",
        "name": draw(names),
        "about": draw(words),
        "keyframes": keyframes,
        "cues": cues,
        "poses": draw(st.dictionaries(names, moved, max_size=2)),
    }
    if beats:
        data["tempo_bpm"] = draw(st.floats(60, 400))
    return SequenceFile.model_validate(data)


routines = st.builds(
    lambda name, about, steps: RoutineFile(format="motionhub-routine/1", name=name, about=about, steps=steps),
    names,
    words,
    st.lists(
        st.builds(Step, sequence=names, times=st.integers(1, 9), wait=st.booleans(), pause_ms=st.floats(0, 9e3)),
        min_size=1, max_size=4,
    ),
)  # fmt: skip


# ------------------------------------------------------------------ what is saved comes back


@same_folder
@given(sequences())
def test_a_sequence_comes_back_as_it_was_saved(library, document):
    path = library.save_sequence(document)
    assert library.sequence(document.name).document == document
    assert library.kind(document.name) == "sequence"
    assert path.parent == library.folder
    # And again: the text is the same, so a saved library diffs well.
    text = path.read_text(encoding="utf-8")
    library.save_sequence(library.sequence(document.name))
    assert path.read_text(encoding="utf-8") == text


@same_folder
@given(routines)
def test_a_routine_comes_back_as_it_was_saved(library, document):
    library.save_routine(document)
    assert library.routine(document.name) == document
    assert library.kind(document.name) == "routine"


@same_folder
@given(poses)
def test_a_pose_comes_back_as_it_was_saved(library, document):
    library.save_pose(document)
    assert library.pose(document.name) == document


@same_folder
@given(
    trim=st.lists(st.floats(-40, 40), min_size=TANSY.joints, max_size=TANSY.joints),
    mirrored=st.lists(st.booleans(), min_size=TANSY.joints, max_size=TANSY.joints),
    low=st.integers(500, 900),
    high=st.integers(2100, 2500),
)
def test_a_calibration_comes_back_as_it_was_saved(library, trim, mirrored, low, high):
    whole = np.full(TANSY.joints, 1.0)
    saved = Calibration(
        TANSY.name, TANSY.joint_names, np.deg2rad(trim), np.where(mirrored, -1.0, 1.0), low * whole, high * whole
    )
    library.save_calibration(saved)
    found = library.calibration()
    assert np.allclose(found.trim_rad, saved.trim_rad, atol=np.deg2rad(1e-6))
    for field in ("direction", "low_us", "high_us"):
        assert np.array_equal(getattr(found, field), getattr(saved, field))


def test_a_robot_without_a_calibration_has_the_data_sheets(library):
    assert np.array_equal(library.calibration().low_us, Calibration.default(TANSY).low_us)


def test_a_broken_calibration_is_refused_rather_than_guessed(library):
    library.save_calibration(Calibration.default(TANSY))
    path = library.folder / "calibration" / "tansy.json"
    path.write_text(path.read_text()[:-20])
    with pytest.raises(InputError, match=r"tansy\.json"):
        library.calibration()


@settings(deadline=None)
@given(st.text(min_size=1, max_size=60), st.text(min_size=1, max_size=60))
def test_every_robot_has_a_calibration_file_of_its_own(one, other):
    assert is_name(file_name_of(one))
    if one.lower() != other.lower():
        assert file_name_of(one) != file_name_of(other)


# ------------------------------------------------------------------ the list


def nod(name="nod", degrees=10.0, **more) -> SequenceFile:
    return SequenceFile(
        format="motionhub-sequence/1",
        name=name,
        keyframes=[Keyframe(at_ms=500.0, joints_deg={"head": degrees})],
        **more,
    )


def write(folder, name, text):
    folder.mkdir(parents=True, exist_ok=True)
    (folder / name).write_text(text, encoding="utf-8")


def test_an_empty_library_is_empty_and_makes_no_folder(library):
    assert library.names() == []
    assert library.entries() == []
    assert library.recordings() == []
    assert library.pose_names() == []
    assert not library.folder.exists()


BROKEN = {
    "torn": '{"format": "motionhub-sequence/1", "name": "t',
    "empty": "",
    "list": "[]",
    "other format": '{"format": "something/1"}',
    "no format": "{}",
    "format as list": '{"format": ["motionhub-sequence/1"]}',
    "newer": '{"format": "motionhub-sequence/2", "name": "x"}',
    "nose": '{"format": "motionhub-sequence/1", "name": "x", "keyframes": [{"at_ms": 1, "joints_deg": {"nose": 1}}]}',
    "routine": '{"format": "motionhub-routine/1", "name": "x"}',
    "deep": "[" * 100_000,
}


def test_what_cannot_be_read_is_listed_with_the_reason_and_hides_nothing(library):
    library.save_sequence(nod())
    for name, text in BROKEN.items():
        write(library.folder, f"{name}.json", text)
    (library.folder / "latin.json").write_bytes(b'{"about": "\xe9"}')
    (library.folder / "folder.json").mkdir()
    os.mkfifo(library.folder / "pipe.json")  # opening it would wait for ever
    (library.folder / "out.json").symlink_to("/etc/hostname")
    entries = {entry.name: entry for entry in library.entries()}
    assert set(entries) == {*BROKEN, "nod", "latin", "folder", "pipe", "out"}
    for name, entry in entries.items():
        assert bool(entry.unreadable) == (name != "nod")
        assert name in ("nod",) or name in entry.unreadable
        assert "\n" not in entry.unreadable
    assert entries["routine"].kind == "routine"
    assert set(library.names()) == set(entries)


@pytest.mark.skipif(os.geteuid() == 0, reason="root may read everything")
def test_a_file_that_may_not_be_read_is_listed_as_such(library):
    path = library.save_sequence(nod())
    path.chmod(0)
    assert "permission denied" in library.entries()[0].unreadable


def test_an_unknown_name_is_answered_with_the_nearest(library):
    library.save_sequence(nod("wave"))
    for ask in (library.sequence, library.routine, library.kind):
        with pytest.raises(InputError, match="'wave'"):
            ask("wvae")
    with pytest.raises(InputError, match="recording"):
        library.recording("x")
    with pytest.raises(InputError, match="pose"):
        library.pose("x")


@settings(deadline=None)
@given(st.text(max_size=12))
def test_no_name_gets_anything_from_outside(name):
    library = Library(shipped_folder() / "nowhere", shipped_folder() / "nowhere", TANSY)
    for ask in (library.sequence, library.routine, library.pose, library.recording, library.kind, library.history):
        if ask != library.history or not is_name(name):
            with pytest.raises(InputError):
                ask(name)


def test_reading_makes_nothing(library):
    for ask in (library.names, library.entries, library.recordings, library.calibration, library.stamp):
        ask()
    assert not library.folder.exists()


# ------------------------------------------------------------------ layers


def test_ones_own_move_covers_the_shipped_one_and_removing_it_uncovers(library, shipped):
    write(shipped, "wave.json", jsontext.dump(nod("wave", 1.0)))
    write(shipped, "show.json", jsontext.dump(
        RoutineFile(format="motionhub-routine/1", name="show", steps=[Step(sequence="wave")])
    ))  # fmt: skip
    assert [(e.name, e.kind, e.shipped) for e in library.entries()] == [
        ("show", "routine", True),
        ("wave", "sequence", True),
    ]
    before = (shipped / "wave.json").read_bytes()
    library.save_sequence(nod("wave", 2.0))
    assert library.sequence("Wave").document.keyframes[0].joints_deg == {"head": 2.0}
    assert [e.shipped for e in library.entries()] == [True, False]
    assert (shipped / "wave.json").read_bytes() == before
    assert library.remove("wave")
    assert library.sequence("wave").document.keyframes[0].joints_deg == {"head": 1.0}
    assert not library.remove("wave")
    # Removing is not losing.
    assert json.loads(library.history("wave")[0].path.read_text())["keyframes"][0]["joints_deg"] == {"head": 2}


def test_the_shipped_poses_lie_under_ones_own(library, shipped):
    low = {"format": "motionhub-pose/1", "name": "low", "body": {"z_mm": -10.0}}
    write(shipped / "poses", "low.json", json.dumps(low))
    assert library.pose("low").body.z_mm == -10
    library.save_pose(PoseFile.model_validate(low | {"body": {"z_mm": -20.0}}))
    assert library.pose("low").body.z_mm == -20
    assert library.pose_names() == ["low"]


def test_a_sequence_finds_the_librarys_poses_and_a_broken_pose_is_named_as_what_it_is(library):
    document = {"format": "motionhub-sequence/1", "name": "dip", "keyframes": [{"at_ms": 500, "pose": "low"}]}
    write(library.folder, "dip.json", json.dumps(document))
    with pytest.raises(InputError, match="pose"):
        library.sequence("dip")
    write(library.folder / "poses", "low.json", '{"format": "motionhub-pose/1", "name": "low", "bdoy": {}}')
    with pytest.raises(InputError, match=r"low\.json: bdoy"):
        library.sequence("dip")
    library.save_pose(PoseFile.model_validate({"format": "motionhub-pose/1", "name": "low", "body": {"z_mm": -9.0}}))
    assert library.sequence("dip").library_poses["low"].body.z_mm == -9
    # A broken pose that the sequence does not name is none of its business.
    write(library.folder / "poses", "high.json", "{")
    assert library.sequence("dip").library_poses["low"].body.z_mm == -9


def test_what_the_robot_cannot_do_is_not_saved(library):
    with pytest.raises(InputError, match="nose"):
        library.save_sequence(nod().model_copy(update={"keyframes": [Keyframe(at_ms=500.0, joints_deg={"nose": 1.0})]}))
    for bad in ("../x", "con", "a ", ""):
        with pytest.raises(InputError, match="name"):
            library.save_sequence(nod(), bad)
    assert library.names() == []


# ------------------------------------------------------------------ versions


def test_the_last_versions_are_kept_newest_first_and_can_be_brought_back(library):
    for i in range(KEEP + 5):
        library.save_sequence(nod(degrees=float(i)))

    def angle(version):
        return json.loads(version.path.read_text())["keyframes"][0]["joints_deg"]["head"]

    history = library.history("nod")
    assert [angle(v) for v in history] == list(range(KEEP + 3, 3, -1))
    assert all(a.replaced > b.replaced for a, b in pairwise(history))
    library.restore("nod", history[2])
    assert library.sequence("nod").document.keyframes[0].joints_deg["head"] == KEEP + 1
    assert angle(library.history("nod")[0]) == KEEP + 4
    with pytest.raises(InputError, match="version"):
        library.restore("nod", history[-1].__class__(history[-1].replaced, library.folder / "nod.json"))


def test_saving_the_same_again_makes_no_version(library):
    library.save_sequence(nod())
    library.save_sequence(nod())
    assert library.history("nod") == []


def test_versions_stay_in_order_when_the_clock_goes_back(library, monkeypatch):
    clock = iter([3_000, 1_000, 2_000])
    monkeypatch.setattr("motionhub.library.shelf.time.time_ns", lambda: next(clock))
    for i in range(4):
        library.save_sequence(nod(degrees=float(i)))
    found = [json.loads(v.path.read_text())["keyframes"][0]["joints_deg"]["head"] for v in library.history("nod")]
    assert found == [2, 1, 0]


def test_what_was_no_text_is_kept_too(library):
    write(library.folder, "nod.json", "")
    (library.folder / "nod.json").write_bytes(b"\xff\x00\xfe")
    library.save_sequence(nod())
    assert library.history("nod")[0].path.read_bytes() == b"\xff\x00\xfe"


def test_the_stamp_tells_of_every_change(library, shipped):
    stamps = [library.stamp()]
    library.save_sequence(nod())
    stamps.append(library.stamp())
    library.save_sequence(nod(degrees=11.0))
    stamps.append(library.stamp())
    library.save_pose(PoseFile.model_validate({"format": "motionhub-pose/1", "name": "low", "body": {"z_mm": -9.0}}))
    stamps.append(library.stamp())
    library.remove("nod")
    stamps.append(library.stamp())
    assert len(set(stamps)) == 5
    assert library.stamp() == library.stamp()


def test_a_disk_that_refuses_is_a_refusal_and_changes_nothing(library, monkeypatch):
    library.save_sequence(nod())

    def full(*_):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr("motionhub.library.atomic.os.fsync", full)
        with pytest.raises(InputError, match=r"nod\.json: expected to be able to save here, found: no space left"):
            library.save_sequence(nod(degrees=50.0))
    assert library.sequence("nod").document == nod()


def test_a_file_in_the_librarys_place_is_a_refusal(tmp_path, shipped, tansy):
    (tmp_path / "own").write_text("")
    library = Library(tmp_path / "own", shipped, tansy)
    assert library.names() == []
    with pytest.raises(InputError, match="save"):
        library.save_sequence(nod())
    with pytest.raises(InputError, match="save"):
        library.record(50)


def test_a_subfolder_that_leads_out_is_not_written_to(tmp_path, library):
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    library.folder.mkdir()
    (library.folder / "poses").symlink_to(elsewhere)
    with pytest.raises(InputError, match="leads out"):
        library.save_pose(PoseFile.model_validate({"format": "motionhub-pose/1", "name": "a", "body": {"z_mm": 1.0}}))
    assert os.listdir(elsewhere) == []
