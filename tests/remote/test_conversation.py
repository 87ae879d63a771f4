"""The talk without a socket: exact limits, every message, and whatever bytes come."""

from __future__ import annotations

import re
from typing import Any, get_args

import msgpack
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from motionhub.hub import commands
from motionhub.library.names import is_name
from motionhub.remote import asking, bringing, making, messages, readying
from motionhub.remote.budget import Budget, WrongKeys, network_of
from motionhub.remote.conversation import BURST, MESSAGES_PER_SECOND, OVERDRAFT, UNREADABLE_TOLERATED, Conversation
from motionhub.remote.convert import command
from motionhub.remote.keys import Keys
from motionhub.remote.messages import CloseCode

KEYS = Keys("o" * 22, "w" * 22)
FROM_BROWSER = get_args(get_args(messages.FromBrowser)[0])


def talk(role: str | None = "operator") -> Conversation:
    conversation = Conversation(KEYS.role_of, lambda: True, 0.0)
    if role:
        key = KEYS.operator if role == "operator" else KEYS.watcher
        assert conversation.receive(pack(type="hello", key=key), 0.0).message is not None
        assert conversation.role == role
    return conversation


def pack(**fields: Any) -> bytes:
    packed: bytes = msgpack.packb(fields)
    return packed


def test_every_message_of_a_browser_asks_something_of_the_hub() -> None:
    examples = {
        asking.Drive: {"forward": 0.1, "left": -0.2, "turn": 0.3},
        asking.Pace: {"share": 0.5},
        asking.Gait: {"name": "wave"},
        asking.Lift: {"height_mm": 20},
        asking.Lead: {"on": False},
        asking.Play: {"name": "wave"},
        asking.RecordStop: {"name": "evening"},
        asking.Replay: {"name": "evening"},
        asking.SetOutput: {"output": "lamp", "level": 0.5},
        asking.MeterShows: {"volts": 7.6},
        asking.Ping: {"n": 1},
        bringing.BringupGo: {"step": "look"},
        bringing.BringupDone: {"step": "look", "item": "head"},
        bringing.BringupCentre: {"joints": ["head"]},
        bringing.BringupTry: {"joint": "head"},
        bringing.BringupSaw: {"joint": "head", "moved": "tail", "way": "more"},
        bringing.BringupPulse: {"joint": "head", "pulse_us": 1500},
        bringing.BringupAngle: {"joints": ["head"], "angles_deg": [12.5]},
        bringing.BringupRead: {"joint": "head", "pulse_us": 1700, "angle_deg": 21},
        bringing.BringupProtractor: {"read_to_deg": 0.5},
        bringing.BringupForget: {"joint": "head"},
        bringing.BringupTrim: {"joint": "head", "trim_deg": -3.5},
        bringing.BringupTurn: {"joint": "head", "reversed": True},
        bringing.BringupLimit: {"joint": "head", "which": "low"},
        bringing.BringupStand: {"stance": 0},
        bringing.BringupHeights: {"stance": 0, "heights_mm": [70, None, 71]},
        bringing.BringupLeg: {"leg": "left_front", "way": "up"},
        bringing.BringupWent: {"leg": "left_front", "way": "up", "right": False},
    }
    others = [
        kind
        for kind in FROM_BROWSER
        if kind.__module__ not in (making.__name__, readying.__name__) and kind is not asking.Hello
    ]
    asked = {type(command(kind(**examples.get(kind, {})))) for kind in others}
    assert asked == set(get_args(commands.Command))


def test_units_on_the_way_to_the_hub() -> None:
    # 30 degrees is pi/6, 100 mm is 0.1 m.
    made = command(asking.Posture(height_mm=100, roll_deg=30, pitch_deg=-30, yaw_deg=15))
    assert made == commands.Posture(
        height=pytest.approx(0.1),
        roll=pytest.approx(0.5235987755982988),
        pitch=pytest.approx(-0.5235987755982988),
        yaw=pytest.approx(0.2617993877991494),
    )


def test_too_often_is_left_out_and_far_too_often_is_the_end() -> None:
    conversation = talk()
    outcomes = []
    for _ in range(int(BURST + OVERDRAFT)):
        step = conversation.receive(pack(type="take"), 0.0)
        outcomes.append("taken" if step.message else "closed" if step.closing else "refused")
    assert outcomes.count("taken") == BURST - 1  # the hello was one
    assert outcomes.count("refused") == OVERDRAFT
    assert outcomes.count("closed") == 1
    assert outcomes == sorted(outcomes, key=["taken", "refused", "closed"].index)


def test_as_many_as_allowed_for_a_minute_are_all_taken() -> None:
    conversation = talk()
    for n in range(int(60 * MESSAGES_PER_SECOND)):
        assert conversation.receive(pack(type="ping", n=n), n / MESSAGES_PER_SECOND).message is not None


@pytest.mark.parametrize("role", ["operator", "watcher"])
def test_a_stop_is_taken_however_busy_the_line_is(role: str) -> None:
    conversation = talk(role)
    for _ in range(int(BURST + OVERDRAFT) - 3):
        conversation.receive(pack(type="take"), 0.0)
    assert conversation.receive(pack(type="take"), 0.0).answer is not None
    assert conversation.receive(pack(type="stop"), 0.0).message == asking.Stop()


