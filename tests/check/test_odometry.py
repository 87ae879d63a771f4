"""Travel and slip: rigid motions found again exactly, and the stepper's own account of where it walked."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from motionhub.check.report import check
from motionhub.motion import documents
from motionhub.motion.odometry import Odometer, travel
from motionhub.motion.render import render
from motionhub.robot.model import Robot


@settings(max_examples=60, deadline=None)
@given(seed=st.integers(0, 2**32 - 1))
def test_a_body_over_planted_feet_is_followed_exactly(seed: int) -> None:
    rng = np.random.default_rng(seed)
    count, legs = 30, 6
    ground = rng.uniform(-0.2, 0.2, (legs, 2))
    place = np.cumsum(rng.normal(0, 0.01, (count, 2)), axis=0)
    heading = np.cumsum(rng.normal(0, 0.05, count))
    place -= place[0]
    heading -= heading[0]
    turn = Rotation.from_euler("z", heading[:, None]).as_matrix()[:, :2, :2]
    feet = np.einsum("tji,tlj->tli", turn, ground[None] - place[:, None])
    down = rng.random((count, legs)) < 0.8
    down[:, :2] = True
    found = travel(feet, down, rng.uniform(1, 10, (count, legs)))
    assert found.place == pytest.approx(place, abs=1e-9)
    assert found.heading == pytest.approx(heading, abs=1e-9)
    assert found.slip.max() < 1e-9


def test_a_foot_that_is_dragged_shows_how_far_until_it_is_lifted() -> None:
    count = 50
    feet = np.tile([[0.2, 0.1], [0.2, -0.1], [-0.2, 0.1], [-0.2, -0.1]], (count, 1, 1))
    feet[:, 0, 0] += np.linspace(0, 0.02, count)
    down = np.ones((count, 4), dtype=bool)
    down[30, 0] = False
    # All the weight on the others: the body does not follow the dragged foot.
    forces = np.where(np.arange(4) == 0, 1e-9, 10.0) * np.ones((count, 4))
    slip = travel(feet, down, forces).slip
    assert slip[29, 0] == pytest.approx(0.02 * 29 / 49, rel=1e-3)
    assert slip[30, 0] == 0
    assert slip[49, 0] == pytest.approx(0.02 * 18 / 49, rel=1e-3)  # from the first frame it is down again
    assert slip[:, 1:].max() < 1e-6


@pytest.mark.parametrize(
    "walk", [{"forward_mm_s": 50}, {"left_mm_s": -25}, {"turn_deg_s": 10}, {"forward_mm_s": 20, "turn_deg_s": 8}]
)
def test_a_walk_goes_where_the_stepper_says(tansy: Robot, walk: dict[str, float]) -> None:
    document = {
        "format": "motionhub-sequence/1", "name": "walk", "walks": [{"from_ms": 0, "to_ms": 6000, **walk}],
    }  # fmt: skip
    frames = render(documents.parse(json.dumps(document), "walk", tansy), tansy)
    t = check(frames).timeline
    assert frames.travel[-1].any()
    assert t.travel.place[-1] == pytest.approx(frames.travel[-1, :2], abs=2e-3)
    assert t.travel.heading[-1] == pytest.approx(frames.travel[-1, 2], abs=np.deg2rad(0.5))
    assert t.travel.slip.max() < 3e-3


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), cut=st.integers(1, 38))
def test_a_move_in_blocks_is_followed_as_in_one(seed: int, cut: int) -> None:
    """Each block begins with a frame that the last one has had, and may look ahead beyond where the next begins."""
    rng = np.random.default_rng(seed)
    feet = np.array([[0.2, 0.1], [0.2, -0.1], [-0.2, 0.1], [-0.2, -0.1]]) + rng.normal(0, 0.01, (40, 4, 2))
    down, forces = rng.random((40, 4)) < 0.8, rng.uniform(1, 10, (40, 4))
    whole = travel(feet, down, forces)
    follower = Odometer()
    ahead = min(cut + 3, 40)
    first = follower.follow(feet[:ahead], down[:ahead], forces[:ahead], carry=cut)
    second = follower.follow(feet[cut:], down[cut:], forces[cut:])
    for name in ("place", "heading", "slip"):
        assert getattr(first, name) == pytest.approx(getattr(whole, name)[:ahead], abs=1e-12), name
        assert getattr(second, name) == pytest.approx(getattr(whole, name)[cut:], abs=1e-12), name
