"""The command through a real process: what it prints, what it writes, and how it fails.

Every kind of bad input that there is gets exactly one line on stderr, exit code 2, and no traceback.
"""

import json
import os
import re
import signal
import subprocess
import sys
import time
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from motionhub.cli.retime import retime
from motionhub.library.shipped import shipped_folder
from motionhub.motion import documents, formats
from motionhub.motion.render import render
from motionhub.robot import description

ROOT = Path(__file__).parents[2]
ROBOT = shipped_folder() / "robots" / "tansy.toml"
MOVE = {
    "format": "motionhub-sequence/1",
    "name": "nod",
    "keyframes": [{"at_ms": 500, "body": {"z_mm": 5}}, {"at_ms": 1000, "body": {"z_mm": 0}}],
}


def run(*arguments: object, cwd: Path | None = None) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "motionhub", *map(str, arguments)],
        capture_output=True,
        text=True,
        timeout=60,
        cwd=cwd,
        env={**os.environ, "PYTHONPATH": str(ROOT), "COLUMNS": "120"},
        stdin=subprocess.DEVNULL,
    )


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A library of one's own with one move in it, named as a file and by name."""
    made = tmp_path_factory.mktemp("moves")
    (made / "nod.json").write_text(json.dumps(MOVE))
    return made


def move(**changes: object) -> str:
    """The move with some of its keys replaced; None takes one away."""
    return json.dumps({k: v for k, v in {**MOVE, **changes}.items() if v is not None})


def at(ms: object, **pose: object) -> dict[str, object]:
    return {"at_ms": ms, **(pose or {"body": {"z_mm": 1}})}


# name: (text of a move, what the line has to name)
BAD_MOVES: dict[str, tuple[str, list[str]]] = {
    "broken JSON": ('{"format": "motionhub-sequence/1",', ["line 1"]),
    "not JSON": ("hello", ["line 1"]),
    "empty file": ("", ["line 1"]),
    "a list": ("[]", ["object"]),
    "unknown format": (move(format="motionhub-sequence/9"), ["format", "motionhub-sequence/1"]),
    "no format": (move(format=None), ["format"]),
    "unknown key": (move(keyframes=[at(5, bodyy={"z_mm": 1})]), ["keyframes[0]", "bodyy"]),
    "unknown joint": (move(keyframes=[at(50, joints_deg={"left_front.knee": 3})]), ["left_front.knee"]),
    "unknown leg": (move(keyframes=[at(50, feet={"left_fron": {"z_mm": 3}})]), ["left_fron", "left_front"]),
    "unknown pose": (move(keyframes=[at(50, pose="crouch")]), ["keyframes[0].pose", "crouch"]),
    "unknown output": (move(cues=[{"at_ms": 0, "output": "siren", "level": 1}]), ["cues[0].output", "siren"]),
    "wrong unit": (move(keyframes=[at(5, body={"z_cm": 1})]), ["z_cm"]),
    "a number in quotes": (move(keyframes=[at("100")]), ["at_ms"]),
    "NaN": (move(keyframes=[at(5, body={"z_mm": float("nan")})]), ["keyframes[0].body.z_mm", "finite"]),
    "infinity": (move(keyframes=[at(float("inf"))]), ["keyframes[0].at_ms", "finite"]),
    "a number past infinity": (move().replace('"at_ms": 500', '"at_ms": 1e999'), ["keyframes[0].at_ms"]),
    "negative time": (move(keyframes=[at(-5)]), ["keyframes[0].at_ms", "-5"]),
    "keyframes out of order": (move(keyframes=[at(500), at(400)]), ["keyframes[1]", "400"]),
    "two keyframes at once": (move(keyframes=[at(500), at(500)]), ["keyframes[1]"]),
    "empty sequence": (move(keyframes=[]), ["at least one keyframe"]),
    "two hours": (move(keyframes=[at(7_200_000)]), ["3600"]),
    "unknown approach": (move(keyframes=[at(5, body={"z_mm": 1}, approach="hop")]), ["keyframes[0].approach", "hop"]),
    "unknown gait": (move(walks=[{"from_ms": 0, "to_ms": 3000, "gait": "gallop", "forward_mm_s": 9}]), ["gallop"]),
    "too fast a walk": (move(walks=[{"from_ms": 0, "to_ms": 3000, "forward_mm_s": 1999}]), ["walks[0]", "mm/s"]),
    "beats without tempo": (move(keyframes=[{"at_beat": 1, "body": {"z_mm": 1}}]), ["tempo_bpm"]),
    "both times": (move(keyframes=[at(5, at_beat=1, body={"z_mm": 1})]), ["keyframes[0]"]),
    "routine of nothing": (json.dumps({"format": "motionhub-routine/1", "name": "r", "steps": []}), ["steps"]),
    "routine of the unknown": (
        json.dumps({"format": "motionhub-routine/1", "name": "r", "steps": [{"sequence": "fly"}]}), ["steps[0]", "fly"]
    ),
}  # fmt: skip

