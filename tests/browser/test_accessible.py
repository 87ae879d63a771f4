"""Every card of the remote under axe-core's rules (WCAG 2.2, levels A and AA), in both lights and at two sizes."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from bench.hub_process import HubProcess
from playwright.sync_api import Browser, Page, expect

from browser.phone import NARROW, Phone

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
        assert seen(page) == {}, "while nobody drives"
        phone.take_control()
        for light, size in (("light", {"width": 1280, "height": 800}), ("dark", NARROW)):
            page.emulate_media(color_scheme=light, reduced_motion="reduce")  # type: ignore[arg-type]
            page.set_viewport_size(size)  # type: ignore[arg-type]
            assert seen(page) == {}, f"{light}, {size['width']} wide"
        page.locator("footer button").click()
        expect(page.get_by_test_id("mode")).to_contain_text("Stopped")
        assert findings(page) == [], "stopped"
        phone.hub.kill()
        expect(page.get_by_test_id("outage")).to_contain_text("out of reach", timeout=20_000)
        assert findings(page) == [], "out of reach"


@pytest.mark.skipif(not AXE.exists(), reason="axe-core is not installed (npm ci in web_remote)")
def test_the_page_for_pairing_is_clean(chromium: Browser, hub: HubProcess) -> None:
    with Phone(chromium, hub) as stranger:
        stranger.page.goto(hub.url)
        expect(stranger.page.get_by_role("heading", name="Pair this device")).to_be_visible()
        stranger.page.evaluate(AXE.read_text())
        for light in ("light", "dark"):
            stranger.page.emulate_media(color_scheme=light)  # type: ignore[arg-type]
            assert findings(stranger.page) == []
