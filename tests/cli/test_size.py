"""``check --size`` through the command: for people, as JSON, and its exit codes; and bars on a terminal."""

import json
import os
import pty
import re
import select
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
NOD = {
    "format": "motionhub-sequence/1",
    "name": "nod",
    "keyframes": [{"at_ms": 500, "body": {"z_mm": 5}}, {"at_ms": 1000, "body": {"z_mm": 0}}],
}


def command(*arguments: object) -> list[str]:
    return [sys.executable, "-m", "motionhub", *map(str, arguments)]


def environment(**more: str) -> dict[str, str]:
    return {**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "100", "TERM": "xterm", **more}


def run(*arguments: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        command(*arguments), capture_output=True, text=True, timeout=120, env=environment(), stdin=subprocess.DEVNULL
    )


def on_a_terminal(*arguments: object) -> tuple[str, str]:
    """What the command prints on stdout, and on a stderr that is a terminal."""
    ours, theirs = pty.openpty()
    process = subprocess.Popen(
        command(*arguments), stdout=subprocess.PIPE, stderr=theirs, stdin=subprocess.DEVNULL, env=environment()
    )
    os.close(theirs)
    seen = b""
    while select.select([ours], [], [], 120)[0]:
        try:
            data = os.read(ours, 65536)
        except OSError:  # Linux: the other end has closed
            break
        if not data:
            break
        seen += data
    os.close(ours)
    assert process.stdout is not None
    printed = process.stdout.read().decode()
    process.wait(timeout=120)
    return printed, seen.decode()


