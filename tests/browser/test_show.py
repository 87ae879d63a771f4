"""The main job, by touch on a phone, over real sockets, to the frames that the robot decodes at the far end."""

from __future__ import annotations

import itertools
import json
import time
from collections.abc import Callable

import numpy as np
from bench.hub_process import HubProcess
from bench.tcp_robot import TcpRobot
from numpy.typing import NDArray
from playwright.sync_api import Browser, expect

from browser.phone import Phone
from motionhub.library.shipped import shipped_folder
from motionhub.motion import documents
from motionhub.motion.posing import rest_joints
from motionhub.motion.render import render
from motionhub.robot import kinematics

Until = Callable[[Callable[[], bool], float, str], float]
Array = NDArray[np.float64]

TRIPODS = ({"left_front", "right_middle", "left_rear"}, {"right_front", "left_middle", "right_rear"})


def pulses(robot: TcpRobot, start: int = 0) -> Array:
    """What the robot decoded from frame ``start`` on, µs, (T, J)."""
    frames = [entry.frame.pulses for entry in robot.decoded()[start:]]
    assert all(frame is not None for frame in frames)
    return np.array(frames, dtype=np.float64)


def joints(robot: TcpRobot, start: int = 0) -> Array:
    """The same as joint angles, rad."""
    return robot.calibration.angles(robot.robot, pulses(robot, start))


def still(robot: TcpRobot, frames: int = 25) -> bool:
    """Whether the last half second of frames was all the same."""
    last = robot.decoded()[-frames:]
    return len({entry.frame.pulses for entry in last}) == 1


def feet_up(robot: TcpRobot, angles: Array) -> NDArray[np.bool_]:
    """Which feet are in the air, from their heights alone, (T, L): 2 mm above the lowest is up."""
    height = kinematics.feet(robot.robot, angles)[..., 2]
    return np.asarray(height - height.min(axis=1, keepdims=True) > 2e-3)


def test_pairing_leaves_no_key_in_the_address(phone: Phone) -> None:
    assert "key" not in phone.page.url
    assert phone.hub.key not in phone.hub.log.read_text().replace(phone.hub.pair_url, "")
    phone.page.reload()
    expect(phone.page.get_by_test_id("link")).to_contain_text("Linked")


def test_without_a_key_nothing_is_shown_and_nothing_moves(chromium: Browser, hub: HubProcess, robot: TcpRobot) -> None:
    with Phone(chromium, hub) as stranger:
        stranger.page.goto(hub.url)
        expect(stranger.page.get_by_role("heading", name="Pair this device")).to_be_visible()
        expect(stranger.page.get_by_test_id("mode")).to_have_count(0)
        stranger.page.get_by_label("Or type the key").fill("not-the-key-at-all")
        stranger.page.get_by_role("button", name="Pair", exact=True).tap()
        expect(stranger.page.get_by_role("alert")).to_be_visible()
        expect(stranger.page.get_by_test_id("mode")).to_have_count(0)


def test_holding_the_pad_walks_like_a_tripod_and_lifting_stops(phone: Phone, robot: TcpRobot, until: Until) -> None:
    """Practice: a walk by the alternating tripod has three feet down and three in the air, and they alternate."""
    until(lambda: still(robot), 15, "standing still")
    start = len(robot.decoded())
    pad = phone.page.get_by_role("group", name="Walk pad")
    phone.press(pad, 0.0, -0.9)
    phone.until_mode("Walking.")
    time.sleep(5.0)
    phone.lift()
    until(lambda: still(robot), 10, "standing still after the finger was lifted")
    phone.until_mode("Standing, ready.")

    angles = joints(robot, start)
    up = feet_up(robot, angles)
    legs = np.array(robot.robot.leg_names)
    swings = {frozenset(legs[row]) for row in up if row.any()}
    whole = {frozenset(tripod) for tripod in TRIPODS}
    assert whole <= swings, f"both tripods swing: {swings}"
    assert all(any(swing <= tripod for tripod in TRIPODS) for swing in swings), f"never legs of both: {swings}"
    groups = [TRIPODS[0] >= set(legs[row]) for row in up if row.sum() == 3]
    changes = sum(a != b for a, b in itertools.pairwise(groups))
    assert changes >= 6, "they take turns for as long as the finger is down"
    # Forward: feet on the ground go backward under the body.
    x = kinematics.feet(robot.robot, angles)[..., 0]
    planted = ~up[1:] & ~up[:-1]
    assert np.diff(x, axis=0)[planted].sum() < -0.3, "the ground goes by from front to back"
    rest = rest_joints(robot.robot)
    assert np.abs(angles[-1] - rest).max() < np.deg2rad(0.5), "it ends in the rest stance, feet down"


