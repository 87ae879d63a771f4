"""The report for people: what it says first, that it stays on a screen, and the closest limits of a move that fits."""

import json
from dataclasses import replace
from io import StringIO

import pytest
from rich.console import Console

from motionhub.check.findings import RULES, Finding
from motionhub.check.margins import closest
from motionhub.check.report import Report, check
from motionhub.cli.verdict import MOST, PLAIN, number, show
from motionhub.motion import documents
from motionhub.motion.render import render
from motionhub.robot.model import Robot


def report(robot: Robot, *keyframes: dict[str, object], supply_v: float | None = None) -> Report:
    text = json.dumps({"format": "motionhub-sequence/1", "name": "test", "keyframes": keyframes})
    return check(render(documents.parse(text, "test", robot), robot), supply_v=supply_v)


def shown(made: Report, width: int = 100) -> str:
    out = StringIO()
    show(made, Console(file=out, width=width, highlight=False))
    return out.getvalue()


def test_every_rule_has_plain_words() -> None:
    assert set(PLAIN) == set(RULES)


def test_a_move_that_fits_names_its_tightest_limit_first(tansy: Robot) -> None:
    # The head at nine tenths of its top speed: minimum jerk peaks at 15/8 of 60 deg in so much time.
    top = 461.5
    made = report(tansy, {"at_ms": 15 / 8 * 60 / (0.9 * top) * 1000, "joints_deg": {"head": 60}})
    assert made.fits
    first, *others = closest(made)
    assert (first.rule, first.subject) == ("joint-speed", "head")
    assert first.limit == pytest.approx(top, rel=1e-3)
    assert first.used == pytest.approx(0.9, abs=0.03)
    assert [c.near for c in (first, *others)] == sorted((c.near for c in (first, *others)), reverse=True)
    text = shown(made)
    assert text.index("fits") < text.index("joint-speed")
    assert "not checked: link-rate" in text


def test_what_does_not_fit_comes_worst_first_and_on_one_screen(tansy: Robot) -> None:
    keyframes = [
        {"at_ms": 1500 * (i + 1), "joints_deg": {name: 170 * (-1) ** i}} for i, name in enumerate(tansy.joint_names)
    ]
    made = report(tansy, *keyframes)
    assert len(made.findings) > MOST
    text = shown(made, width=120)
    assert "does not fit" in text.splitlines()[0]
    assert f"and {len(made.findings) - MOST} more" in text
    assert len(text.splitlines()) < 60
    assert text.count("✗") == MOST


@pytest.mark.parametrize("width", [40, 80, 200])
def test_it_is_readable_at_any_width(tansy: Robot, width: int) -> None:
    made = report(tansy, {"at_ms": 100, "joints_deg": {"head": 85}})
    text = shown(made, width)
    assert all(len(line.rstrip()) <= width for line in text.splitlines())
    assert "head" in text


def test_numbers_have_as_many_digits_as_are_of_use() -> None:
    assert [number(v) for v in (1234.5, -123.4, 12.34, 0.5, 0)] == ["1234", "-123", "12.3", "0.50", "0.00"]


def test_it_says_how_late_the_audience_sees_it(tansy: Robot) -> None:
    """A servo that takes 40 ms to answer, told each 20 ms, is some 50 ms late: at 100 deg/s that is 5 deg."""
    keyframes = [{"at_ms": 500 * (i + 1), "approach": "linear", "joints_deg": {"head": 50 * (i % 2)}} for i in range(6)]
    text = shown(report(tansy, *keyframes))
    assert "ms late; head is behind most, by 5" in text
    assert "servos: seen some 4" in text or "servos: seen some 5" in text
    assert "nothing moves far enough" in shown(report(tansy, {"at_ms": 500, "body": {"z_mm": 0}}))


def test_a_fall_over_an_edge_has_no_number_to_say(tansy: Robot) -> None:
    fall = Finding("tip-over", "error", 1.0, 1.0, None, 0.0, 0.0, "mm", "lift fewer feet", 0.0)
    outside = replace(fall, value=-12.0)
    made = report(tansy, {"at_ms": 1000, "joints_deg": {"head": 10}})
    text = shown(replace(made, findings=(fall, outside)))
    assert "falls over: 1.00 s (tip-over)" in text
    assert "falls over: 1.00 s, -12.0 mm (limit 0.00, tip-over)" in text
