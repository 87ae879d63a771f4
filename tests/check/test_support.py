"""Resting attitude and stability margin, against energy, scipy's convex hulls, and poses worked out by hand."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.spatial import ConvexHull
from scipy.spatial.transform import Rotation
from stances import LEFT_TRIPOD, posed, random_stances, standing

from motionhub.check.attitude import ROLL, rolls_over
from motionhub.motion.facets import UPRIGHT
from motionhub.motion.polygon import stability_margin
from motionhub.motion.posing import joints_for, rest_joints
from motionhub.motion.support import CONTACT, EXACT, contact_points, rest_on_ground, upright
from motionhub.robot.mass import centre_of_mass
from motionhub.robot.model import Robot


def test_at_rest_the_body_is_level_at_its_stated_height_on_all_feet(robot: Robot) -> None:
    s = rest_on_ground(robot, rest_joints(robot)[None])
    assert s.height[0] == pytest.approx(robot.rest_height, abs=1e-9)
    assert s.tilt[0] == pytest.approx([0, 0], abs=1e-9)
    assert s.down.all()
    assert not s.belly.any()
    assert not s.tipped.any()
    assert s.com[0] == pytest.approx(centre_of_mass(robot, rest_joints(robot))[:2], abs=1e-9)


def test_the_body_that_is_posed_is_the_body_that_is_found(robot: Robot) -> None:
    # With all feet on the ground the attitude is the pose's: roll and pitch as scipy's Rotation has them.
    body = np.array([[0.01, -0.006, 0.004, 0.05, -0.04, 0.07]])
    s = rest_on_ground(robot, posed(robot, standing(robot), body))
    assert s.height[0] == pytest.approx(robot.rest_height + 0.004, abs=1e-9)
    _, pitch, roll = Rotation.from_matrix(s.rotation[0]).as_euler("ZYX")
    assert (roll, pitch) == pytest.approx((0.05, -0.04), abs=1e-9)
    assert s.tilt[0] == pytest.approx((0.05, -0.04), abs=1e-9)
    assert s.level_feet[0, :, 2] == pytest.approx(robot.foot_radius, abs=1e-9)


def test_rest_is_where_the_centre_of_mass_is_lowest(robot: Robot) -> None:
    """Resting is a minimum of potential energy: leaning any way lifts the centre of mass (virtual work)."""
    joints = random_stances(robot, 150, seed=1)
    s = rest_on_ground(robot, joints)
    assert s.tipped.mean() < 0.2
    com = centre_of_mass(robot, joints)
    rng = np.random.default_rng(2)
    for t in np.flatnonzero(~s.tipped):
        points, radii = contact_points(robot, s.feet[t : t + 1])
        contacts = points[:, :, 0].T

        def height(normal: np.ndarray, contacts: np.ndarray = contacts, radii: np.ndarray = radii, t: int = t) -> float:
            return float(normal @ com[t] + (radii - contacts @ normal).max())

        own = height(s.normal[t])
        assert own == pytest.approx(s.normal[t] @ com[t] + s.height[t], abs=2e-6)
        for size in (1e-3, 1e-2):
            for turn in rng.normal(size=(40, 3)):
                leaning = Rotation.from_rotvec(size * turn / np.linalg.norm(turn)).apply(s.normal[t])
                assert height(leaning) > own - 2e-6 * size


def test_facet_is_the_hulls_that_the_weight_passes_through(robot: Robot) -> None:
    """scipy.spatial.ConvexHull on the feet, for poses that rest on feet alone (all of one radius)."""
    joints = random_stances(robot, 200, seed=3)
    s = rest_on_ground(robot, joints)
    com = centre_of_mass(robot, joints)
    seen = 0
    for t in np.flatnonzero(~s.tipped & ~s.belly & (s.facet < robot.legs).all(axis=1)):
        # A point far above makes a solid of coplanar feet; its lower facets are those of the feet.
        hull = ConvexHull(np.vstack([s.feet[t], com[t] + [0, 0, 1.0]]), qhull_options="QJ1e-10")
        # Qhull's normals point outward, so the lower facets' point down
        along = [
            n
            for n, simplex in zip(hull.equations, hull.simplices, strict=True)
            if n[2] < -0.5 and robot.legs not in simplex and _pierced(s.feet[t][simplex], com[t], n[:3])
        ]
        assert along, "scipy finds no facet that carries the weight, the check does"
        assert min(np.linalg.norm(n[:3] + s.normal[t]) for n in along) < 1e-5
        seen += 1
    assert seen > 50


def hulls_planes(points: np.ndarray, com: np.ndarray, beside: float) -> np.ndarray:
    """Up normals (N, 3) of the lower facets of SciPy's ConvexHull that the weight's line passes through, or misses by
    no more than ``beside`` m.
    """
    # A point far above makes a solid of whatever there is; joggling splits facets of more than three corners.
    hull = ConvexHull(np.vstack([points, com + np.array([0, 0, 10.0])]), qhull_options="QJ1e-10")
    return np.array(
        [
            -n[:3]
            for n, simplex in zip(hull.equations, hull.simplices, strict=True)
            if n[2] < 0 and len(points) not in simplex and _inside(points[simplex], com, n[:3]) >= -beside
        ]
    ).reshape(-1, 3)


@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), low=st.floats(0, 1))
def test_of_all_the_hulls_facets_it_stays_nearest_to_the_one_it_was_on(seed: int, low: float, robot: Robot) -> None:
    """Legs anywhere, the body as likely down as the feet: no facet with a corner of the body is overlooked because
    feet alone would do, and none is made up. Feet are points here, so that SciPy's hull is the very same."""
    robot = replace(robot, foot_radius=0 * robot.foot_radius)
    dice = np.random.default_rng(seed)
    anywhere = robot.lower + (robot.upper - robot.lower) * dice.random((40, robot.joints))
    joints = rest_joints(robot) + low * (anywhere - rest_joints(robot))
    s = rest_on_ground(robot, joints)
    com = centre_of_mass(robot, joints)
    last = np.array([0.0, 0.0, 1.0])
    for t in range(len(joints)):
        points, _ = contact_points(robot, s.feet[t : t + 1])
        # Where the weight is within a micrometre of an edge, the robot rests on either side of it.
        sure, maybe = (hulls_planes(points[:, :, 0].T, com[t], beside) for beside in (-2 * EXACT, 2 * EXACT))
        sure, maybe = sure[sure[:, 2] > UPRIGHT], maybe[maybe[:, 2] > UPRIGHT]
        assert not (s.tipped[t] and len(sure))
        if not s.tipped[t]:
            assert np.linalg.norm(maybe - s.normal[t], axis=1).min() < 1e-4
            assert s.normal[t] @ last >= (sure @ last).max(initial=-1.0) - 1e-5
        last = s.normal[t]


