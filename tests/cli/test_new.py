"""`motionhub new` as a maker types it: the demo robots measured anew, and everything that is refused."""

import os
import re
import select
import shlex
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from motionhub.robot import description, urdf
from motionhub.robot.kinematics import feet

ROBOTS = Path(__file__).parents[2] / "sequences" / "robots"

COMMON = ["--capacity", "5000", "--regulator-v", "6", "--regulator-a", "12", "--servo", "very_strong"]
TANSY = [
    "--name", "Measured", "--legs", "6", "--body", "25 x 12 x 4.6 cm", "--body-mass", "1.05kg", "--coxa", "45",
    "--femur", "75", "--tibia", "115", "--coxa-mass", "80", "--femur-mass", "135", "--tibia-mass", "70",
    "--leg", "left_middle hip=0,72,0 heading=90", *COMMON, "--height", "84",
    "--leg", "left_front hip=105,60,0 heading=45", "--leg", "left_rear hip=-105,60,0 heading=135",
    "--joint", "head axis=yaw at=132,0,20 tip=60,0,12 mass=110",
    "--joint", "tail axis=yaw at=-130,0,12 tip=-110,0,45 mass=70",
]  # fmt: skip
TRESTLE = [
    "--name", "Measured", "--legs", "4", "--body", "190,130,44", "--body-mass", "820", "--coxa", "38", "--femur", "72",
    "--tibia", "104", "--coxa-mass", "62", "--femur-mass", "104", "--tibia-mass", "48", "--foot", "7", *COMMON,
    "--leg", "left_front hip=82,58,0 heading=50 turn=-8 stand=104",
    "--leg", "left_rear hip=-82,58,0 heading=130 tibia=112 tibia_mass=52 stand=104", "--height", "78",
    "--joint", "neck axis=pitch at=98,0,24 tip=34,0,44 mass=46 range=-45,60",
    "--joint", "head parent=neck axis=yaw at=34,0,44 tip=52,0,-6 mass=58 range=-75,75",
]  # fmt: skip
HARROW = [
    "--name", "Measured", "--legs", "8", "--body", "320,126,40", "--body-mass", "1150", "--coxa", "32", "--femur", "58",
    "--tibia", "92", "--coxa-mass", "34", "--femur-mass", "68", "--tibia-mass", "32", "--foot", "5", *COMMON,
    "--leg", "left_1 hip=132,62,-4 heading=55", "--leg", "left_2 hip=44,72,-4 heading=80", "--height", "66",
    "--leg", "left_3 hip=-44,72,-4 heading=100", "--leg", "left_4 hip=-132,62,-4 heading=125",
    "--joint", "wrist axis=roll at=158,0,-2 tip=70,0,-12 mass=64 range=-90,90",
    "--joint", "mast axis=yaw at=-60,0,24 tip=12,0,120 mass=72 range=-90,90",
]  # fmt: skip


def new(*arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "motionhub", "new", *arguments]
    return subprocess.run(command, text=True, capture_output=True, stdin=subprocess.DEVNULL, check=False)


@pytest.mark.parametrize(("demo", "measured"), [("tansy", TANSY), ("trestle", TRESTLE), ("harrow", HARROW)])
def test_a_demo_robot_measured_anew_has_the_same_kinematics(demo: str, measured: list[str], tmp_path: Path) -> None:
    out = tmp_path / "measured.toml"
    done = new(*measured, "--out", str(out))
    assert done.returncode == 0, done.stderr
    robot, again = description.load(ROBOTS / f"{demo}.toml"), description.load(out)
    assert set(again.joint_names) == set(robot.joint_names)
    order = [again.joint_index[name] for name in robot.joint_names]
    legs = [again.leg_index[name] for name in robot.leg_names]
    generator = np.random.default_rng(3)
    joints = generator.uniform(-1.2, 1.2, (200, robot.joints))
    theirs = np.empty_like(joints)
    theirs[:, order] = joints
    np.testing.assert_allclose(feet(again, theirs)[:, legs], feet(robot, joints), atol=1e-4)
    for ours in robot.extra:
        other = next(extra for extra in again.extra if extra.name == ours.name)
        np.testing.assert_allclose([other.at, other.axis, other.tip], [ours.at, ours.axis, ours.tip], atol=1e-4)
    assert out.with_suffix(".svg").read_text(encoding="utf-8").startswith("<svg")


