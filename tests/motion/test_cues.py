"""Cues: levels of a lamp over time."""

from __future__ import annotations

import numpy as np
import pytest


def lamp(rendered, *cues, end_ms=2000):
    frames = rendered(
        {"at_ms": 100, "joints_deg": {"head": 1}}, cues=[{"output": "lamp"} | c for c in cues], end_ms=end_ms
    )
    assert (frames.outputs[:, 1] == 0).all()  # the sounder was not mentioned
    return frames.outputs[:, 0]


def test_a_cue_sets_a_level_at_its_frame_and_for_good(rendered):
    level = lamp(rendered, {"at_ms": 500, "level": 0.7})
    assert (level[:25] == 0).all()
    assert (level[25:] == 0.7).all()
    assert (lamp(rendered, {"at_ms": 0, "level": 0.7}) == 0.7).all()


def test_a_fade_is_even_and_starts_from_where_the_last_one_got_to(rendered):
    level = lamp(
        rendered,
        {"at_ms": 200, "level": 1.0, "fade_ms": 1000},
        {"at_ms": 700, "level": 0.0, "fade_ms": 200},
        {"at_ms": 1500, "level": 0.4},
    )
    np.testing.assert_allclose(level[10:36], np.linspace(0, 0.5, 26), atol=1e-12)
    np.testing.assert_allclose(level[35:46], np.linspace(0.5, 0, 11), atol=1e-12)
    assert (level[46:75] == 0).all()
    assert (level[75:] == 0.4).all()


def test_a_cue_for_a_while_goes_back_to_what_was_before(rendered):
    level = lamp(
        rendered, {"at_ms": 0, "level": 0.3}, {"at_ms": 500, "level": 1.0, "fade_ms": 100, "for_ms": 400}
    )  # fmt: skip
    assert (level[:26] == 0.3).all()
    np.testing.assert_allclose(level[30:46], 1.0)
    np.testing.assert_allclose(level[45:51], np.linspace(1.0, 0.3, 6), atol=1e-12)
    np.testing.assert_allclose(level[50:], 0.3, atol=1e-12)


def test_a_later_cue_does_away_with_the_end_of_an_earlier_one(rendered):
    level = lamp(rendered, {"at_ms": 200, "level": 1.0, "for_ms": 800}, {"at_ms": 600, "level": 0.5})
    assert (level[10:30] == 1.0).all()
    assert (level[30:] == 0.5).all()


def test_a_sequence_lasts_until_its_last_cue_is_over(rendered):
    frames = rendered(
        {"at_ms": 100, "joints_deg": {"head": 1}},
        cues=[{"at_ms": 500, "output": "lamp", "level": 1, "fade_ms": 100, "for_ms": 300}],
    )
    assert frames.duration_s == pytest.approx(0.9)
    assert frames.outputs[-1, 0] == pytest.approx(0)
