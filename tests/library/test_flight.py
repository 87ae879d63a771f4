"""The flight recorder: bounded, whole after a kill, and read back from whatever a crash leaves."""

from __future__ import annotations

import json
import subprocess
import sys
import time
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from bench.hub_process import HubProcess
from hypothesis import given, settings
from hypothesis import strategies as st

from motionhub.errors import InputError
from motionhub.library import flight as recorder
from motionhub.library.flight import ENDED, FORMAT, HALF_S, KEPT, FlightWriter, Shelf, last, parse
from motionhub.library.flight_picture import svg
from motionhub.library.flight_words import story, summary

BEGAN = datetime(2026, 5, 1, 20, 0, 0, tzinfo=UTC)
HEADER = {"format": FORMAT, "robot": "Pair", "joints": ["hip", "knee"], "began": BEGAN.isoformat()}


def sample(t: float, volts: float | None = 7.6, stick: tuple[float, float, float] = (0, 0, 0)) -> dict[str, object]:
    rows = [[round(100 * t), i] for i in range(5)]
    return {
        "t_s": round(t, 2), "mode": "rest", "up": True, "battery_v": volts, "current_a": 4.0, "round_trip_ms": 31.0,
        "lost": 0.02, "bytes_s": 300, "driver": "Ann", "stick": stick, "joints_cdeg": rows,
    }  # fmt: skip


def write(folder: Path, seconds: float, faults: tuple[float, ...] = (), start: float = 0.0) -> FlightWriter:
    writer = FlightWriter(folder, HEADER)
    due = sorted(faults)
    for i in range(round(seconds * 10)):
        t = start + i / 10
        writer.write(sample(t))
        while due and due[0] <= t:
            writer.write({"t_s": t, "kind": "fault", "text": f"fault at {due.pop(0):g}"})
    return writer


def test_an_hour_leaves_the_last_minute_and_no_more_than_two(tmp_path: Path) -> None:
    writer = write(tmp_path, 3600)
    sizes = [path.stat().st_size for path in (tmp_path / "flight").iterdir()]
    assert sum(sizes) < 2 * HALF_S * 10 * 400
    writer.close()
    found = Shelf(tmp_path).read()
    assert HALF_S <= found.duration_s <= 2 * HALF_S
    assert found.times[-1] == pytest.approx(3599.9)
    assert last(found).duration_s == pytest.approx(60, abs=0.2)


def test_faults_are_kept_with_their_minute_and_the_oldest_gives_way(tmp_path: Path) -> None:
    faults = tuple(100.0 + 90 * i for i in range(KEPT + 3))
    write(tmp_path, faults[-1] + 20, faults).close()
    names = Shelf(tmp_path).names()
    assert len(names) == KEPT
    assert names[0] == datetime.fromtimestamp(BEGAN.timestamp() + faults[-1], UTC).strftime("%Y-%m-%d %H-%M-%S")
    found = last(Shelf(tmp_path).read(names[0]))
    assert found.fault is not None
    assert found.fault.text == f"fault at {faults[-1]:g}"
    assert found.times[0] <= faults[-1] - 59.8
    assert found.times[-1] >= faults[-1] + 4.8


def test_a_show_that_did_not_end_is_kept_when_the_next_begins_and_one_that_did_is_not(tmp_path: Path) -> None:
    write(tmp_path, 20).close()  # killed: nobody says that it left
    write(tmp_path, 5).close()
    (name,) = Shelf(tmp_path).names()
    found = Shelf(tmp_path).read(name)
    assert found.fault is not None
    assert found.fault.text == ENDED
    assert found.times[-1] == pytest.approx(19.9)
    writer = write(tmp_path, 5)  # which keeps the second one
    writer.write({"t_s": 5.0, "kind": "left", "text": "The hub was ended"})
    writer.close()
    write(tmp_path, 1).close()
    assert len(Shelf(tmp_path).names()) == 2


def test_two_hubs_do_not_write_over_each_other(tmp_path: Path) -> None:
    writer = write(tmp_path, 1)
    with pytest.raises(InputError, match="found another that runs"):
        FlightWriter(tmp_path, HEADER)
    writer.close()


TEXT = "\n".join(json.dumps(line) for line in [HEADER, *(sample(i / 10) for i in range(20))])