GOOD_ROBOT = ROBOT.read_text(encoding="utf-8")
BAD_ROBOTS: dict[str, tuple[str, list[str]]] = {
    "broken TOML": (GOOD_ROBOT.replace("[body]", "[body"), ["line"]),
    "unknown key of a robot": (GOOD_ROBOT.replace("mass_g = 1050", "mass_kg = 1.05"), ["body", "mass_"]),
    "NaN in a robot": (GOOD_ROBOT.replace("mass_g = 1050", "mass_g = nan"), ["body.mass_g"]),
    "a robot in metres": (GOOD_ROBOT.replace("height_mm = 84", "height_mm = 0.084"), []),
    "not a robot": ('format = "motionhub-robot/7"', ["format", "motionhub-robot/1"]),
}

# name: (arguments, what the line has to name); {} is a scratch folder
BAD_CALLS: dict[str, tuple[list[str], list[str]]] = {
    "no such subcommand": (["dance"], ["dance"]),
    "no such option": (["check", "--zzz", "wave"], ["--zzz"]),
    "no sequence": (["check"], ["SEQUENCE"]),
    "no such file": (["check", "{}/none.json"], ["none.json"]),
    "a folder for a file": (["check", "{}/"], []),
    "no such name": (["check", "wawe"], ["wawe", "wave"]),
    "a name that climbs": (["check", "../../etc/passwd"], ["passwd"]),
    "no such robot": (["check", "wave", "--robot", "{}/none.toml"], ["none.toml"]),
    "no such library": (["check", "wave", "--sequences", "{}/none"], ["--sequences", "none"]),
    "volts that are no number": (["check", "wave", "--supply-v", "lots"], ["--supply-v", "lots"]),
    "NaN volts": (["check", "wave", "--supply-v", "nan"], ["--supply-v", "nan"]),
    "negative volts": (["check", "wave", "--supply-v", "-7"], ["--supply-v", "-7"]),
    "details of two": (["check", "wave", "bow", "--details", "{}/d.csv"], ["--details"]),
    "details nowhere": (["check", "wave", "--details", "{}/none/d.csv"], ["none/d.csv"]),
    "a rate of nothing": (["frames", "wave", "--rate", "0", "--out", "{}/f.csv"], ["--rate"]),
    "an infinite rate": (["frames", "wave", "--rate", "inf", "--out", "{}/f.csv"], ["--rate", "inf"]),
    "frames without out": (["frames", "wave"], ["--out"]),
    "frames nowhere": (["frames", "wave", "--out", "{}/none/f.csv"], ["none/f.csv"]),
    "frames into a folder": (["frames", "wave", "--out", "{}"], []),
    "retime of a routine": (["retime", "an-evening", "--out", "{}/r.json"], ["routine"]),
    "retime nowhere": (["retime", "wave", "--out", "{}/none/r.json"], ["none/r.json"]),
}


