"""Ways of approaching a key, against the W3C's definitions, a bisection of SciPy's, and Flash & Hogan."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import optimize

from motionhub.motion.easing import KEYWORDS, ease

unit = st.floats(0, 1)
overshoot = st.floats(-2, 3)

# W3C CSS Easing Functions Level 1, §2.2: the keywords and the curves they stand for.
CSS_CURVES = {
    "ease": (0.25, 0.1, 0.25, 1.0),
    "ease-in": (0.42, 0.0, 1.0, 1.0),
    "ease-out": (0.0, 0.0, 0.58, 1.0),
    "ease-in-out": (0.42, 0.0, 0.58, 1.0),
}


def bernstein(a: float, b: float, t: float) -> float:
    """One coordinate of the cubic Bézier curve with ends 0 and 1, as a sum of Bernstein polynomials."""
    return 3 * a * t * (1 - t) ** 2 + 3 * b * t**2 * (1 - t) + t**3


def by_bisection(x1: float, y1: float, x2: float, y2: float, x: float) -> float:
    t = optimize.bisect(lambda t: bernstein(x1, x2, t) - x, 0.0, 1.0, xtol=1e-15, rtol=1e-14, maxiter=200)
    return bernstein(y1, y2, t)


@pytest.mark.parametrize("name", CSS_CURVES)
def test_the_keywords_of_css_are_the_curves_of_the_specification(name):
    shares = np.linspace(0, 1, 101)
    expected = [by_bisection(*CSS_CURVES[name], x) for x in shares]
    np.testing.assert_allclose(ease(name)(shares), expected, atol=1e-9)


@given(x1=unit, y1=overshoot, x2=unit, y2=overshoot, x=unit)
def test_any_bezier_curve_agrees_with_a_bisection(x1, y1, x2, y2, x):
    curve = ease(f"cubic-bezier({x1!r}, {y1!r}, {x2!r}, {y2!r})")
    t = optimize.bisect(lambda t: bernstein(x1, x2, t) - x, 0.0, 1.0, xtol=1e-15, rtol=1e-14, maxiter=200)
    # Where x barely rises with t, a rounding of x is a long way in t: compare what the curve may be there.
    near = [np.clip(t + d, 0, 1) for d in np.linspace(-1e-4, 1e-4, 201)]
    allowed = [bernstein(y1, y2, n) for n in near if abs(bernstein(x1, x2, n) - x) < 1e-11] + [bernstein(y1, y2, t)]
    found = float(curve(x))
    if x in (0.0, 1.0):
        assert found == x
    else:
        assert min(allowed) - 1e-9 <= found <= max(allowed) + 1e-9


def test_a_bezier_curve_with_an_upright_middle_still_solves():
    # x(t) of (1, 0) and (0, 1) is flat at t = 1/2, where Newton's step is a division by nothing.
    curve = ease("cubic-bezier(1, 0, 0, 1)")
    shares = np.linspace(0, 1, 1001)
    found = curve(shares)
    assert np.all(np.diff(found) >= -1e-12)
    np.testing.assert_allclose(found + found[::-1], 1.0, atol=1e-9)
    assert not curve.smooth


# W3C CSS Easing Functions Level 1, §2.3: number of jumps and where they are, worked by hand for n = 4.
STEPS = {
    "steps(4, jump-start)": [(0, 0.25), (0.24, 0.25), (0.25, 0.5), (0.99, 1), (1, 1)],
    "steps(4, start)": [(0, 0.25), (0.5, 0.75), (1, 1)],
    "steps(4, jump-end)": [(0, 0), (0.24, 0), (0.25, 0.25), (0.99, 0.75), (1, 1)],
    "steps(4, end)": [(0, 0), (0.5, 0.5), (1, 1)],
    "steps(4)": [(0, 0), (0.3, 0.25), (1, 1)],
    "steps(4, jump-none)": [(0, 0), (0.24, 0), (0.25, 1 / 3), (0.5, 2 / 3), (0.75, 1), (1, 1)],
    "steps(4, jump-both)": [(0, 0.2), (0.25, 0.4), (0.75, 0.8), (0.99, 0.8), (1, 1)],
    "step-start": [(0, 1), (0.5, 1), (1, 1)],
    "step-end": [(0, 0), (0.99, 0), (1, 1)],
    "hold": [(0, 0), (0.99, 0), (1, 1)],
}


@pytest.mark.parametrize("name", STEPS)
def test_steps_jump_where_the_specification_says(name):
    for share, expected in STEPS[name]:
        assert float(ease(name)(share)) == pytest.approx(expected, abs=1e-12), share
    assert not ease(name).smooth


def test_minimum_jerk_has_the_constants_of_flash_and_hogan():
    # Flash & Hogan, J. Neurosci. 5(7), 1985; the constants are derived from the polynomial.
    tau = np.linspace(0, 1, 200_001)
    s = ease("minimum-jerk")(tau)
    speed = np.gradient(s, tau)
    acceleration = np.gradient(speed, tau)
    assert speed.max() == pytest.approx(15 / 8, abs=1e-6)
    assert tau[speed.argmax()] == pytest.approx(0.5, abs=1e-4)
    inner = slice(10, -10)
    assert acceleration[inner].max() == pytest.approx(10 / np.sqrt(3), abs=1e-4)
    assert tau[inner][acceleration[inner].argmax()] == pytest.approx(0.5 - np.sqrt(3) / 6, abs=1e-3)
    assert tau[inner][acceleration[inner].argmin()] == pytest.approx(0.5 + np.sqrt(3) / 6, abs=1e-3)
    # At rest at both ends: neither speed nor acceleration.
    np.testing.assert_allclose([speed[0], speed[-1], acceleration[0], acceleration[-1]], 0, atol=1e-3)


def test_minimum_jerk_has_the_least_jerk_of_its_neighbours():
    """The name's promise: adding any other motion that rests at both ends adds to the integral of squared jerk."""
    p = np.polynomial.Polynomial([0, 0, 0, 10, -15, 6])

    def cost(q: np.polynomial.Polynomial) -> float:
        square = q.deriv(3) ** 2
        return float(square.integ()(1.0) - square.integ()(0.0))

    x = np.polynomial.Polynomial([0, 1])
    for extra in (1, x, x**2 - 0.3):
        bump = x**3 * (1 - x) ** 3 * extra
        assert cost(p + 0.1 * bump) > cost(p)
        assert cost(p - 0.1 * bump) > cost(p)
    tau = np.linspace(0, 1, 11)
    np.testing.assert_allclose(ease("minimum-jerk")(tau), p(tau), atol=1e-14)


