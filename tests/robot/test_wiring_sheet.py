"""The wiring sheet against the robot file: every plug once, at the pin that is printed on the board."""

from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np

from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot
from motionhub.robot.wiring_sheet import STYLE, page, pin_name


def rows(html: str) -> list[list[str]]:
    body = html[html.index("<body>") :]
    tree = ElementTree.fromstring(body.replace("</html>", "").strip())
    return [["".join(cell.itertext()) for cell in row.findall("td")] for row in tree.iter("tr") if row.findall("td")]


def test_every_joint_and_output_has_its_row_and_its_pin(robot: Robot) -> None:
    found = rows(page(robot))
    assert len(found) == robot.joints + len(robot.outputs)
    wanted = [*robot.pins, *(output.pin for output in robot.outputs)]
    assert [row[2] for row in found] == [pin_name(pin) for pin in wanted]
    assert [row[1] for row in found[:3]] == ["coxa", "femur", "tibia"]


def test_analogue_inputs_are_named_as_the_board_has_them() -> None:
    """Practice: on boards with an ATmega2560 pin 54 is printed A0, 69 is A15."""
    assert [pin_name(pin) for pin in (22, 53, 54, 69)] == ["22", "53", "A0", "A15"]


def test_plugs_that_were_found_elsewhere_are_shown_there(tansy: Robot) -> None:
    order = list(range(tansy.joints))
    order[0], order[4] = order[4], order[0]
    direction = np.ones(tansy.joints)
    direction[1] = -1
    found = rows(page(tansy, replace(Calibration.default(tansy), connector=tuple(order), direction=direction)))
    assert found[0][2] == pin_name(tansy.pins[4])
    assert found[4][2] == pin_name(tansy.pins[0])
    assert "turned round" in found[1][3]


def test_the_page_that_is_served_has_no_style_of_its_own(tansy: Robot) -> None:
    """The hub's Content-Security-Policy takes style from files alone."""
    served = page(tansy, style_path="/wiring-sheet.css")
    assert not re.search(r"<style|style=|<script", served)
    assert STYLE in page(tansy)


def test_a_name_is_text_whatever_is_in_it(tansy: Robot) -> None:
    assert "<b>" not in page(replace(tansy, name="<b>&Co"))
    assert "&lt;b&gt;&amp;Co" in page(replace(tansy, name="<b>&Co"))
