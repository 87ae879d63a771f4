"""A greeting composed with one finger, and with two where two are needed, on a phone upright and lying."""

from __future__ import annotations

from pathlib import Path

from bench.tcp_robot import TcpRobot
from playwright.sync_api import Locator, Page, expect

from browser.greeting import CHECK, GREETING, LANE, ROW, RULER, Strip, Until, begun, judged, mended, played
from browser.phone import Phone

LYING = {"width": 740, "height": 360}
SWAY_MM = 80
"""What the edge of the pad for the body's sway stands for."""


def test_a_greeting_by_touch(phone: Phone, robot: TcpRobot, until: Until, tmp_path: Path) -> None:
    page = phone.page
    begun(page, "greeting", lambda what: what.tap())
    page.get_by_role("combobox", name="Under the strip").select_option("time")
    page.get_by_label("Ends at").fill("4000")
    page.keyboard.press("Enter")
    page.get_by_role("combobox", name="Under the strip").select_option("chosen")
    page.get_by_role("button", name="All", exact=True).tap()
    strip = Strip(page, page.touchscreen.tap)
    pinched(phone, strip)

    for i, (ms, lane, part, *changes) in enumerate(GREETING):
        turn(page, "Time")
        strip.light(ms)
        turn(page, "Pose")
        if lane:
            choose(page, lane)
            page.get_by_role("button", name="Key it as it is").tap()
        choose(page, part)
        if i == 0:
            swayed(phone, changes)
        elif part == "Head":
            slider = page.get_by_role("slider", name="Head, degrees", exact=True)
            box = slider.bounding_box()
            assert box is not None
            slider.tap(position={"x": box["width"] * (0.5 + 0.3 * changes[0][1]), "y": box["height"] / 2})
        else:
            for what, times in changes:
                for _ in range(abs(times)):
                    page.get_by_role("button", name=f"{what}: 5 mm {'more' if times > 0 else 'less'}", exact=True).tap()
    turn(page, "Time")
    assert cells(page, "all at once").count() == 10, "nine of its own and the one that it began with"
    boxed(phone, strip)

    turn(page, "Check")

    def mends() -> Locator:
        return page.get_by_test_id("verdict").locator(".make-finding button:not(.make-when)")

    mended(page, mends, lambda mend: mend.tap(), lambda which: page.get_by_role("button", name=which).tap())

    page.get_by_role("button", name="Save", exact=True).tap()
    expect(page.get_by_test_id("kept")).to_contain_text("Saved")
    start = len(robot.decoded())
    turn(page, "Robot, files")
    page.get_by_role("region", name="On the robot").locator("select").select_option("1")
    page.get_by_role("button", name="Play this on the robot").tap()
    played(robot, until, start, phone.hub.folder / "greeting.json", tmp_path)


def test_a_performance_by_touch_becomes_keys_and_walking(phone: Phone) -> None:
    page = phone.page
    begun(page, "strut", lambda what: what.tap())
    turn(page, "Pose")
    page.get_by_role("button", name="Perform from here").tap()
    drive = page.get_by_role("group", name="Drive, by touch")
    drive.scroll_into_view_if_needed()
    phone.press(drive)
    phone.slide(drive, 0, -0.5)
    page.wait_for_timeout(1200)
    phone.lift()
    sway = page.get_by_role("group", name="Sway, by touch")
    sway.scroll_into_view_if_needed()
    phone.press(sway)
    for share in (0.1, 0.2, 0.3, 0.2, 0.0):
        phone.slide(sway, share, 0)
        page.wait_for_timeout(120)
    phone.lift()
    page.get_by_role("button", name="Done").tap()
    performed = page.get_by_role("group", name="What was performed")
    expect(performed.locator("p[role=status]")).to_contain_text("of walking, within 2 mm and degrees of the way")
    performed.get_by_role("button", name="Keep it").tap()
    turn(page, "Time")
    walk, keys = cells(page, "walking"), cells(page, "body")
    expect(walk.first).to_contain_text("Walk from 0.")
    expect(walk.last).to_contain_text("stands")  # its feet land when the finger has gone
    assert keys.count() > 2
    assert judged(page) != "Cannot be done as it is"
    # All of it is one step back.
    page.get_by_role("button", name="Undo").tap()
    expect(walk).to_have_count(0)
    assert keys.count() == 1


def turn(page: Page, to: str) -> None:
    page.get_by_role("group", name="What is shown").get_by_role("button", name=to).tap()


def choose(page: Page, part: str) -> None:
    page.locator(".pose-parts label", has_text=part[0].upper() + part[1:]).tap()


