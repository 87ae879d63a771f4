"""What moving adds to loads: derivatives against SciPy's, a moving robot against Pinocchio's equations of motion."""

import json

import numpy as np
import pinocchio as pin
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.signal import savgol_filter
from scipy.spatial.transform import Rotation
from stances import frames, posed, rotorless, standing

from motionhub.check.derivatives import HALF_S, derivatives, half_width
from motionhub.check.timeline import work_out
from motionhub.motion import documents
from motionhub.motion.easing import ease
from motionhub.motion.frames import Frames
from motionhub.motion.posing import joints_for
from motionhub.motion.render import render
from motionhub.robot import urdf
from motionhub.robot.model import STANDARD_GRAVITY, Robot

Array = NDArray[np.float64]


def ends_held(rows: Array, rate: float) -> Array:
    return np.pad(rows, ((0, 0), (half_width(rate),) * 2), mode="edge")


@settings(max_examples=40, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), rate=st.sampled_from([20.0, 50.0, 75.0, 100.0, 200.0]))
def test_derivatives_are_those_of_scipys_savitzky_golay(seed: int, rate: float) -> None:
    rows = np.cumsum(np.random.default_rng(seed).normal(size=(3, 60)), axis=1)
    speed, gain = derivatives(ends_held(rows, rate), rate)
    for order, found in ((1, speed), (2, gain)):
        theirs = savgol_filter(rows, 2 * half_width(rate) + 1, 2, deriv=order, delta=1 / rate, mode="nearest", axis=1)
        assert found == pytest.approx(theirs, rel=1e-9, abs=1e-9 * float(np.abs(theirs).max()))


def test_a_smooth_move_keeps_its_peaks_and_a_corner_is_taken_as_a_servo_takes_it() -> None:
    rate = 50.0
    # Minimum jerk over T: peak speed 15/8 d/T, peak acceleration 10/sqrt(3) d/T² (Flash & Hogan 1985).
    for seconds, lost in ((0.5, 0.03), (1.0, 0.01)):
        steps = round(seconds * rate)
        path = ease("minimum-jerk")(np.clip(np.arange(-10, steps + 11) / steps, 0, 1))
        speed, gain = derivatives(ends_held(path[None], rate), rate)
        assert (1 - lost) * 15 / 8 / seconds < speed.max() <= 15 / 8 / seconds
        assert (1 - lost) * 10 / 3**0.5 / seconds**2 < gain.max() <= 10 / 3**0.5 / seconds**2
    corner = np.maximum(np.arange(-20, 21), 0) / rate  # from standing to 1 unit/s within a frame
    speed, gain = derivatives(corner[None], rate)
    assert gain.max() == pytest.approx(3 / 7 * rate)
    # Whatever the rate, it is rounded off over about the time that a servo takes to answer.
    for other in (100.0, 200.0, 400.0):
        fine = np.maximum(np.arange(-400, 401), 0) / other
        assert 0.85 / HALF_S < derivatives(fine[None], other)[1].max() < 1.1 / HALF_S
    # A microradian of rounding in the frames is no torque to speak of.
    rough = np.random.default_rng(0).uniform(-1e-6, 1e-6, (20, 400))
    assert np.abs(derivatives(rough, rate)[1]).max() < 3e-3


class Sway:
    """A body that moves over planted feet, every way at once, as functions of time; and its exact derivatives."""

    def __init__(self, robot: Robot, seed: int) -> None:
        rng = np.random.default_rng(seed)
        self.robot = robot
        self.most = np.array([0.012, 0.012, 0.008, 0.05, 0.05, 0.08]) * rng.uniform(0.5, 1, 6)
        self.rate = rng.uniform(8, 14, 6)
        self.phase = rng.uniform(0, 2 * np.pi, 6)
        self.extra = rng.uniform(0.1, 0.4, robot.joints - 3 * robot.legs)

    def body(self, times: Array) -> Array:
        return self.most * np.sin(self.rate * times[:, None] + self.phase)

    def joints(self, times: Array) -> Array:
        extra = self.extra * np.sin(4 * times[:, None])
        joints, error = joints_for(self.robot, self.body(times), standing(self.robot, len(times)), extra)
        assert error.max() < 1e-9
        return joints

    def attitude(self, times: Array) -> Rotation:
        return Rotation.from_euler("ZYX", self.body(times)[:, :2:-1])