def _inside(triangle: np.ndarray, com: np.ndarray, down: np.ndarray) -> float:
    """How far (m) the line through ``com`` along ``down`` passes inside of a triangle's nearest edge."""
    turn = np.sign(np.cross(triangle[1] - triangle[0], triangle[2] - triangle[0]) @ down)
    sides = ((triangle[i], triangle[(i + 1) % 3] - triangle[i]) for i in range(3))
    return float(min(turn * np.cross(along, com - at) @ down / np.linalg.norm(along) for at, along in sides))


def _pierced(triangle: np.ndarray, com: np.ndarray, down: np.ndarray) -> bool:
    a, b, c = triangle
    weights = np.linalg.solve(np.column_stack([b - a, c - a, -down]), com - a)
    return bool(weights[0] > -1e-6 and weights[1] > -1e-6 and weights[0] + weights[1] < 1 + 1e-6)


def test_margin_is_the_distance_to_the_polygons_nearest_side(robot: Robot) -> None:
    """McGhee & Frank 1968, with the polygon from scipy.spatial.ConvexHull."""
    s = rest_on_ground(robot, random_stances(robot, 200, seed=4))
    touching = np.concatenate([s.down, s.corners], axis=1)
    for t in np.flatnonzero(~s.tipped):
        hull = ConvexHull(s.contacts[t][touching[t]])
        sides = -(hull.equations[:, :2] @ s.com[t] + hull.equations[:, 2])
        assert s.margin[t] == pytest.approx(sides.min(), abs=2e-6)


