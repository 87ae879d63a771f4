"""Kinematics and mass properties beside Pinocchio's and MuJoCo's, on the exported URDF.

10,000 random configurations of each robot, every joint anywhere in a full turn and gravity from anywhere.
Ours are computed in one call; theirs one configuration at a time, as their libraries are used.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import mujoco
import numpy as np
import pinocchio as pin
import pytest
from numpy.typing import NDArray

from motionhub.robot import urdf
from motionhub.robot.kinematics import feet, foot_jacobians, link_frames
from motionhub.robot.mass import centre_of_mass, gravity_torques, link_centres, total_inertia
from motionhub.robot.model import STANDARD_GRAVITY, Robot

Array = NDArray[np.float64]

COUNT = 10_000
TOLERANCE = 1e-9  # m, rad, N·m, kg·m²


@dataclass
class Properties:
    """What both sides say, over T configurations, in the body frame."""

    rotations: Array  # (T, J, 3, 3)
    origins: Array  # (T, J, 3)
    centres: Array  # (T, J, 3)
    feet: Array  # (T, L, 3)
    jacobians: Array  # (T, L, 3, J): of each foot by every joint
    centre: Array  # (T, 3)
    torques: Array  # (T, J)
    inertia: Array  # (T, 3, 3), about the centre of mass
    mass: float

    @classmethod
    def empty(cls, robot: Robot) -> "Properties":
        t, j, n = COUNT, robot.joints, robot.legs
        shapes = ((t, j, 3, 3), (t, j, 3), (t, j, 3), (t, n, 3), (t, n, 3, j), (t, 3), (t, j), (t, 3, 3))
        return cls(*(np.empty(shape) for shape in shapes), mass=0.0)


def configurations(robot: Robot) -> tuple[Array, Array]:
    rng = np.random.default_rng(20260117)
    down = rng.normal(size=(COUNT, 3))
    return rng.uniform(-np.pi, np.pi, (COUNT, robot.joints)), down / np.linalg.norm(down, axis=1, keepdims=True)


@cache
def ours(robot: Robot) -> Properties:
    joints, down = configurations(robot)
    rotations, origins = link_frames(robot, joints)
    own = foot_jacobians(robot, joints)
    wide = np.zeros((COUNT, robot.legs, 3, robot.joints))
    for leg in range(robot.legs):
        wide[:, leg, :, robot.leg_joints(leg)] = own[:, leg]
    return Properties(
        rotations,
        origins,
        link_centres(robot, joints),
        feet(robot, joints),
        wide,
        centre_of_mass(robot, joints),
        gravity_torques(robot, joints, down),
        total_inertia(robot, joints),
        robot.mass,
    )


@cache
def pinocchio(robot: Robot) -> Properties:
    found = Properties.empty(robot)
    model = pin.buildModelFromXML(urdf.export(robot), pin.JointModelFreeFlyer())
    data = model.createData()
    found.mass = pin.computeTotalMass(model)
    ids = [model.getJointId(name) for name in robot.joint_names]
    columns = [model.joints[i].idx_v for i in ids]
    places = [model.joints[i].idx_q for i in ids]
    foot_ids = [model.getFrameId(urdf.foot_link(leg)) for leg in robot.leg_names]
    levers = [model.inertias[i].lever for i in ids]
    q = pin.neutral(model)
    for t, (joints, down) in enumerate(zip(*configurations(robot), strict=True)):
        q[places] = joints
        model.gravity.linear = STANDARD_GRAVITY * down
        pin.ccrba(model, data, q, np.zeros(model.nv))
        pin.computeJointJacobians(model, data, q)
        pin.updateFramePlacements(model, data)
        for j, i in enumerate(ids):
            at = data.oMi[i]
            found.rotations[t, j], found.origins[t, j] = at.rotation, at.translation
            found.centres[t, j] = at.act(levers[j])
        for leg, i in enumerate(foot_ids):
            found.feet[t, leg] = data.oMf[i].translation
            jacobian = pin.getFrameJacobian(model, data, i, pin.ReferenceFrame.LOCAL_WORLD_ALIGNED)
            found.jacobians[t, leg] = jacobian[:3, columns]
        found.centre[t] = data.com[0]
        found.inertia[t] = data.Ig.inertia
        found.torques[t] = pin.computeGeneralizedGravity(model, data, q)[columns]
    return found


@cache
def mujoco_engine(robot: Robot) -> Properties:
    found = Properties.empty(robot)
    spec = mujoco.MjSpec.from_string(urdf.export(robot))
    spec.body("body").add_freejoint()
    model = spec.compile()
    data = mujoco.MjData(model)
    root = model.body("body").id
    found.mass = float(model.body_subtreemass[root])
    links = [model.body(urdf.moved_link(name)).id for name in robot.joint_names]
    foot_ids = [model.body(urdf.foot_link(leg)).id for leg in robot.leg_names]
    columns = [int(model.joint(name).dofadr[0]) for name in robot.joint_names]
    places = [int(model.joint(name).qposadr[0]) for name in robot.joint_names]
    jacobian, torque = np.empty((3, model.nv)), np.empty(model.nv)
    for t, (joints, down) in enumerate(zip(*configurations(robot), strict=True)):
        data.qpos[places] = joints
        model.opt.gravity[:] = STANDARD_GRAVITY * down
        mujoco.mj_kinematics(model, data)
        mujoco.mj_comPos(model, data)
        mujoco.mj_crb(model, data)
        mujoco.mj_comVel(model, data)
        mujoco.mj_rne(model, data, 0, torque)
        found.rotations[t] = data.xmat[links].reshape(-1, 3, 3)
        found.origins[t] = data.xpos[links]
        found.centres[t] = data.xipos[links]
        found.feet[t] = data.xpos[foot_ids]
        for leg, i in enumerate(foot_ids):
            mujoco.mj_jacBody(model, data, jacobian, None, i)
            found.jacobians[t, leg] = jacobian[:, columns]
        found.centre[t] = data.subtree_com[root]
        # crb holds the composite inertia about the tree's centre of mass, as xx yy zz xy xz yz
        xx, yy, zz, xy, xz, yz = data.crb[root][:6]
        found.inertia[t] = [[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]]
        found.torques[t] = torque[columns]
    return found


@pytest.mark.parametrize("engine", [pinocchio, mujoco_engine])
def test_kinematics_and_mass_properties_agree(robot: Robot, engine: Callable[[Robot], Properties]) -> None:
    here, there = ours(robot), engine(robot)
    assert here.mass == pytest.approx(there.mass, abs=TOLERANCE)
    off = {
        name: float(np.abs(getattr(here, name) - getattr(there, name)).max()) for name in vars(here) if name != "mass"
    }
    print(f"\n{robot.name} beside {engine.__name__}: " + ", ".join(f"{name} {by:.1e}" for name, by in off.items()))
    assert max(off.values()) < TOLERANCE, off


def test_the_comparison_would_notice(robot: Robot) -> None:
    """The engines do answer something that depends on the configuration, so agreeing means something."""
    there = pinocchio(robot)
    for name in ("rotations", "feet", "jacobians", "centre", "torques", "inertia"):
        assert np.ptp(getattr(there, name), axis=0).max() > 1e-4, name
