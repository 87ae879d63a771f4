"""Segments and boxes against scipy's minimiser and coal's exact shapes; the skeleton against the link frames."""

import coal
import numpy as np
import pytest
from figures import Figures
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.optimize import minimize, minimize_scalar
from stances import random_stances

from motionhub.check.distances import segment_box, segments
from motionhub.check.parts import clearances, pairs
from motionhub.motion.posing import rest_joints
from motionhub.robot.kinematics import link_frames
from motionhub.robot.model import Robot
from motionhub.robot.posture import Posture

Array = NDArray[np.float64]


def ends(seed: int, count: int, spread: float = 0.1) -> list[Array]:
    rng = np.random.default_rng(seed)
    return [rng.normal(0, spread, (3, count)) for _ in range(4)]


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), kind=st.sampled_from(["any", "parallel", "point", "crossing"]))
def test_segments_are_scipys_bounded_minimum(seed: int, kind: str, figures: Figures) -> None:
    a, b, c, d = ends(seed, 1)
    if kind == "parallel":
        d = c + 0.7 * (b - a)
    elif kind == "point":
        d = c
    elif kind == "crossing":
        d = c + 2 * ((a + b) / 2 - c)
    ours = segments(a, b, c, d)[0]

    def gap(x: Array) -> float:
        return float(np.sum((a + x[0] * (b - a) - c - x[1] * (d - c)) ** 2))

    theirs = min(
        minimize(gap, start, bounds=[(0, 1)] * 2).fun for start in ([0.5, 0.5], [0, 0], [1, 1], [0, 1], [1, 0])
    )
    figures.note("m from scipy's least distance of two segments", abs(ours - np.sqrt(theirs)))
    assert ours == pytest.approx(np.sqrt(theirs), abs=2e-5)
    assert ours**2 <= theirs + 1e-12


def test_segments_are_coals_capsules(figures: Figures) -> None:
    a, b, c, d = ends(3, 200)
    ours = segments(a, b, c, d)
    radius = 1e-3
    for t in range(200):
        shapes = []
        for start, end in ((a[:, t], b[:, t]), (c[:, t], d[:, t])):
            along = end - start
            turn = coal.Transform3s()
            turn.setTranslation((start + end) / 2)
            z = along / np.linalg.norm(along)
            x = np.cross(z, [1.0, 0, 0] if abs(z[0]) < 0.9 else [0, 1.0, 0])
            x /= np.linalg.norm(x)
            turn.setRotation(np.column_stack([x, np.cross(z, x), z]))
            shapes += [coal.Capsule(radius, float(np.linalg.norm(along))), turn]
        result = coal.DistanceResult()
        coal.distance(shapes[0], shapes[1], shapes[2], shapes[3], coal.DistanceRequest(), result)
        figures.note("m from coal's distance of two capsules", abs(ours[t] - 2 * radius - result.min_distance))
        assert ours[t] - 2 * radius == pytest.approx(result.min_distance, abs=1e-5)


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), spread=st.floats(0.02, 0.4))
def test_segment_from_box_is_scipys_bounded_minimum(seed: int, spread: float, figures: Figures) -> None:
    a, b, *_ = ends(seed, 1, spread)
    centre, half = np.array([0.01, -0.02, 0.0]), np.array([0.12, 0.06, 0.02])
    ours = segment_box(a, b, centre, half)[0]

    def gap(s: float) -> float:
        return float(np.linalg.norm(np.maximum(np.abs(a[:, 0] + s * (b - a)[:, 0] - centre) - half, 0)))

    best = min(minimize_scalar(gap, bounds=(low, low + 0.1), method="bounded").fun for low in np.arange(0, 1, 0.1))
    best = min(best, gap(0), gap(1))
    figures.note("m from scipy's least distance of a segment and a box", abs(ours - best))
    assert ours == pytest.approx(best, abs=1e-5)


def test_skeleton_is_that_of_the_link_frames(robot: Robot) -> None:
    rng = np.random.default_rng(12)
    joints = rng.uniform(-2, 2, (50, robot.joints))
    bones = Posture(robot, joints)
    rotations, origins = link_frames(robot, joints)
    for link in range(robot.joints):
        assert np.allclose(bones.segment(link)[0].T, origins[:, link], atol=1e-12)
    for leg in range(robot.legs):
        for part, length in enumerate((robot.coxa[leg], robot.femur[leg], robot.tibia[leg])):
            link = 3 * leg + part
            tip = origins[:, link] + rotations[:, link] @ np.array([length, 0, 0])
            assert np.allclose(bones.segment(link)[1].T, tip, atol=1e-12)
    for i, extra in enumerate(robot.extra, start=3 * robot.legs):
        assert np.allclose(bones.segment(i)[1].T, origins[:, i] + rotations[:, i] @ extra.tip, atol=1e-12)


def test_the_nearest_pair_is_the_nearest_of_all_pairs(robot: Robot) -> None:
    """What is ruled out by boxes is never nearer: against every pair, every frame, through coal's capsules and box."""
    joints = random_stances(robot, 40, seed=13)
    bones = Posture(robot, joints)
    best, which = clearances(robot, bones)
    known = pairs(robot)
    assert known
    for t in range(len(joints)):
        gaps = []
        for pair in known:
            one = [end[:, t : t + 1] for end in bones.segment(pair.a)]
            if pair.b < 0:
                gap = segment_box(*one, robot.body_centre, robot.body_size / 2)[0] - robot.link_radius[pair.a]
            else:
                other = [end[:, t : t + 1] for end in bones.segment(pair.b)]
                gap = segments(*one, *other)[0] - robot.link_radius[pair.a] - robot.link_radius[pair.b]
            gaps.append(gap)
        assert best[t] == pytest.approx(min(gaps), abs=1e-9)
        assert gaps[which[t]] == pytest.approx(min(gaps), abs=1e-9)


def test_nothing_touches_at_rest(robot: Robot) -> None:
    joints = rest_joints(robot)[None]
    assert clearances(robot, Posture(robot, joints))[0][0] > 0
