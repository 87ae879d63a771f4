"""A move that is edited and checked over and over has the verdict that it has when nothing is remembered of it."""

import json
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from motionhub.check import attitude, handover, standing
from motionhub.check.memory import Memory
from motionhub.check.report import Report, check
from motionhub.motion import documents
from motionhub.motion.render import render
from motionhub.robot.model import Robot

SIZE = {"x_mm": 40.0, "y_mm": 30.0, "z_mm": 25.0, "roll_deg": 10.0, "pitch_deg": 10.0, "yaw_deg": 18.0}
EDITS = 5


def forget() -> None:
    handover._remembered.clear()
    handover._planned.cache_clear()
    for memory in (handover._ended, attitude._rolled, standing._gaps):
        memory.known.clear()


def key(dice: np.random.Generator, robot: Robot, at_ms: float) -> dict[str, Any]:
    """A body flung somewhere, and now and then a foot lifted."""
    found: dict[str, Any] = {"at_ms": at_ms, "body": {k: dice.uniform(-1, 1) * size for k, size in SIZE.items()}}
    if dice.random() < 0.5:
        found["feet"] = {str(dice.choice(robot.leg_names)): {"z_mm": dice.uniform(5, 40), "x_mm": dice.uniform(0, 20)}}
    return found


def edited(dice: np.random.Generator, robot: Robot, keys: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """One keyframe changed, put in, taken out, or all after it moved in time."""
    i, kind = int(dice.integers(1, len(keys) - 1)), int(dice.integers(0, 6))
    if kind == 1:
        return [*keys[:i], key(dice, robot, (keys[i - 1]["at_ms"] + keys[i]["at_ms"]) / 2), *keys[i:]]
    if kind == 2 and len(keys) > 4:
        return [*keys[:i], *keys[i + 1 :]]
    if kind == 3:
        return [*keys[:i], *({**k, "at_ms": k["at_ms"] + 60} for k in keys[i:])]
    return [*keys[:i], key(dice, robot, keys[i]["at_ms"]), *keys[i + 1 :]]


def judged(robot: Robot, keys: list[dict[str, Any]], advise: bool) -> Report:
    text = json.dumps({"format": "motionhub-sequence/1", "name": "edited", "keyframes": keys})
    return check(render(documents.parse(text, "edited.json", robot), robot), advise=advise)


@pytest.mark.parametrize("seed", range(3))
def test_the_verdict_on_an_edit_is_that_on_the_whole(robot: Robot, seed: int) -> None:
    dice = np.random.default_rng(seed)
    keys = [key(dice, robot, 250.0 * i) for i in range(1, 9)]
    forget()
    steps, kept = [keys], [judged(robot, keys, advise=False)]
    for _ in range(EDITS):
        steps.append(edited(dice, robot, steps[-1]))
        kept.append(judged(robot, steps[-1], advise=len(steps) > EDITS))
    assert any(f.severity == "error" for report in kept for f in report.findings)
    for i, (own, before) in enumerate(zip(steps, kept, strict=True)):
        forget()
        anew = judged(robot, own, advise=i == EDITS)
        one, other = (
            sorted(report.findings, key=lambda f: (f.rule, f.subject or "", f.start_s, f.way, f.severity, f.unit))
            for report in (anew, before)
        )
        # The supply is solved in steps until all frames of an array are near enough: so near are these to each other.
        for a, b in zip(one, other, strict=True):
            assert (a.value, a.limit, a.excess) == pytest.approx((b.value, b.limit, b.excess), rel=1e-5, abs=1e-9)
            a, b = (replace(f, value=0.0, limit=0.0, excess=0.0) for f in (a, b))
            assert a == b
        assert vars(anew.peaks) == {name: pytest.approx(value, rel=1e-5) for name, value in vars(before.peaks).items()}


def test_it_keeps_the_rows_that_were_asked_for_last() -> None:
    memory, worked = Memory(3), []

    def of(*rows: float) -> list[float]:
        own = np.array(rows)[:, None]

        def double(fresh: np.ndarray) -> np.ndarray:
            worked.append([float(x) for x in own[fresh, 0]])
            return 2 * own[fresh]

        return [float(x) for x in memory.of("", own, double)[:, 0]]

    assert of(1, 2, 3) == [2, 4, 6]
    assert of(1, 4) == [2, 8]  # 2 is the one that was not asked for since
    assert of(3, 1, 2) == [6, 2, 4]
    assert of(5, 6, 7, 8, 5) == [10, 12, 14, 16, 10]
    assert worked == [[1, 2, 3], [4], [2], [5, 6, 7, 8, 5]]
    assert len(memory.known) == 3
