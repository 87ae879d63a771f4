"""The trim of one leg on a phone, by touch and by keyboard, interrupted by a lost link; and nothing of it lost."""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from bench.tcp_robot import TcpRobot
from playwright.sync_api import Locator, expect

from browser.phone import Phone

Until = Callable[[Callable[[], bool], float, str], float]
LEG = "left_front"


class Hands:
    """The same person, with a thumb or with a keyboard."""

    def __init__(self, phone: Phone, keys: bool) -> None:
        self.phone, self.page, self.keys = phone, phone.page, keys

    def press(self, target: Locator) -> None:
        expect(target).to_be_enabled()
        if not self.keys:
            target.tap()
            return
        target.focus()
        self.page.keyboard.press("Enter")

    def button(self, name: str) -> None:
        self.press(self.page.get_by_role("button", name=name, exact=True))

    def choose(self, step: str) -> None:
        select = self.page.get_by_label("Step", exact=True)
        select.select_option(step)
        expect(select).to_have_value(step)

    def write(self, label: str, text: str) -> None:
        field = self.page.get_by_label(label)
        if self.keys:
            field.focus()
            self.page.keyboard.type(text)
            self.page.keyboard.press("Enter")
        else:
            field.tap()
            field.fill(text)
            self.button("Take it")

    def go_there(self, robot: TcpRobot, joint: int, until: Until) -> int:
        """To where the protractor is read next, µs.

        Where a busy machine keeps the page from answering for two seconds, control lapses, and what moves stays where
        it is; whoever sees that takes control again and presses once more.
        """
        lapsed = self.page.get_by_role("button", name="Take control here", exact=True)
        for _ in range(4):
            if lapsed.is_visible():
                self.press(lapsed)
            go = self.page.get_by_role("button", name="Go to")
            expect(go).to_be_enabled()  # until then it names the place where the last reading was taken
            pulse = int((go.text_content() or "").split()[2])
            self.press(go)

            def there(pulse: int = pulse) -> bool:
                return now(robot)[joint] == pulse

            until(lambda there=there: there() or lapsed.is_visible(), 20, "the place of the protractor")  # type: ignore[misc]
            if there():
                return pulse
        raise AssertionError("control lapsed again and again")

    def saved(self) -> None:
        expect(self.page.get_by_test_id("saved")).to_have_text("saved")


def calibration(phone: Phone) -> dict[str, dict[str, Any]]:
    """What is on the disk; nothing of any joint until something was saved."""
    joints: dict[str, dict[str, Any]] = defaultdict(dict)
    for path in (phone.hub.folder / "calibration").glob("*.json"):
        joints.update(json.loads(path.read_text())["joints"])
    return joints


def plug(phone: Phone, joint: str) -> str | None:
    """Whose connector the joint's servo is found at, if not at its own."""
    name: str | None = calibration(phone)[joint].get("connector")
    return name


def now(robot: TcpRobot) -> tuple[int, ...]:
    pulses = robot.decoded()[-1].frame.pulses
    return tuple(pulses) if pulses is not None else ()


@pytest.mark.parametrize("keys", [False, True], ids=["touch", "keyboard"])
def test_trim_of_a_leg_with_the_link_lost_in_between(phone: Phone, robot: TcpRobot, until: Until, keys: bool) -> None:
    hands, page = Hands(phone, keys), phone.page
    hands.press(page.get_by_role("tab", name="Robot"))
    hands.button("Bring it up")
    hands.choose("angles")
    hands.button("It is on its stand…")
    hands.button("Let go and begin")
    expect(page.get_by_role("button", name="No pulse", exact=True)).to_be_visible()
    at = robot.robot.joint_index
    # The coxa by eye: by 5, 1 and 0.2 degrees, and only its own servo has a pulse meanwhile.
    expect(page.get_by_role("heading", name="Left front coxa")).to_be_visible()
    hands.press(page.get_by_role("button", name="Hold at"))
    until(lambda: any(now(robot)), 10, "a pulse")
    hands.button("+5°")
    expect(page.get_by_test_id("trim")).to_have_text("+5.0°")
    hands.button("−1°")
    expect(page.get_by_test_id("trim")).to_have_text("+4.0°")
    until(lambda: now(robot)[at[f"{LEG}.coxa"]] == round(1500 + 4 * 1000 / 90), 10, "the pulse of the trim")
    assert [i for i, pulse in enumerate(now(robot)) if pulse] == [at[f"{LEG}.coxa"]]
    hands.saved()
    # The radio is gone for a while: nothing has a pulse after it until somebody asks.
    hub_lost = page.get_by_test_id("link")
    robot.cut()
    expect(hub_lost).to_contain_text("No robot", timeout=15_000)
    expect(page.get_by_role("button", name="Hold at")).to_be_disabled()
    robot.mend()
    expect(hub_lost).to_contain_text("Linked", timeout=20_000)
    until(lambda: bool(now(robot)) and not any(now(robot)), 10, "frames without a pulse")
    expect(page.get_by_test_id("trim")).to_have_text("+4.0°")
    hands.button("It stands right")
    # The femur and the tibia by protractor, at two places each; the page is loaded anew in between.
    for joint, off in (("femur", -3.0), ("tibia", 6.0)):
        expect(page.get_by_role("heading", name=f"Left front {joint}")).to_be_visible()
        i = at[f"{LEG}.{joint}"]
        for _ in range(2):
            pulse = hands.go_there(robot, i, until)
            expect(page.locator(".pulse")).to_contain_text("Holds at", timeout=15_000)
            sheet = (pulse - 1500) / (1000 / 90)
            mid = float(robot.robot.mid[i] * 57.29577951308232)
            hands.write("The protractor says", f"{mid + sheet - off:.1f}")
        hands.saved()
        if joint == "femur":
            page.reload()
            expect(page.get_by_role("heading", name="Left front femur")).to_be_visible(timeout=20_000)
            hands.button("Take control here")
        hands.button("It stands right")
    following = robot.robot.joint_names[3].replace("_", " ").replace(".", " ").capitalize()
    expect(page.get_by_role("heading", name=following)).to_be_visible()
    hands.saved()
    found = calibration(phone)
    assert found[f"{LEG}.coxa"]["trim_deg"] == pytest.approx(4.0, abs=0.01)
    assert found[f"{LEG}.femur"]["trim_deg"] == pytest.approx(-3.0, abs=0.1)
    assert found[f"{LEG}.tibia"]["trim_deg"] == pytest.approx(6.0, abs=0.1)
    # Stop is where it always is, and what has no pulse gets none by it.
    hands.press(phone.stop)
    expect(phone.stop).to_contain_text("Stopped")
    assert not any(now(robot))