def test_the_wave_is_sent_frame_for_frame_and_stop_ends_it(phone: Phone, robot: TcpRobot, until: Until) -> None:
    until(lambda: still(robot), 15, "standing still")
    start = len(robot.decoded())
    phone.card("Moves")
    play = phone.page.get_by_role("button", name="Play wave")
    expect(play).to_be_enabled(timeout=60_000)
    play.tap()
    phone.until_mode("Playing wave.")
    time.sleep(2.5)
    before = len(robot.decoded())
    stop = phone.stop
    box = stop.bounding_box()
    phone.press(stop)
    phone.lift()
    phone.until_mode("Stopped, and holding.", 5)
    took = until(lambda: still(robot, 10), 3, "at rest after Stop")
    assert took < 2.0
    assert stop.bounding_box() == box, "Stop stays where it is"

    sent = pulses(robot, start)[: before - start]
    text = (shipped_folder() / "wave.json").read_text()
    frames = render(documents.parse(text, "wave.json", robot.robot, {}), robot.robot, 50.0)
    wanted = np.rint(robot.calibration.pulses(robot.robot, frames.joints))
    begins = [i for i in range(len(sent) - 60) if np.abs(sent[i : i + 60] - wanted[:60]).max() <= 1]
    assert begins, "the frames that were checked are the frames that came"

    # It latches: a tap does not lift it, holding does.
    held = robot.decoded()[-1].frame.pulses
    time.sleep(1.2)
    phone.press(stop)
    phone.lift()
    time.sleep(0.6)
    assert robot.decoded()[-1].frame.pulses == held
    phone.until_mode("Stopped, and holding.")
    phone.hold(stop, 1.2)
    phone.until_mode("Standing, ready.", 15)
    until(lambda: still(robot), 10, "standing still")
    assert np.abs(joints(robot)[-1] - rest_joints(robot.robot)).max() < np.deg2rad(0.5)


def test_ten_seconds_recorded_are_replayed_pulse_for_pulse(phone: Phone, robot: TcpRobot, until: Until) -> None:
    until(lambda: still(robot), 15, "standing still")
    phone.card("Record")
    start = len(robot.decoded())
    phone.page.get_by_role("button", name="Start recording").tap()
    expect(phone.page.get_by_role("button", name="Stop and keep")).to_be_visible()
    began = len(robot.decoded())
    phone.card("Drive")
    pad = phone.page.get_by_role("group", name="Walk pad")
    phone.press(pad, 0.0, -0.9)
    time.sleep(3)
    phone.slide(pad, 0.7, -0.4)
    time.sleep(2)
    phone.lift()
    until(lambda: still(robot), 10, "standing still")
    left = 10.0 - (len(robot.decoded()) - began) / 50
    time.sleep(max(0.0, left))
    phone.card("Record")
    phone.page.get_by_label("Keep it as").fill("evening walk")
    phone.page.get_by_role("button", name="Stop and keep").tap()
    replay = phone.page.get_by_role("button", name="Replay evening walk")
    expect(replay).to_be_visible()

    kept = (phone.hub.folder / "recordings" / "evening walk.jsonl").read_text().splitlines()
    recorded = [line["us"] for line in map(json.loads, kept) if "us" in line]
    assert len(recorded) >= 490, "ten seconds of frames"
    assert came(robot, start, recorded) > 0.9, "what was recorded is what was sent"

    again = len(robot.decoded())
    replay.tap()
    phone.until_mode("Playing evening walk.")
    phone.until_mode("Standing, ready.", 30)
    assert came(robot, again, recorded) > 0.9, "and what is sent again"


