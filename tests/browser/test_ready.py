"""Before and after a show, on a phone by touch and by keyboard: a meter, the check, the last minute."""

from __future__ import annotations

import numpy as np
import pytest
from bench.tcp_robot import TcpRobot
from playwright.sync_api import Locator, expect

from browser.phone import Phone


def opened(phone: Phone) -> Locator:
    """The pages before and after a show."""
    phone.card("Robot")
    phone.page.get_by_role("button", name="Get ready").tap()
    return phone.page.get_by_test_id("ready")


def test_a_meter_the_check_and_the_last_minute(phone: Phone, robot: TcpRobot) -> None:
    page = phone.page
    ready = opened(phone)

    # By touch: a multimeter 4 % above what the robot reads.
    ready.get_by_role("button", name="Power").tap()
    shown = ready.get_by_test_id("power")
    expect(shown).to_contain_text("Battery good")
    with robot.lock:
        meter = 1.04 * robot.simulated.plant.battery.volts
    field = ready.get_by_label("The meter shows, in volts")
    field.fill("lots")
    expect(ready.get_by_text("Expected volts")).to_be_visible()
    field.fill(f"{meter:.2f}")
    ready.get_by_role("button", name="Read it so").tap()
    expect(shown).to_contain_text(f"{meter:.1f} V")

    # By keyboard: the check, which says what is wrong with a robot that nobody has trimmed.
    back = ready.get_by_role("button", name="Back")
    back.focus()
    page.keyboard.press("Enter")
    ready.get_by_role("button", name="Before a show").focus()
    page.keyboard.press("Enter")
    look = ready.get_by_role("button", name="Look at it all")
    look.focus()
    page.keyboard.press("Enter")
    expect(ready.get_by_test_id("go")).to_contain_text("No-go", timeout=20_000)
    trims = ready.get_by_role("listitem").filter(has_text="Trims")
    expect(trims).to_contain_text("Nobody has trimmed this robot")
    ready.get_by_role("button", name="Move every joint…").tap()
    expect(ready.get_by_role("alertdialog")).to_contain_text("Fingers, hair and children away")
    ready.get_by_role("button", name="Not now").tap()
    with robot.lock:
        assert len({entry.frame.pulses for entry in list(robot.simulated.decoded)[-25:]}) == 1, "nothing has moved"

    # The last minute has the meter's value in it.
    back.tap()
    ready.get_by_role("button", name="The last minute").tap()
    expect(ready.get_by_test_id("minute")).to_contain_text("Battery")
    expect(ready.get_by_role("list").last).to_contain_text("meter shows")


def test_the_sweep_is_seen_and_the_supply_is_advised(phone: Phone, robot: TcpRobot) -> None:
    """All joints go and are said to have moved; the regulator's advice is worked out beside it."""
    ready = opened(phone)
    ready.get_by_role("button", name="Power").tap()
    ready.get_by_role("button", name="What must it be?").tap()
    expect(ready.get_by_text("Being worked out")).to_be_visible()
    ready.get_by_role("button", name="Back").tap()

    ready.get_by_role("button", name="Before a show").tap()
    ready.get_by_role("button", name="Look at it all").tap()
    expect(ready.get_by_test_id("go")).to_contain_text("No-go", timeout=20_000)
    joint = ready.get_by_role("listitem").filter(has_text="Every joint")
    before = len(robot.decoded())
    ready.get_by_role("button", name="Move every joint…").tap()
    ready.get_by_role("button", name="Yes, move them").tap()
    every = ready.get_by_role("button", name="All moved", exact=True)
    expect(every).to_be_visible(timeout=60_000)
    rows = np.array([entry.frame.pulses for entry in robot.decoded()[before:] if entry.frame.pulses is not None])
    assert (np.ptp(rows, axis=0) > 20).all(), "every joint has moved"
    every.tap()
    expect(joint).to_contain_text("Seen moving")

    # Leaving the page for another does not lose the advice.
    ready.get_by_role("button", name="Back").tap()
    ready.get_by_role("button", name="Power").tap()
    advice = ready.get_by_role("region", name="Regulator").get_by_role("listitem")
    expect(advice.first).to_contain_text(" V", timeout=120_000)


@pytest.mark.parametrize("size", [(360, 740), (1280, 800)], ids=["phone", "wide"])
def test_every_place_can_be_left_and_worked_by_what_is_seen(phone: Phone, size: tuple[int, int]) -> None:
    """What is to be pressed is on the screen, and not under something else: the heading's button, and the walk pad."""
    page = phone.page
    page.set_viewport_size({"width": size[0], "height": size[1]})
    ready = opened(phone)
    for place in ("Power", "Before a show", "The last minute"):
        ready.get_by_role("button", name=place).tap()
        heading = ready.get_by_role("heading", name=place)
        content = ready.locator(".make-parts > *").first
        expect(content).to_be_in_viewport()
        over, under = heading.bounding_box(), content.bounding_box()
        assert over is not None
        assert under is not None
        assert over["y"] + over["height"] <= under["y"] <= over["y"] + over["height"] + 60
        ready.get_by_role("button", name="Back").tap()
    ready.get_by_role("button", name="Close").tap()
    phone.card("Robot")
    page.get_by_role("button", name="Bring it up").tap()
    page.get_by_label("Step", exact=True).select_option("floor")
    box = page.get_by_role("group", name="Walk pad").bounding_box()
    assert box is not None
    assert min(box["width"], box["height"]) >= 140


@pytest.mark.parametrize("machine", ["trestle"])
def test_a_robot_without_moves_is_told_that_its_regulator_follows_from_them(phone: Phone) -> None:
    """The shipped moves are another robot's."""
    ready = opened(phone)
    ready.get_by_role("button", name="Power").tap()
    ready.get_by_role("button", name="What must it be?").tap()
    advice = ready.get_by_role("region", name="Regulator").get_by_role("listitem")
    expect(advice).to_have_text("It follows from the moves, and this robot has none yet: make one first.")