def moved(sway: Sway, model: pin.Model, t: float) -> tuple[Array, Array, Array]:
    """Pinocchio's q, v and a at a time, by differences a thousand times finer than frames."""
    h = 2e-5
    times = t + h * np.array([-2, -1, 0, 1, 2])
    joints, place, turn = sway.joints(times), sway.body(times)[:, :3], sway.attitude(times)
    place[:, 2] += sway.robot.rest_height
    q = np.zeros((5, model.nq))
    q[:, :3], q[:, 3:7] = place, turn.as_quat()
    q[:, [model.joints[model.getJointId(n)].idx_q for n in sway.robot.joint_names]] = joints
    v = [pin.difference(model, q[i - 1], q[i + 1]) / (2 * h) for i in (1, 2, 3)]
    return q[2], v[1], (v[2] - v[0]) / (2 * h)


@pytest.mark.parametrize("seed", range(3))
def test_a_swaying_robot_is_in_balance_by_pinocchios_equations(seed: int, robot: Robot) -> None:
    """The forces that our torques imply carry the trunk as it truly moves, and are the forces we say.

    The trunk's motion is that which the move was made from: neither attitude nor odometry nor derivatives of
    ours are in it. What is left is what a parabola over five frames takes off a sine of 2 Hz: 4 % of the inertia.
    """
    robot = rotorless(robot)  # rotors push on nothing but their joints
    sway, rate = Sway(robot, seed), 50.0
    times = np.arange(101) / rate
    found = work_out(frames(robot, sway.joints(times), rate))
    model = pin.buildModelFromXML(urdf.export(robot), pin.JointModelFreeFlyer())
    model.gravity.linear = np.array([0, 0, -STANDARD_GRAVITY])
    data = model.createData()
    columns = [model.joints[model.getJointId(name)].idx_v for name in robot.joint_names]
    feet = [model.getFrameId(urdf.foot_link(leg)) for leg in robot.leg_names]
    weight = robot.mass * STANDARD_GRAVITY
    inertial = 0.0
    for t in range(10, 91, 8):
        q, v, a = moved(sway, model, times[t])
        need = pin.rnea(model, data, q, v, a).copy()
        still = pin.rnea(model, data, q, 0 * v, 0 * a).copy()
        # In the world's axes: what the ground has to give, and its moment about the trunk's origin
        turn = pin.Quaternion(q[3:7]).matrix()
        force, moment = turn @ need[:3], turn @ need[3:6]
        inertial = max(inertial, float(np.abs(force - turn @ still[:3]).max()))
        pin.computeJointJacobians(model, data, q)
        pin.updateFramePlacements(model, data)
        total, about = np.zeros(3), np.zeros(3)
        for leg, frame in enumerate(feet):
            own = columns[3 * leg : 3 * leg + 3]
            below = np.array([0, 0, -robot.foot_radius[leg]])  # it touches there, and not at its centre
            jacobian = pin.getFrameJacobian(model, data, frame, pin.LOCAL_WORLD_ALIGNED)
            at_contact = jacobian[:3, own] - pin.skew(below) @ jacobian[3:, own]
            f = np.linalg.solve(at_contact.T, need[own] - found.torques[t, 3 * leg : 3 * leg + 3])
            total += f
            about += np.cross(data.oMf[frame].translation + below - q[:3], f)
            assert f[2] == pytest.approx(found.forces[t, leg], abs=0.01 * weight)
        assert total == pytest.approx(force, abs=0.008 * weight)
        assert about == pytest.approx(moment, abs=0.0015 * weight)
        extra = columns[3 * robot.legs :]
        assert found.torques[t, 3 * robot.legs :] == pytest.approx(need[extra], abs=1e-3)
    assert inertial > 0.05 * weight  # or none of this would show anything


def test_a_body_that_is_lifted_weighs_more_and_then_less(tansy: Robot) -> None:
    """By hand: on minimum jerk up by d within T its acceleration peaks at 10/sqrt(3) d/T² (Flash & Hogan 1985)."""
    rise, seconds, rate = 0.02, 0.6, 50.0
    share = ease("minimum-jerk")(np.clip((np.arange(80) - 20) / (seconds * rate), 0, 1))
    body = np.zeros((80, 6))
    body[:, 2] = rise * share
    total = work_out(frames(tansy, posed(tansy, standing(tansy, 80), body), rate)).forces.sum(axis=1)
    weight = tansy.mass * STANDARD_GRAVITY
    # The trunk is lifted, the feet stay: of a link that hangs between them a part.
    peak = 10 / 3**0.5 * rise / seconds**2
    assert total[[0, -1]] == pytest.approx(weight)
    assert tansy.body_mass / tansy.mass * peak < (total.max() - weight) / tansy.mass < peak
    assert total.max() - weight == pytest.approx(weight - total.min(), rel=0.02)
    # What it gained on the way up it has lost at the top: the impulse is nothing.
    assert (total - weight).sum() / rate == pytest.approx(0, abs=1e-3 * weight * seconds)


