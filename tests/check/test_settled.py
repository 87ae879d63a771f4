"""The robot let down onto a floor in MuJoCo: where it comes to rest, what its feet carry, what its joints hold.

The exported URDF falls from a millimetre above the floor with its body level, its joints held by stiff
position servos, until it is still. The floor is without friction, as the check's forces are: what friction
locks in sideways depends on how a robot came down, not on its pose.

Tolerances: MuJoCo's contacts are soft. Its feet sink in by a few hundredths of a millimetre, and springs
in its constraint solver are not exactly alike, so on more than three feet it shares the weight somewhat
differently; on three the share is determinate, whatever the springs are.
"""

from dataclasses import dataclass

import mujoco
import numpy as np
import pytest
from numpy.typing import NDArray
from stances import random_stances

from motionhub.check.loads import loads_at_rest
from motionhub.motion.support import rest_on_ground
from motionhub.robot import urdf
from motionhub.robot.kinematics import feet as feet_of
from motionhub.robot.model import STANDARD_GRAVITY, Robot

Array = NDArray[np.float64]

STIFF = 2000.0
"""N·m/rad of the position servos: at most half a thousandth of a radian of give."""


@dataclass
class Settled:
    height: float
    normal: Array
    forces: Array
    torques: Array
    still: bool


class Scene:
    """One robot over a floor."""

    def __init__(self, robot: Robot, sink_s: float = 0.004) -> None:
        spec = mujoco.MjSpec.from_string(urdf.export(robot))
        spec.body("body").add_freejoint()
        spec.option.timestep = 0.001
        spec.option.integrator = mujoco.mjtIntegrator.mjINT_IMPLICITFAST
        spec.option.gravity = [0, 0, -STANDARD_GRAVITY]
        floor = spec.worldbody.add_geom(type=mujoco.mjtGeom.mjGEOM_PLANE, size=[2, 2, 0.1])
        for geom in [floor, *spec.geoms]:
            geom.condim = 1
            geom.solref = [sink_s, 1.0]
        for name in robot.joint_names:
            spec.joint(name).armature = 0.002
            actuator = spec.add_actuator(name=name, target=name, trntype=mujoco.mjtTrn.mjTRN_JOINT)
            actuator.set_to_position(kp=STIFF, kv=20.0)
        self.robot, self.model = robot, spec.compile()
        self.data = mujoco.MjData(self.model)
        self.places = [int(self.model.joint(name).qposadr[0]) for name in robot.joint_names]
        self.feet = {self.model.body(urdf.foot_link(leg)).id: i for i, leg in enumerate(robot.leg_names)}

    def settle(self, joints: Array) -> Settled:
        robot, model, data = self.robot, self.model, self.data
        mujoco.mj_resetData(model, data)
        lowest = (feet_of(robot, joints)[:, 2] - robot.foot_radius).min()
        under = robot.body_centre[2] - robot.body_size[2] / 2
        data.qpos[2] = 0.001 - min(lowest, under)
        data.qpos[self.places] = joints
        data.ctrl[:] = joints
        still = False
        for step in range(6000):
            mujoco.mj_step(model, data)
            data.qvel[:6] *= 0.997  # air as thick as it takes to come to rest soon
            if step > 400 and np.abs(data.qvel).max() < 2e-5:
                still = True
                break
        forces = np.zeros(robot.legs)
        wrench = np.zeros(6)
        for i in range(data.ncon):
            mujoco.mj_contactForce(model, data, i, wrench)
            for geom in data.contact[i].geom:
                if (leg := self.feet.get(int(model.geom_bodyid[geom]))) is not None:
                    forces[leg] += wrench[0]
        attitude = data.xmat[model.body("body").id].reshape(3, 3)
        return Settled(float(data.qpos[2]), attitude[2].copy(), forces, data.actuator_force.copy(), still)


def test_settled_poses(robot: Robot) -> None:
    joints = random_stances(robot, 120, seed=31)
    scene = Scene(robot)
    weight = robot.mass * STANDARD_GRAVITY
    first = rest_on_ground(robot, joints)
    on_three = compared = 0
    for t in np.flatnonzero(~first.tipped & ~first.belly & (first.margin > 0.004))[:40]:
        found = scene.settle(joints[t])
        assert found.still
        # Where two facets would carry it, it rests on the one that it happened to fall on.
        s = rest_on_ground(robot, joints[t : t + 1], near=found.normal)
        # A foot that hangs within the contact tolerance may or may not take part in MuJoCo: leave those out.
        if s.margin[0] < 0.004 or ((s.clearance[0] > 2e-5) & (s.clearance[0] < 1.5e-3)).any():
            continue
        loads = loads_at_rest(robot, joints[t : t + 1], s)
        assert found.height == pytest.approx(s.height[0], abs=5e-4)
        assert found.normal == pytest.approx(s.normal[0], abs=3e-3)
        three = s.down[0].sum() == 3
        assert found.forces == pytest.approx(loads.feet[0], abs=(0.01 if three else 0.04) * weight)
        largest = np.abs(loads.torques[0]).max()
        assert found.torques == pytest.approx(loads.torques[0], abs=(0.01 if three else 0.06) * largest)
        on_three += int(three)
        compared += 1
    assert compared >= 20
    assert on_three >= (4 if robot.legs <= 6 else 1)