@given(st.integers(0, len(TEXT)), st.binary(max_size=60))
@settings(deadline=None, max_examples=150)
def test_whatever_a_crash_leaves_is_read_or_refused_in_a_line(cut: int, noise: bytes) -> None:
    torn = TEXT[:cut] + noise.decode("utf-8", "replace")
    whole = TEXT[:cut].count("\n")
    found, refused = None, ""
    try:
        found = parse([torn], "torn")
    except InputError as error:
        refused = str(error)
    if found is None:
        assert "\n" not in refused
        assert whole <= 1
    else:
        assert len(found.times) >= whole - 1
        summary(found), story(found), svg(found)


@pytest.mark.parametrize(
    "line",
    [
        '{"t_s": 1e999, "mode": "rest", "joints_cdeg": []}',
        '{"t_s": 1, "mode": "rest", "joints_cdeg": [[1]]}',
        '{"t_s": 1, "mode": "rest", "joints_cdeg": [["a", 2]]}',
        '{"t_s": 1, "kind": "unheard-of", "text": "x"}',
        '{"t_s": true, "kind": "told", "text": "x"}',
        "[" * 5000,
    ],
)
def test_lines_that_are_none_of_ours_are_left_out(line: str) -> None:
    found = parse([f"{TEXT}\n{line}"], "file")
    assert len(found.times) == 20
    assert found.happenings == ()


def test_the_minute_in_words_says_figures_faults_and_who_drove() -> None:
    lines = [
        sample(i / 10, volts=7.9 - i / 100, stick=(0.8, 0, -0.3) if 20 <= i < 60 else (0, 0, 0)) for i in range(100)
    ]
    fault = {"t_s": 8.0, "kind": "fault", "text": "The link to the robot was lost"}
    found = last(parse(["\n".join(map(json.dumps, [HEADER, *lines, fault]))], "file"))
    words = summary(found)
    assert words[0] == "20:00:08: The link to the robot was lost"
    assert words[1] == "Battery 7.90 V at first, 6.91 V at the lowest, 6.91 V last"
    assert words[2].startswith("Current, as predicted: 4.0 A on the whole")
    assert words[-1] == "Driving: Ann"
    walk = next(h for h in story(found) if "drove" in h.text)
    assert walk.text == "Ann drove 80% ahead, turning right 30%, 4.0 s"
    assert np.isclose(walk.t_s, 2.0)


# ---------------------------------------------------------------- with a hub, and the command


def flight(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "motionhub", "flight", "--sequences", str(folder), *arguments]
    return subprocess.run(command, text=True, capture_output=True, check=False)


@pytest.mark.alone
def test_a_killed_hub_leaves_its_last_moments(tmp_path: Path) -> None:
    """Killed without a word (SIGKILL): what it had written is there, to within half a second of its death."""
    with HubProcess(tmp_path) as hub:
        time.sleep(4.0)
        hub.kill()
        died = time.time()
    found = Shelf(tmp_path).read()
    assert found.began.timestamp() + found.times[-1] > died - 0.5
    assert len(found.joints) >= 0.8 * 50 * found.duration_s
    assert np.isfinite(found.curves["battery V"][-1])
    with HubProcess(tmp_path) as hub:
        time.sleep(0.5)
    done = flight(tmp_path, "--list")
    assert done.returncode == 0
    shown = flight(tmp_path, done.stdout.splitlines()[0])
    assert shown.returncode == 0, shown.stderr
    assert ENDED in shown.stdout.splitlines()[0]
    assert "battery V" in shown.stdout
    assert "The hub was ended" in flight(tmp_path).stdout, "the second one ended as it should"


def test_the_command_says_no_and_refuses_in_a_line(tmp_path: Path) -> None:
    none = flight(tmp_path)
    assert (none.returncode, none.stderr) == (1, "")
    assert flight(tmp_path, "--list").returncode == 1
    unknown = flight(tmp_path, "yesterday")
    assert unknown.returncode == 2
    assert "expected what was kept of a fault" in unknown.stderr
    write(tmp_path, 3, (1.0,)).close()
    out = tmp_path / "minute.svg"
    done = flight(tmp_path, "--out", str(out))
    assert done.returncode == 0
    assert out.read_text(encoding="utf-8").startswith("<svg")
    data = json.loads(flight(tmp_path, "--json").stdout)
    assert data["fault"] == "fault at 1"
    assert len(data["joints_deg"]["knee"]) == 150
    (tmp_path / "flight" / "a.jsonl").write_bytes(b"\xff\xfe nothing")
    (tmp_path / "flight" / "b.jsonl").write_bytes(b"{}")
    spoilt = flight(tmp_path)
    assert spoilt.returncode == 2
    assert spoilt.stderr.count("\n") == 1
    assert recorder.FORMAT in spoilt.stderr