def test_standing_still_is_the_statics(robot: Robot) -> None:
    """A single frame, and a held pose, move nothing."""
    feet = standing(robot, 4)
    feet[:, 0, 2] += 0.02
    body = np.tile([0.002, 0.003, -0.005, 0.02, -0.02, 0.03], (4, 1))
    joints = posed(robot, feet, body)
    held, one = work_out(frames(robot, joints)), work_out(frames(robot, joints[:1]))
    assert held.torques == pytest.approx(np.tile(one.torques, (4, 1)), abs=1e-12)
    assert held.forces[0].sum() == pytest.approx(robot.mass * STANDARD_GRAVITY)


def test_where_it_falls_the_frames_say_nothing_of_forces(trestle: Robot) -> None:
    """Rolling over an edge between two frames is no acceleration of a hundred g: it is a fall, found as such."""
    feet = standing(trestle, 60)
    feet[:, 0, 2] += 0.03
    body = np.zeros((60, 6))
    body[:, 0] = np.linspace(-0.02, 0.05, 60)
    joints, _ = joints_for(trestle, body, feet)
    t = work_out(frames(trestle, joints))
    assert (t.tipped | (t.rolled > np.deg2rad(2))).any()
    assert t.forces.sum(axis=1).max() < 1.5 * trestle.mass * STANDARD_GRAVITY


def linear(robot: Robot, degrees: float, ms: int) -> Frames:
    document = {
        "format": "motionhub-sequence/1", "name": "nod",
        "keyframes": [
            {"at_ms": i * ms, "approach": "linear", "joints_deg": {"head": degrees * (-1) ** i if i else 0}}
            for i in range(7)
        ],
    }  # fmt: skip
    return render(documents.parse(json.dumps(document), "nod", robot), robot)


def test_rotors_take_torque_to_be_turned_faster(robot: Robot) -> None:
    """What Pinocchio's armature adds, on top of the same robot without."""
    sway, rate = Sway(robot, 0), 50.0
    joints = sway.joints(np.arange(101) / rate)
    model = pin.buildModelFromXML(urdf.export(robot), pin.JointModelFreeFlyer())
    data = model.createData()
    columns = [model.joints[model.getJointId(name)].idx_v for name in robot.joint_names]
    wide = half_width(rate)
    _, gaining = derivatives(np.ascontiguousarray(joints.T), rate)
    own = work_out(frames(robot, joints, rate)).torques[wide:-wide]
    q, still = pin.neutral(model), np.zeros(model.nv)
    acceleration, added = np.zeros(model.nv), np.zeros_like(own)
    bare = [pin.rnea(model, data, q, still, _placed(acceleration, columns, a)).copy() for a in gaining.T]
    armature = np.zeros(model.nv)
    armature[columns] = robot.rotor_inertia
    model.armature = armature
    for t, a in enumerate(gaining.T):
        with_rotors = pin.rnea(model, data, q, still, _placed(acceleration, columns, a))
        added[t] = (with_rotors - bare[t])[columns]
    without = work_out(frames(rotorless(robot), joints, rate)).torques[wide:-wide]
    np.testing.assert_allclose(own, without + added, atol=1e-9)
    assert np.abs(added).max() > 0.05


def _placed(into: NDArray[np.float64], columns: list[int], values: NDArray[np.float64]) -> NDArray[np.float64]:
    into[:] = 0
    into[columns] = values
    return into


def test_a_linear_corner_is_a_knock_of_the_size_that_a_servo_makes_of_it(tansy: Robot) -> None:
    """By hand: the head turns back at full speed; its servo takes what turning it back within 47 ms takes, not more."""
    t = work_out(linear(tansy, 30, 500))
    j = tansy.joint_index["head"]
    back = 2 * float(np.abs(t.speeds[:, j]).max()) * 3 / 7 * 50
    arm = tansy.link_com[j]
    inertia = float(tansy.link_inertia[j][2, 2] + tansy.link_mass[j] * (arm[0] ** 2 + arm[1] ** 2))
    inertia += float(tansy.rotor_inertia[j])
    assert np.abs(t.torques[:, j]).max() == pytest.approx(inertia * back, rel=0.05)
    assert np.abs(t.torques[:, j]).max() < tansy.servos[j].stall_torque_at(7.0)