def test_a_foot_lifted_just_over_the_tolerance_is_up(tansy: Robot) -> None:
    feet = standing(tansy, 2)
    feet[0, LEFT_TRIPOD, 2] += 0.9 * CONTACT
    feet[1, LEFT_TRIPOD, 2] += 1.1 * CONTACT
    s = rest_on_ground(tansy, posed(tansy, feet))
    assert s.down[0].all()
    assert s.down[1].sum() == 3
    assert s.clearance[1, LEFT_TRIPOD] == pytest.approx(1.1e-3, abs=1e-9)


def test_feet_lifted_on_one_side_let_the_body_down_on_it(tansy: Robot) -> None:
    # Three feet up by 40 mm on the left: it leans left until the outermost of them, the middle one, touches again.
    feet = standing(tansy)
    feet[0, :3, 2] += 0.04
    s = rest_on_ground(tansy, posed(tansy, feet))
    assert s.down[0].tolist() == [False, True, False, True, False, True]
    assert not s.tipped[0]
    # About the line through the right front and rear feet: 40 mm over the distance of the left middle foot from it.
    line = tansy.rest_feet[3, 1]
    lean = np.arcsin(0.04 / np.hypot(tansy.rest_feet[1, 1] - line, 0.04))
    assert s.tilt[0] == pytest.approx([-lean, 0], abs=1e-3)  # left side down is negative about x


def test_a_robot_that_lies_down_rests_on_its_underside(robot: Robot) -> None:
    feet = standing(robot)
    belly = robot.rest_height + float(robot.body_centre[2] - robot.body_size[2] / 2)
    feet[..., 2] += belly + 0.01
    joints, error = joints_for(robot, np.zeros((1, 6)), feet)
    assert error.max() < 1e-9
    s = rest_on_ground(robot, joints)
    assert s.belly[0]
    assert not s.down.any()
    assert s.height[0] == pytest.approx(robot.rest_height - belly, abs=1e-9)
    x, y = robot.body_size[:2] / 2
    # The polygon is the box's own underside
    away = np.minimum(np.array([x, y]) - np.abs(s.com[0] - robot.body_centre[:2]), np.inf).min()
    assert s.margin[0] == pytest.approx(away, abs=1e-9)


def test_what_tips_has_no_place_to_rest_within_fifty_degrees(tansy: Robot) -> None:
    """Wherever it leans, the centre of mass gets lower towards the edge of what counts as upright."""
    rng = np.random.default_rng(6)
    joints = rest_joints(tansy) + rng.normal(0, 1.0, (4000, tansy.joints))
    s = rest_on_ground(tansy, joints)
    tipped = np.flatnonzero(s.tipped)
    assert 0 < len(tipped) < 400
    angle, around = np.meshgrid(np.deg2rad(np.arange(0, 51, 2)), np.deg2rad(np.arange(0, 360, 6)))
    cone = np.stack([np.sin(angle) * np.cos(around), np.sin(angle) * np.sin(around), np.cos(angle)], -1).reshape(-1, 3)
    com = centre_of_mass(tansy, joints)
    for t in tipped[:40]:
        points, radii = contact_points(tansy, s.feet[t : t + 1])
        height = cone @ com[t] + (radii - cone @ points[:, :, 0]).max(axis=1)
        assert np.arccos(cone[np.argmin(height), 2]) > np.deg2rad(47)
        assert s.margin[t] <= 1e-6


def over_the_diagonal(trestle: Robot, along: np.ndarray) -> np.ndarray:
    """Trestle with its first foot 20 mm up and its weight ``along`` (T,) m towards that foot from the diagonal."""
    feet = standing(trestle, len(along))
    body = np.zeros((len(along), 6))
    body[:, :2] = -rest_on_ground(trestle, posed(trestle, feet[:1])).com[0]
    body[:, :2] += along[:, None] * trestle.rest_feet[0, :2] / np.hypot(*trestle.rest_feet[0, :2])
    feet[:, 0, 2] += 0.02
    return posed(trestle, feet, body)


