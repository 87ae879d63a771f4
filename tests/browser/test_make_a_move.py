"""From an empty move to one that is played, by mouse and by keyboard alone: the robot decodes what was saved."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from bench.hub_process import HubProcess
from bench.tcp_robot import TcpRobot
from playwright.sync_api import Browser, Locator, expect

from browser.desk import Desk, came_as_saved

Until = Callable[[Callable[[], bool], float, str], float]

GUTTER, RULER, CHECK, ROW, LANE = 100, 26, 22, 27, 35
"""CSS pixels of the strip's picture: the names, the ruler, the findings, and the row of all at once."""
LENGTH_MS = 4000
GREETING: tuple[tuple[int, str, str, *tuple[tuple[str, int], ...]], ...] = (
    (500, "left front", "Body", ("Forward", -3), ("Left", -1)),
    (1000, "", "Left front", ("Up", 4)),
    (1500, "", "Left front", ("Up", -4)),
    (1750, "right front", "Body", ("Left", 2)),
    (2250, "", "Right front", ("Up", 4)),
    (2750, "", "Right front", ("Up", -4)),
    (3000, "", "Head", ("Head", -1)),
    (3250, "", "Head", ("Head", 1)),
    (3500, "", "Body", ("Forward", 3), ("Left", -1)),
)
"""When, what is keyed as it is by then, which part is moved, and by how many steps of 5 mm; the head by its slider."""


@pytest.fixture
def desk(chromium: Browser, hub: HubProcess) -> Iterator[Desk]:
    with Desk(chromium, hub) as desk:
        desk.until_mode("Standing, ready.")
        yield desk
        assert desk.faults == [], desk.faults


class Mouse:
    """A hand on the strip with a mouse."""

    def __init__(self, desk: Desk) -> None:
        self.desk, self.page = desk, desk.page
        self.look()

    def look(self) -> None:
        """Where the picture is: notes above it come and go."""
        box = self.page.get_by_test_id("strip-picture").bounding_box()
        assert box is not None
        self.left, self.top, self.width = box["x"] + GUTTER, box["y"], box["width"] - GUTTER

    def x(self, ms: float, length_ms: float) -> float:
        """Where a time is while all of a move is in the picture, with the little that is seen beyond its end."""
        return self.left + ms * self.width / (length_ms * 1.06)

    def light(self, ms: float, length_ms: float) -> None:
        """Press on the ruler."""
        self.look()
        self.page.mouse.click(self.x(ms, length_ms), self.top + RULER / 2)
        expect(self.page.get_by_test_id("now")).to_have_text(f"{ms / 1000:.2f} s")

    def key_here(self, lane: str) -> None:
        """Press on a lane's name, and the button that keys it as it is."""
        at = self.page.evaluate(
            """(lane) => { const rows = [...document.querySelectorAll('.strip-keys [role=row]')];
            return rows.findIndex((row) => row.firstElementChild.textContent.startsWith(lane)); }""",
            lane,
        )
        self.look()
        self.page.mouse.click(self.left - GUTTER + 30, self.top + RULER + CHECK + ROW + (at - 2) * LANE + LANE / 2)
        self.page.get_by_role("button", name=f"Key {lane} here").click()

    def more(self, part: str, what: str, times: int) -> None:
        """Press the button beside a number of the pose; below 0 the one on its other side."""
        self.page.locator(".pose-parts label", has_text=part).click()
        side = "more" if times > 0 else "less"
        if part == "Head":
            slider = self.page.get_by_role("slider", name="Head, degrees", exact=True)
            box = slider.bounding_box()
            assert box is not None
            slider.click(position={"x": box["width"] * (0.5 + 0.3 * times), "y": box["height"] / 2})
            return
        button = self.page.get_by_role("button", name=f"{what}: 5 mm {side}", exact=True)
        for _ in range(abs(times)):
            button.click()


def test_a_greeting_by_mouse(desk: Desk, robot: TcpRobot, until: Until, tmp_path: Path) -> None:
    page = desk.page
    page.get_by_role("button", name="Take control", exact=True).click()
    page.get_by_role("tab", name="Moves").click()
    page.get_by_role("button", name="New move").click()
    page.get_by_label("What to call the new move").fill("greeting")
    page.get_by_role("button", name="Make it").click()
    assert desk.judged() == "Fits", "standing still is a move that fits"
    mouse = Mouse(desk)
    page.get_by_role("button", name="All", exact=True).click()
    page.get_by_role("button", name="Time", exact=True).click()
    page.get_by_label("Ends at").fill("4000")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Keys", exact=True).click()
    page.get_by_role("button", name="All", exact=True).click()
    # Back and aside, so that a front leg can be lifted; the same to the other side; a look about; and home.
    for ms, lane, part, *changes in GREETING:
        mouse.light(ms, LENGTH_MS)
        if lane:
            mouse.key_here(lane)
        for what, times in changes:
            mouse.more(part, what, times)
    assert desk.keys() == 10, "nine of its own and the one that it began with"
    mended(desk, lambda: press_finding(desk, mouse), lambda mend: mend.click())

    page.get_by_role("button", name="Save", exact=True).click()
    expect(page.get_by_test_id("kept")).to_contain_text("Saved")
    start = len(robot.decoded())
    page.get_by_role("region", name="On the robot").locator("select").select_option("1")
    page.get_by_role("button", name="Play this on the robot").click()
    played(desk, robot, until, start, tmp_path)


