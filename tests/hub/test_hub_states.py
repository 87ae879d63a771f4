"""The table of modes, walked exhaustively: every mode with every cause."""

from __future__ import annotations

from itertools import product

import pytest

from motionhub.hub import commands as ask
from motionhub.hub.states import CAUSES, MODES, OUTCOMES, Cause, Mode, after

EVERYTHING = list(product(MODES, CAUSES))

# The rules of the house, stated apart from the table and in another form than it.
HOLDING = {"stopping", "stopped", "limp", "fault", "setup", "halted"}
RAW = {"setup", "halted"}


def test_every_mode_has_an_outcome_for_every_cause() -> None:
    assert set(OUTCOMES) == set(EVERYTHING)
    assert all(outcome.mode in MODES for outcome in OUTCOMES.values())


@pytest.mark.parametrize(("mode", "cause"), EVERYTHING)
def test_a_cause_that_is_not_taken_changes_nothing_and_one_that_is_says_nothing(mode: Mode, cause: Cause) -> None:
    outcome = after(mode, cause)
    if outcome.taken:
        assert not outcome.refused
    else:
        assert outcome.mode == mode


@pytest.mark.parametrize("mode", MODES)
def test_stop_is_taken_in_every_mode_and_ends_in_stopped(mode: Mode) -> None:
    outcome = after(mode, "stop")
    assert outcome.taken
    if mode == "limp":
        # Nothing moves that a stop could hold, and holding would snap a sagged robot straight.
        assert outcome.mode == "limp"
        return
    if mode in RAW:
        # Joints that have no pulse would snap to wherever they were last, were they held.
        assert outcome.mode == "halted"
        return
    assert outcome.mode in ("stopping", "stopped")
    assert after("stopping", "still").mode == "stopped"


@pytest.mark.parametrize("cause", CAUSES)
def test_stopped_is_left_by_resume_or_by_letting_go_and_by_nothing_else(cause: Cause) -> None:
    left_for = after("stopped", cause).mode
    assert left_for == {"resume": "moving", "limp": "limp"}.get(cause, "stopped")


@pytest.mark.parametrize("cause", CAUSES)
def test_limp_is_left_by_resume_and_for_bring_up_alone(cause: Cause) -> None:
    assert after("limp", cause).mode == {"resume": "moving", "setup": "setup"}.get(cause, "limp")


@pytest.mark.parametrize("mode", MODES)
def test_raw_pulses_begin_without_any_and_end_without_any(mode: Mode) -> None:
    """A standing robot would drop at the beginning, and an untrimmed one leap at the end."""
    assert (after(mode, "setup").mode == "setup") == (mode in ("limp", "setup"))
    for cause in CAUSES:
        if mode in RAW:
            assert after(mode, cause).mode in {*RAW, "limp"}
        elif cause != "setup":
            assert after(mode, cause).mode not in RAW
    assert after("halted", "resume").mode == "setup"


@pytest.mark.parametrize("mode", MODES)
def test_letting_go_is_possible_from_everywhere_and_only_if_sure(mode: Mode) -> None:
    assert after(mode, "limp").mode == "limp"
    assert after(mode, "unsure").mode == mode
    assert after(mode, "unsure").refused


@pytest.mark.parametrize("mode", MODES)
def test_what_a_person_asks_in_vain_is_refused_in_words(mode: Mode) -> None:
    for cause in ("drive", "play", "go", "resume"):
        outcome = after(mode, cause)
        assert outcome.taken != bool(outcome.refused)


@pytest.mark.parametrize("mode", sorted(HOLDING))
def test_a_robot_that_is_held_neither_drives_nor_plays(mode: Mode) -> None:
    for cause in ("drive", "play", "go", "begin", "home", "over", "settled"):
        assert after(mode, cause).mode == mode


def test_every_mode_can_be_reached_and_rest_can_be_reached_from_every_mode() -> None:
    def reached(start: Mode) -> set[Mode]:
        found: set[Mode] = set()
        front = {start}
        while front:
            found |= front
            front = {after(mode, cause).mode for mode in front for cause in CAUSES} - found
        return found

    assert reached("moving") == set(MODES)
    assert all("rest" in reached(mode) for mode in MODES)


def test_commands_have_the_names_that_messages_have() -> None:
    # The names in motionhub/remote/messages.py, which the browser sends.
    assert ask.name_of(ask.RecordStart()) == "record_start"
    assert ask.name_of(ask.SetOutput("lamp", 1.0)) == "set_output"
    assert ask.name_of(ask.Drive()) == "drive"
