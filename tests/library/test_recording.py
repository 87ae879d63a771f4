"""Recordings: exactly what was sent, and a crash that costs at most a second of it."""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from motionhub.errors import InputError
from motionhub.library import recording as module
from motionhub.library.recording import Asked, AskedLine, Recording, dump, parse, rescue
from motionhub.library.shipped import shipped_folder
from motionhub.robot import description

TANSY = description.load(shipped_folder() / "robots" / "tansy.toml")
OUTPUTS = tuple(output.name for output in TANSY.outputs)


@st.composite
def recordings(draw) -> Recording:
    ticks = draw(st.integers(0, 12))
    rng = np.random.default_rng(draw(st.integers(0, 2**32)))
    levels = rng.choice([0.0, 0.1, 1 / 3, 1.0], (ticks, len(OUTPUTS)))
    values = st.dictionaries(
        st.text(max_size=5),
        st.one_of(st.booleans(), st.integers(-9, 9), st.floats(-1e9, 1e9), st.text(max_size=5)),
        max_size=3,
    )
    asked = [
        Asked(tick, draw(st.text(max_size=6)), draw(st.sampled_from(["drive", "stop"])), draw(values))
        for tick in range(ticks)
        for _ in range(draw(st.integers(0, 2)))
    ]
    return Recording(
        TANSY.name, "2026-05-04T19:30:12+02:00", draw(st.floats(1, 200)), TANSY.joint_names, OUTPUTS,
        rng.integers(500, 2501, (ticks, TANSY.joints)).astype(np.int16), levels, tuple(asked),
    )  # fmt: skip


def same(a: Recording, b: Recording) -> bool:
    return (
        (a.robot, a.made, a.rate_hz, a.joint_names, a.output_names, a.asked)
        == (b.robot, b.made, b.rate_hz, b.joint_names, b.output_names, b.asked)
        and np.array_equal(a.pulses, b.pulses)
        and np.array_equal(a.outputs, b.outputs)
    )


@settings(deadline=None, max_examples=80)
@given(recordings())
def test_reading_what_was_written_is_the_identity(recorded):
    text = dump(recorded)
    found = parse(text, "x", TANSY)
    assert same(found, recorded)
    assert dump(found) == text
    assert all(isinstance(json.loads(line), dict) for line in text.splitlines())  # JSON Lines


