"""The robot keeps another calibration than the hub has: seen on the card, and mended with a finger."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from bench.hub_process import HubProcess
from bench.tcp_robot import TcpRobot
from playwright.sync_api import expect

from browser.phone import Phone
from motionhub.robot.calibration import FORMAT


@pytest.fixture
def hub(tmp_path: Path, robot: TcpRobot) -> Iterator[HubProcess]:
    """Whose robot was trimmed after its program was loaded."""
    folder = tmp_path / "library"
    (folder / "calibration").mkdir(parents=True)
    joints = {"left_front.femur": {"trim_deg": 4}, "head": {"trim_deg": -2, "reversed": True}}
    text = json.dumps({"format": FORMAT, "robot": "Tansy", "joints": joints})
    (folder / "calibration" / "tansy.json").write_text(text)
    with HubProcess(folder, robot.port) as hub:
        yield hub
    assert "Traceback" not in hub.log.read_text(errors="replace")


def test_a_difference_is_seen_and_the_hubs_is_put_on_the_robot(phone: Phone) -> None:
    phone.card("Robot")
    card = phone.page.get_by_role("region", name="Calibration on the robot")
    expect(card).to_contain_text("another calibration")
    # 4 degrees of a servo that turns 180 degrees in 2000 us are 44 us.
    expect(card.get_by_role("listitem")).to_have_text(
        [
            "left_front.femur: trim 4.0° (+44 µs) here, trim 0.0° (+0 µs) there",
            re.compile("^head: .*not reversed there$"),
        ]
    )
    put = card.get_by_role("button", name="Put the hub’s on the robot")
    box = put.bounding_box()
    assert box is not None
    assert min(box["width"], box["height"]) >= 44  # WCAG 2.2, 2.5.5
    assert phone.page.evaluate("document.documentElement.scrollWidth") <= 360
    put.tap()
    expect(card).to_contain_text("have the same calibration", timeout=15_000)
    expect(card.get_by_role("button")).to_have_count(0)
    # It is kept: a hub that comes later finds nothing to ask.
    phone.page.reload()
    phone.card("Robot")
    expect(card).to_contain_text("It was sent to it")