@pytest.fixture(scope="module")
def outcomes(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Future[subprocess.CompletedProcess[str]]]:
    """All the failing calls, run two at a time."""
    scratch = tmp_path_factory.mktemp("bad")
    pool = ThreadPoolExecutor(2)
    found = {}
    for i, (name, (text, _)) in enumerate(BAD_MOVES.items()):
        path = scratch / f"move{i}.json"
        path.write_text(text, encoding="utf-8")
        found[name] = pool.submit(run, "check", path)
    for i, (name, (text, _)) in enumerate(BAD_ROBOTS.items()):
        path = scratch / f"robot{i}.toml"
        path.write_text(text, encoding="utf-8")
        found[name] = pool.submit(run, "check", "wave", "--robot", path)
    for name, (arguments, _) in BAD_CALLS.items():
        found[name] = pool.submit(run, *(a.replace("{}", str(scratch)) for a in arguments))
    return found


EXPECTED = {name: words for cases in (BAD_MOVES, BAD_ROBOTS, BAD_CALLS) for name, (_, words) in cases.items()}


@pytest.mark.parametrize("name", EXPECTED)
def test_bad_input_is_one_line_and_exit_2(
    name: str, outcomes: dict[str, Future[subprocess.CompletedProcess[str]]]
) -> None:
    done = outcomes[name].result()
    assert done.returncode == 2, done.stderr
    assert done.stdout == ""
    lines = done.stderr.splitlines()
    assert len(lines) == 1, done.stderr
    for word in EXPECTED[name]:
        assert word in lines[0]
    assert "Traceback" not in lines[0]
    assert re.search(r"expected|is missing|not a known key|^motionhub", lines[0])


def test_check_says_fits_and_ends_0(folder: Path) -> None:
    done = run("check", folder / "nod.json")
    assert (done.returncode, done.stderr) == (0, "")
    assert "nod: fits Tansy (1.0 s)" in done.stdout
    assert "closest to a limit" in done.stdout
    named = run("check", "nod", "--sequences", folder)
    assert named.stdout == done.stdout


def test_check_says_what_is_wrong_and_ends_1(tmp_path: Path) -> None:
    path = tmp_path / "quick.json"
    path.write_text(move(name="quick", keyframes=[at(100, joints_deg={"head": 75}), at(200, joints_deg={"head": -75})]))
    done = run("check", path)
    assert done.returncode == 1
    assert done.stderr == ""
    assert "does not fit" in done.stdout
    assert "joint-speed" in done.stdout
    assert "times slower" in done.stdout
    assert len(done.stdout.splitlines()) < 25


def test_json_is_a_list_with_one_report_for_each(folder: Path) -> None:
    done = run("check", folder / "nod.json", "wave", "an-evening", "--json")
    reports = json.loads(done.stdout)
    assert [r["sequence"] for r in reports] == ["nod", "wave", "an-evening"]
    assert done.returncode == (0 if all(r["fits"] for r in reports) else 1)
    assert all(r["not_checked"] == [] for r in reports)
    assert all(r["peaks"]["link_bytes_s"] > 0 for r in reports)


def test_supply_v_is_the_rail_that_it_is_checked_on(folder: Path) -> None:
    low = json.loads(run("check", "wave", "--json", "--supply-v", "5").stdout)[0]
    assert 4.5 < low["peaks"]["supply_v_min"] < 5


def test_details_have_one_row_a_frame(folder: Path, tmp_path: Path) -> None:
    out = tmp_path / "details.csv"
    done = run("check", folder / "nod.json", "--json", "--details", out)
    rows = out.read_text().splitlines()
    assert len(rows) == json.loads(done.stdout)[0]["frames"] + 1 == 52
    assert rows[0].startswith("t_s,x_mm,y_mm,z_mm,roll_deg,pitch_deg,yaw_deg,margin_mm,clearance_mm,supply_a,supply_v,")
    assert [p.name for p in tmp_path.iterdir()] == ["details.csv"]


