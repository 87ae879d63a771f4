"""A draft's verdict comes at once, its advice after it, and a newer edit does not wait for that."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import msgpack
import pytest

from motionhub.check import handover
from motionhub.check.report import check
from motionhub.link.coder import frame_bytes
from motionhub.motion import documents
from motionhub.motion.render import render
from motionhub.remote import worker
from motionhub.remote.pipe import RATE_HZ, Setup
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
    monkeypatch.setattr(worker, "PROMPT_S", 0.0)
    monkeypatch.setattr(worker, "WHILE_S", 0.0)
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
    monkeypatch.setattr(worker, "WHILE_S", 0.001)
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