def test_a_short_leg_rocks_and_stays_the_way_it_lay(trestle: Robot) -> None:
    """A table with one short leg rests on either side of a diagonal, and stays on the one it is on."""
    joints = over_the_diagonal(trestle, np.zeros(5))
    lifted = trestle.rest_feet[0, :2] / np.hypot(*trestle.rest_feet[0, :2])
    ways = []
    for side in (-1, 1):
        near = np.array([*(side * 0.2 * lifted), 1.0])
        s = rest_on_ground(trestle, joints, near / np.linalg.norm(near))
        assert not s.tipped.any()
        assert np.allclose(s.normal, s.normal[0], atol=1e-9)
        ways.append(s)
    assert {bool(s.down[0, 0]) for s in ways} == {True, False}
    assert np.linalg.norm(ways[0].normal[0] - ways[1].normal[0]) > 0.05
    level = rest_on_ground(trestle, joints)
    assert np.allclose(level.normal[0], [0, 0, 1], atol=1e-9)  # from level, on the three that are level


def test_rolling_over_an_edge_is_seen_and_stepping_is_not(tansy: Robot, trestle: Robot) -> None:
    # Lifting a tripod's feet and setting them down is no roll.
    count = 40
    feet = standing(tansy, count)
    feet[:, LEFT_TRIPOD, 2] += 0.02 * np.sin(np.linspace(0, np.pi, count))[:, None]
    joints = posed(tansy, feet)
    s = rest_on_ground(tansy, joints)
    assert np.abs(rolls_over(tansy, joints, s)).max() < np.deg2rad(0.1)
    # Taking the weight over the diagonal towards a lifted foot drops the body onto that foot, once.
    joints = over_the_diagonal(trestle, np.linspace(-0.02, 0.02, count))
    s = rest_on_ground(trestle, joints)
    rolled = rolls_over(trestle, joints, s)
    over = np.flatnonzero(rolled > np.deg2rad(2))
    assert len(over) == 1
    assert not s.down[over[0] - 1, 0]
    assert s.down[over[0], 0]
    # The angle between the two planes that it rests on
    turn = np.arccos(s.normal[over[0]] @ s.normal[over[0] - 1])
    assert rolled[over[0]] == pytest.approx(turn, rel=0.05)
    # And block by block it is the same.
    for cut in (over[0], over[0] + 1):
        second = rest_on_ground(trestle, joints[cut:], s.normal[cut - 1])
        assert np.allclose(rolls_over(trestle, joints[cut:], second, s.facet[cut - 1]), rolled[cut:], atol=1e-6)