@pytest.mark.parametrize("rate", ["50", "33.3", "100"])
def test_frames_are_the_rendered_joints_in_degrees(folder: Path, tmp_path: Path, rate: str) -> None:
    out = tmp_path / "frames.csv"
    done = run("frames", folder / "nod.json", "--rate", rate, "--out", out)
    assert (done.returncode, done.stderr) == (0, "")
    lines = out.read_text().splitlines()
    robot = description.load(ROBOT)
    assert lines[0].split(",") == ["t_s", *robot.joint_names]
    rows = np.array([[float(v) for v in line.split(",")] for line in lines[1:]])
    assert rows[:, 0] == pytest.approx(np.arange(len(rows)) / float(rate), abs=1e-8)
    own = render(documents.parse(json.dumps(MOVE), "nod", robot), robot, float(rate))
    assert rows[:, 1:] == pytest.approx(np.rad2deg(own.joints), abs=1e-6)


def test_retime_writes_a_move_that_fits(tmp_path: Path) -> None:
    quick, slow = tmp_path / "quick.json", tmp_path / "slow.json"
    quick.write_text(move(keyframes=[at(100, joints_deg={"head": 60}), at(1100, joints_deg={"head": 0})]))
    assert run("check", quick).returncode == 1
    done = run("retime", quick, "--out", slow)
    assert (done.returncode, done.stderr) == (0, "")
    assert "times as long" in done.stdout
    assert run("check", slow).returncode == 0


def test_retime_says_whether_it_is_the_move_or_the_longest_that_one_may_be_that_leaves_it_too_fast(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    far = tmp_path / "far.json"
    far.write_text(move(keyframes=[at(2000, body={"z_mm": 400}), at(4000, body={"z_mm": 0})]))
    command = [str(far), "--out", str(tmp_path / "near.json")]
    done = CliRunner().invoke(retime, command)
    assert done.exit_code == 1
    assert "time does not mend it" in done.output
    # An hour's move would take minutes: the bound comes to it instead.
    monkeypatch.setattr(formats, "LONGEST_S", 4.0)
    done = CliRunner().invoke(retime, command)
    assert done.exit_code == 1
    assert "Make two of it" in done.output
    assert "time does not mend it" not in done.output


def test_help_lists_only_what_there_is_and_imports_nothing_heavy() -> None:
    done = run("--help")
    assert done.returncode == 0
    listed = [line.split()[0] for line in done.stdout.split("Commands:")[1].splitlines() if line.strip()]
    assert {"check", "frames", "retime"} <= set(listed)
    for name in listed:
        assert (ROOT / "motionhub" / "cli" / f"{name}.py").exists()
    code = "import sys, motionhub.cli.group as g; g.main(['--help']) if 0 else None; print(sorted(sys.modules))"
    modules = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT, check=True).stdout
    for heavy in ("numpy", "rich.console", "websockets", "motionhub.check", "motionhub.motion"):
        assert f"'{heavy}'" not in modules


def test_no_arguments_show_the_help_and_version_is_the_packages() -> None:
    import motionhub

    assert run().stdout == run("--help").stdout
    assert run("--version").stdout == f"motionhub {motionhub.__version__}\n"


def test_a_reader_that_leaves_is_no_error(folder: Path) -> None:
    command = f'"{sys.executable}" -m motionhub check {"wave " * 12} --json | head -c 10'
    done = subprocess.run(command, shell=True, capture_output=True, text=True, cwd=ROOT, timeout=60, check=False)
    assert done.stderr == ""


def test_ctrl_c_ends_it_quietly(tmp_path: Path) -> None:
    long = tmp_path / "long.json"
    keyframes = [at(1000 * i, joints_deg={"head": 30 * (-1) ** i}) for i in range(1, 3000)]
    long.write_text(move(keyframes=keyframes))
    process = subprocess.Popen(
        [sys.executable, "-m", "motionhub", "check", str(long)], cwd=ROOT, stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    time.sleep(1.5)
    process.send_signal(signal.SIGINT)
    out, err = process.communicate(timeout=30)
    if process.returncode not in (0, 1):  # it was not done before
        assert process.returncode == 130
        assert "Traceback" not in err
        assert err.strip() == ""
        assert out == ""