def came(robot: TcpRobot, start: int, rows: list[list[int]]) -> float:
    """How many of these frames came, one a tick and in order, as a share; nothing else may have come between them.

    On a machine that is busy with other things a frame may be dropped on the way, as on any radio: frames
    are numbered, so the others must still be exactly those of their ticks.
    """
    entries = [entry for entry in robot.decoded()[start:] if entry.frame.pulses is not None]
    numbers = np.array([entry.number for entry in entries])
    pulses = np.array([entry.frame.pulses for entry in entries])
    wanted = np.array(rows)
    best = 0.0
    for first in range(numbers[0], numbers[-1]):
        within = (numbers >= first) & (numbers < first + len(wanted))
        if (pulses[within] == wanted[numbers[within] - first]).all():
            best = max(best, within.sum() / len(wanted))
    return best


def test_a_phone_that_vanishes_leaves_the_robot_at_rest(phone: Phone, robot: TcpRobot, until: Until) -> None:
    until(lambda: still(robot), 15, "standing still")
    pad = phone.page.get_by_role("group", name="Walk pad")
    phone.press(pad, 0.0, -0.9)
    phone.until_mode("Walking.")
    time.sleep(1.5)
    assert not still(robot)
    phone.vanish()
    until(lambda: still(robot), 6, "at rest after the phone has gone")
    assert np.abs(joints(robot)[-1] - rest_joints(robot.robot)).max() < np.deg2rad(0.5)


def test_a_lost_link_is_said_within_a_second_and_comes_back(phone: Phone, robot: TcpRobot, until: Until) -> None:
    until(lambda: still(robot), 15, "standing still")
    link = phone.page.get_by_test_id("link")
    robot.cut()
    cut = time.monotonic()
    expect(link).to_contain_text("No robot", timeout=5_000)
    said = time.monotonic() - cut
    expect(phone.page.get_by_test_id("outage")).to_contain_text("The hub has lost the robot")
    assert said <= 1.2, f"said after {said:.2f} s"  # a second, and what looking takes
    time.sleep(1.0)
    robot.mend()
    expect(link).to_contain_text("Linked", timeout=10_000)
    phone.until_mode("Standing, ready.")
    pad = phone.page.get_by_role("group", name="Walk pad")
    phone.press(pad, 0.0, -0.9)
    phone.until_mode("Walking.")
    until(lambda: not still(robot, 5), 2, "walking again")
    phone.lift()
    phone.until_mode("Standing, ready.")


def test_a_hub_that_goes_away_is_said_within_a_second(phone: Phone) -> None:
    phone.hub.kill()
    gone = time.monotonic()
    expect(phone.page.get_by_test_id("link")).to_contain_text("No hub", timeout=5_000)
    assert time.monotonic() - gone <= 1.2


def test_a_second_phone_watches_and_may_stop(phone: Phone, chromium: Browser, robot: TcpRobot, until: Until) -> None:
    until(lambda: still(robot), 15, "standing still")
    with Phone(chromium, phone.hub) as other:
        other.pair()
        expect(other.page.get_by_test_id("driver")).not_to_contain_text("You")
        pad = other.page.get_by_role("group", name="Walk pad")
        before = len(robot.decoded())
        other.press(pad, 0.0, -0.9)
        time.sleep(1.0)
        other.lift()
        assert len({entry.frame.pulses for entry in robot.decoded()[before:]}) == 1, "it is not the driver's"
        phone.press(phone.page.get_by_role("group", name="Walk pad"), 0.0, -0.9)
        other.until_mode("Walking.")
        other.press(other.stop)
        other.lift()
        phone.until_mode("Stopped, and holding.")
        phone.lift()
        until(lambda: still(robot), 5, "at rest")


def test_the_keyboard_drives_and_stops(phone: Phone, robot: TcpRobot, until: Until) -> None:
    until(lambda: still(robot), 15, "standing still")
    phone.page.keyboard.down("w")
    phone.until_mode("Walking.")
    phone.page.keyboard.press("Escape")
    phone.until_mode("Stopped, and holding.")
    phone.page.keyboard.up("w")
    until(lambda: still(robot), 5, "at rest")
