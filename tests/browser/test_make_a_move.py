"""From an empty move to one that is played, by mouse and by keyboard alone: the robot decodes what was saved."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from bench.hub_process import HubProcess
from bench.tcp_robot import TcpRobot
from playwright.sync_api import Browser, Locator, expect

from browser.desk import Desk
from browser.greeting import GREETING, Strip, Until, begun, judged, mended, played


@pytest.fixture
def desk(chromium: Browser, hub: HubProcess) -> Iterator[Desk]:
    with Desk(chromium, hub) as desk:
        desk.until_mode("Standing, ready.")
        yield desk
        assert desk.faults == [], desk.faults


def test_a_greeting_by_mouse(desk: Desk, robot: TcpRobot, until: Until, tmp_path: Path) -> None:
    page = desk.page
    page.get_by_role("button", name="Take control", exact=True).click()
    begun(page, "greeting", lambda what: what.click())
    strip = Strip(page, page.mouse.click)
    page.get_by_role("button", name="All", exact=True).click()
    page.get_by_role("button", name="Time", exact=True).click()
    page.get_by_label("Ends at").fill("4000")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Keys", exact=True).click()
    page.get_by_role("button", name="All", exact=True).click()
    for ms, lane, part, *changes in GREETING:
        strip.light(ms)
        if lane:
            strip.press(strip.left - strip.gutter + 30, strip.lane(lane))
            page.get_by_role("button", name=f"Key {lane} here").click()
        for what, times in changes:
            more(desk, part, what, times)
    assert desk.keys() == 10, "nine of its own and the one that it began with"

    tools = page.get_by_role("group", name="What is wrong here").locator("button")

    def found() -> Locator:
        strip.finding()
        return tools

    keys = {"Undo": "Control+z", "Redo": "Control+y"}
    mended(page, found, lambda mend: mend.click(), lambda which: page.keyboard.press(keys[which]))

    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.get_by_test_id("kept")).to_contain_text("Saved")
    start = len(robot.decoded())
    page.get_by_role("region", name="On the robot").locator("select").select_option("1")
    page.get_by_role("button", name="Play this on the robot").click()
    played(robot, until, start, desk.hub.folder / "greeting.json", tmp_path)


def more(desk: Desk, part: str, what: str, times: int) -> None:
    """Press the button beside a number of the pose; below 0 the one on its other side."""
    desk.page.locator(".pose-parts label", has_text=part).click()
    side = "more" if times > 0 else "less"
    if part == "Head":
        slider = desk.page.get_by_role("slider", name="Head, degrees", exact=True)
        box = slider.bounding_box()
        assert box is not None
        slider.click(position={"x": box["width"] * (0.5 + 0.3 * times), "y": box["height"] / 2})
        return
    button = desk.page.get_by_role("button", name=f"{what}: 5 mm {side}", exact=True)
    for _ in range(abs(times)):
        button.click()


def test_a_greeting_by_the_keyboard_alone(desk: Desk, robot: TcpRobot, until: Until, tmp_path: Path) -> None:
    page, press, reach = desk.page, desk.press, desk.reach
    reach("Take control")
    press("Enter")
    reach("Drive", "tab")
    press("ArrowRight", "Tab")
    reach("New move")
    press("Enter")
    page.keyboard.type("greeting")
    press("Enter")
    assert judged(page) == "Fits"
    reach("Time", "button")
    press("Enter")
    reach("Ends at")
    typed(desk, "4000")
    reach("Keys", "button", back=True)
    press("Enter")
    # A tenth of the four seconds at a time.
    for lane, *fields in (
        ("left front", ("body", "Forward, mm, typed", "-15"), ("body", "Left, mm, typed", "-10")),
        ("", ("left front", "Up, mm, typed", "30")),
        ("", ("left front", "Up, mm, typed", "0")),
        ("right front", ("body", "Left, mm, typed", "10")),
        ("", ("right front", "Up, mm, typed", "30")),
        ("", ("right front", "Up, mm, typed", "0")),
        ("", ("head", "Head, degrees, typed", "-55")),
        ("", ("head", "Head, degrees, typed", "55")),
        ("head", ("body", "Forward, mm, typed", "0"), ("body", "Left, mm, typed", "0")),
    ):
        reach("Time", "input", back=True)
        press("PageUp")
        if lane:
            to_row(desk, lane)
            press("Enter")
        for part, field, value in fields:
            if desk.page.locator(".pose-parts .picked").inner_text().lower() != part:
                to_row(desk, part)
            reach(field)
            typed(desk, value)
    assert desk.keys() == 10

    tools = page.get_by_role("group", name="What is wrong here").locator("button")

    def found() -> Locator:
        # On to the next of them, and from the last to the first again.
        before = desk.row("check").evaluate(
            "(row) => row.contains(document.activeElement) && document.activeElement.id"
        )
        press("ArrowRight")
        if before is False or before == page.evaluate("document.activeElement.id"):
            to_row(desk, "check")
            press("ArrowRight")
        return tools

    def by_keys(mend: Locator) -> None:
        reach(mend.inner_text())
        press("Enter")

    keys = {"Undo": "Control+z", "Redo": "Control+y"}
    mended(page, found, by_keys, lambda which: press(keys[which]))

    reach("Save", back=True)
    press("Enter")
    expect(page.get_by_test_id("kept")).to_contain_text("Saved")
    start = len(robot.decoded())
    desk.have_control()
    reach("Speed", "select", back=True)
    press("End")
    reach("Play this on the robot")
    press("Enter")
    played(robot, until, start, desk.hub.folder / "greeting.json", tmp_path)


def test_a_browser_that_hangs_has_no_control_any_more_and_says_so_where_it_is_needed(desk: Desk) -> None:
    page = desk.page
    page.get_by_role("button", name="Take control", exact=True).click()
    page.get_by_role("tab", name="Moves").click()
    page.get_by_role("button", name="Change bow").click()
    assert judged(page) == "Fits"
    play = page.get_by_role("button", name="Play this on the robot")
    expect(play).to_be_enabled()
    page.evaluate("(ms) => { const end = performance.now() + ms; while (performance.now() < end); }", LONG_MS)
    expect(play).to_be_disabled()
    robot = page.get_by_role("region", name="On the robot")
    expect(robot.locator(".gate")).to_contain_text("Nobody is driving.")
    desk.have_control()
    expect(play).to_be_enabled()
    expect(robot.locator(".gate")).to_have_count(0)


LONG_MS = 4000
"""Control is kept for two seconds of silence; the hub has to be heard from, too, when it is over."""


def typed(desk: Desk, value: str) -> None:
    desk.press("Control+a")
    desk.page.keyboard.type(value)
    desk.press("Enter")


ROWS = """() => { const at = document.activeElement;
return [...document.querySelectorAll('.strip-keys [role=row]')].map((row) =>
[row.firstElementChild.textContent, row.contains(at), row.firstElementChild === at]); }"""
"""Of every row: its name, whether the focus is in it, and whether on its name."""


def to_row(desk: Desk, words: str) -> None:
    """Into the strip's grid, and up or down to a row's name: what the pose is about from then on."""
    page = desk.page
    for _ in range(MOST_STEPS):
        rows = page.evaluate(ROWS)
        if any(has for _, has, _ in rows):
            break
        page.keyboard.press("Shift+Tab")
    wanted = next(i for i, (name, _, _) in enumerate(rows) if name.startswith(words))
    for _ in range(MOST_STEPS):
        at = next((i for i, (_, has, _) in enumerate(rows) if has), None)
        assert at is not None, "the focus has left the strip"
        if at == wanted and rows[at][2]:
            return
        page.keyboard.press("ArrowLeft" if at == wanted else "ArrowDown" if at < wanted else "ArrowUp")
        rows = page.evaluate(ROWS)
    raise AssertionError(f"expected to come to the row of {words}, and never did")


MOST_STEPS = 250
