from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st
from rehearsal import Rehearsal

from motionhub.hub import commands as ask
from motionhub.hub.lease import QUIET_S, Lease
from motionhub.robot.model import Robot


def three() -> Lease:
    lease = Lease()
    lease.join("ann", "Ann", True, 0.0)
    lease.join("bob", "Bob", True, 0.0)
    lease.join("guest", "Guest", False, 0.0)
    return lease


def test_one_at_a_time() -> None:
    lease = three()
    assert lease.take("ann") == ""
    assert lease.take("bob") == "Ann is driving"
    assert lease.take("ann") == ""  # again, by the one who has it
    assert lease.release("bob") is False
    assert lease.release("ann") is True
    assert lease.take("bob") == ""


def test_a_watcher_never_drives() -> None:
    lease = three()
    assert "watching" in lease.take("guest")
    assert lease.holder is None


def test_it_lapses_when_the_holder_is_quiet_and_not_before() -> None:
    lease = three()
    lease.take("ann")
    lease.hear("bob", 1.9)  # others do not keep it alive
    assert lease.lapse(QUIET_S) is None
    gone = lease.lapse(QUIET_S + 0.001)
    assert gone is not None
    assert gone.id == "ann"
    assert lease.lapse(QUIET_S + 0.002) is None  # it lapses once
    assert lease.take("bob") == ""


def test_who_leaves_takes_control_along() -> None:
    lease = three()
    lease.take("ann")
    assert lease.leave("bob") is False
    assert lease.leave("ann") is True
    assert lease.leave("ann") is False
    assert lease.holder is None


def test_a_holder_who_comes_back_as_a_watcher_has_lost_control() -> None:
    lease = three()
    lease.take("ann")
    lease.join("ann", "Ann", False, 0.1)
    assert lease.holder is None


names = st.sampled_from(["ann", "bob", "guest", "nobody"])
acts = st.lists(st.tuples(st.sampled_from(["join", "leave", "take", "release", "hear", "lapse"]), names), max_size=40)


@given(acts, st.lists(st.floats(0, 3), min_size=40, max_size=40))
def test_whatever_people_do_at_most_one_operator_who_is_here_and_was_heard_holds_it(
    acts: list[tuple[str, str]], pauses: list[float]
) -> None:
    lease, now = three(), 0.0
    for (act, client), pause in zip(acts, pauses, strict=False):
        now += pause
        if act == "join":
            lease.join(client, client, client in ("ann", "bob"), now)
        elif act == "leave":
            lease.leave(client)
        elif act == "take" and client in lease.people:
            lease.take(client)
        elif act == "release":
            lease.release(client)
        elif act == "hear":
            lease.hear(client, now)
        else:
            lease.lapse(now)
            assert lease.holder is None or now - lease.holder.heard <= QUIET_S
        if lease.holder is not None:
            assert lease.holder.operator
            assert lease.people[lease.holder.id] is lease.holder


# ---------------------------------------------------------------- through the hub


def test_only_the_one_in_control_is_obeyed_but_anybody_may_stop(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    for command in (
        ask.Drive(1.0),
        ask.Posture(0.01),
        ask.Pace(0.5),
        ask.Gait("wave"),
        ask.Lift(0.02),
        ask.Lead(False),
        ask.Play("x"),
        ask.Go(),
        ask.Resume(),
        ask.Limp(True),
        ask.RecordStart(),
        ask.RecordStop("x"),
        ask.Replay("x"),
        ask.SetOutput("lamp", 1.0),
    ):
        assert show.say(command, "bob") == "take control first"
        assert show.say(command, "guest") == "take control first"
    assert show.hub.mode == "rest"
    assert show.say(ask.Stop(), "guest") == ""
    show.until("stopped", 1.0)
    assert show.state.reason == "Stopped by Guest."


def test_somebody_who_never_joined_is_not_obeyed_at_all(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    assert show.say(ask.Stop(), "stranger")
    assert show.hub.mode == "rest"


def test_control_that_lapses_can_be_taken_by_another(tansy: Robot) -> None:
    show = Rehearsal(tansy)
    assert show.say(ask.Take(), "bob") == "Ann is driving"
    for _ in range(round((QUIET_S + 0.1) / 0.02)):
        show.tick()
    assert show.state.driver is None
    assert any("quiet" in notice for notice in show.notices)
    assert show.say(ask.Take(), "bob") == ""
    driver = show.state.driver
    assert driver is not None
    assert driver.name == "Bob"
    assert show.state.watchers == 2


def test_a_sounder_falls_silent_with_the_one_who_held_it_and_a_lamp_stays(tansy: Robot) -> None:
    kinds = [output.kind for output in tansy.outputs]
    wanted = [0.0 if kind == "sounder" else 1.0 for kind in kinds]
    assert set(kinds) == {"lamp", "sounder"}

    def vanish(show: Rehearsal) -> None:
        show.hub.left("ann", show.now)

    def go_quiet(show: Rehearsal) -> None:
        show.now += QUIET_S + 0.1

    def give_back(show: Rehearsal) -> None:
        show.say(ask.Release())

    for end in (vanish, go_quiet, give_back):
        show = Rehearsal(tansy)
        for output in tansy.outputs:
            show.say(ask.SetOutput(output.name, 1.0))
        assert show.tick().outputs.tolist() == [1.0] * len(kinds)
        end(show)
        assert show.tick().outputs.tolist() == wanted, end.__name__