def test_a_robot_comes_back_from_its_urdf(tmp_path: Path) -> None:
    model, out = tmp_path / "robot.urdf", tmp_path / "robot.toml"
    command = [sys.executable, "-m", "motionhub", "urdf", "--out", str(model)]
    assert subprocess.run(command, capture_output=True, check=False).returncode == 0
    done = new("--urdf", str(model), *COMMON, "--out", str(out))
    assert done.returncode == 0, done.stderr
    robot, again = description.load(ROBOTS / "tansy.toml"), description.load(out)
    np.testing.assert_allclose(again.lower, robot.lower, atol=1e-9)
    np.testing.assert_allclose(again.link_inertia, robot.link_inertia, atol=1e-12)


def _with(arguments: list[str], flag: str, value: str) -> list[str]:
    at = arguments.index(flag)
    return [*arguments[: at + 1], value, *arguments[at + 2 :]]


REFUSED = {
    "a leg of nine metres": (_with(TANSY, "--tibia", "9 m"), 2, "--tibia: expected 5 to 1000 mm"),
    "letters": (_with(TANSY, "--femur", "long"), 2, "--femur: expected a number of mm"),
    "another unit": (_with(TANSY, "--body-mass", "1 litre"), 2, "--body-mass: expected a number of g"),
    "nothing at all": (_with(TANSY, "--coxa", "0"), 2, "--coxa: expected 1 to 1000 mm"),
    "below nothing": (_with(TANSY, "--coxa-mass", "-30"), 2, "--coxa-mass: expected"),
    "no number": (_with(TANSY, "--capacity", "nan"), 2, "--capacity: expected"),
    "without end": (_with(TANSY, "--regulator-v", "inf"), 2, "--regulator-v: expected"),
    "half a leg": (_with(TANSY, "--legs", "6.5"), 2, "--legs: expected a whole number"),
    "nine legs": (_with(TANSY, "--legs", "9"), 2, "--legs: expected 4 to 8"),
    "more legs than said": (_with(TANSY, "--legs", "4"), 2, "--leg: expected 4 legs in all"),
    "no such servo": (_with(TANSY, "--servo", "mighty"), 2, "--servo: expected a class"),
    "no such key": ([*TANSY, "--joint", "lid axes=yaw"], 2, "--joint: lid: expected a known key"),
    "no such axis": ([*TANSY, "--joint", "lid axis=up at=0,0,0 tip=0,0,9 mass=3"], 2, "axis: expected"),
    "a joint twice": ([*TANSY, "--joint", "head axis=yaw at=1,2,3 tip=4,5,6 mass=7"], 2, "expected a name of its own"),
    "a missing answer": (TANSY[2:], 2, "--name: is missing"),
    "a weak regulator": (_with(TANSY, "--regulator-a", "1"), 1, "one servo alone takes"),
    "torque in N·m": (
        _with(TANSY, "--servo", "own volts=6 torque=1.8 speed=0.16 stall=2.5"), 1, "is it in N·m (multiply by 10.2)?",
    ),
    "too heavy to stand": (_with(TANSY, "--servo", "standard"), 1, "would have to hold"),
    "no URDF there": (["--urdf", "nowhere.urdf", *COMMON], 2, "nowhere.urdf: expected a URDF that can be read"),
}  # fmt: skip


@pytest.mark.parametrize("case", list(REFUSED))
def test_what_cannot_be_is_named_and_nothing_is_written(case: str, tmp_path: Path) -> None:
    arguments, code, words = REFUSED[case]
    done = new(*arguments, "--out", str(tmp_path / "robot.toml"))
    assert done.returncode == code, done.stderr
    assert words in done.stderr
    assert "Traceback" not in done.stderr
    if code == 2:
        assert done.stderr.count("\n") == 1
    assert list(tmp_path.iterdir()) == []


def test_a_doubtful_robot_is_written_when_its_maker_is_sure(tmp_path: Path) -> None:
    out = tmp_path / "robot.toml"
    assert new(*_with(TANSY, "--regulator-a", "1"), "--out", str(out), "--sure").returncode == 0
    assert description.load(out).supply.regulator_a == 1


def test_a_file_that_is_there_stays(tmp_path: Path) -> None:
    out = tmp_path / "robot.toml"
    out.write_text("mine", encoding="utf-8")
    done = new(*TANSY, "--out", str(out))
    assert (done.returncode, out.read_text(encoding="utf-8")) == (2, "mine")
    assert new(*TANSY, "--out", str(out), "--replace").returncode == 0


@pytest.fixture(scope="module")
def tansys_urdf() -> str:
    return urdf.export(description.load(ROBOTS / "tansy.toml"))


