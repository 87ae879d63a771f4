"""The wiring sheet against the robot file: every plug once, at the pin that is printed on the board."""

from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np

from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot
from motionhub.robot.wiring_sheet import STYLE, page, pin_name


def rows(html: str) -> dict[str, list[str]]:
    """Cells of each row, by the joint's or the output's whole name, in the page's order."""
    body = html[html.index("<body>") :]
    tree = ElementTree.fromstring(body.replace("</html>", "").strip())
    found, leg = {}, ""
    for each in tree.iter():
        if each.tag == "h2":
            leg = (each.text or "").replace(" ", "_")
        elif each.tag == "tr" and (cells := each.findall("td")):
            texts = ["".join(cell.itertext()) for cell in cells]
            name = texts[1] if leg.startswith("Other") else f"{leg}.{texts[1]}"
            assert name not in found
            found[name] = texts
    return found


def test_every_joint_and_output_has_its_row_and_its_pin(robot: Robot) -> None:
    found = rows(page(robot))
    wanted = dict(zip(robot.joint_names, robot.pins, strict=True)) | {each.name: each.pin for each in robot.outputs}
    assert {name: cells[2] for name, cells in found.items()} == {name: pin_name(pin) for name, pin in wanted.items()}


def test_left_legs_are_on_the_left_beside_the_right_ones(robot: Robot) -> None:
    """Two columns, filled row by row."""
    names = [name for name in rows(page(robot)) if name.endswith(".coxa")]
    assert all(name.startswith("left") for name in names[0::2])
    assert [name.replace("left", "right") for name in names[0::2]] == names[1::2]


def test_analogue_inputs_are_named_as_the_board_has_them() -> None:
    """Practice: on boards with an ATmega2560 pin 54 is printed A0, 69 is A15."""
    assert [pin_name(pin) for pin in (22, 53, 54, 69)] == ["22", "53", "A0", "A15"]


def test_plugs_that_were_found_elsewhere_are_shown_there(tansy: Robot) -> None:
    order = list(range(tansy.joints))
    order[0], order[4] = order[4], order[0]
    direction = np.ones(tansy.joints)
    direction[1] = -1
    found = rows(page(tansy, replace(Calibration.default(tansy), connector=tuple(order), direction=direction)))
    names = tansy.joint_names
    assert found[names[0]][2] == pin_name(tansy.pins[4])
    assert found[names[4]][2] == pin_name(tansy.pins[0])
    assert "turned round" in found[names[1]][3]


def test_the_page_that_is_served_has_no_style_of_its_own(tansy: Robot) -> None:
    """The hub's Content-Security-Policy takes style from files alone."""
    served = page(tansy, style_path="/wiring-sheet.css")
    assert not re.search(r"<style|style=|<script", served)
    assert STYLE in page(tansy)


def test_a_name_is_text_whatever_is_in_it(tansy: Robot) -> None:
    assert "<b>" not in page(replace(tansy, name="<b>&Co"))
    assert "&lt;b&gt;&amp;Co" in page(replace(tansy, name="<b>&Co"))