@given(name=st.sampled_from(KEYWORDS), share=st.floats(allow_nan=False, allow_infinity=False))
def test_every_keyword_starts_at_nothing_and_ends_at_all(name, share):
    found = float(ease(name)(share))
    assert 0 <= found <= 1
    assert float(ease(name)(max(share, 1.0))) == 1.0
    if name != "step-start":
        assert float(ease(name)(min(share, 0.0))) == 0.0


@given(name=st.sampled_from(KEYWORDS), shares=st.lists(unit, min_size=2, max_size=2))
def test_no_keyword_ever_goes_back(name, shares):
    low, high = sorted(shares)
    assert ease(name)(low) <= ease(name)(high) + 1e-12


def test_css_does_not_mind_case_and_blanks():
    assert float(ease(" Cubic-Bezier( .25,0.1 , 2.5e-1,+1 )")(0.3)) == float(ease("ease")(0.3))


@pytest.mark.parametrize(
    "name",
    [
        "", "eas", "cubic-bezier", "cubic-bezier()", "cubic-bezier(1,2,3)", "cubic-bezier(-0.1,0,1,1)",
        "cubic-bezier(0,0,1.1,1)", "cubic-bezier(0,nan,1,1)", "cubic-bezier(0,inf,1,1)", "cubic-bezier(0,1e9,1,1)",
        "cubic-bezier(0,0,1,1,1)", "steps()", "steps(0)", "steps(-1)", "steps(1.5)", "steps(1, jump-none)",
        "steps(3, middle)", "steps(3, jump-end, 1)", "steps(99999999999)", "linear()", "frames(3)",
    ],
)  # fmt: skip
def test_what_is_no_easing_is_refused_with_what_was_expected(name):
    with pytest.raises(ValueError, match="expected"):
        ease(name)