def _loop(text: str) -> str:
    """A foot that carries the body."""
    first = re.findall(r'<link name="([^"]+)"', text)
    joint = f'<joint name="back" type="fixed"><parent link="{first[-1]}"/><child link="{first[0]}"/></joint></robot>'
    return text.replace("</robot>", joint)


DRAWN = '<visual><geometry><mesh filename="meshes/shell.stl"/></geometry></visual></link>'
NO_URDF: dict[str, tuple[Callable[[str], str], str]] = {
    "a loop": (_loop, "expected"),
    "no mass": (lambda text: re.sub(r"<inertial>.*?</inertial>", "", text, count=3, flags=re.S), "expected a mass"),
    "a joint that slides": (lambda text: text.replace('type="revolute"', 'type="prismatic"', 1), "prismatic"),
    "a joint of no known type": (lambda text: text.replace('type="revolute"', 'type="elbow"', 1), "elbow"),
    "a word for a mass": (lambda text: text.replace('mass value="', 'mass value="heavy', 1), "expected a number"),
    "half a file": (lambda text: text[: len(text) // 2], "expected"),
    "a mesh that is not there": (
        lambda text: text.replace("</link>", DRAWN, 1), "mesh meshes/shell.stl: expected the file beside the URDF",
    ),
}  # fmt: skip


@pytest.mark.parametrize("case", list(NO_URDF))
def test_a_urdf_that_cannot_be_a_robot_is_named_and_nothing_is_written(
    case: str, tansys_urdf: str, tmp_path: Path
) -> None:
    spoil, words = NO_URDF[case]
    spoiled = spoil(tansys_urdf)
    assert spoiled != tansys_urdf
    model = tmp_path / "robot.urdf"
    model.write_text(spoiled, encoding="utf-8")
    done = new("--urdf", str(model), *COMMON, "--out", str(tmp_path / "robot.toml"))
    assert done.returncode == 2, done.stderr
    assert words in done.stderr
    assert str(model) in done.stderr
    assert done.stderr.count("\n") == 1
    assert list(tmp_path.iterdir()) == [model]


ANSWERS = {
    "What is it called": "Bob and Co",
    "How many legs": "6",
    "trunk's length": "25 x 12 x 4.6 cm",
    "Mass of the trunk": "1.05kg",
    "Coxa: ": "45",
    "Femur: ": "75",
    "Tibia: ": "115",
    "Mass of a coxa": "80",
    "Mass of a femur": "135",
    "Mass of a tibia": "70",
    "Radius": "",
    "How many cells": "",
    "capacity [mAh]": "5000",
    "set to [V]": "6",
    "for long [A]": "1",
    "Resistance": "",
    "radio's speed": "",
    "first pin": "",
    "Class": "strong",
    "all the same": "n",
}
"""What a person types at each question; the regulator is too small for one servo."""


@pytest.mark.skipif(sys.platform == "win32", reason="there is no pseudo-terminal")
def test_what_was_typed_in_the_terminal_is_not_lost_when_it_is_doubted(tmp_path: Path) -> None:
    import pty

    out = tmp_path / "bob.toml"
    ours, theirs = pty.openpty()
    command = [sys.executable, "-m", "motionhub", "new", "--out", str(out)]
    wide = {**os.environ, "COLUMNS": "2000"}
    with subprocess.Popen(command, stdin=theirs, stdout=theirs, stderr=theirs, env=wide) as running:
        os.close(theirs)
        shown = ""
        for question, answer in ANSWERS.items():
            while question not in shown:
                assert select.select([ours], [], [], 30)[0], shown
                shown += os.read(ours, 4096).decode()
            shown = ""
            os.write(ours, f"{answer}\n".encode())
        while "To go on" not in shown or not shown.endswith("\n"):
            assert select.select([ours], [], [], 30)[0], shown
            shown += os.read(ours, 4096).decode()
        assert running.wait(30) == 1
    os.close(ours)
    assert "Nothing was written" in shown
    assert not out.exists()
    again = shlex.split(shown.rpartition("motionhub new ")[2])
    done = new(*again, "--servo", "strong", "--regulator-a", "12", "--out", str(out))
    assert done.returncode == 0, done.stderr
    robot = description.load(out)
    assert (robot.name, robot.legs) == ("Bob and Co", 6)
    np.testing.assert_allclose([robot.coxa[0], robot.femur[0], robot.tibia[0]], [0.045, 0.075, 0.115])