def cells(page: Page, row: str) -> Locator:
    header = page.locator("[role=rowheader]", has_text=row)
    return page.locator(".strip-keys [role=row]").filter(has=header).locator("[role=gridcell]")


def at_ms(page: Page) -> float:
    return float(page.get_by_test_id("now").inner_text().split()[0]) * 1e3


def pinched(phone: Phone, strip: Strip) -> None:
    """Two fingers that go twice as far apart show half as much time, and the middle between them stays where it is."""
    page = phone.page
    picture = page.get_by_test_id("strip-picture")

    def times() -> list[float]:
        strip.look()
        found = []
        for share in (0.2, 0.5, 0.8):
            strip.press(strip.left + share * strip.width, strip.top + RULER / 2)
            found.append(at_ms(page))
        return found

    before = times()
    # Shares of half the picture; the middle of the times lies right of the picture's own by half the names' column.
    middle = strip.gutter / (strip.gutter + strip.width)
    low = 0.5
    phone.fingers("touchStart", (picture, middle - 0.2, low, 1), (picture, middle + 0.2, low, 2))
    for wide in (0.25, 0.3, 0.35, 0.4):
        phone.fingers("touchMove", (picture, middle - wide, low, 1), (picture, middle + wide, low, 2))
        page.wait_for_timeout(40)
    phone.lift()
    after = times()
    # Times catch on the quarters of a second that are within 7 px.
    assert 1.7 < (before[2] - before[0]) / (after[2] - after[0]) < 2.4
    assert abs(before[1] - after[1]) < 150
    page.get_by_role("button", name="All", exact=True).tap()
    assert times() == before


def swayed(phone: Phone, changes: list[tuple[str, int]]) -> None:
    """A finger on the pad takes the body along from where it is."""
    wanted = {what: 5 * times for what, times in changes}
    pad = phone.page.get_by_role("group", name="Sway, by touch")
    pad.scroll_into_view_if_needed()
    phone.press(pad)
    for share in (0.4, 0.8, 1.0):
        phone.slide(pad, -share * wanted["Left"] / SWAY_MM, -share * wanted["Forward"] / SWAY_MM)
        phone.page.wait_for_timeout(40)
    phone.lift()
    for what, mm in wanted.items():
        typed = float(phone.page.get_by_label(f"{what}, mm, typed").input_value())
        assert abs(typed - mm) < 1


def boxed(phone: Phone, strip: Strip) -> None:
    """After Several is pressed a finger draws a box, and what is in it is chosen; pressed again, it moves the strip."""
    page = phone.page
    several = page.get_by_role("button", name="Several")
    several.tap()
    strip.look()
    picture = page.get_by_test_id("strip-picture")
    box = picture.bounding_box()
    assert box is not None

    def share(ms: float) -> float:
        return 2 * (strip.x(ms) - box["x"]) / box["width"] - 1

    y = 2 * (RULER + CHECK + ROW * 0.8) / box["height"] - 1
    phone.press(picture, share(800), y)
    for ms in (1000, 1300, 1600):
        phone.slide(picture, share(ms), y)
        page.wait_for_timeout(40)
    phone.lift()
    chosen = page.locator(".strip-keys [role=row]", has_text="all at once").locator("[aria-selected=true]")
    expect(chosen).to_have_count(2)
    # A tap adds one to them.
    strip.press(strip.x(2750), strip.top + RULER + CHECK + ROW / 2)
    expect(chosen).to_have_count(3)
    several.tap()


def test_a_phone_that_lies_down_shows_the_strip_and_what_is_always_there(phone: Phone) -> None:
    page = phone.page
    page.set_viewport_size(LYING)  # type: ignore[arg-type]
    phone.card("Moves")
    page.get_by_role("button", name="Change wave").tap()
    assert judged(page) == "Fits"
    picture = page.get_by_test_id("strip-picture")
    for what in (picture, page.get_by_role("button", name="Save", exact=True), phone.stop):
        expect(what).to_be_in_viewport(ratio=0.99)
    box = picture.bounding_box()
    assert box is not None
    # Besides what is always seen, a lane as far down as its lanterns hang; the others are a swipe away.
    assert box["height"] >= RULER + CHECK + ROW + 0.6 * LANE
    assert page.evaluate("document.documentElement.scrollWidth") <= LYING["width"]
    now = page.get_by_test_id("now")
    before = now.inner_text()
    page.get_by_role("button", name="Play", exact=True).tap()
    expect(now).not_to_have_text(before)
    page.get_by_role("button", name="Hold", exact=True).tap()