@settings(deadline=None, max_examples=30, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(recordings())
def test_the_library_gives_back_what_was_saved(library, recorded):
    library.save_recording("take", recorded)
    assert same(library.recording("take"), recorded)
    [entry] = library.recordings()
    assert (entry.name, entry.made, entry.unreadable) == ("take", recorded.made, "")
    assert entry.duration_s == pytest.approx(recorded.duration_s)


@settings(deadline=None, max_examples=60)
@given(recordings(), st.data())
def test_a_recording_that_was_cut_short_anywhere_is_refused_and_rescued_up_to_its_last_whole_line(recorded, data):
    text = dump(recorded)
    cut = text[: data.draw(st.integers(0, len(text) - 1))]
    with pytest.raises(InputError):
        parse(cut, "x", TANSY)
    saved = rescue(cut)
    whole = cut.count("\n") - 1  # after the header
    if whole < 1:
        assert saved is None
        return
    found = parse(saved, "x", TANSY)
    kept = len(found.pulses)
    assert kept == min(whole, len(recorded.pulses))
    assert np.array_equal(found.pulses, recorded.pulses[:kept])
    assert np.array_equal(found.outputs, recorded.outputs[:kept])


def lines_of(recorded: Recording) -> list[str]:
    return dump(recorded).splitlines(keepends=True)


ONE = Recording(
    TANSY.name, "2026-05-04T19:30:12+02:00", 50.0, TANSY.joint_names, OUTPUTS,
    np.full((3, TANSY.joints), 1500, np.int16), np.zeros((3, len(OUTPUTS))),
)  # fmt: skip


@pytest.mark.parametrize(
    ("change", "place"),
    [
        (lambda lines: lines.__setitem__(1, lines[2]), "line 2"),  # without any levels
        (lambda lines: lines.pop(2), "the end"),
        (lambda lines: lines.insert(2, lines[2]), "the end"),
        (lambda lines: lines.__setitem__(2, '{"us": [1]}\n'), "line 3"),
        (lambda lines: lines.__setitem__(2, '{"us": []}\n'), "line 3"),
        (lambda lines: lines.__setitem__(2, lines[2].replace("1500", "1e99", 1)), "line 3"),
        (lambda lines: lines.__setitem__(2, lines[2].replace("1500", "99999", 1)), "line 3"),
        (lambda lines: lines.__setitem__(2, lines[2].replace("1500", "NaN", 1)), "line 3"),
        (lambda lines: lines.__setitem__(1, lines[1].replace('"levels":[0.0', '"levels":[7.0')), "line 2"),
        (lambda lines: lines.__setitem__(1, lines[1].replace('"us"', '"ms"')), "line 2"),
        (lambda lines: lines.__setitem__(2, "\n"), "line 3"),
        (lambda lines: lines.__setitem__(0, lines[0].replace("/1", "/2")), "line 1"),
        (lambda lines: lines.__setitem__(0, lines[0].replace("50.0", "0")), "line 1"),
        (lambda lines: lines.__setitem__(0, lines[0].replace("left_front.coxa", "left_front.hip")), "line 1"),
        (lambda lines: lines.__setitem__(0, lines[0].replace("sounder", "horn")), "line 1"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_refused_by_its_line(change, place):
    lines = lines_of(ONE)
    change(lines)
    with pytest.raises(InputError) as refused:
        parse("".join(lines), "take.jsonl", TANSY)
    assert refused.value.place.startswith(place)
    assert "\n" not in str(refused.value)


@settings(deadline=None, max_examples=100)
@given(st.text(max_size=200))
def test_any_text_is_read_or_refused(text):
    with pytest.raises(InputError):
        parse(text, "x", TANSY)


# ------------------------------------------------------------------ while it is being made


def test_a_recording_is_on_the_disk_within_a_second_and_listed_only_when_finished(library):
    writer = library.record(50)
    for i in range(120):
        asked = [AskedLine(by="c1", command="drive", values={"forward": 0.5})] if i == 3 else []
        writer.tick(np.full(TANSY.joints, 1500 + i), [0.5, 0], asked)
        [part] = (library.folder / "recordings").glob(".recording-*.part")
        saved = part.read_text().count("\n") - 1
        assert saved > i - 50  # at most a second behind
        assert library.recordings() == []
    assert writer.ticks == 120
    writer.finish("take")
    found = library.recording("take")
    assert np.array_equal(found.pulses[:, 0], 1500 + np.arange(120))
    assert found.asked == (Asked(3, "c1", "drive", {"forward": 0.5}),)
    assert os.listdir(library.folder / "recordings") == ["take.jsonl"]


def test_finishing_under_a_name_that_is_taken_keeps_the_other_as_a_version(library):
    library.save_recording("take", ONE)
    writer = library.record(50)
    writer.tick(np.full(TANSY.joints, 1234), [0, 0])
    writer.finish("Take")
    assert len(library.recording("take").pulses) == 1
    [entry] = library.recordings()
    assert entry.name == "take"
    [old] = (library.folder / ".history" / "recordings" / "take").iterdir()
    assert old.read_text() == dump(ONE)


def test_a_bad_name_leaves_the_recording_going(library):
    writer = library.record(50)
    writer.tick(np.full(TANSY.joints, 1500), [0, 0])
    with pytest.raises(InputError, match="name"):
        writer.finish("../take")
    writer.tick(np.full(TANSY.joints, 1501), [0, 0])
    writer.finish("take")
    assert len(library.recording("take").pulses) == 2


def test_a_discarded_recording_leaves_nothing(library):
    writer = library.record(50)
    writer.tick(np.full(TANSY.joints, 1500), [0, 0])
    writer.discard()
    assert os.listdir(library.folder / "recordings") == []
    assert library.rescue() == []


def test_a_recording_that_somebody_is_still_making_is_left_alone(library):
    writer = library.record(50)
    for _ in range(60):
        writer.tick(np.full(TANSY.joints, 1500), [0, 0])
    assert library.rescue() == []
    writer.finish("take")
    assert len(library.recording("take").pulses) == 60


KILLED = """
import os, signal, sys
import numpy as np
from pathlib import Path
from motionhub.library.shipped import shipped_folder
from motionhub.library.store import Library
from motionhub.robot import description
robot = description.load(shipped_folder() / "robots" / "tansy.toml")
writer = Library(Path(sys.argv[1]), shipped_folder(), robot).record(50)
for i in range(170):
    writer.tick(np.full(robot.joints, 1000 + i), [0.25, 0])
os.kill(os.getpid(), signal.SIGKILL)
"""


def test_a_crash_loses_at_most_a_second(library):
    process = subprocess.run(
        [sys.executable, "-c", KILLED, str(library.folder)], cwd=Path(module.__file__).parents[2], check=False
    )
    assert process.returncode == -signal.SIGKILL
    assert library.recordings() == []
    [name] = library.rescue()
    found = library.recording(name)
    assert 120 <= len(found.pulses) <= 170
    assert np.array_equal(found.pulses[:, 0], 1000 + np.arange(len(found.pulses)))
    assert library.rescue() == []
    assert [entry.name for entry in library.recordings()] == [name]


def test_a_disk_that_fills_up_says_so_and_keeps_what_there_is(library, monkeypatch):
    writer = library.record(50)
    for _ in range(50):
        writer.tick(np.full(TANSY.joints, 1500), [0, 0])

    def full(_):
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr("motionhub.library.recorder.os.fsync", full)
        for _ in range(49):
            writer.tick(np.full(TANSY.joints, 1500), [0, 0])
        with pytest.raises(InputError, match="no space left"):
            writer.tick(np.full(TANSY.joints, 1500), [0, 0])
    [part] = (library.folder / "recordings").glob(".recording-*.part")
    assert len(parse(rescue(part.read_text()), "x", TANSY).pulses) >= 50


def test_a_tick_of_the_wrong_shape_is_the_programs_own_mistake(library):
    writer = library.record(50)
    with pytest.raises(ValueError, match="one pulse for each joint"):
        writer.tick([1500], [0, 0])
    writer.discard()


def test_broken_recordings_are_listed_last_and_with_the_reason(library):
    library.save_recording("good", ONE)
    folder = library.folder / "recordings"
    (folder / "cut.jsonl").write_text(dump(ONE)[:-8])
    (folder / "empty.jsonl").write_text("")
    (folder / "dir.jsonl").mkdir()
    entries = library.recordings()
    assert entries[0].name == "good"
    assert {entry.name for entry in entries if entry.unreadable} == {"cut", "empty", "dir"}


def test_another_robots_recording_is_refused(library):
    other = Recording("Trestle", ONE.made, 50.0, ("a",), (), np.full((1, 1), 1500, np.int16), np.zeros((1, 0)))
    library.save_recording("other", other)
    with pytest.raises(InputError, match="Trestle"):
        library.recording("other")
    assert parse(dump(other), "x").robot == "Trestle"
