"""Ground forces and joint torques: by hand, against scipy's optimisers, and against Pinocchio."""

import numpy as np
import pinocchio as pin
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import LinearConstraint, minimize, nnls
from stances import posed, random_stances, standing

from motionhub.check.loads import ground_forces, loads_at_rest
from motionhub.motion.support import rest_on_ground
from motionhub.robot import urdf
from motionhub.robot.model import STANDARD_GRAVITY, Robot

Array = NDArray[np.float64]


def one(arms: list[tuple[float, float]], weight: float = 30.0, touching: list[bool] | None = None) -> Array:
    touch = [True] * len(arms) if touching is None else touching
    x, y = np.array(arms).T[..., None]
    return ground_forces(x, y, np.array(touch)[:, None], np.array([weight]))[:, 0]


def test_three_feet_by_hand() -> None:
    # Moments about the line through the two rear feet: F·(0.1 + 0.2) = W·0.1, the rest halved.
    assert one([(0.2, 0.0), (-0.1, 0.1), (-0.1, -0.1)]) == pytest.approx([10, 10, 10])
    assert one([(0.3, 0.0), (-0.1, 0.2), (-0.1, -0.2)]) == pytest.approx([7.5, 11.25, 11.25])
    # Right above one foot it carries all.
    assert one([(0.0, 0.0), (-0.1, 0.1), (-0.1, -0.1)]) == pytest.approx([30, 0, 0], abs=1e-6)


def test_four_feet_of_a_square_share_alike_and_a_lifted_one_takes_nothing() -> None:
    square = [(0.1, 0.1), (0.1, -0.1), (-0.1, 0.1), (-0.1, -0.1)]
    assert one(square) == pytest.approx([7.5] * 4)
    # Without one corner its opposite carries what the moment about the diagonal asks: nothing either.
    assert one(square, touching=[True, True, True, False]) == pytest.approx([0, 15, 15, 0], abs=1e-6)


def test_feet_do_not_pull() -> None:
    # Linear springs would pull at the far foot: it is let go, and the others balance by themselves.
    forces = one([(0.02, 0.1), (0.02, -0.1), (-0.1, 0.0), (-0.6, 0.0)])
    assert forces[3] == 0
    assert forces == pytest.approx([12.5, 12.5, 5, 0])


@settings(max_examples=150, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), count=st.integers(3, 8))
def test_least_norm_without_pulling_is_scipys(seed: int, count: int) -> None:
    """min |F|² under balance and F ≥ 0: scipy's nnls on the balance with a faint weight on the norm."""
    rng = np.random.default_rng(seed)
    arms = rng.uniform(-0.2, 0.2, (count, 2))
    arms -= rng.dirichlet(np.ones(count)) @ arms  # the centre of mass is inside
    weight = 30.0
    found = one([tuple(a) for a in arms], weight)
    balance = np.vstack([np.ones(count), 10 * arms.T])
    faint = 1e-6
    theirs, _ = nnls(np.vstack([balance, faint * np.eye(count)]), np.r_[weight, 0, 0, np.zeros(count)], maxiter=1000)
    assert found.min() >= 0
    assert balance @ found == pytest.approx([weight, 0, 0], abs=2e-5 * weight)
    assert np.linalg.norm(found) <= np.linalg.norm(theirs) * (1 + 1e-4)
    assert found == pytest.approx(theirs, abs=0.02 * weight)


def test_least_norm_is_that_of_a_constrained_minimum() -> None:
    """A few cases in which feet are let go, against scipy's SLSQP."""
    rng = np.random.default_rng(8)
    let_go = 0
    for _ in range(60):
        arms = rng.normal(0, 0.1, (6, 2)) + rng.normal(0, 0.03, 2)
        arms -= arms.T @ rng.dirichlet(np.full(6, 0.4))
        found = one([tuple(a) for a in arms])
        balance = np.vstack([np.ones(6), arms.T])
        their = minimize(
            lambda f: f @ f, np.full(6, 5.0), jac=lambda f: 2 * f, bounds=[(0, None)] * 6, method="SLSQP",
            constraints=LinearConstraint(balance, [30, 0, 0], [30, 0, 0]), options={"ftol": 1e-12, "maxiter": 500},
        )  # fmt: skip
        if their.success:
            assert found @ found == pytest.approx(their.fun, rel=1e-4)
            let_go += int((found == 0).any())
    assert let_go > 10


