"""Two at one move, a hub that dies while somebody works, and a page that is loaded anew: no edit is lost."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from bench.hub_process import HubProcess
from bench.tcp_robot import TcpRobot
from playwright.sync_api import Browser, Page, expect

from browser.desk import Desk
from browser.greeting import judged

BOW: dict[str, Any] = {
    "format": "motionhub-sequence/1",
    "name": "bow",
    "keyframes": [{"at_ms": 0, "body": {"x_mm": 0}}, {"at_ms": 1500, "body": {"x_mm": 0}}],
    "end_ms": 3000,
}


@pytest.fixture
def hub(tmp_path: Path, robot: TcpRobot) -> Iterator[HubProcess]:
    """With a move in its library."""
    folder = tmp_path / "library"
    folder.mkdir()
    (folder / "bow.json").write_text(json.dumps(BOW))
    with HubProcess(folder, robot.port) as hub:
        yield hub
    assert "Traceback" not in hub.log.read_text(errors="replace")


def opened(desk: Desk) -> Page:
    page = desk.page
    page.get_by_role("tab", name="Moves").click()
    page.get_by_role("button", name="Change bow").click()
    assert judged(page) == "Fits"
    return page


def sway(page: Page, mm: int) -> None:
    """How far forward the body is at the beginning."""
    field = page.get_by_label("Forward, mm, typed")
    field.fill(str(mm))
    field.press("Enter")


def saved(hub: HubProcess) -> float:
    document = json.loads((hub.folder / "bow.json").read_text())
    return float(document["keyframes"][0]["body"]["x_mm"])


def test_two_at_one_move_are_told_and_neither_overwrites_the_other(chromium: Browser, hub: HubProcess) -> None:
    with Desk(chromium, hub) as ann, Desk(chromium, hub) as ben:
        mine, theirs = opened(ann), opened(ben)
        expect(mine.get_by_test_id("kept")).to_contain_text("also has it open")
        expect(theirs.get_by_test_id("kept")).to_contain_text("also has it open")
        sway(mine, 4)
        sway(theirs, 7)
        mine.get_by_role("button", name="Save", exact=True).click()
        expect(mine.get_by_test_id("kept")).to_contain_text("Saved")
        # Told without asking, and what was typed stays.
        expect(theirs.get_by_role("status").filter(has_text="You go on with yours")).to_be_visible()
        expect(theirs.get_by_label("Forward, mm, typed")).to_have_value("7")
        theirs.get_by_role("button", name="Save", exact=True).click()
        asks = theirs.get_by_role("alertdialog", name="Saved by someone else")
        expect(asks).to_be_visible()
        assert saved(hub) == 4, "nothing is written over what was saved before it is said so"
        asks.get_by_role("button", name="Take theirs; Undo brings mine back").click()
        expect(theirs.get_by_label("Forward, mm, typed")).to_have_value("4")
        theirs.get_by_role("button", name="Undo").click()
        expect(theirs.get_by_label("Forward, mm, typed")).to_have_value("7")
        theirs.get_by_role("button", name="Save", exact=True).click()
        expect(theirs.get_by_test_id("kept")).to_contain_text("Saved")
        assert saved(hub) == 7
        # The way back to the other's.
        theirs.get_by_role("button", name="Earlier").click()
        theirs.get_by_role("button", name="Bring back").first.click()
        expect(theirs.get_by_label("Forward, mm, typed")).to_have_value("4")
        assert ann.faults == ben.faults == []


def test_a_hub_that_dies_between_keystrokes_and_after_a_save_loses_nothing(chromium: Browser, hub: HubProcess) -> None:
    with Desk(chromium, hub) as desk:
        page = opened(desk)
        kept = page.get_by_test_id("kept")
        sway(page, 3)
        expect(kept).to_contain_text("Draft kept")
        hub.kill()
        sway(page, 5)  # before anybody knows
        expect(kept).to_contain_text("The hub is away", timeout=20_000)
        sway(page, 6)
        hub.__enter__()
        expect(kept).to_contain_text("Draft kept", timeout=30_000)
        expect(page.get_by_label("Forward, mm, typed")).to_have_value("6")
        # It is on the disk: another hub and a page that knows nothing find it there.
        hub.kill()
        hub.__enter__()
        page.reload()
        expect(page.get_by_label("Forward, mm, typed")).to_have_value("6", timeout=20_000)
        expect(page.get_by_test_id("link")).to_contain_text("Linked", timeout=20_000)
        page.get_by_role("button", name="Save", exact=True).click()
        expect(kept).to_contain_text("Saved")
        hub.kill()
        assert saved(hub) == 6
        sway(page, 8)
        expect(kept).to_contain_text("The hub is away", timeout=20_000)
        # Left without a hub: this browser has it, and brings it over when both are there again.
        page.goto("about:blank")
        hub.__enter__()
        page.goto(hub.pair_url)
        expect(page.get_by_label("Forward, mm, typed")).to_have_value("8", timeout=20_000)
        expect(kept).to_contain_text("Draft kept")
        assert saved(hub) == 6, "a draft is not a save"