def test_a_few_unreadable_ones_are_answered_and_many_end_it() -> None:
    conversation = talk()
    steps = [conversation.receive(b"\xc1", 0.0) for _ in range(UNREADABLE_TOLERATED + 1)]
    assert all(step.answer is not None and step.closing is None for step in steps[:-1])
    assert steps[-1].closing is not None
    assert steps[-1].closing.code == CloseCode.UNREADABLE


def test_a_key_that_may_not_be_tried_is_not_even_compared() -> None:
    def role_of(key: str) -> None:
        raise AssertionError("compared")

    conversation = Conversation(role_of, lambda: False, 0.0)
    step = conversation.receive(pack(type="hello", key=KEYS.operator), 0.0)
    assert step.closing is not None
    assert step.closing.code == CloseCode.TOO_MANY
    assert conversation.role is None


@given(st.text(alphabet="aZ0 _-./\\\n\0é", max_size=66) | st.text(max_size=66))
@example("LPT0")
@example("con")
def test_what_a_message_may_name_is_what_the_library_may_hold(name: str) -> None:
    accepted = talk().receive(pack(type="play", name=name), 0.0).message is not None
    # A name that some system reserves ("con") is the library's to refuse, in its own words. Those that there are:
    # https://learn.microsoft.com/windows/win32/fileio/naming-a-file (from memory).
    reserved = re.fullmatch("(?i:con|prn|aux|nul|com[0-9]|lpt[0-9])", name) is not None
    assert accepted == (is_name(name) or reserved)


anything = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**63), 2**64 - 1) | st.floats() | st.text() | st.binary(),
    lambda inner: (
        st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=8) | st.integers(0, 9), inner, max_size=4)
    ),
    max_leaves=12,
)
names = st.sampled_from([kind.model_fields["type"].default for kind in FROM_BROWSER])
keys = st.sampled_from(sorted({key for kind in FROM_BROWSER for key in kind.model_fields} - {"type"}))
nearly = st.builds(lambda kind, rest: {"type": kind, **rest}, names, st.dictionaries(keys, anything, max_size=4))
frames = st.binary(max_size=200) | anything.map(msgpack.packb) | nearly.map(msgpack.packb)


@given(st.lists(frames, max_size=12), st.sampled_from([None, "operator", "watcher"]))
def test_whatever_comes_is_judged_and_only_valid_messages_pass(sent: list[bytes], role: str | None) -> None:
    conversation = talk(role)
    for frame in sent:
        step = conversation.receive(frame, 0.0)
        outcomes = [step.message is not None, step.answer is not None, step.closing is not None]
        assert sum(outcomes) == 1
        if step.message is not None:
            assert conversation.role is not None
            # What passed says of itself exactly what was sent, so nothing was bent to fit.
            said = msgpack.unpackb(frame)
            assert {key: getattr(step.message, key) for key in said} == said
            if conversation.role == "watcher":
                assert isinstance(step.message, asking.Stop | asking.Ping | asking.Hello)
        if step.answer is not None:
            assert conversation.role is not None
            messages.from_hub.validate_python(step.answer.model_dump())
            assert step.answer.text == " ".join(step.answer.text.split())
        if step.closing is not None:
            assert len(step.closing.reason.encode()) <= 123  # RFC 6455 §5.5: a control frame holds 125 bytes
            return


@given(st.binary(min_size=1, max_size=60), st.integers(0, 59), st.integers(0, 7))
def test_a_flipped_bit_never_becomes_an_exception(tail: bytes, at: int, bit: int) -> None:
    frame = bytearray(pack(type="drive", forward=0.25, left=-0.5, turn=1.0) + tail[:1])
    frame[at % len(frame)] ^= 1 << bit
    step = talk().receive(bytes(frame), 0.0)
    assert (step.message is None) or isinstance(step.message, asking.Drive)


@given(st.lists(st.tuples(st.floats(0, 5), st.floats(0, 3)), max_size=60))
def test_a_budget_never_gives_more_than_its_rate_and_burst(spending: list[tuple[float, float]]) -> None:
    now, given_out = 0.0, 0.0
    budget = Budget(2.0, 5.0, now)
    for wait, amount in spending:
        now += wait
        if budget.left(now) >= amount:
            budget.spend(now, amount)
            given_out += amount
    assert given_out <= 5.0 + 2.0 * now + 1e-6


def test_wrong_keys_are_forgiven_with_time_and_the_memory_of_them_is_bounded() -> None:
    wrong = WrongKeys()
    for _ in range(WrongKeys.TRIES):
        assert not wrong.exhausted("192.0.2.7", 0.0)
        wrong.count("192.0.2.7", 0.0)
    assert wrong.exhausted("192.0.2.7", 0.0)
    assert not wrong.exhausted("192.0.2.8", 0.0)
    assert not wrong.exhausted("192.0.2.7", WrongKeys.SECONDS_PER_TRY + 0.001)
    for n in range(3 * WrongKeys.KEPT):
        wrong.count(f"10.{n >> 16}.{n >> 8 & 255}.{n & 255}", 1.0)
    assert len(wrong._budgets) == WrongKeys.KEPT


def test_one_device_is_one_device_however_many_addresses_it_has() -> None:
    # A host picks its lower 64 bits itself (RFC 4291 §2.5.4, RFC 8981); the examples are of RFC 3849.
    assert network_of("2001:db8::1") == network_of("2001:db8::ffff:1") != network_of("2001:db8:0:1::1")
    assert network_of("::ffff:192.0.2.1") == network_of("192.0.2.1")
    assert network_of("fe80::1%eth0") == network_of("fe80::2")
