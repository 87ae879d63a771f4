"""A robot over a floor in MuJoCo, from the exported URDF: what the tests hold the check against.

Two things of MuJoCo's are chosen, so that it answers what the check answers. Its joints are held by springs
far stiffer than the contacts (or, where a move is played as a machine plays it, by position actuators as soft as
a servo, or by motors that are given their torque, as ``walking/servos.py`` does). And its contacts are springs of
one stated stiffness: by default MuJoCo makes each contact as stiff as the inertia is that it thinks it feels
there (``invweight0``), which shares the weight unlike over the legs, and no real foot is softer for being
on a lighter leg.

At rest the force of a constraint is k·r/R for the depth r, with k = 1/(d·time constant)² and R = (1 - d)/d ·
``invweight0`` (MuJoCo's documentation, "Solver parameters"), so that number is set to give the stiffness.
"""

from dataclasses import dataclass
from typing import Literal

import mujoco
import numpy as np
from numpy.typing import NDArray

from motionhub.motion.support import underside
from motionhub.robot import urdf
from motionhub.robot.kinematics import feet as feet_of
from motionhub.robot.model import STANDARD_GRAVITY, Robot

Array = NDArray[np.float64]

IMPEDANCE = 0.9
"""MuJoCo's d: constant, so that the springs are straight."""
LAG_S = 0.02
"""s by which a servo's damping makes it follow late: about one pulse (*practice*)."""
MOTORS: Literal["motors"] = "motors"
HELD = 1e5
"""N·m/rad: over a leg's length a hundred times as stiff as the contacts."""


@dataclass
class Settled:
    """How a pose came to rest."""

    height: float
    normal: Array
    """(3,) the ground's normal in the body frame."""
    forces: Array
    """(L,) N."""
    torques: Array
    """(J,) N·m of the servos."""
    still: bool


@dataclass
class Played:
    """How the body moved while a move was played, sample by sample."""

    place: Array
    """(S, 2) m from where it began."""
    heading: Array
    """(S,) rad, not wrapped."""
    up: Array
    """(S, 3) the ground's normal in the body frame."""