@pytest.mark.parametrize("seed", range(3))
def test_a_fall_between_two_frames_is_the_fall_of_the_same_way_in_many(seed: int, robot: Robot) -> None:
    """From pose to pose in one frame, and in two thousand: it falls in both or in neither."""
    joints = random_stances(robot, 60, seed, lift=0.06)
    missed, alarms, fell = 0, 0, 0
    for start, stop in pairwise(joints):
        near = rest_on_ground(robot, start[None]).normal[0]
        fine = start + np.linspace(0, 1, 2001)[:, None] * (stop - start)
        truth = (rolls_over(robot, fine, rest_on_ground(robot, fine, near)) > ROLL).any()
        both = np.stack([start, stop])
        found = (rolls_over(robot, both, rest_on_ground(robot, both, near)) > ROLL).any()
        fell += truth
        missed += truth and not found
        alarms += found and not truth
    print(f"{robot.name}: {fell} falls, {missed} missed, {alarms} false")
    assert missed == 0
    assert alarms == 0


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), spread=st.floats(0, 3))
@example(seed=815, spread=2.3125)  # a foot so near a corner of the underside that no plane touches both
def test_any_joint_angles_give_finite_answers(seed: int, spread: float, tansy: Robot) -> None:
    rng = np.random.default_rng(seed)
    joints = rest_joints(tansy) + rng.normal(0, spread, (7, tansy.joints))
    s = rest_on_ground(tansy, joints)
    for name in ("height", "normal", "rotation", "feet", "com", "margin", "contacts", "clearance"):
        assert np.isfinite(getattr(s, name)).all(), name
    assert np.linalg.norm(s.normal, axis=1) == pytest.approx(np.ones(7))
    assert (s.down.sum(axis=1) + s.corners.sum(axis=1) >= 3).all()
    # Nothing that can touch is below the ground, tipped or not.
    assert s.clearance.min() > -2e-6


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_many_frames_at_once_are_each_frame_alone(seed: int, tansy: Robot) -> None:
    joints = random_stances(tansy, 6, seed)
    whole = rest_on_ground(tansy, joints)
    near = None
    for t in range(len(joints)):
        one = rest_on_ground(tansy, joints[t : t + 1], near)
        near = one.normal[0]
        for name in ("height", "normal", "margin", "com", "clearance"):
            assert np.allclose(getattr(one, name)[0], getattr(whole, name)[t], atol=1e-12), name
        assert (one.down[0] == whole.down[t]).all()


def test_upright_is_the_smallest_rotation() -> None:
    rng = np.random.default_rng(5)
    normal = rng.normal(size=(50, 3))
    normal[:, 2] = np.abs(normal[:, 2])
    normal /= np.linalg.norm(normal, axis=1, keepdims=True)
    turn = Rotation.from_matrix(upright(normal))
    assert np.allclose(turn.apply(normal), [0, 0, 1], atol=1e-12)
    # By the angle between the two, about an axis across both
    assert turn.magnitude() == pytest.approx(np.arccos(normal[:, 2]), abs=1e-9)


@pytest.mark.parametrize("seed", range(4))
def test_few_triples_find_what_all_of_them_do(seed: int, robot: Robot) -> None:
    """A long block tries few triples; frame by frame, each one tries all, beginning with the one before."""
    rng = np.random.default_rng(seed)
    steps = 240
    # Joints that wander, near rest and then so far that the robot leans on its belly, rolls and tips over
    wander = np.cumsum(rng.normal(0, 1, (steps, robot.joints)), axis=0)
    joints = rest_joints(robot) + wander * (0.2 + 0.4 * seed) / np.abs(wander).max()
    joints[: steps // 3] = random_stances(robot, steps, seed)[: steps // 3]
    whole = rest_on_ground(robot, joints)
    near = None
    for t in range(steps):
        one = rest_on_ground(robot, joints[t : t + 1], near)
        near = one.normal[0]
        for name in ("height", "normal", "margin", "com", "clearance"):
            assert np.allclose(getattr(one, name)[0], getattr(whole, name)[t], atol=1e-9), (name, t)
        assert (one.down[0] == whole.down[t]).all()
        assert one.tipped[0] == whole.tipped[t]


def test_the_polygon_around_a_set_of_feet_is_that_of_all_pairs() -> None:
    """Convex, dented and crossing sets of feet, and points in and outside of them, against scipy's hull."""
    rng = np.random.default_rng(12)
    steps = 60
    for count in (3, 4, 6, 8):
        angle = np.sort(rng.uniform(0, 2 * np.pi, count))
        ring = 0.2 * np.stack([np.cos(angle), np.sin(angle)])[:, :, None] + rng.normal(0, 0.02, (2, count, steps))
        points = np.concatenate([ring, rng.normal(0, 0.15, (2, count, steps))], axis=2)
        at = rng.normal(0, 0.08, (2, 2 * steps))
        touching = np.ones((count, 2 * steps), dtype=bool)
        found = stability_margin(points, touching, at)
        for t in range(2 * steps):
            hull = ConvexHull(points[:, :, t].T)
            sides = hull.equations[:, :2] @ at[:, t] + hull.equations[:, 2]
            assert found[t] == pytest.approx(-sides.max(), abs=1e-9), (count, t)
