"""The facts that Tansy's numbers were chosen for (*practice*: references.md, "Servos and supply").

A walker of about 3 kg with eighteen metal-gear servos, too heavy to lift itself on 5 V, lifts itself on
7 V; its servos take at most 7.2 V. The forces under three feet are three unknowns in three equations,
solved here by hand; the torques that they ask for come from Pinocchio.
"""

import numpy as np
import pinocchio as pin
import pytest
from numpy.typing import NDArray

from motionhub.robot import urdf
from motionhub.robot.kinematics import feet, foot_jacobians, leg_angles
from motionhub.robot.mass import centre_of_mass, gravity_torques
from motionhub.robot.model import STANDARD_GRAVITY, Robot

Array = NDArray[np.float64]

TRIPODS = (("left_front", "right_middle", "left_rear"), ("right_front", "left_middle", "right_rear"))


def stance(robot: Robot, carrying: tuple[str, ...]) -> Array:
    """The rest stance with the other feet lifted as high as a step."""
    asked = robot.rest_feet.copy()
    for leg, name in enumerate(robot.leg_names):
        if name not in carrying:
            asked[leg, 2] += robot.walk.lift
    return np.append(leg_angles(robot, asked).joints.ravel(), np.zeros(len(robot.extra)))


def forces_under(points: Array, centre: Array, weight: float) -> Array:
    """Upward forces at three points that hold a weight at ``centre``: each is an area of a triangle over the whole."""

    def area(a: Array, b: Array, c: Array) -> float:
        return float((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]))

    a, b, c = points
    return weight * np.array([area(centre, b, c), area(a, centre, c), area(a, b, centre)]) / area(a, b, c)


def torques_by_pinocchio(robot: Robot, joints: Array, carrying: tuple[str, ...], forces: Array) -> tuple[Array, Array]:
    """Servo torques (J,) of a level stance, and what is left unbalanced at the floating trunk (6,)."""
    model = pin.buildModelFromXML(urdf.export(robot), pin.JointModelFreeFlyer())
    model.gravity.linear = np.array([0, 0, -STANDARD_GRAVITY])
    data = model.createData()
    ids = [model.getJointId(name) for name in robot.joint_names]
    q = pin.neutral(model)
    q[[model.joints[i].idx_q for i in ids]] = joints
    torque = pin.computeGeneralizedGravity(model, data, q).copy()
    for name, force in zip(carrying, forces, strict=True):
        frame = model.getFrameId(urdf.foot_link(name))
        jacobian = pin.computeFrameJacobian(model, data, q, frame, pin.ReferenceFrame.LOCAL_WORLD_ALIGNED)
        torque -= jacobian[:3].T @ np.array([0, 0, force])
    return torque[[model.joints[i].idx_v for i in ids]], torque[:6]


@pytest.mark.parametrize("carrying", TRIPODS)
def test_three_feet_ask_more_than_the_servos_hold_on_5_volts_but_not_on_7(
    tansy: Robot, carrying: tuple[str, ...]
) -> None:
    joints = stance(tansy, carrying)
    legs = [tansy.leg_index[name] for name in carrying]
    points = feet(tansy, joints)[legs]
    forces = forces_under(points, centre_of_mass(tansy, joints), tansy.mass * STANDARD_GRAVITY)
    assert (forces > 0).all()  # it does stand on the three
    torques, unbalanced = torques_by_pinocchio(tansy, joints, carrying, forces)
    np.testing.assert_allclose(unbalanced, 0, atol=1e-9)

    ours = gravity_torques(tansy, joints, np.array([0.0, 0.0, -1.0]))
    for leg, force in zip(legs, forces, strict=True):
        ours[tansy.leg_joints(leg)] -= foot_jacobians(tansy, joints)[leg].T @ np.array([0, 0, force])
    np.testing.assert_allclose(ours, torques, atol=1e-9)

    def most(volts: float) -> float:
        held = [servo.hold_fraction * float(servo.stall_torque_at(volts)) for servo in tansy.servos]
        return float((np.abs(torques) / held).max())

    assert most(5.0) > 1.1  # by a margin that no rounding of a file makes up
    assert most(7.0) < 0.9


def test_it_is_a_large_walker_on_a_two_cell_pack(tansy: Robot) -> None:
    assert tansy.mass == pytest.approx(3.0, abs=0.15)
    assert sum(servo.name == "walker" for servo in tansy.servos) == 18
    assert tansy.supply.battery_full_v == pytest.approx(8.4)
    assert tansy.supply.battery_nominal_v == pytest.approx(7.4)
    assert all(servo.max_v == 7.2 for servo in tansy.servos)
    assert tansy.supply.regulator_v == pytest.approx(7.0)
    assert tansy.supply.regulator_a > 6
