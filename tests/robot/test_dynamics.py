"""Inverse dynamics beside Pinocchio's recursive Newton-Euler, on the exported URDF.

10,000 random states of each robot: joints anywhere in a full turn, turning at up to 20 rad/s and gaining up
to 400 rad/s², the body at any attitude, spinning and accelerating. Ours in one call; theirs one by one.
"""

from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pinocchio as pin
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.spatial.transform import Rotation

from motionhub.robot import urdf
from motionhub.robot.dynamics import Demand, Trunk, foot_torques, holding, inverse_dynamics
from motionhub.robot.kinematics import feet, link_frames
from motionhub.robot.mass import centre_of_mass, gravity_torques
from motionhub.robot.model import STANDARD_GRAVITY, ExtraJoint, Robot
from motionhub.robot.posture import Posture

Array = NDArray[np.float64]

COUNT = 10_000
TOLERANCE = 1e-9  # of the largest in each column


@dataclass
class States:
    """Random states; body quantities along the body's axes."""

    joints: Array  # (T, J)
    speeds: Array
    accelerations: Array
    attitude: Array  # (T, 4) quaternion x y z w, from body to world
    linear: Array  # (T, 3) velocity of the body
    spin: Array
    acceleration: Array  # (T, 3) of the body's reference point, gravity not in it
    turning: Array

    @property
    def trunk(self) -> Trunk:
        up = Rotation.from_quat(self.attitude).inv().apply([0, 0, STANDARD_GRAVITY])
        return Trunk((self.acceleration + up).T, self.spin.T, self.turning.T)


def states(robot: Robot, count: int, seed: int = 20260118) -> States:
    rng = np.random.default_rng(seed)
    j = robot.joints
    return States(
        joints=rng.uniform(-np.pi, np.pi, (count, j)),
        speeds=rng.uniform(-20, 20, (count, j)),
        accelerations=rng.uniform(-400, 400, (count, j)),
        attitude=Rotation.random(count, random_state=rng).as_quat(),
        linear=rng.uniform(-2, 2, (count, 3)),
        spin=rng.uniform(-10, 10, (count, 3)),
        acceleration=rng.uniform(-20, 20, (count, 3)),
        turning=rng.uniform(-200, 200, (count, 3)),
    )


def ours(robot: Robot, s: States) -> Demand:
    return inverse_dynamics(Posture(robot, s.joints), s.speeds.T, s.accelerations.T, s.trunk)


def theirs(robot: Robot, s: States) -> Array:
    """(T, 6 + J): force and moment on the free flyer, along its own axes, and torques in our order."""
    model = pin.buildModelFromXML(urdf.export(robot), pin.JointModelFreeFlyer())
    model.gravity.linear = np.array([0, 0, -STANDARD_GRAVITY])
    data = model.createData()
    ids = [model.getJointId(name) for name in robot.joint_names]
    places, columns = [model.joints[i].idx_q for i in ids], [model.joints[i].idx_v for i in ids]
    found = np.empty((len(s.joints), 6 + robot.joints))
    q, v, a = pin.neutral(model), np.zeros(model.nv), np.zeros(model.nv)
    for t in range(len(s.joints)):
        q[3:7], q[places] = s.attitude[t], s.joints[t]
        v[:3], v[3:6], v[columns] = s.linear[t], s.spin[t], s.speeds[t]
        # A free flyer's acceleration is the rate of its body-fixed velocity: the turning of the axes is taken off.
        a[:3] = s.acceleration[t] - np.cross(s.spin[t], s.linear[t])
        a[3:6], a[columns] = s.turning[t], s.accelerations[t]
        tau = pin.rnea(model, data, q, v, a)
        found[t, :6], found[t, 6:] = tau[:6], tau[columns]
    return found


@cache
def whole(robot: Robot) -> tuple[Demand, Array]:
    s = states(robot, COUNT)
    return ours(robot, s), theirs(robot, s)


def test_ten_thousand_states_agree_with_pinocchio(robot: Robot) -> None:
    here, there = whole(robot)
    found = np.concatenate([here.force, here.moment, here.torques]).T
    assert np.isfinite(found).all()
    off = np.abs(found - there).max(axis=0) / np.abs(there).max(axis=0)
    assert off.max() < TOLERANCE, off
    # And each number to 1e-9 of itself, but for those that happen to be next to nothing.
    own = np.abs(found - there) / np.maximum(np.abs(there), 1e-3 * np.abs(there).max(axis=0))
    print(f"\n{robot.name} beside Pinocchio's RNEA: {off.max():.1e} of the largest, {own.max():.1e} of itself")
    assert own.max() < TOLERANCE