def press_finding(desk: Desk, mouse: Mouse) -> None:
    """On the strip, where it happens."""
    start = desk.row("check").locator("[role=gridcell]").first.inner_text().rsplit(" at ", 1)[1]
    length = desk.page.get_by_role("slider", name="Time", exact=True).get_attribute("max")
    assert length is not None
    desk.page.get_by_role("button", name="All", exact=True).click()
    mouse.look()
    x = mouse.x(float(start.split()[0]) * 1e3, float(length)) + 3
    desk.page.mouse.click(x, mouse.top + RULER + CHECK / 2)


def mended(desk: Desk, find: Callable[[], None], push: Callable[[Locator], None]) -> None:
    """It does not fit as it is; the mend is one press, Undo takes it back, and Redo brings it again."""
    page = desk.page
    assert desk.judged() == "Does not fit"
    tools = page.get_by_role("group", name="What is wrong here")
    for _ in range(40):
        find()
        if tools.locator("button").count() > 0:
            break
    push(tools.locator("button").first)
    expect(page.get_by_test_id("verdict")).to_have_attribute("aria-busy", "false")
    page.wait_for_function(
        "() => !document.querySelector('[data-testid=verdict-line]')?.textContent.includes('not fit')"
    )
    assert desk.judged().startswith("Fits")
    page.keyboard.press("Control+z")
    assert desk.judged() == "Does not fit", "Undo takes a mend back"
    page.keyboard.press("Control+y")
    assert desk.judged().startswith("Fits")


def played(desk: Desk, robot: TcpRobot, until: Until, start: int, folder: Path) -> None:
    """The robot plays it to its end, and what it decoded is what `motionhub frames` writes of the saved file."""
    saved = desk.hub.folder / "greeting.json"
    assert saved.exists()
    until(lambda: moved_and_rests(robot, start), 60, "played and at rest again")
    assert came_as_saved(robot, start, saved, folder) > 0.9


def moved_and_rests(robot: TcpRobot, start: int) -> bool:
    pulses = [entry.frame.pulses for entry in robot.decoded()[start:]]
    return len(set(pulses)) > 50 and len(set(pulses[-40:])) == 1


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
    assert desk.judged() == "Fits"
    reach("Time", "button")
    press("Enter")
    reach("Ends at")
    typed(desk, "4000")
    reach("Keys", "button")
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
        reach("Time", "input")
        press("PageUp")
        if lane:
            key_row(desk, lane)
            press("Enter")
        for part, field, value in fields:
            key_row(desk, part)
            reach(field)
            typed(desk, value)
    assert desk.keys() == 10

    def by_keys(mend: Locator) -> None:
        reach(mend.inner_text())
        press("Enter")

    mended(desk, lambda: walk_to_finding(desk), by_keys)

    reach("Save")
    press("Enter")
    expect(page.get_by_test_id("kept")).to_contain_text("Saved")
    start = len(robot.decoded())
    reach("Speed", "select")
    press("End")
    reach("Play this on the robot")
    press("Enter")
    played(desk, robot, until, start, tmp_path)


def typed(desk: Desk, value: str) -> None:
    desk.press("Control+a")
    desk.page.keyboard.type(value)
    desk.press("Enter")


def key_row(desk: Desk, words: str) -> None:
    """Into the strip's grid, and up or down to a row's name: what the pose is about from then on."""
    page = desk.page
    for _ in range(60):
        page.keyboard.press("Tab")
        if page.evaluate("() => document.activeElement?.closest('[role=grid]') !== null"):
            break
    at = "() => document.activeElement?.closest('[role=row]')?.firstElementChild?.textContent ?? ''"
    for _ in range(40):
        page.keyboard.press("ArrowUp")
    for _ in range(40):
        if page.evaluate(at).startswith(words):
            break
        page.keyboard.press("ArrowDown")
    for _ in range(40):
        if page.evaluate("() => document.activeElement?.getAttribute('role') === 'rowheader'"):
            break
        page.keyboard.press("ArrowLeft")


def walk_to_finding(desk: Desk) -> None:
    """Along the row of findings to the next one."""
    page = desk.page
    for _ in range(MOST_STEPS):
        if page.evaluate("() => document.activeElement?.closest('[role=grid]') !== null"):
            break
        page.keyboard.press("Tab")
    for _ in range(20):
        if page.evaluate("() => document.activeElement?.closest('[role=row]')?.textContent?.startsWith('check')"):
            break
        page.keyboard.press("ArrowUp")
    page.keyboard.press("ArrowRight")


MOST_STEPS = 250
