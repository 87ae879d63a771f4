"""Driving by touch: two fingers at once, letting go, gaits, leaning, and what the screen says of it."""

from __future__ import annotations

import re
import time
from collections.abc import Callable

import numpy as np
from bench.tcp_robot import TcpRobot
from numpy.typing import NDArray
from playwright.sync_api import expect

from browser.phone import Phone
from browser.test_show import feet_up, joints, still
from motionhub.robot import kinematics

Until = Callable[[Callable[[], bool], float, str], float]
Array = NDArray[np.float64]

UNDER_WAY = 6
"""Ticks that a finger's lift may be on its way: through the browser, over the socket, to the next frame."""


def moved(robot: TcpRobot, angles: Array) -> tuple[float, float]:
    """How the body went, forward in m and to the left in rad, by the feet that stand.

    A twist (v, ω) moves a planted foot at (x, y) by (−v + ω y, −ω x): least squares over all of them.
    """
    up = feet_up(robot, angles)
    feet = kinematics.feet(robot.robot, angles)
    planted = ~up[1:] & ~up[:-1]
    step = np.diff(feet, axis=0)
    ones = np.ones(planted.sum())
    rows = np.concatenate(
        [np.stack([-ones, feet[1:][planted][:, 1]], 1), np.stack([0 * ones, -feet[1:][planted][:, 0]], 1)]
    )
    (forward, turn), *_ = np.linalg.lstsq(rows, np.concatenate([step[planted][:, 0], step[planted][:, 1]]), rcond=None)
    return float(forward) * len(step), float(turn) * len(step)


def test_two_fingers_walk_and_turn_and_each_lets_go_by_itself(phone: Phone, robot: TcpRobot, until: Until) -> None:
    until(lambda: still(robot), 15, "standing still")
    pad = phone.page.get_by_role("group", name="Walk pad")
    strip = phone.page.get_by_role("group", name="Turn strip")
    for control in (pad, strip, phone.stop):
        box = control.bounding_box()
        assert box is not None
        assert min(box["width"], box["height"]) >= 44
        assert box["y"] + box["height"] <= 740, "in sight without scrolling"
    walks, turns = (pad, 0.0, -0.8, 1), (strip, -0.8, 0.0, 2)
    phone.fingers("touchStart", walks)
    phone.until_mode("Walking.")
    phone.fingers("touchStart", walks, turns)
    time.sleep(0.7)
    both = len(robot.decoded())
    time.sleep(1.6)
    until_both = len(robot.decoded())
    phone.fingers("touchEnd", walks)
    time.sleep(0.9)
    alone = len(robot.decoded())
    time.sleep(1.3)
    until_alone = len(robot.decoded())
    phone.lift()
    lifted = robot.decoded()[-1].number

    # Lifting the last finger stops the walk within half a cycle, feet down; they step home a moment later.
    until(lambda: still(robot), 10, "standing still")
    angles = joints(robot)
    forward, turn = moved(robot, angles[both:until_both])
    assert forward > 0.02
    assert turn > 0.1, "to the left, as the finger is left of the middle"
    forward, turn = moved(robot, angles[alone:until_alone])
    assert turn > 0.1
    assert abs(forward) < 0.005, "it turns on the spot when the other finger is lifted"
    entries = robot.decoded()
    first = next(i for i, entry in enumerate(entries) if entry.number > lifted)
    half = round(robot.robot.walk.cycle_s / 2 / 0.02)
    after = angles[first:]
    up = feet_up(robot, after)
    feet = kinematics.feet(robot.robot, after)
    planted = ~up[1:] & ~up[:-1]
    # While the body moves, every foot that stands goes by under it; a foot that goes home later goes alone. A pulse's
    # whole microsecond is a third of a millimetre at the foot.
    slides = np.where(planted, np.linalg.norm(np.diff(feet, axis=0), axis=-1), np.inf).min(axis=1)
    stopped = int(np.flatnonzero(slides > 3e-4).max(initial=-1)) + 1
    stood = int(np.flatnonzero(~up.any(axis=1)).min())
    print(f"after the lift: the body stands after {stopped * 20} ms, all feet down after {stood * 20} ms")
    assert max(stopped, stood) <= half + UNDER_WAY


def test_a_gait_by_touch_shows_in_the_feet_and_a_limit_in_words(phone: Phone, robot: TcpRobot, until: Until) -> None:
    until(lambda: still(robot), 15, "standing still")
    page = phone.page
    said = page.get_by_test_id("footfall")
    expect(said).to_have_text("Feet down: all 6.")
    page.get_by_role("button", name="Gait").tap()
    wave = page.get_by_role("radio", name="Wave")
    wave.tap()
    expect(wave).to_be_checked()
    expect(page.get_by_text("At least 5 of 6 feet stand.")).to_be_visible()
    page.get_by_role("button", name="Walk").tap()
    pace = page.get_by_role("slider", name="Pace")
    pace.fill("100")
    pad = page.get_by_role("group", name="Walk pad")
    strip = page.get_by_role("group", name="Turn strip")
    start = len(robot.decoded())
    # All of forward and all of turning at once is more than any foot can do.
    phone.fingers("touchStart", (pad, 0.0, -0.9, 1), (strip, -0.9, 0.0, 2))
    phone.until_mode("Walking.")
    limit = page.get_by_test_id("limit")
    expect(limit).to_contain_text("No faster")
    expect(said).to_have_text(re.compile("never fewer than 5"), timeout=4_000)
    time.sleep(1.0)
    assert limit.count() == 1, "and it stays there"
    phone.lift()
    until(lambda: still(robot), 15, "standing still")
    expect(limit).to_have_count(0)
    up = feet_up(robot, joints(robot, start))
    assert set(up.sum(axis=1)) == {0, 1}, "by the robot's own count too, one foot at a time"


def test_leaning_by_touch_stays_and_is_made_level_again(phone: Phone, robot: TcpRobot, until: Until) -> None:
    until(lambda: still(robot), 15, "standing still")
    page = phone.page
    page.get_by_role("button", name="Lean").tap()
    pad = page.get_by_test_id("lean-pad")
    phone.press(pad, 0.0, -0.5)
    phone.until_mode("Shifting its body.")
    phone.lift()
    until(lambda: still(robot), 5, "held")
    height = kinematics.feet(robot.robot, joints(robot)[-1])[:, 2]
    x = robot.robot.rest_feet[:, 0]
    slope = np.degrees(np.arctan(np.polyfit(x, height, 1)[0]))
    assert slope > 5, "the feet ahead are nearer to the body: its nose is down"
    nose = page.get_by_role("slider", name="Lean forward")
    expect(nose).to_have_attribute("aria-valuetext", re.compile(r"\d+ degrees forward"))
    page.get_by_role("slider", name="Twist").fill("-8")  # left on the screen is left
    expect(page.get_by_text("8° left")).to_be_visible()
    page.get_by_role("button", name="Level").tap()
    expect(nose).to_have_attribute("aria-valuetext", "level")
    phone.until_mode("Standing, ready.")
    until(lambda: still(robot), 5, "level")
    height = kinematics.feet(robot.robot, joints(robot)[-1])[:, 2]
    assert np.ptp(height) < 1e-3
