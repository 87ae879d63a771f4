"""What readings of a protractor say of a servo, against other ways to reckon the same."""

from __future__ import annotations

import numpy as np
import pytest

from motionhub.hub.bringup.protractor import ALIKE, HORN, READ_TO, fit

FAR = np.deg2rad(80.0)
PLACES = np.array([-FAR / 2, FAR / 2, -FAR, FAR, -FAR, FAR, -FAR, FAR])


def said(x: np.ndarray, y: np.ndarray, at: tuple[float, ...] = (-FAR, FAR)) -> tuple[float, float, float]:
    """Slope, trim and spread."""
    found = fit(tuple(x.tolist()), tuple(y.tolist()), at)
    return 1 / found.scale, found.trim, found.spread


def test_it_is_the_mean_of_all_servos_that_could_have_been_read_so() -> None:
    """Bayes, by rejection: servos drawn as they are made, and those kept that no reading is a degree off from."""
    dice = np.random.default_rng(3)
    for _ in range(4):
        true_slope, true_trim = dice.normal(1, ALIKE), dice.normal(0, HORN)
        x = PLACES[2:]
        y = true_slope * x - true_trim + dice.uniform(-READ_TO, READ_TO, len(x))
        # Of trims only those near the readings have a chance.
        slopes = dice.normal(1, ALIKE, 400_000)
        trims = -y.mean() + dice.uniform(-1, 1, len(slopes)) * 2 * READ_TO
        off = np.abs(y[:, None] - (slopes * x[:, None] - trims))
        kept = (off < READ_TO).all(axis=0)
        assert kept.sum() > 500
        slope, trim, spread = said(x, y)
        # The edge of a degree is not quite a sharp one.
        for place in (-FAR, 0.0, FAR):
            drawn = slopes[kept] * place - trims[kept]
            assert slope * place - trim == pytest.approx(drawn.mean(), abs=np.deg2rad(0.06))
        widest = max(np.std(slopes[kept] * place - trims[kept]) for place in (-FAR, FAR))
        assert spread == pytest.approx(widest, rel=0.3)


def test_no_reading_is_further_off_than_it_could_have_been() -> None:
    """Readings that err the same way take the line of least squares beyond what each of them allows, but not this."""
    dice = np.random.default_rng(5)
    worst, squares = 0.0, 0.0
    for _ in range(300):
        y = PLACES - 0.1 + dice.uniform(-READ_TO, READ_TO, len(PLACES))
        slope, trim, _ = said(PLACES, y)
        worst = max(worst, float(np.abs(slope * PLACES - trim - y).max()))
        line = np.polyfit(PLACES, y, 1)
        squares = max(squares, float(np.abs(np.polyval(line, PLACES) - y).max()))
    assert worst < 1.1 * READ_TO < squares


def test_errors_of_another_kind_do_it_no_harm() -> None:
    """Angles off by a normal error as large: on the whole as near as least squares, which is best for such."""
    dice = np.random.default_rng(7)
    own, squares = [], []
    for _ in range(300):
        y = PLACES - 0.1 + dice.normal(0, READ_TO / np.sqrt(3), len(PLACES))
        slope, trim, _ = said(PLACES, y)
        own.append(slope * FAR - trim - (FAR - 0.1))
        squares.append(np.polyval(np.polyfit(PLACES, y, 1), FAR) - (FAR - 0.1))
    assert np.std(own) < 1.1 * np.std(squares)


def test_one_misread_angle_is_outvoted() -> None:
    y = PLACES - 0.1
    for i in range(2, len(PLACES)):
        for wrong in (-10.0, 10.0):
            read = y.copy()
            read[i] += np.deg2rad(wrong)
            slope, trim, _ = said(PLACES, read)
            assert np.abs(slope * PLACES - trim - y).max() < np.deg2rad(1.0)
            assert np.abs(np.polyval(np.polyfit(PLACES, read, 1), PLACES) - y).max() > np.deg2rad(2.0)
