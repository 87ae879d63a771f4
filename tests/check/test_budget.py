"""Advice costs only so many trials, whatever is wrong with a move, and the worst of it is given them."""

import json
import random

import pytest

from motionhub.check import handover, mend
from motionhub.check.mend import TRIALS, Budget, Mender
from motionhub.check.report import Report, check
from motionhub.check.rules_joints import holding_torque, joint_range, joint_torque
from motionhub.motion import documents
from motionhub.motion.render import render
from motionhub.robot.model import Robot

BODY = ("x_mm", "y_mm", "z_mm", "roll_deg", "pitch_deg", "yaw_deg")


def broken(robot: Robot) -> Report:
    """The verdict on a second and a half in which next to everything is wrong, stops and ways to rest included."""
    dice = random.Random(5)
    keyframes = [
        {
            "at_ms": 250 * i,
            "body": {key: dice.uniform(-50, 50) if "mm" in key else dice.uniform(-25, 25) for key in BODY},
        }
        for i in range(7)
    ]
    text = json.dumps({"format": "motionhub-sequence/1", "name": "broken", "keyframes": keyframes})
    return check(render(documents.parse(text, "broken", robot), robot))


def test_all_parts_of_a_check_share_one_budget_and_every_finding_has_its_advice(
    tansy: Robot, monkeypatch: pytest.MonkeyPatch
) -> None:
    stretches: list[bool] = []
    spend = Budget.spend

    def counted(budget: Budget) -> bool:
        stretches.append(spend(budget))
        return stretches[-1]

    monkeypatch.setattr(mend.Budget, "spend", counted)
    monkeypatch.setattr(handover, "_remembered", {})
    made = broken(tansy)
    assert any(finding.way for finding in made.findings)
    assert len(stretches) > TRIALS
    # Those that are asked first, of the worst, are granted.
    assert stretches == [True] * TRIALS + [False] * (len(stretches) - TRIALS)
    assert all(finding.advice and finding.ask is None for finding in made.findings)
    # The second check remembers the stops, and says the same.
    assert broken(tansy).to_json() == made.to_json()

    # Who only asks whether it fits tries nothing.
    def refuse(*_: object) -> None:
        raise AssertionError("a trial")

    monkeypatch.setattr(Mender, "_try", refuse)
    own = Mender(made.timeline, Budget())
    found = [f for rule in (joint_range, joint_torque, holding_torque) for f in rule(made.timeline, own)]
    assert found
    assert not any(f.advice for f in found)
