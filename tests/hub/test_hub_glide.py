"""Gliding: what has been found to make the path's library give up, and the way that is foretold."""

import numpy as np
import pytest

from motionhub.hub.sources import glide
from motionhub.hub.sources.glide import Glide

SPEED = (0.08, 0.7, 0.7, 0.7)


def test_the_way_that_is_foretold_is_gone() -> None:
    path = Glide((0.0,) * 4, SPEED, 0.15, 0.02)
    path.target = np.array([0.02, -0.1, 0.2, 0.3])
    for _ in range(7):
        path.look_ahead()
        path.go()
    path.target = np.array([-0.01, 0.1, 0.0, -0.2])
    trial, gone = path.way(400), [path.position]
    while not path.resting:
        path.look_ahead()
        path.go()
        gone.append(path.position)
    # Every place on the way is one that was foretold, and it goes on as far as the old speed takes it, and back.
    for place in gone:
        assert np.abs(trial - place).max(axis=1).min() < 2e-3
    assert trial[:, 2].max() > gone[0][2]
    np.testing.assert_allclose(trial[-1], path.target, atol=1e-9)


@pytest.mark.parametrize("times", [1, 2])
def test_where_no_way_is_found_it_goes_on_or_stops_and_does_not_raise(
    monkeypatch: pytest.MonkeyPatch, times: int
) -> None:
    """The library gives up in some one of 100,000 states, all of them in motion."""
    path = Glide((0.0,) * 4, SPEED, 0.15, 0.02)
    path.target = np.full(4, 0.2)
    for _ in range(5):
        path.look_ahead()
        path.go()
    update, left = path._otg.update, [times]

    class GivesUp:
        def update(self, *state: object) -> object:
            left[0] -= 1
            if left[0] >= 0:
                raise glide.RuckigError("no root")
            return update(*state)

    monkeypatch.setattr(path, "_otg", GivesUp())
    before = path.position
    for _ in range(200):
        path.look_ahead()
        path.go()
    assert path.resting
    assert path.position == pytest.approx(np.full(4, 0.2) if times == 1 else before)
