"""Whatever people, phones, batteries and links do, in any order: what is sent stays within the robot's limits."""

from __future__ import annotations

import numpy as np
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule
from rehearsal import DOWN, DT, UP, Rehearsal, clip, shipped

from motionhub.hub import commands as ask
from motionhub.hub.states import MODES
from motionhub.library.recording import Recording
from motionhub.link.wire import Activity
from motionhub.motion.brake import STANDSTILL_S
from motionhub.motion.posing import rest_joints
from motionhub.robot.kinematics import within
from motionhub.robot.limits import top_speed
from motionhub.robot.model import Robot

share = st.floats(-1, 1)
people = st.sampled_from(["ann", "bob", "guest", "nobody"])
names = st.sampled_from(["nod", "crouch", "show", "missing", "take"])
commands = st.one_of(
    st.builds(ask.Drive, share, share, share),
    st.builds(ask.Posture, st.floats(-0.1, 0.1), st.floats(-0.5, 0.5), st.floats(-0.5, 0.5), st.floats(-0.5, 0.5)),
    st.builds(ask.Pace, st.floats(0.1, 1)),
    st.builds(ask.Play, names),
    st.builds(ask.Replay, names),
    st.builds(ask.Limp, st.booleans()),
    st.builds(ask.SetOutput, st.sampled_from(["lamp", "sounder", "none"]), st.floats(0, 1)),
    st.builds(ask.RecordStop, st.just("take")),
    st.sampled_from([ask.Take(), ask.Release(), ask.Go(), ask.Stop(), ask.Resume(), ask.RecordStart(), ask.Ping()]),
)


def moves(robot: Robot) -> dict[str, object]:
    """A nod with waits, a crouch that ends down there, and a move that stops dead in full swing."""
    rest = rest_joints(robot)
    t = np.linspace(0, 1, 61)[:, None]
    nod = np.repeat(rest[None], 61, axis=0)
    nod[:, -1:] += 0.4 * np.sin(np.pi * t) ** 2
    low = rest.copy()
    femurs = np.arange(1, 3 * robot.legs, 3)
    low[femurs] += 0.15
    low[femurs + 1] -= 0.12
    dead = rest + (t / 2) * np.where(np.arange(robot.joints) % 3 == 1, 0.4, 0.0)
    return {
        "nod": clip(robot, nod, "nod", holds=(20,)),
        "crouch": clip(robot, rest + (low - rest) * (10 * t**3 - 15 * t**4 + 6 * t**5), "crouch"),
        "show": clip(robot, dead, "show"),
        "missing": "there is no such move",
    }


class Evening(RuleBasedStateMachine):
    """One robot, four people, and bad luck."""

    name = "tansy"

    @initialize()
    def begin(self) -> None:
        self.show = Rehearsal(shipped(self.name))
        self.show.repertoire.update(moves(self.show.robot))  # type: ignore[arg-type]
        self.checked = 0
        self.there = {"ann", "bob", "guest"}
        self.guard = top_speed(self.show.robot) * DT + 1 / self.show.robot.us_per_rad

    @rule(client=people, command=commands, seconds=st.sampled_from([0.0, 0.02, 0.2, 0.7]))
    def somebody_asks(self, client: str, command: ask.Command, seconds: float) -> None:
        self.show.say(command, client)
        self.show.run(seconds, client=client)
        self.keep_recording()

    @rule(stick=st.builds(ask.Drive, share, share, share), seconds=st.floats(0.1, 2.0))
    def ann_drives(self, stick: ask.Drive, seconds: float) -> None:
        self.show.say(ask.Take())
        self.show.run(seconds, stick)

    @rule(seconds=st.floats(0.1, 3.0))
    def time_passes(self, seconds: float) -> None:
        for _ in range(round(seconds / DT)):
            self.show.tick()

    @rule()
    def link_goes(self) -> None:
        self.show.link(DOWN)

    @rule(activity=st.sampled_from(list(Activity)), volts=st.floats(5.5, 8.4))
    def robot_speaks(self, activity: Activity, volts: float) -> None:
        if self.show.hub.link.up:
            self.show.robot_says(activity, volts)

    @rule()
    def link_comes(self) -> None:
        self.show.link(UP)
        self.show.robot_says()

    @rule(client=people)
    def somebody_leaves_or_comes(self, client: str) -> None:
        if client in self.there:
            self.show.hub.left(client, self.show.now)
        else:
            self.show.hub.joined(client, client, client in ("ann", "bob"), self.show.now)
        self.there ^= {client}

    @precondition(lambda self: bool(self.there) and self.show.hub.mode != "limp")
    @rule()
    def somebody_stops(self) -> None:
        client = sorted(self.there)[0]
        assert self.show.say(ask.Stop(), client) == ""
        for _ in range(round(STANDSTILL_S / DT) + 1):
            self.show.tick()
        assert self.show.hub.mode == "stopped"
        held = self.show.ticks[-1].joints
        self.show.tick()
        np.testing.assert_array_equal(self.show.ticks[-1].joints, held)

    def keep_recording(self) -> None:
        made = [tick.recorded for tick in self.show.ticks[-50:] if tick.recorded is not None]
        if made:
            recording: Recording = self.show.recording(len(self.show.ticks) - 50)
            self.show.repertoire["take"] = recording

    @invariant()
    def what_was_sent_is_within_limits(self) -> None:
        if not hasattr(self, "show"):
            return
        show, robot = self.show, self.show.robot
        new = show.ticks[max(self.checked - 1, 0) :]
        self.checked = len(show.ticks)
        assert set(show.modes[-len(new) :]) <= set(MODES)
        for tick, before in zip(new[1:], new, strict=False):
            assert np.isfinite(tick.joints).all()
            assert within(robot, tick.joints).all()
            assert ((tick.outputs >= 0) & (tick.outputs <= 1)).all()
            if tick.pulses is None:
                continue
            assert ((tick.pulses >= 500) & (tick.pulses <= 2500)).all()  # the robot file's widest servo
            # From limp the robot brings itself to rest, whatever it is sent.
            assert before.pulses is None or (np.abs(tick.joints - before.joints) <= self.guard).all()

    @invariant()
    def nothing_was_at_fault(self) -> None:
        if hasattr(self, "show"):
            assert self.show.hub.mode != "fault", self.show.state.reason

    @invariant()
    def the_state_can_be_told(self) -> None:
        if hasattr(self, "show"):
            state = self.show.state
            assert np.isfinite(state.body).all()
            assert np.isfinite(state.margin)
            assert state.driver is None or state.driver.id in self.there


