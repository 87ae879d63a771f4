"""Every card and place of the remote under axe-core's rules (WCAG 2.2, levels A and AA), in both lights and sizes."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from bench.hub_process import HubProcess
from playwright.sync_api import Browser, Page, expect

from browser.desk import WIDE
from browser.greeting import judged
from browser.phone import Phone

AXE = Path(__file__).resolve().parents[2] / "web_remote" / "node_modules" / "axe-core" / "axe.min.js"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
CARDS = ["Moves", "Record", "Robot", "Drive"]
LEAVES = ["Walk", "Lean", "Gait", "Lamps"]


def findings(page: Page) -> list[str]:
    """What axe-core objects to, one line each: rule, element, and why."""
    violations: list[dict[str, Any]] = page.evaluate(
        "async (tags) => (await axe.run({ runOnly: tags, resultTypes: ['violations'] })).violations", RULES
    )
    return [f"{v['id']}: {node['html'][:160]} ({v['help']})" for v in violations for node in v["nodes"]]


def seen(page: Page) -> dict[str, list[str]]:
    """The findings on every card, and on every leaf of the first."""
    found = {}
    for card in CARDS:
        page.get_by_role("tab", name=card).click()
        found[card] = findings(page)
    for leaf in LEAVES:
        button = page.get_by_role("button", name=leaf, exact=True)
        if button.is_visible():
            button.click()
            found[f"Drive, {leaf}"] = findings(page)
    return {place: lines for place, lines in found.items() if lines}


@pytest.mark.skipif(not AXE.exists(), reason="axe-core is not installed (npm ci in web_remote)")
def test_every_card_is_clean_in_both_lights_with_and_without_control(chromium: Browser, hub: HubProcess) -> None:
    with Phone(chromium, hub) as phone:
        page = phone.page
        phone.pair()
        phone.until_mode("Standing, ready.")
        page.evaluate(AXE.read_text())
        # Where there is room all leaves are seen at once, so narrow is the longer way; each light has one size.
        page.emulate_media(color_scheme="light", reduced_motion="reduce")
        assert seen(page) == {}, "light and narrow, while nobody drives"
        phone.take_control()
        page.emulate_media(color_scheme="dark", reduced_motion="reduce")
        page.set_viewport_size(WIDE)  # type: ignore[arg-type]
        assert seen(page) == {}, "dark and wide, driving"
        page.locator("footer button").click()
        expect(page.get_by_test_id("mode")).to_contain_text("Stopped")
        assert findings(page) == [], "stopped"
        phone.hub.kill()
        expect(page.get_by_test_id("outage")).to_contain_text("out of reach", timeout=20_000)
        assert findings(page) == [], "out of reach"


HASTY = {
    "format": "motionhub-sequence/1",
    "name": "hasty",
    "keyframes": [
        {"at_ms": 0, "body": {"y_mm": 0}},
        {"at_ms": 200, "body": {"y_mm": 40}, "feet": {"left_front": {"z_mm": 60}}},
        {"at_ms": 1500, "body": {"y_mm": 0}, "feet": {"left_front": {"z_mm": 0}}},
    ],
    "cues": [],
    "end_ms": 2000,
}
"""Too quick for the demo robot: there is something wrong to be shown."""


@pytest.mark.skipif(not AXE.exists(), reason="axe-core is not installed (npm ci in web_remote)")
def test_the_place_for_making_moves_is_clean_in_every_part(chromium: Browser, hub: HubProcess) -> None:
    with Phone(chromium, hub) as phone:
        page = phone.page
        phone.pair()
        phone.until_mode("Standing, ready.")
        phone.card("Moves")
        page.get_by_role("button", name="New move").tap()
        page.get_by_label("What to call the new move").fill("hasty")
        page.get_by_role("button", name="Make it").tap()
        page.get_by_label("A file from elsewhere").set_input_files(
            {"name": "hasty.json", "mimeType": "application/json", "buffer": json.dumps(HASTY).encode()}
        )
        expect(page.get_by_role("button", name=re.compile(r"^Check \d"))).to_be_visible(timeout=20_000)
        assert judged(page) == "Does not fit"
        page.evaluate(AXE.read_text())
        found = {}
        for light in ("light", "dark"):
            page.emulate_media(color_scheme=light, reduced_motion="reduce")  # type: ignore[arg-type]
            for part in ("Time", "Pose", "Check", "More"):
                page.get_by_role("group", name="What is shown").get_by_role("button", name=part).tap()
                found[f"{light}, {part}"] = findings(page)
        page.set_viewport_size(WIDE)  # type: ignore[arg-type]
        for drawer in ("Keys", "Time", "Counting", "Curves", "Path", "Sound"):
            page.get_by_role("group", name="Under the strip").get_by_role("button", name=drawer, exact=True).click()
            found[f"wide, {drawer}"] = findings(page)
        page.get_by_role("button", name="Perform from here").click()
        found["wide, performing"] = findings(page)
        assert {place: lines for place, lines in found.items() if lines} == {}


@pytest.mark.skipif(not AXE.exists(), reason="axe-core is not installed (npm ci in web_remote)")
def test_the_page_for_pairing_is_clean(chromium: Browser, hub: HubProcess) -> None:
    with Phone(chromium, hub) as stranger:
        stranger.page.goto(hub.url)
        expect(stranger.page.get_by_role("heading", name="Pair this device")).to_be_visible()
        stranger.page.evaluate(AXE.read_text())
        for light in ("light", "dark"):
            stranger.page.emulate_media(color_scheme=light)  # type: ignore[arg-type]
            assert findings(stranger.page) == []
