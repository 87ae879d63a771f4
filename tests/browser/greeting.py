"""What the tests of making moves have in common: a greeting to compose, a hand on the strip, the proof at the robot."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from bench.tcp_robot import TcpRobot
from playwright.sync_api import Locator, Page, expect

from browser.desk import came_as_saved

Until = Callable[[Callable[[], bool], float, str], float]

RULER, CHECK, ROW, LANE = 26, 22, 27, 35
"""CSS pixels of the strip's picture: ruler, findings, the row of all at once; then one lane after another."""
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
"""When, what is keyed as it is by then, which part is moved, and by how many steps of 5 mm; the head by its slider.

Back and aside, so that a front leg can be lifted; the same to the other side; a look about; and home."""
MOST_MENDS = 6
MOST_LOOKS = 60


class Strip:
    """A hand on the strip's picture: a mouse, or a finger. ``press`` puts it down at a place and takes it up again."""

    def __init__(self, page: Page, press: Callable[[float, float], None]) -> None:
        self.page, self.press = page, press

    def look(self) -> None:
        """Where the picture is: notes above it come and go."""
        box = self.page.get_by_test_id("strip-picture").bounding_box()
        assert box is not None
        self.gutter = 68 if box["width"] < 480 else 100
        self.left, self.top, self.width = box["x"] + self.gutter, box["y"], box["width"] - self.gutter

    def x(self, ms: float, length_ms: float = LENGTH_MS) -> float:
        """Where a time is while all of a move is in the picture, with the little that is seen beyond its end."""
        return self.left + ms * self.width / (length_ms * 1.06)

    def light(self, ms: float, length_ms: float = LENGTH_MS) -> None:
        """Press on the ruler."""
        self.look()
        self.press(self.x(ms, length_ms), self.top + RULER / 2)
        expect(self.page.get_by_test_id("now")).to_have_text(f"{ms / 1000:.2f} s")

    def lane(self, words: str) -> float:
        """How far down the middle of a lane is."""
        at = self.page.evaluate(
            """(lane) => { const rows = [...document.querySelectorAll('.strip-keys [role=row]')];
            return rows.findIndex((row) => row.firstElementChild.textContent.startsWith(lane)); }""",
            words,
        )
        return float(self.top + RULER + CHECK + ROW + (at - 2) * LANE + LANE / 2)

    def finding(self) -> None:
        """Press where something is wrong, as the row of findings tells it."""
        row = self.page.locator("[role=row]").filter(has=self.page.locator("[role=rowheader]", has_text="check"))
        start = row.locator("[role=gridcell]").first.inner_text().rsplit(" at ", 1)[1]
        length = self.page.locator("input[aria-label=Time]").get_attribute("max")
        assert length is not None
        self.page.get_by_role("button", name="All", exact=True).click()
        self.look()
        self.press(self.x(float(start.split()[0]) * 1e3, float(length)) + 3, self.top + RULER + CHECK / 2)


def begun(page: Page, name: str, press: Callable[[Locator], None]) -> None:
    """A new move of that name, standing still: that fits."""
    press(page.get_by_role("tab", name="Moves"))
    press(page.get_by_role("button", name="New move"))
    page.get_by_label("What to call the new move").fill(name)
    press(page.get_by_role("button", name="Make it"))
    assert judged(page) == "Fits"


def judged(page: Page) -> str:
    """The verdict, once it is of what is on the screen."""
    verdict = page.get_by_test_id("verdict-line")
    expect(verdict).to_have_attribute("aria-busy", "false", timeout=20_000)
    return verdict.locator("[role=status]").inner_text()


def mended(
    page: Page, mends: Callable[[], Locator], push: Callable[[Locator], None], way_back: Callable[[str], None]
) -> None:
    """It does not fit as it is; mends are one press each, Undo takes one back, and Redo brings it again.

    Args:
        page: Where the verdict is.
        mends: Looks at what is wrong next, and gives the buttons against it.
        push: Presses one.
        way_back: Undo or Redo, by this hand.
    """
    assert judged(page) == "Does not fit"
    for _ in range(MOST_MENDS):
        for _ in range(MOST_LOOKS):
            found = mends()
            if found.count() > 0:
                break
            page.wait_for_timeout(200)  # what would mend it comes a moment after what is wrong
        expect(found.first).to_be_enabled()
        push(found.first)
        # Worked out, and judged: some mends help, and leave something for the next.
        expect(page.get_by_test_id("verdict")).to_have_attribute("aria-busy", "false", timeout=30_000)
        if judged(page).startswith("Fits"):
            break
    assert judged(page).startswith("Fits")
    way_back("Undo")
    assert judged(page) == "Does not fit", "Undo takes a mend back"
    way_back("Redo")
    assert judged(page).startswith("Fits")


def played(robot: TcpRobot, until: Until, start: int, saved: Path, folder: Path) -> None:
    """The robot plays it to its end, and what it decoded is what `motionhub frames` writes of the saved file."""
    assert saved.exists()
    until(lambda: _moved_and_rests(robot, start), 60, "played and at rest again")
    assert came_as_saved(robot, start, saved, folder) > 0.9


def _moved_and_rests(robot: TcpRobot, start: int) -> bool:
    pulses = [entry.frame.pulses for entry in robot.decoded()[start:]]
    return len(set(pulses)) > 50 and len(set(pulses[-40:])) == 1