def test_the_comparison_would_notice(robot: Robot) -> None:
    """Every part of a state changes every leg's torques and the wrench by far more than the tolerance."""
    s = states(robot, 50)
    plain = ours(robot, s)
    for name in ("joints", "speeds", "accelerations", "spin", "acceleration", "turning", "attitude"):
        other = ours(robot, replace(s, **{name: np.roll(getattr(s, name), 1, axis=0)}))
        # An extra joint that is balanced on its axis does not feel its own speed.
        assert np.abs(other.torques - plain.torques)[: 3 * robot.legs].max(axis=1).min() > 1e-3, name
        assert np.abs(other.force - plain.force).max() > 1, name
        assert np.abs(other.moment - plain.moment).max() > 0.1, name


def crooked(robot: Robot, seed: int) -> Robot:
    """The robot with every link's centre off its axis, any inertia, and a joint that hangs on the first extra one."""
    rng = np.random.default_rng(seed)
    j = robot.joints
    spread = rng.normal(0, 0.02, (j + 1, 3, 4))
    inertia = np.array([np.trace(m @ m.T) * np.eye(3) - m @ m.T for m in spread]) * 0.1
    parent = 3 * robot.legs if robot.extra else -1
    axis = rng.normal(size=3)
    hand = ExtraJoint(
        "hand", parent, rng.normal(0, 0.05, 3), axis / np.linalg.norm(axis), np.array([0.05, 0.01, 0]), 0.01
    )
    return replace(
        robot,
        joint_names=(*robot.joint_names, "hand"),
        extra=(*robot.extra, hand),
        servos=(*robot.servos, robot.servos[0]),
        lower=np.append(robot.lower, -1.0),
        upper=np.append(robot.upper, 1.0),
        link_radius=np.append(robot.link_radius, 0.01),
        link_mass=np.append(robot.link_mass, 0.05),
        link_com=rng.normal(0, 0.04, (j + 1, 3)),
        link_inertia=inertia,
        body_com=rng.normal(0, 0.02, 3),
        body_inertia=10 * inertia[0],
    )