def test_forces_carry_the_weight_without_moment(robot: Robot) -> None:
    joints = random_stances(robot, 300, seed=9)
    s = rest_on_ground(robot, joints)
    arms = s.contacts - s.com[:, None]
    touching = np.concatenate([s.down, s.corners], axis=1).T
    forces = ground_forces(*arms.transpose(2, 1, 0), touching, np.full(len(arms), robot.mass * STANDARD_GRAVITY)).T
    good = ~s.tipped
    assert forces.min() >= 0
    assert forces.sum(axis=1)[good] == pytest.approx(robot.mass * STANDARD_GRAVITY, rel=1e-9)
    assert np.abs((forces[..., None] * arms).sum(axis=1))[good].max() < 1e-6


def test_torques_are_pinocchios_gravity_less_the_grounds_push(robot: Robot) -> None:
    """τ = g(q) - Jᵀf on the exported URDF, its free flyer turned as the robot rests."""
    joints = random_stances(robot, 60, seed=10)
    s = rest_on_ground(robot, joints)
    loads = loads_at_rest(robot, joints, s)
    model = pin.buildModelFromXML(urdf.export(robot), pin.JointModelFreeFlyer())
    model.gravity.linear = np.array([0, 0, -STANDARD_GRAVITY])
    data = model.createData()
    ids = [model.getJointId(name) for name in robot.joint_names]
    places, columns = [model.joints[i].idx_q for i in ids], [model.joints[i].idx_v for i in ids]
    feet = [model.getFrameId(urdf.foot_link(leg)) for leg in robot.leg_names]
    checked = 0
    for t in np.flatnonzero(~s.belly & ~s.tipped):
        q = pin.neutral(model)
        q[3:7] = pin.Quaternion(s.rotation[t]).coeffs()
        q[places] = joints[t]
        balance = pin.computeGeneralizedGravity(model, data, q).copy()
        pin.computeJointJacobians(model, data, q)
        pin.updateFramePlacements(model, data)
        for leg, frame in enumerate(feet):
            jacobian = pin.getFrameJacobian(model, data, frame, pin.LOCAL_WORLD_ALIGNED)
            balance -= jacobian[:3].T @ np.array([0, 0, loads.feet[t, leg]])
        assert balance[columns] == pytest.approx(loads.torques[t], abs=1e-9)
        # And the robot as a whole is in balance: no force on the body, no moment but what the spheres' radii make.
        assert balance[:6] == pytest.approx(np.zeros(6), abs=1e-6)
        checked += 1
    assert checked > 20


def test_the_middle_leg_of_a_tripod_by_hand(tansy: Robot) -> None:
    """Level on three feet: the femur holds the foot's force times its horizontal arm, less its own links' moment."""
    feet = standing(tansy)
    feet[0, [0, 2, 4], 2] += 0.03
    joints = posed(tansy, feet)
    s = rest_on_ground(tansy, joints)
    loads = loads_at_rest(tansy, joints, s)
    leg = 1
    femur, tibia = joints[0, 4], joints[0, 4] + joints[0, 5]
    arm = tansy.femur[leg] * np.cos(femur) + tansy.tibia[leg] * np.cos(tibia)
    assert arm == pytest.approx(tansy.stand_reach[leg] - tansy.coxa[leg])
    own = tansy.link_mass[4] * tansy.link_com[4, 0] * np.cos(femur) + tansy.link_mass[5] * (
        tansy.femur[leg] * np.cos(femur) + tansy.link_com[5, 0] * np.cos(tibia)
    )
    expected = STANDARD_GRAVITY * own - loads.feet[0, leg] * arm
    assert loads.torques[0, 4] == pytest.approx(expected, abs=1e-9)
