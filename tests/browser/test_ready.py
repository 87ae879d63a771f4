"""Before and after a show, on a phone by touch and by keyboard: a meter, the check, the last minute."""

from __future__ import annotations

import pytest
from bench.tcp_robot import TcpRobot
from playwright.sync_api import expect

from browser.phone import Phone


@pytest.mark.browser
def test_a_meter_the_check_and_the_last_minute(phone: Phone, robot: TcpRobot) -> None:
    page = phone.page
    phone.card("Robot")
    page.get_by_role("button", name="Get ready").tap()
    ready = page.get_by_test_id("ready")

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
