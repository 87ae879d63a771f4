"""A draft's verdict comes at once, its advice after it, and a newer edit does not wait for that."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import msgpack
import numpy as np
import pytest

from motionhub.check import handover
from motionhub.check.glance import edited, glance
from motionhub.check.report import check
from motionhub.link.coder import frame_bytes
from motionhub.motion import documents
from motionhub.motion.frames import Frames
from motionhub.motion.render import render
from motionhub.remote import judging
from motionhub.remote.pipe import RATE_HZ, Setup
from motionhub.remote.preview import put_in, rows_of
from motionhub.remote.worker import Worker
from motionhub.robot import description
from motionhub.robot.calibration import Calibration

SHIPPED = Path(__file__).parents[2] / "sequences"
TANSY = description.load(SHIPPED / "robots" / "tansy.toml")


def hasty(n: int) -> str:
    """Six tries at bobbing far too fast, which a stop makes worse."""
    keys = [{"at_ms": 220 * i, "body": {"z_mm": -30 if i % 2 else 12, "yaw_deg": (-1) ** i * 10}} for i in range(12)]
    return json.dumps({"format": "motionhub-sequence/1", "name": f"hasty {n}", "keyframes": keys})


def draft(n: int) -> dict[str, Any]:
    return {"do": "draft", "client": "one", "name": "hasty", "n": n, "text": hasty(n), "whole": False}


def test_the_verdict_comes_first_and_its_advice_a_little_at_a_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    calibration = Calibration.default(TANSY)
    beside = Worker(Setup(TANSY, calibration, tmp_path, SHIPPED))
    monkeypatch.setattr(judging, "PROMPT_S", 0.0)
    monkeypatch.setattr(judging, "WHILE_S", 0.0)
    monkeypatch.setattr(handover, "_remembered", {})
    answer = beside.do(draft(1))
    first = msgpack.unpackb(answer["send"])
    assert first["advising"]
    assert first["preview"]
    assert not first["fits"]
    assert any(not f["advice"] for f in first["findings"])
    old = answer["more"]
    answer = beside.do(draft(2))
    assert beside.do(old) == {}, "an edit has come meanwhile"
    monkeypatch.setattr(judging, "WHILE_S", 0.001)
    rounds = 0
    while "more" in answer:
        answer = beside.do(answer["more"])
        rounds += 1
    last = msgpack.unpackb(answer["send"])
    assert rounds > 1
    assert not last["advising"]
    assert last["preview"] is None
    assert last["n"] == 2
    monkeypatch.setattr(handover, "_remembered", {})
    coder = frame_bytes(TANSY, calibration, RATE_HZ)
    whole = check(render(documents.parse(hasty(2), "hasty", TANSY), TANSY, RATE_HZ), frame_bytes=coder)
    assert [f["advice"] for f in last["findings"]] == [f.advice for f in whole.findings]
    assert [f["rule"] for f in first["findings"]] == [f.rule for f in whole.findings]


def long_sway(n: int, low: float) -> dict[str, Any]:
    """A minute of swaying, with one key in the middle of it that goes so low."""
    keys = [{"at_ms": 1000 * i, "body": {"y_mm": 10 * (-1) ** i, "z_mm": 0}} for i in range(61)]
    keys[30]["body"]["z_mm"] = low
    text = json.dumps({"format": "motionhub-sequence/1", "name": "sway", "keyframes": keys})
    return {"do": "draft", "client": "one", "name": "sway", "n": n, "text": text, "whole": n == 1}


def told(answer: dict[str, Any]) -> dict[str, Any]:
    found: dict[str, Any] = msgpack.unpackb(answer["send"])
    return found


def all_of(beside: Worker, answer: dict[str, Any]) -> dict[str, Any]:
    """The verdict on all of it."""
    return told(beside.do({name: value for name, value in answer["more"].items() if name != "after_s"}))


def test_of_a_long_move_the_edited_stretch_is_looked_at_first(tmp_path: Path) -> None:
    beside = Worker(Setup(TANSY, Calibration.default(TANSY), tmp_path, SHIPPED))
    first = told(beside.do(long_sway(1, 0)))
    assert first["fits"]
    assert not first["partly"], "what is opened is checked whole"
    answer = beside.do(long_sway(2, -70))
    part = told(answer)
    assert part["partly"]
    assert not part["fits"], "it would touch the ground, or hurry there"
    assert all(28 < f["start_s"] < 32 for f in part["findings"]), "where the edit is"
    whole = all_of(beside, answer)
    assert not whole["partly"]

    frames = render(documents.parse(long_sway(2, -70)["text"], "sway", TANSY), TANSY, RATE_HZ)
    own = [f for f in check(frames).findings if not f.way and f.rule != "holding-torque"]
    assert {(f["rule"], f["subject"], f["start_s"], f["end_s"]) for f in part["findings"]} == {
        (f.rule, f.subject, f.start_s, f.end_s) for f in own
    }, "all that is wrong with the move itself, and nothing else"
    values = {(f.rule, f.subject): f.value for f in own}
    for f in part["findings"]:
        assert f["value"] == pytest.approx(values[f["rule"], f["subject"]], rel=1e-3)
    # Back again: nothing is left of it.
    answer = beside.do(long_sway(3, 0))
    assert told(answer)["fits"]
    assert told(answer)["findings"] == first["findings"]
    assert all_of(beside, answer)["fits"]


def test_what_is_drawn_of_the_edited_stretch_is_what_is_drawn_of_it_when_all_is_checked() -> None:
    walk = {"from_ms": 2000, "to_ms": 14000, "forward_mm_s": 40, "turn_deg_s": 6}

    def gone(low: float) -> Frames:
        document = json.loads(long_sway(1, low)["text"]) | {"walks": [walk]}
        return render(documents.parse(json.dumps(document), "sway", TANSY), TANSY, RATE_HZ)

    before, now = gone(0), gone(-20)
    stretch = edited(now, before)
    assert stretch is not None
    assert 29 * 50 <= stretch[0] < stretch[1] <= 31 * 50, "from the key before to the key after"
    looked = glance(now, *stretch, 2)
    old, part, new = (rows_of(t, 2) for t in (check(before).timeline, looked.timeline, check(now).timeline))
    made = put_in(old, part, looked.start // 2, (stretch[0] - 12) // 2, (stretch[1] + 12) // 2)
    assert np.abs(new.body[1450 // 2] - new.body[0]).max() > 100, "it has walked to there"
    for name in ("joints", "down", "outputs"):
        np.testing.assert_array_equal(getattr(made, name), getattr(new, name), err_msg=name)
    np.testing.assert_allclose(made.body, new.body, atol=0.2)  # mm and degrees
    np.testing.assert_allclose(made.com, new.com, atol=0.2)
    np.testing.assert_allclose(made.margin / 10, new.margin / 10, atol=0.3)
    np.testing.assert_allclose(made.load * 1.0, new.load * 1.0, atol=2)  # per cent


def test_all_of_it_is_not_checked_when_another_edit_has_come(tmp_path: Path) -> None:
    beside = Worker(Setup(TANSY, Calibration.default(TANSY), tmp_path, SHIPPED))
    beside.do(long_sway(1, 0))
    old = beside.do(long_sway(2, -10))["more"]
    assert old["after_s"] > 0, "nor while a hand is at it"
    answer = beside.do(long_sway(3, -20))
    assert beside.do(old) == {}
    assert all_of(beside, answer)["n"] == 3


def test_what_changes_no_frame_has_the_verdict_that_there_was(tmp_path: Path) -> None:
    beside = Worker(Setup(TANSY, Calibration.default(TANSY), tmp_path, SHIPPED))
    beside.do(long_sway(1, 0))
    part = beside.do(long_sway(2, -70))
    half = told(beside.do(long_sway(3, -70)))
    assert half["partly"], "all of it has not been looked at yet"
    assert half["findings"] == told(part)["findings"]
    whole = all_of(beside, beside.do(long_sway(4, -70)))
    again = told(beside.do(long_sway(5, -70)))
    assert not again["partly"]
    assert [(f["rule"], f["value"]) for f in again["findings"]] == [(f["rule"], f["value"]) for f in whole["findings"]]
    assert (again["fits"], again["n"]) == (False, 5)
    assert again["preview"]["first"] == again["preview"]["frames"], "nothing is drawn anew"