class Scene:
    """One robot over a floor.

    Args:
        robot: The robot.
        spring: Stiffness of each contact, N/m.
        friction: Coefficient at the feet and the belly; 0 for a floor of ice.
        servo: N·m/rad of position actuators on the joints; None holds them by springs of ``HELD``, and ``MOTORS``
            leaves them to whoever writes torques (J,) N·m into ``data.ctrl``.
        step_s: Of the simulation.
    """

    def __init__(
        self,
        robot: Robot,
        spring: float = 5e4,
        friction: float = 0.0,
        servo: float | Literal["motors"] | None = None,
        step_s: float = 0.001,
    ) -> None:
        spec = mujoco.MjSpec.from_string(urdf.export(robot))
        spec.body("body").add_freejoint()
        spec.option.timestep = step_s
        spec.option.integrator = mujoco.mjtIntegrator.mjINT_IMPLICITFAST
        spec.option.gravity = [0, 0, -STANDARD_GRAVITY]
        if friction:
            # Friction then holds what it can hold, instead of creeping
            spec.option.cone = mujoco.mjtCone.mjCONE_ELLIPTIC
            spec.option.impratio = 10
        floor = spec.worldbody.add_geom(type=mujoco.mjtGeom.mjGEOM_PLANE, size=[20, 20, 0.1])
        soft_s = 2 * step_s  # the least that MuJoCo takes
        for geom in [floor, *spec.geoms]:
            geom.condim = 3 if friction else 1
            geom.friction = [friction, 0, 0]
            geom.solref = [soft_s, 1.0]
            geom.solimp = [IMPEDANCE, IMPEDANCE, 0.001, 0.5, 2]
        for name, rotor in zip(robot.joint_names, robot.rotor_inertia, strict=True):
            joint = spec.joint(name)
            joint.limited = mujoco.mjtLimited.mjLIMITED_FALSE
            if servo is None:
                spring_at = spec.add_equality(name1=name, type=mujoco.mjtEq.mjEQ_JOINT)
                spring_at.solref = [soft_s, 1.0]
                spring_at.solimp = [IMPEDANCE, IMPEDANCE, 0.001, 0.5, 2]
            else:
                joint.armature = float(rotor)
                actuator = spec.add_actuator(name=name, target=name, trntype=mujoco.mjtTrn.mjTRN_JOINT)
                if servo == MOTORS:
                    actuator.biastype = mujoco.mjtBias.mjBIAS_AFFINE  # for what braking it takes
                else:
                    actuator.set_to_position(kp=servo, kv=servo * LAG_S)
        self.robot, self.model, self.rigid = robot, spec.compile(), servo is None
        felt = 1 / ((1 - IMPEDANCE) * IMPEDANCE * soft_s**2)
        self.model.body_invweight0[1:, 0] = felt / spring
        if self.rigid:
            self.model.dof_invweight0[6:] = felt / HELD
        self.data = mujoco.MjData(self.model)
        self.places = [int(self.model.joint(name).qposadr[0]) for name in robot.joint_names]
        self.feet = {self.model.body(urdf.foot_link(leg)).id: i for i, leg in enumerate(robot.leg_names)}
        self.body = self.model.body("body").id

    def put(self, joints: Array, above: float = 0.001, normal: Array | None = None) -> None:
        """Still, joints (J,) rad, its lowest point so far above the floor; level, or with its up axis (3,) given."""
        robot, data = self.robot, self.data
        mujoco.mj_resetData(self.model, data)
        up = np.array([0.0, 0.0, 1.0]) if normal is None else normal
        lowest = (feet_of(robot, joints) @ up - robot.foot_radius).min()
        data.qpos[2] = above - min(lowest, (underside(robot) @ up).min())
        # The smallest rotation from ``up`` to z, as a quaternion: half way between the two
        half = np.array([1 + up[2], up[1], -up[0], 0.0])
        data.qpos[3:7] = half / np.linalg.norm(half)
        data.qpos[self.places] = joints
        self.ask(joints)

    def ask(self, joints: Array) -> None:
        """Send the joints (J,) rad somewhere."""
        if self.rigid:
            self.model.eq_data[:, 0] = joints
        else:
            self.data.ctrl[:] = joints

    @property
    def up(self) -> Array:
        """(3,) the ground's normal in the body frame."""
        return np.array(self.data.xmat[self.body].reshape(3, 3)[2])

    @property
    def torques(self) -> Array:
        """(J,) N·m that hold the joints."""
        # Equality constraints come first among all, one row for each joint.
        found = self.data.efc_force[: self.robot.joints] if self.rigid else self.data.actuator_force
        return np.array(found)

    def settle(self, joints: Array, steps: int = 6000, upright: float = -1.0, normal: Array | None = None) -> Settled:
        """Let it down a millimetre, until it is still or its up axis falls below ``upright``.

        Its body is level at first, or has the ground's ``normal`` (3,).
        """
        model, data = self.model, self.data
        self.put(joints, normal=normal)
        still = False
        for step in range(steps):
            mujoco.mj_step(model, data)
            data.qvel[:6] *= 0.997  # air as thick as it takes to come to rest soon
            if step > 400 and step % 20 == 0 and np.abs(data.qvel).max() < 2e-5:
                still = True
                break
            if step % 20 == 0 and self.up[2] < upright:
                break
        forces = np.zeros(self.robot.legs)
        wrench = np.zeros(6)
        for i in range(data.ncon):
            mujoco.mj_contactForce(model, data, i, wrench)
            for geom in data.contact[i].geom:
                if (leg := self.feet.get(int(model.geom_bodyid[geom]))) is not None:
                    forces[leg] += wrench[0]
        return Settled(float(data.qpos[2]), self.up, forces, self.torques, still)

    def play(self, joints: Array, rate_hz: float, each: int = 1, after_s: float = 0.0, upright: float = -1.0) -> Played:
        """Stand in the first frame, and send the frames (T, J) rad, straight from each to the next.

        Args:
            joints: The move.
            rate_hz: Its frames a second.
            each: Samples to take, every so many frames.
            after_s: How long to hold the last frame.
            upright: Stop when the up axis falls below this.
        """
        model, data = self.model, self.data
        self.put(joints[0], above=0.0)
        per_frame = round(1 / (rate_hz * model.opt.timestep))
        mujoco.mj_step(model, data, nstep=round(0.3 / model.opt.timestep))
        start = data.qpos[:2].copy()
        place, heading, up = [], [], []
        held = np.repeat(joints[-1:], round(after_s * rate_hz), axis=0)
        before = joints[0]
        for t, frame in enumerate(np.concatenate([joints, held])):
            for part in range(1, per_frame + 1):
                self.ask(before + (frame - before) * (part / per_frame))
                mujoco.mj_step(model, data)
            before = frame
            if t % each == 0:
                turn = data.xmat[self.body].reshape(3, 3)
                place.append(data.qpos[:2] - start)
                heading.append(np.arctan2(turn[1, 0], turn[0, 0]))
                up.append(turn[2].copy())
                if up[-1][2] < upright:
                    break
        return Played(np.array(place), np.unwrap(heading), np.array(up))