@pytest.fixture(scope="module")
def nod(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("moves") / "nod.json"
    path.write_text(json.dumps(NOD))
    return path


@pytest.fixture(scope="module")
def long(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two minutes of nodding: long enough to be watched."""
    path = tmp_path_factory.mktemp("moves") / "long.json"
    keyframes = [{"at_ms": 1000 * (i + 1), "body": {"z_mm": 5.0 * (i % 2)}} for i in range(120)]
    path.write_text(json.dumps({**NOD, "name": "long", "keyframes": keyframes}))
    return path


def test_as_json_it_is_an_object_and_not_the_list(nod: Path) -> None:
    done = run("check", nod, "wave", "--size", "--json")
    assert done.returncode == 0, done.stderr
    printed = json.loads(done.stdout, parse_constant=lambda name: pytest.fail(f"found {name}"))
    assert set(printed) == {"sizing"}
    sizing = printed["sizing"]
    assert sizing["robot"] == "Tansy"
    assert sizing["sequences"] == ["nod", "wave"]
    assert sizing["fits"] is True
    assert [point["rail_v"] for point in sizing["set_points"]] == [round(4.8 + i / 10, 1) for i in range(25)]
    chosen = next(p for p in sizing["set_points"] if p["rail_v"] == sizing["smallest"]["rail_v"])
    assert chosen["fits"]
    assert chosen["whole_check"]
    assert chosen["regulator_a"] == sizing["smallest"]["regulator_a"]
    assert sizing["own"] == {"rail_v": 7.0, "regulator_a": 12.0, "fits": True, "whole_check": True, "failing": []}
    for pack in sizing["battery"]:
        assert 0 < pack["runs_usable"] <= pack["runs_fitting"] <= pack["runs_to_cut_off"]
        # whole runs of that charge out of 5000 mAh; an emptier battery gives more current for the same power
        assert pack["runs_to_cut_off"] * pack["charge_mah"] < 5000 < 1.3 * pack["runs_to_cut_off"] * pack["charge_mah"]


def test_without_size_the_list_is_what_it_was(nod: Path) -> None:
    (report,) = json.loads(run("check", nod, "--json").stdout)
    assert set(report) == {
        "sequence", "robot", "fits", "duration_s", "frames", "findings", "peaks", "not_checked",
    }  # fmt: skip


def test_for_people_the_answer_comes_first(nod: Path) -> None:
    done = run("check", nod, "--size")
    assert done.returncode == 0
    lines = done.stdout.splitlines()
    assert re.search(r"Set the regulator to \d\.\d V; it has to deliver \d+\.\d A", lines[1])
    assert any("it is set to 7.0 V and delivers 12.0 A: enough" in line for line in lines)
    assert re.search(r"nod +[\d.]+ mAh +\d+ +\d+ +\d+", done.stdout)
    # The answers have gone through the whole check, ways and stops included; what has not is said to be a least.
    rows = [line for line in lines if re.match(r" *\d\.\d(-\d\.\d)? V ", line)]
    bare = [row for row in rows if re.search(r"V +\d+\.\d A", row)]
    assert 1 <= len(bare) <= 2
    assert sum("at least" in row or re.search("V +-", row) is not None for row in rows) + len(bare) == len(rows)
    assert "at least: this is for the moves alone" in done.stdout
    assert len(lines) < 50
    assert all(len(line) <= 100 for line in lines)


def test_no_supply_is_enough_is_a_no(tmp_path: Path) -> None:
    high = tmp_path / "high.json"
    high.write_text(json.dumps({**NOD, "keyframes": [{"at_ms": 900, "feet": {"left_front": {"z_mm": 500}}}]}))
    done = run("check", high, "--size", "--supply-v", "7")
    assert done.returncode == 1
    assert "No supply mends" in done.stdout
    assert "reach" in done.stdout


def test_too_fast_for_one_voltage_names_the_rule(tmp_path: Path) -> None:
    fast = tmp_path / "fast.json"
    fast.write_text(json.dumps({**NOD, "keyframes": [{"at_ms": 60, "joints_deg": {"head": 60}}]}))
    done = run("check", fast, "--size", "--supply-v", "5", "--json")
    assert done.returncode == 1
    sizing = json.loads(done.stdout)["sizing"]
    assert sizing["smallest"] is None
    assert ("joint-speed", "head") in {(f["rule"], f["subject"]) for f in sizing["set_points"][0]["failing"]}
    assert "No voltage that the servos take is enough" in run("check", fast, "--size", "--supply-v", "5").stdout


def test_the_verdict_tells_how_far_a_battery_goes(nod: Path) -> None:
    text = " ".join(run("check", nod).stdout.split())
    found = re.search(r"battery: ([\d.]+) mAh a run; (\d+) runs .* (\d+) take it to its cut-off \(6\.6 V\)", text)
    assert found is not None
    charge, usable, runs = (float(group) for group in found.groups())
    assert 0.72 * 5000 < usable * charge < 0.8 * 5000  # four fifths of 5000 mAh; later runs take a little more
    assert runs > usable


def test_a_bar_on_a_terminal_comes_to_its_end(long: Path) -> None:
    printed, seen = on_a_terminal("check", long, "--json")
    assert "Rendering long" in seen
    assert "Checking long" in seen
    assert "100%" in seen
    shares = [int(share) for share in re.findall(r"(\d+)%", seen)]
    assert shares == sorted(shares)
    assert len(set(shares)) >= 3
    assert json.loads(printed)[0]["fits"]


def test_a_bar_while_supplies_are_tried(long: Path) -> None:
    printed, seen = on_a_terminal("check", long, "--size", "--supply-v", "7", "--json")
    assert "Trying supplies" in seen
    assert seen.count("100%") >= 2
    assert json.loads(printed)["sizing"]["fits"]


def test_no_bar_for_what_takes_no_time_or_where_nobody_looks(nod: Path, long: Path) -> None:
    assert on_a_terminal("check", nod, "--json")[1] == ""
    assert run("check", long, "--json").stderr == ""


def test_without_a_move_there_is_nothing_to_size_by(tmp_path: Path) -> None:
    """The shipped moves are another robot's, so a robot of one's own begins with none."""
    done = run("check", "--size", "--robot", ROOT / "sequences" / "robots" / "trestle.toml", "--sequences", tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == "motionhub check: SEQUENCE: expected a move of Trestle to size by, found none\n"