class EveningOnFourLegs(Evening):
    name = "trestle"


Evening.TestCase.settings = EveningOnFourLegs.TestCase.settings = settings(
    max_examples=12, stateful_step_count=25, deadline=None, suppress_health_check=list(HealthCheck)
)
TestEvening = Evening.TestCase
TestEveningOnFourLegs = EveningOnFourLegs.TestCase


def test_an_hour_of_show(tansy: Robot) -> None:
    """3600 seconds in virtual time: driven, played, stopped, lost, found; and nothing adds up that should not."""
    show = Rehearsal(tansy)
    show.repertoire.update(moves(tansy))  # type: ignore[arg-type]
    dice = np.random.default_rng(1968)
    while show.now < 3600.0:
        act = dice.integers(6)
        if act == 0:
            show.run(dice.uniform(1, 8), ask.Drive(*dice.uniform(-1, 1, 3)))
        elif act == 1:
            show.say(ask.Play(["nod", "crouch", "show"][dice.integers(3)]))
            show.run(2.0)
            show.say(ask.Go())
        elif act == 2:
            show.say(ask.Posture(*dice.uniform(-0.04, 0.04, 4)))
        elif act == 3:
            show.say(ask.Stop(), "guest")
            show.until("stopped", 1.0)
            show.say(ask.Resume())
        elif act == 4 and dice.random() < 0.2:
            show.link(DOWN)
            show.run(2.0)
            show.link(UP)
            show.robot_says()
        else:
            show.run(dice.uniform(5, 40))
    show.run(0.1)
    show.say(ask.Stop())
    show.until("stopped", 1.0)
    show.say(ask.Resume())
    show.until("rest")
    np.testing.assert_allclose(show.joints[-1], rest_joints(tansy), atol=1e-9)
    joints = show.joints
    assert len(joints) >= 180_000
    assert within(tansy, joints).all()
    assert (np.abs(np.diff(joints, axis=0)) <= top_speed(tansy) * DT * (1 + 1e-9)).all()
    assert "fault" not in show.modes
    assert {"driving", "playing", "waiting", "stopped", "moving", "rest"} <= set(show.modes)


def test_the_same_evening_twice_is_the_same_to_the_last_bit(tansy: Robot) -> None:
    def evening() -> tuple[np.ndarray, list[str]]:
        show = Rehearsal(tansy)
        show.repertoire.update(moves(tansy))  # type: ignore[arg-type]
        show.run(2.0, ask.Drive(0.7, 0.1, -0.4))
        show.say(ask.Play("crouch"))
        show.run(2.5)
        show.say(ask.Stop())
        show.run(1.0)
        show.say(ask.Resume())
        show.run(3.0, ask.Drive(-0.3))
        return show.pulses, show.modes

    (pulses, modes), (again, modes_again) = evening(), evening()
    np.testing.assert_array_equal(pulses, again)
    assert modes == modes_again
