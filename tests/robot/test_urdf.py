"""The exported URDF as a file: what others load from it, unchanged, and the command that writes it."""

import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import mujoco
import numpy as np
import pinocchio as pin
import pytest

from motionhub.robot import urdf
from motionhub.robot.model import Robot


@pytest.fixture(scope="module")
def path(robot: Robot, tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("urdf") / f"{robot.name}.urdf"
    file.write_text(urdf.export(robot), encoding="utf-8")
    return file


def test_the_trunk_is_the_only_root_and_every_joint_is_there(robot: Robot, path: Path) -> None:
    tree = ET.parse(path).getroot()
    links = {link.attrib["name"] for link in tree.iter("link")}
    children = {child.attrib["link"] for child in tree.iter("child")}
    assert links - children == {"body"}
    moving = [joint.attrib["name"] for joint in tree.iter("joint") if joint.attrib["type"] == "revolute"]
    assert moving == list(robot.joint_names)


def test_pinocchio_loads_the_file_with_names_limits_and_feet(robot: Robot, path: Path) -> None:
    model = pin.buildModelFromUrdf(str(path), pin.JointModelFreeFlyer())
    assert set(model.names) == {"universe", "root_joint", *robot.joint_names}
    for i, name in enumerate(robot.joint_names):
        joint = model.joints[model.getJointId(name)]
        assert model.lowerPositionLimit[joint.idx_q] == robot.lower[i]
        assert model.upperPositionLimit[joint.idx_q] == robot.upper[i]
        rail = robot.supply.regulator_v
        assert model.effortLimit[joint.idx_v] == pytest.approx(float(robot.servos[i].stall_torque_at(rail)))
        assert model.velocityLimit[joint.idx_v] == pytest.approx(float(robot.servos[i].free_speed_at(rail)))
    shapes = pin.buildGeomFromUrdf(model, str(path), pin.COLLISION)
    spheres = {shape.name: shape.geometry.radius for shape in shapes.geometryObjects if shape.name != "body_0"}
    assert spheres == {f"{leg}.foot_0": radius for leg, radius in zip(robot.leg_names, robot.foot_radius, strict=True)}


def test_mujoco_loads_the_file_and_keeps_masses_and_feet_apart(robot: Robot, path: Path) -> None:
    model = mujoco.MjModel.from_xml_path(str(path))
    assert {model.joint(i).name for i in range(model.njnt)} == set(robot.joint_names)
    assert model.body_mass.sum() == pytest.approx(robot.mass, abs=1e-12)
    for leg, name in enumerate(robot.leg_names):
        shape = model.geom(f"{name}.foot.collision")
        assert shape.type == mujoco.mjtGeom.mjGEOM_SPHERE
        assert shape.size[0] == robot.foot_radius[leg]
        assert model.body(shape.bodyid[0]).name == f"{name}.foot"
    trunk = model.geom("body.collision")
    np.testing.assert_allclose(trunk.size, robot.body_size / 2)
    np.testing.assert_allclose(trunk.pos, robot.body_centre)
    for i, name in enumerate(robot.joint_names):
        np.testing.assert_allclose(model.joint(name).range, [robot.lower[i], robot.upper[i]], atol=1e-15)


def test_inertias_are_those_of_something_solid(robot: Robot, path: Path) -> None:
    """Any body's principal inertias are positive and the greatest is at most the sum of the others."""
    model = mujoco.MjModel.from_xml_path(str(path))
    heavy = model.body_inertia[model.body_mass > 0]
    assert len(heavy) == robot.joints + 1
    assert (heavy > 0).all()
    assert (2 * heavy.max(axis=1) <= heavy.sum(axis=1) + 1e-15).all()


def test_positive_angles_turn_as_the_model_says(robot: Robot, path: Path) -> None:
    """model.py: coxa to the left about +z, femur and tibia lift, at zero the leg is straight along its heading."""
    model = pin.buildModelFromUrdf(str(path))
    data = model.createData()
    leg = robot.leg_names[0]
    foot = model.getFrameId(urdf.foot_link(leg))

    def at(part: str, angle: float) -> np.ndarray:
        q = pin.neutral(model)
        q[model.joints[model.getJointId(f"{leg}.{part}")].idx_q] = angle
        pin.framesForwardKinematics(model, data, q)
        return np.array(data.oMf[foot].translation)

    out = robot.coxa[0] + robot.femur[0] + robot.tibia[0]
    ray = np.array([np.cos(robot.heading[0]), np.sin(robot.heading[0]), 0])
    np.testing.assert_allclose(at("coxa", 0), robot.hip[0] + out * ray, atol=1e-12)
    left = np.array([-ray[1], ray[0], 0])
    assert (at("coxa", 0.1) - at("coxa", 0)) @ left > 0
    assert at("femur", 0.1)[2] > at("femur", 0)[2]
    assert at("tibia", 0.1)[2] > at("tibia", 0)[2]


def motionhub(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    source = Path(__file__).parents[2]
    command = [
        sys.executable,
        "-c",
        f"import sys; sys.path.insert(0, {str(source)!r}); from motionhub.cli import main; main()",
    ]
    return subprocess.run([*command, *arguments], cwd=cwd, capture_output=True, text=True, timeout=60, check=False)


def test_the_command_writes_what_the_engines_load(robot: Robot, tmp_path: Path) -> None:
    done = motionhub("urdf", "--robot", robot.source, "--out", "robot.urdf", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    assert (tmp_path / "robot.urdf").read_text(encoding="utf-8") == urdf.export(robot)


def test_the_command_without_a_robot_writes_the_demo_robot(tansy: Robot, tmp_path: Path) -> None:
    assert motionhub("urdf", "--out", "robot.urdf", cwd=tmp_path).returncode == 0
    assert (tmp_path / "robot.urdf").read_text(encoding="utf-8") == urdf.export(tansy)


@pytest.mark.parametrize(
    "arguments", [("--out", "a.urdf", "--robot", "none.toml"), (), ("--out", "no/such/folder/a.urdf")]
)
def test_the_command_refuses_in_one_line(tmp_path: Path, arguments: tuple[str, ...]) -> None:
    done = motionhub("urdf", *arguments, cwd=tmp_path)
    assert done.returncode == 2
    assert done.stdout == ""
    assert len(done.stderr.strip().splitlines()) == 1
    assert "Traceback" not in done.stderr
    assert "expected" in done.stderr or "missing option" in done.stderr
    assert ".part" not in done.stderr
    assert not list(tmp_path.iterdir())