def test_swapped_plugs_are_mended_in_the_first_run(phone: Phone, robot: TcpRobot, until: Until) -> None:
    """The coxa is asked to go left, and the right front femur goes up: their plugs are swapped."""
    hands, page = Hands(phone, keys=False), phone.page
    phone.card("Robot")
    hands.button("Bring it up")
    hands.choose("legs")
    hands.button("It is on its stand…")
    hands.button("Let go and begin")
    hands.button("Move the leg")
    until(lambda: sum(map(bool, now(robot))) == 3, 10, "a leg's pulses")
    hands.button("Another joint")
    expect(page.get_by_role("button", name="Up", exact=True)).to_have_count(0)
    page.get_by_label("Which joint moved?").select_option("right_front.femur")
    hands.button("Up")
    # "saved" may still be what was before the hub heard of it.
    until(lambda: plug(phone, "left_front.coxa") == "right_front.femur", 10, "the swapped plugs on the disk")
    assert plug(phone, "right_front.femur") == "left_front.coxa"
    hands.saved()
    expect(page.get_by_text("Did the leg go to the robot’s left first")).to_be_visible()
    hands.button("Take back")
    until(lambda: plug(phone, "left_front.coxa") is None, 10, "the plugs as before")


def test_the_notebook_is_on_the_disk_as_it_goes(phone: Phone) -> None:
    hands, page = Hands(phone, keys=False), phone.page
    phone.card("Robot")
    hands.button("Bring it up")
    expect(page.get_by_role("checkbox")).to_have_count(5)
    for box in page.get_by_role("checkbox").all():
        box.tap()
    hands.button("All of that is so")
    expect(page.get_by_role("heading", name="Fit the horns")).to_be_visible()
    hands.saved()
    (path,) = (Path(phone.hub.folder) / "bringup").glob("*.json")
    note = json.loads(path.read_text())
    assert note["done"] == {"ready": ["ready"]}
    assert (note["step"], note["item"]) == ("centre", "left_front.coxa")


JOINT = f"{LEG}.femur"
RIGHT = [(1056, -20.4), (1944, 59.4), (611, -60.2), (2389, 99.7)]
"""Of a servo as its data sheet says, with mid-travel at 20 degrees: µs and degrees."""
MISREAD = {
    "format": "motionhub-bringup/1",
    "robot": "Tansy",
    "step": "angles",
    "item": JOINT,
    "done": {"ready": ["ready"]},
    "read": {JOINT: [{"pulse_us": us, "angle_deg": deg + 9 * (us == 1944)} for us, deg in RIGHT]},
}


@pytest.mark.parametrize("beforehand", [{"bringup/tansy.json": json.dumps(MISREAD)}], ids=["misread"])
def test_a_misread_angle_is_named_and_read_again(phone: Phone, robot: TcpRobot, until: Until) -> None:
    hands, page = Hands(phone, keys=False), phone.page
    phone.card("Robot")
    hands.button("Go on with it")
    named = page.get_by_text("the reading of 68.4° at 1944 µs is 9° from what the others say")
    expect(named).to_be_visible()
    page.get_by_label("My protractor reads to").select_option("0.5")
    hands.button("Begin with pulses")
    hands.press(page.get_by_role("button", name="Read again what was read as"))
    assert hands.go_there(robot, robot.robot.joint_index[JOINT], until) == 1944
    expect(page.locator(".pulse")).to_contain_text("Holds at", timeout=15_000)
    hands.write("The protractor says", "59.7")
    expect(named).to_have_count(0)
    hands.saved()
    (path,) = (phone.hub.folder / "bringup").glob("*.json")

    def kept() -> list[tuple[float, float, float]]:
        return [
            (each["pulse_us"], each["angle_deg"], each["to_deg"])
            for each in json.loads(path.read_text())["read"][JOINT]
        ]

    until(lambda: len(kept()) == 4 and kept()[-1] == (1944, 59.7, 0.5), 10, "the new reading in place of the old one")
