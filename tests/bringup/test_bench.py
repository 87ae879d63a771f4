"""Raw pulses as the hub sends them: only those that were chosen, slowly, and never past an end; and how they stop."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from person import Person, World, faulty, meet, shipped

from motionhub.errors import InputError
from motionhub.hub import commands as ask
from motionhub.hub.bringup import asks
from motionhub.hub.bringup.bench import SPEED
from motionhub.hub.events import BringupChanged
from motionhub.hub.snapshot import LinkView
from motionhub.library.notebook import Notebook
from motionhub.link.controller import Controller, Settings
from motionhub.link.kept import export, image, to_keep
from motionhub.link.session import InUse
from motionhub.link.wire import Frame
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

TRESTLE = shipped("trestle")


def on_the_stand(robot: Robot = TRESTLE, truth: Calibration | None = None) -> tuple[World, Person]:
    """In bring-up, with nothing chosen yet."""
    world = meet(robot, truth or Calibration.default(robot))
    person = Person(world, np.random.default_rng(1))
    person.setup()
    return world, person


def sent(world: World, ticks: int) -> np.ndarray:
    found = []
    for _ in range(ticks):
        world.now += 0.02
        world.hub.handle("ann", ask.Ping(), world.now)
        tick = world.hub.tick(world.now)
        found.append(np.zeros(world.hub.robot.joints) if tick.pulses is None else tick.pulses)
    return np.array(found)


def refused(world: World, command: ask.Command, client: str = "ann") -> str:
    return " ".join(world.take(world.hub.handle(client, command, world.now)))


def test_only_chosen_joints_have_pulses_and_servos_start_one_after_another() -> None:
    world, person = on_the_stand()
    assert not sent(world, 20).any()
    leg = ("left_front.coxa", "left_front.femur", "left_front.tibia")
    person.say(asks.BringupCentre(leg))
    pulses = sent(world, 200)
    assert (pulses[-1, :3] == 1500).all()
    assert not pulses[:, 3:].any()
    starts = np.argmax(pulses[:, :3] > 0, axis=0)
    assert np.diff(np.sort(starts)).min() >= 15  # 0.3 s; a servo's inrush is over after 0.1 s (practice)
    person.say(asks.BringupCentre(("right_rear.tibia",)))
    pulses = sent(world, 50)
    assert (np.flatnonzero(pulses[-1]) == [TRESTLE.joint_index["right_rear.tibia"]]).all()
    person.say(asks.BringupDrop())
    assert not sent(world, 3).any()


@pytest.mark.parametrize(("rest", "goal"), [(500, 2500), (2500, 500), (1500, 1500)])
def test_nothing_is_still_before_the_robot_has_brought_its_servo_there(rest: int, goal: int) -> None:
    """Against the controller's twin, which tests/firmware holds to the program on the chip: it starts a servo at its
    own rest pose, wherever that is, and eases it to what is asked."""
    j = TRESTLE.joints
    ends = {"low": (500,) * j, "high": (2500,) * j, "rest": (rest,) * j, "lowered": (1500,) * j}
    timing = {"quiet": 25, "cut_off": 150, "warn_mv": 7000, "cut_off_mv": 6600}
    robot = Controller(Settings(**ends, **timing, silenced=(), warns=()))
    world, person = on_the_stand()
    person.say(asks.BringupPulse("left_front.femur", goal))
    ticks = 0
    while not world.hub.workbench.bench.still:
        robot.command(Frame(tuple(int(pulse) for pulse in sent(world, 1)[0]), ()))
        robot.period(7800)
        ticks += 1
    assert robot.pulses[1] == goal
    begins = world.hub.kept.starts[1]
    assert ticks * 0.02 < 1.5 + abs(goal - begins) / (SPEED * TRESTLE.us_per_rad[1])
    # Whoever has looked at what moves sees the wiggle from there, not the way there.
    person.say(asks.BringupDrop())
    person.say(asks.BringupTry("left_front.femur"))
    wiggle = False
    for pulses in sent(world, 150):
        robot.command(Frame(tuple(int(pulse) for pulse in pulses), ()))
        robot.period(7800)
        if pulses[1] > 1500 and not wiggle:
            wiggle = True
            assert robot.pulses[1] >= 1500
            assert robot.pulses[1] - 1500 <= pulses[1] - 1500
    assert wiggle


@pytest.mark.parametrize("known", [True, False])
def test_a_servo_that_comes_on_goes_from_the_robots_own_rest_no_faster_than_promised(known: bool) -> None:
    """The controller's twin starts a servo at its rest pose and eases by up to 3000 µs/s to what is asked: so what is
    asked must begin there. Stop on the way holds it where it is."""
    theirs = faulty(TRESTLE, np.random.default_rng(3)) if known else Calibration.default(TRESTLE)
    limits = export(TRESTLE, theirs).limits(to_keep(TRESTLE, theirs))
    timing = {"quiet": 25, "cut_off": 150, "warn_mv": 7000, "cut_off_mv": 6600}
    robot = Controller(Settings(limits.low, limits.high, limits.rest, limits.lowered, **timing, silenced=(), warns=()))
    world, person = on_the_stand(truth=theirs)
    if known:
        world.hub.kept.hear(InUse(image(TRESTLE, theirs)))
    at = TRESTLE.joint_index["left_front.femur"]
    person.say(asks.BringupPulse("left_front.femur", 2300))
    issued = []

    def run(ticks: int) -> None:
        for pulses in sent(world, ticks):
            robot.command(Frame(tuple(int(pulse) for pulse in pulses), ()))
            robot.period(7800)
            issued.append(robot.pulses[at])

    run(60)
    steps = np.diff([pulse for pulse in issued if pulse])
    assert steps.any()
    assert np.abs(steps).max() <= SPEED * 0.02 * TRESTLE.us_per_rad[at] + 1
    assert refused(world, ask.Stop(), "bob") == ""
    before = issued[-1]
    run(60)
    assert abs(issued[-1] - before) <= 2 * SPEED * 0.02 * TRESTLE.us_per_rad[at]


@given(st.lists(st.tuples(st.sampled_from(TRESTLE.joint_names), st.integers(400, 2600)), min_size=1, max_size=6))
@settings(deadline=None, max_examples=30)
def test_pulses_go_slowly_and_never_past_an_end(moves: list[tuple[str, int]]) -> None:
    world, _ = on_the_stand()
    rows = []
    for joint, pulse in moves:
        said = refused(world, asks.BringupPulse(joint, float(pulse)))
        low, high = TRESTLE.servos[TRESTLE.joint_index[joint]].pulse_us
        assert bool(said) == (not low <= pulse <= high), said
        rows.append(sent(world, 40))
    pulses = np.concatenate(rows)
    on = pulses > 0
    ends = np.array([servo.pulse_us for servo in TRESTLE.servos])
    assert ((pulses >= ends[:, 0]) | ~on).all()
    assert ((pulses <= ends[:, 1]) | ~on).all()
    both = on[1:] & on[:-1]
    step = SPEED * 0.02 * TRESTLE.us_per_rad.max()
    assert np.abs(np.diff(pulses, axis=0))[both].max(initial=0) <= step + 1
    assert on.sum(axis=1).max() <= 1


def test_stop_holds_what_has_a_pulse_and_gives_none_to_the_rest() -> None:
    world, person = on_the_stand()
    person.say(asks.BringupPulse("left_front.femur", 1000))
    sent(world, 40)
    person.say(asks.BringupPulse("left_front.femur", 2000))
    before = sent(world, 20)[-1]
    assert refused(world, ask.Stop(), "bob") == ""
    pulses = sent(world, 50)
    assert world.hub.mode == "halted"
    assert (np.abs(pulses - before) <= 12).all()
    assert not pulses[:, [0, *range(2, TRESTLE.joints)]].any()
    assert "stop" in refused(world, asks.BringupPulse("left_front.femur", 1500))
    assert refused(world, ask.Resume()) == ""
    assert world.hub.mode == "setup"
    assert refused(world, asks.BringupPulse("left_front.femur", 1500)) == ""


def test_a_lost_link_ends_all_pulses_and_nothing_comes_back_by_itself() -> None:
    world, person = on_the_stand()
    person.say(asks.BringupPulse("left_front.femur", 1000))
    sent(world, 40)
    world.take(world.hub.link_is(LinkView(up=False), world.now))
    world.take(world.hub.link_is(LinkView(up=True), world.now))
    assert world.hub.mode == "setup"
    assert not sent(world, 50).any()


def test_whoever_is_not_in_control_moves_nothing_and_a_standing_robot_is_not_dropped() -> None:
    world = meet(TRESTLE, Calibration.default(TRESTLE))
    assert "control" in refused(world, asks.BringupBegin(), "bob")
    Person(world, np.random.default_rng(0)).wait_until(lambda: world.hub.mode == "rest")
    assert "stand" in refused(world, asks.BringupBegin())
    assert world.hub.mode == "rest"
    assert refused(world, asks.BringupCentre(("left_front.coxa",)))
    assert (sent(world, 5) > 0).all()


def test_it_is_told_when_what_was_asked_for_is_there() -> None:
    world, person = on_the_stand()
    for pulse in (1500.0, 1000.0):
        person.say(asks.BringupPulse("left_front.femur", pulse))
        assert not world.hub.workbench.view().still
        told = []
        for _ in range(80):
            world.now += 0.02
            events = world.hub.tick(world.now).events
            told += [world.hub.workbench.view().still for each in events if each == BringupChanged()]
        assert told == [True]


def test_a_trim_moves_the_joint_that_is_held_and_is_taken_back_at_once() -> None:
    """One degree of trim on a servo of 500 to 2500 µs over 180 degrees is 11.1 µs."""
    world, person = on_the_stand()
    mid = float(TRESTLE.mid[1])
    person.say(asks.BringupAngle(("left_front.femur",), (mid,)))
    sent(world, 60)
    per_deg = np.deg2rad(1) * TRESTLE.us_per_rad[1]
    for degrees in (1, 3, 2.5):
        person.say(asks.BringupTrim("left_front.femur", float(np.deg2rad(degrees))))
        assert sent(world, 60)[-1, 1] == round(1500 + degrees * per_deg)
    assert world.kept.calibration is world.hub.calibration
    person.say(asks.BringupBack())
    assert sent(world, 60)[-1, 1] == 1500
    assert refused(world, asks.BringupBack()) == "there is nothing to take back"
    person.say(asks.BringupTurn("left_front.femur", True))
    assert world.hub.calibration.direction[1] == -1


def test_ends_are_set_opened_and_refused_when_they_cannot_be() -> None:
    world, person = on_the_stand()
    joint = "left_front.tibia"
    person.say(asks.BringupLimit(joint, "low", 900))
    person.say(asks.BringupLimit(joint, "high", 2000))
    assert "900 and 2000" in refused(world, asks.BringupPulse(joint, 800))
    assert "below" in refused(world, asks.BringupLimit(joint, "low", 2100))
    assert "500 to 2500" in refused(world, asks.BringupLimit(joint, "high", 2600))
    person.say(asks.BringupLimit(joint, "low", None))
    person.say(asks.BringupPulse(joint, 800))


def test_a_joint_seen_on_two_plugs_or_on_none_is_told() -> None:
    world, person = on_the_stand()
    person.say(asks.BringupSaw("left_front.coxa", "left_front.tibia", "more"))
    assert any("left_front.tibia" in words for words in person.screen.problems)
    person.say(asks.BringupSaw("left_front.femur", "left_front.tibia", "more"))
    assert any("two connectors" in words for words in person.screen.problems)
    person.say(asks.BringupSaw("left_front.femur"))
    assert any("nothing moved" in words for words in person.screen.problems)
    person.say(asks.BringupSaw("left_front.femur", "left_front.femur", "less"))
    person.say(asks.BringupSaw("left_front.tibia", "left_front.coxa", "more"))
    assert person.screen.problems == ()
    assert world.hub.calibration.connector[:3] == (2, 1, 0)


def test_a_misread_height_is_named_by_stance_and_leg() -> None:
    dice = np.random.default_rng(4)
    truth = faulty(TRESTLE, dice)
    world = meet(TRESTLE, truth)
    person = Person(world, dice)
    person.bring_up(until="level")
    honest, count = person.ruler, 0

    def once_wrong(stance: int) -> tuple[float, ...]:
        nonlocal count
        count += 1
        told = list(honest(stance))
        if count == 2:
            told[1] += 0.02
        return tuple(told)

    person.ruler = once_wrong  # type: ignore[method-assign]
    named = []
    for item in person.screen.items["level"]:
        person._level(item)
        shown = person.screen.level
        named.append([] if shown is None else [(reading, leg) for reading, _, leg, _ in shown.odd])
    stances = len(person.screen.stances)
    assert named[stances - 1] == [(1, TRESTLE.leg_names[1])], "once all stances were measured"
    assert named[stances + 1] == [], "it was measured again"
    assert person.odd == ()


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("[", "line 1"),
        ("[]", "expected a JSON object"),
        ('{"format": "motionhub-bringup/9"}', "format"),
        ('{"format": "motionhub-bringup/1", "robot": "Tansy"}', "robot"),
        ('{"format": "motionhub-bringup/1", "robot": "Trestle", "step": "dance"}', "step"),
        ('{"format": "motionhub-bringup/1", "robot": "Trestle", "saw": {"tail": {"moved": null}}}', "tail"),
        (
            '{"format": "motionhub-bringup/1", "robot": "Trestle", "heights": [{"stance": 0, "mm": [1, 2]}]}',
            "heights[0]",
        ),
    ],
)
def test_a_notebook_that_is_none_is_refused_with_its_place(text: str, place: str) -> None:
    with pytest.raises(InputError) as caught:
        Notebook.parse(text, "book.json", TRESTLE)
    assert place in str(caught.value)
    assert str(caught.value).startswith("book.json: ")
    assert "\n" not in str(caught.value)