@settings(max_examples=15, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_any_masses_any_axes_and_joints_on_joints(robot: Robot, seed: int) -> None:
    """Shipped robots' links are balanced on their axes; others' need not be, and a gripper hangs on a neck."""
    odd = crooked(robot, seed)
    s = states(odd, 8, seed)
    here, there = ours(odd, s), theirs(odd, s)
    found = np.concatenate([here.force, here.moment, here.torques]).T
    assert found == pytest.approx(there, rel=1e-9, abs=1e-9 * float(np.abs(there).max()))
    posture = Posture(odd, s.joints)
    assert pytest.approx(centre_of_mass(odd, s.joints), abs=1e-12) == posture.centre.T


@pytest.mark.parametrize("odd", [False, True])
def test_standing_still_is_gravity_and_the_weight(robot: Robot, odd: bool) -> None:
    """At rest the torques are the statics, the force the weight, its moment the weight's at the centre of mass;
    whether a motion without speed is asked about or the short way for poses that are held."""
    robot = crooked(robot, 1) if odd else robot
    rng = np.random.default_rng(4)
    joints = rng.uniform(-np.pi, np.pi, (200, robot.joints))
    up = rng.normal(size=(200, 3))
    up /= np.linalg.norm(up, axis=1, keepdims=True)
    none = np.zeros((robot.joints, 200))
    posture = Posture(robot, joints)
    weight = robot.mass * STANDARD_GRAVITY * up
    for found in (inverse_dynamics(posture, none, none, Trunk.at_rest(up.T)), holding(posture, up.T)):
        assert pytest.approx(gravity_torques(robot, joints, -up), abs=1e-12) == found.torques.T
        assert pytest.approx(weight, abs=1e-10) == found.force.T
        assert pytest.approx(np.cross(centre_of_mass(robot, joints), weight), abs=1e-10) == found.moment.T


def test_what_holding_takes_is_pinocchios_gravity(robot: Robot) -> None:
    """Pinocchio's generalized gravity, the trunk's wrench with it, for 2,000 poses held up any way."""
    model = pin.buildModelFromXML(urdf.export(robot), pin.JointModelFreeFlyer())
    model.gravity.linear = np.array([0.0, 0.0, -STANDARD_GRAVITY])
    data = model.createData()
    rng = np.random.default_rng(9)
    joints = rng.uniform(robot.lower, robot.upper, (2000, robot.joints))
    turns = Rotation.random(2000, rng)
    columns = [model.joints[model.getJointId(name)] for name in robot.joint_names]
    found = holding(Posture(robot, joints), turns.inv().apply([0.0, 0.0, 1.0]).T)
    for i, (row, quaternion) in enumerate(zip(joints, turns.as_quat(), strict=True)):
        q = pin.neutral(model)
        q[3:7] = quaternion
        for column, angle in zip(columns, row, strict=True):
            q[column.idx_q] = angle
        there = pin.computeGeneralizedGravity(model, data, q)
        here = np.concatenate([found.force[:, i], found.moment[:, i], found.torques[:, i]])
        there = np.concatenate([there[:6], [there[column.idx_v] for column in columns]])
        assert here == pytest.approx(there, rel=1e-9, abs=1e-9)


def test_power_is_the_rate_of_kinetic_energy(robot: Robot) -> None:
    """The body held and no weight: torque times speed is what kinetic energy gains, Pinocchio's by differences."""
    model = pin.buildModelFromXML(urdf.export(robot))
    data = model.createData()
    columns = [model.joints[model.getJointId(name)].idx_v for name in robot.joint_names]
    rng = np.random.default_rng(5)
    amplitude, rate, phase = (rng.uniform(low, high, robot.joints) for low, high in ((0.2, 1), (1, 8), (0, 6)))

    def at(t: float) -> tuple[Array, Array, Array]:
        wave = rate * t + phase
        return amplitude * np.sin(wave), amplitude * rate * np.cos(wave), -amplitude * rate**2 * np.sin(wave)

    def energy(t: float) -> float:
        q, v = np.zeros(model.nq), np.zeros(model.nv)
        q[columns], v[columns], _ = at(t)
        return float(pin.computeKineticEnergy(model, data, q, v))

    h = 1e-5
    for t in np.linspace(0, 2, 9):
        q, v, a = at(t)
        still = Trunk(np.zeros((3, 1)), np.zeros((3, 1)), np.zeros((3, 1)))
        torques = inverse_dynamics(Posture(robot, q[None]), v[:, None], a[:, None], still).torques[:, 0]
        gain = (energy(t + h) - energy(t - h)) / (2 * h)
        assert torques @ v == pytest.approx(gain, rel=1e-6, abs=1e-7)


def test_forces_on_the_feet_are_the_transposed_jacobian(robot: Robot) -> None:
    """Against Pinocchio's frame Jacobians, moved to a point beside the foot's centre."""
    rng = np.random.default_rng(6)
    count = 40
    joints = rng.uniform(-np.pi, np.pi, (count, robot.joints))
    forces = rng.normal(0, 20, (3, robot.legs, count))
    below = rng.normal(0, 0.01, (3, robot.legs, count))
    found = foot_torques(Posture(robot, joints), forces, below)
    model = pin.buildModelFromXML(urdf.export(robot))
    data = model.createData()
    columns = [model.joints[model.getJointId(name)].idx_v for name in robot.joint_names]
    for t in range(count):
        q = np.zeros(model.nq)
        q[columns] = joints[t]
        pin.computeJointJacobians(model, data, q)
        pin.updateFramePlacements(model, data)
        total = np.zeros(model.nv)
        for leg, name in enumerate(robot.leg_names):
            jacobian = pin.getFrameJacobian(
                model, data, model.getFrameId(urdf.foot_link(name)), pin.LOCAL_WORLD_ALIGNED
            )
            f = forces[:, leg, t]
            total += jacobian.T @ np.r_[f, np.cross(below[:, leg, t], f)]
        assert found[:, t] == pytest.approx(total[columns][: 3 * robot.legs], abs=1e-10)


def test_a_posture_is_where_single_poses_are(robot: Robot) -> None:
    """The long-vector kinematics against those of single poses (which are Pinocchio's, test_against_engines)."""
    joints = states(robot, 300, 7).joints
    posture = Posture(robot, joints)
    assert pytest.approx(feet(robot, joints), abs=1e-14) == posture.feet.T
    rotations, origins = link_frames(robot, joints)
    start, end = (np.stack(ends, axis=1) for ends in zip(*map(posture.segment, range(robot.joints)), strict=True))
    assert start.transpose(2, 1, 0) == pytest.approx(origins, abs=1e-14)
    length = np.stack([robot.coxa, robot.femur, robot.tibia], axis=1).reshape(-1)
    tips = np.concatenate([length[:, None] * [1, 0, 0], *(extra.tip[None] for extra in robot.extra)])
    assert end.transpose(2, 1, 0) == pytest.approx(origins + (rotations @ tips[..., None])[..., 0], abs=1e-14)
    assert pytest.approx(centre_of_mass(robot, joints), abs=1e-14) == posture.centre.T
