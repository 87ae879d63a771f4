"""A finding's remedy, pressed, makes the finding go away: judged by the whole check, not by what it says itself."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from motionhub.check.findings import Finding
from motionhub.check.mend import WAYS
from motionhub.check.remedies import remedied, remedies, shifted
from motionhub.check.report import check
from motionhub.motion import documents
from motionhub.motion.documents import Sequence
from motionhub.motion.render import render
from motionhub.robot import description

TANSY = description.load(Path(__file__).parents[2] / "sequences" / "robots" / "tansy.toml")


def move(*keyframes: dict[str, Any]) -> Sequence:
    start = {"at_ms": 0, "body": {"z_mm": 0}}
    data = {"format": "motionhub-sequence/1", "name": "m", "keyframes": [start, *keyframes], "end_ms": 4000}
    return documents.parse(json.dumps(data), "m", TANSY, {})


def judge(sequence: Sequence) -> list[Finding]:
    return list(check(render(sequence, TANSY, 50.0)).findings)


BAD: dict[str, Sequence] = {
    "joint-speed": move({"at_ms": 1000, "joints_deg": {"head": 0}}, {"at_ms": 1060, "joints_deg": {"head": 60}}),
    "reach": move(
        {"at_ms": 1000, "feet": {"left_front": {"z_mm": 30}}},
        {"at_ms": 2000, "feet": {"left_front": {"x_mm": 90, "y_mm": 90, "z_mm": 30}}},
        {"at_ms": 3500, "feet": {"left_front": {"x_mm": 0, "y_mm": 0, "z_mm": 0}}},
    ),
    "joint-range": move(
        {"at_ms": 1500, "joints_deg": {"head": 130}},
        {"at_ms": 3500, "joints_deg": {"head": 0}},
    ),
}


@pytest.mark.parametrize("rule", list(BAD))
def test_some_remedy_of_each_makes_it_go_away(rule: str) -> None:
    sequence = BAD[rule]
    own = [f for f in judge(sequence) if f.rule == rule and not f.way]
    assert own, "it is there to begin with"
    offered = remedies(own[0])
    assert offered
    done = [remedied(sequence, TANSY, own[0], remedy, judge) for remedy in offered]
    for result in done:
        there = [f for f in judge(result.sequence) if (f.rule, f.subject) == (rule, own[0].subject)]
        assert result.left == any(f.start_s <= own[0].end_s + 1 and f.end_s >= own[0].start_s - 1 for f in there), (
            "it says itself what the check says"
        )
    assert not all(result.left for result in done)


def finding(advice: str, way: str = "") -> Finding:
    return Finding("stability", "error", 1.0, 1.5, None, 1.0, 10.0, "mm", advice, 1.0, way)


@pytest.mark.parametrize("way", WAYS, ids=lambda way: way[1])
def test_every_way_that_advice_can_name_is_understood(way: tuple[str, str, tuple[float, float, float]]) -> None:
    _, words, direction = way
    (found,) = remedies(finding(words.format(by=12)))
    assert found.direction == pytest.approx(tuple(12 * part for part in direction))


def test_on_the_way_to_a_move_there_is_nothing_to_press() -> None:
    advice = "on the way to its start: 1.4 times slower, or let it start nearer to rest"
    assert remedies(finding(advice, "on the way to its start")) == []


def test_a_channel_without_keys_is_shifted_there_and_at_rest_elsewhere() -> None:
    sequence = move({"at_ms": 3000, "joints_deg": {"head": 5}})
    changed = shifted(sequence, TANSY, {("body", "", "x_mm"): 8.0}, 1.5, 2.0)
    found = {k.at_ms: k.body.x_mm for k in changed.document.keyframes if k.body and k.body.x_mm is not None}
    assert found == {1000: 0, 1500: 8, 2000: 8, 2500: 0}


def test_keys_that_hold_a_stretch_are_shifted_and_others_are_not() -> None:
    sequence = move(*({"at_ms": ms, "body": {"x_mm": 1}} for ms in (500, 1000, 2000, 3000)))
    changed = shifted(sequence, TANSY, {("body", "", "x_mm"): 2.0}, 1.2, 1.8)
    found = [k.body.x_mm for k in changed.document.keyframes if k.body and k.body.x_mm is not None]
    assert found == [1, 3, 3, 1]
