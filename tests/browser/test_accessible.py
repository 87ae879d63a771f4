"""Every card and place of the remote under axe-core's rules (WCAG 2.2, levels A and AA), both lights, every size."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from bench.hub_process import HubProcess
from playwright.sync_api import Browser, Page, expect

from browser.desk import WIDE
from browser.greeting import begun, judged
from browser.phone import NARROW, Phone

AXE = Path(__file__).resolve().parents[2] / "web_remote" / "node_modules" / "axe-core" / "axe.min.js"
RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
pytestmark = pytest.mark.skipif(not AXE.exists(), reason="axe-core is not installed (npm ci in web_remote)")
LIGHTS = ("light", "dark")
SIZES = {
    "narrow": NARROW,
    "lying": {"width": 740, "height": 360},
    "tablet": {"width": 768, "height": 1024},
    "wide": WIDE,
}
CARDS = ["Moves", "Record", "Robot", "Drive"]
DRAWERS = ("Keys", "Time", "Counting", "Curves", "Path", "Sound")
LEAVES = ["Walk", "Lean", "Gait", "Lamps"]


def findings(page: Page) -> list[str]:
    """What axe-core objects to, one line each: rule, element, and why."""
    violations: list[dict[str, Any]] = page.evaluate(
        "async (tags) => (await axe.run({ runOnly: tags, resultTypes: ['violations'] })).violations", RULES
    )
    return [f"{v['id']}: {node['html'][:160]} ({v['help']})" for v in violations for node in v["nodes"]]


def looks(page: Page, *sizes: str) -> Iterator[str]:
    """The page in both lights at these sizes, each named; axe-core is there to look at it."""
    page.evaluate(AXE.read_text())
    for size in sizes:
        page.set_viewport_size(SIZES[size])  # type: ignore[arg-type]
        for light in LIGHTS:
            page.emulate_media(color_scheme=light, reduced_motion="reduce")  # type: ignore[arg-type]
            yield f"{light}, {size}"


def cards(page: Page, look: str) -> dict[str, list[str]]:
    """The findings on every card, and on every leaf of the last."""
    found = {}
    for card in CARDS:
        page.get_by_role("tab", name=card).click()
        found[f"{look}, {card}"] = findings(page)
    for leaf in LEAVES:  # where there is room they are all seen at once
        button = page.get_by_role("button", name=leaf, exact=True)
        if button.is_visible():
            button.click()
            found[f"{look}, Drive, {leaf}"] = findings(page)
    return found


def wrong(found: dict[str, list[str]]) -> dict[str, list[str]]:
    return {place: lines for place, lines in found.items() if lines}


def test_every_card_is_clean_with_and_without_control(chromium: Browser, hub: HubProcess) -> None:
    with Phone(chromium, hub) as phone:
        page = phone.page
        phone.pair()
        phone.until_mode("Standing, ready.")
        found: dict[str, list[str]] = {}
        for look in looks(page, "narrow"):
            found |= cards(page, f"{look}, nobody drives")
        phone.take_control()
        for look in looks(page, "wide"):
            found |= cards(page, f"{look}, driving")
        page.locator("footer button").click()
        expect(page.get_by_test_id("mode")).to_contain_text("Stopped")
        found["stopped"] = findings(page)
        phone.hub.kill()
        expect(page.get_by_test_id("outage")).to_contain_text("out of reach", timeout=20_000)
        found["out of reach"] = findings(page)
        assert wrong(found) == {}


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


def test_the_place_for_making_moves_is_clean_in_every_part(chromium: Browser, hub: HubProcess) -> None:
    with Phone(chromium, hub) as phone:
        page = phone.page
        phone.pair()
        phone.until_mode("Standing, ready.")
        begun(page, "hasty", lambda what: what.tap())
        page.get_by_label("A file from elsewhere").set_input_files(
            {"name": "hasty.json", "mimeType": "application/json", "buffer": json.dumps(HASTY).encode()}
        )
        expect(page.get_by_role("button", name=re.compile(r"^Check \d"))).to_be_visible(timeout=20_000)
        assert judged(page) == "Does not fit"
        found: dict[str, list[str]] = {}
        turn = page.get_by_role("group", name="What is shown")
        under = page.get_by_role("group", name="Under the strip")
        turn.get_by_role("button", name="Pose").tap()
        page.get_by_role("button", name="Fine steps").tap()
        for look in looks(page, *SIZES):
            for part in ("Pose", "Check", "Robot, files", "Time"):
                button = turn.get_by_role("button", name=part)
                if button.is_visible():  # where there is room the time is always there
                    button.click()
                found[f"{look}, {part}"] = findings(page)
            for drawer in DRAWERS:
                choice = page.get_by_role("combobox", name="Under the strip")
                if choice.is_visible():
                    choice.select_option(label=drawer)
                else:
                    under.get_by_role("button", name=drawer, exact=True).click()
                found[f"{look}, {drawer}"] = findings(page)
        page.get_by_role("button", name="Perform from here").click()
        found["performing"] = findings(page)
        assert wrong(found) == {}


def test_the_page_for_pairing_is_clean(chromium: Browser, hub: HubProcess) -> None:
    with Phone(chromium, hub) as stranger:
        stranger.page.goto(hub.url)
        expect(stranger.page.get_by_role("heading", name="Pair this device")).to_be_visible()
        assert wrong({look: findings(stranger.page) for look in looks(stranger.page, "narrow", "wide")}) == {}
