import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from motionhub.errors import InputError
from motionhub.link import coder, wire
from motionhub.link.session import (
    ACK_BYTES,
    DOWN_S,
    TELEMETRY_BYTES,
    Connected,
    Disconnected,
    Heard,
    LinkSession,
    Mismatch,
)
from motionhub.link.wire import Activity


def swing(rest, tick):
    """Pulses of a head that looks left and right."""
    pulses = rest.copy()
    pulses[18] += 200 * np.sin(tick / 10)
    return pulses


def test_connects_and_every_frame_arrives_as_it_was_meant(wire, rest):
    meant = []
    for tick in range(200):
        pulses = swing(rest, tick)
        meant.append(tuple(int(p) for p in np.rint(pulses)))
        wire.step(pulses, (0.5, 0.25))
    assert len(wire.of(Connected)) == 1
    got = [each.frame for each in wire.robot.decoded]
    # The first tick said hello; all others carried a frame.
    assert [frame.pulses for frame in got] == meant[1:]
    assert {frame.outputs for frame in got} == {(128, 64)}
    assert [each.number for each in wire.robot.decoded] == list(range(1, 200))


def test_says_how_the_link_is_doing(make_wire, rest):
    wire = make_wire(delay=2)
    wire.run(5, rest)
    status = wire.hub.status(wire.now)
    assert status.up
    assert status.lost_share == 0
    # Two ticks each way, less what the robot says it held the frame for: nothing.
    assert status.round_trip_s == pytest.approx(0.08, abs=1e-6)
    # A frame like the one before takes 8 bytes: kind, number, one of differences, three of check, two of framing.
    assert status.bytes_s == pytest.approx(8 * 50, abs=8)
    # 57600 baud, 8N1: ten bits a byte; the robot file lets frames have 0.75 of it.
    assert status.budget_bytes_s == pytest.approx(57_600 / 10 * 0.75)
    assert 0 <= status.telemetry_age_s <= 0.2


@pytest.mark.parametrize("share", [0.05, 0.2, 0.5])
def test_counts_loss_as_it_is(make_wire, rest, share):
    wire = make_wire(delay=2)
    wire.run(2, rest)
    wire.to_robot.lost = share
    taken_before, number_before = len(wire.robot.decoded), wire.hub.number
    shares = []
    for _ in range(40):
        wire.run(1, rest)
        shares.append(wire.hub.status(wire.now).lost_share)
    assert not wire.of(Disconnected)
    sent = wire.hub.number - number_before
    truly = 1 - (len(wire.robot.decoded) - taken_before) / sent
    assert truly == pytest.approx(share, abs=0.05)
    assert np.mean(shares) == pytest.approx(truly, abs=0.03)


def test_lost_acknowledgements_are_made_up_for_by_the_next(make_wire, rest):
    wire = make_wire(delay=1)
    wire.run(2, rest)
    wire.to_hub.lost = 0.3
    wire.run(10, rest)
    assert wire.hub.status(wire.now).up
    # Each receipt names the sixteen frames before it, so thirty per cent of receipts lost is no frame lost.
    assert wire.hub.status(wire.now).lost_share == 0


def test_knows_within_a_second_that_the_link_is_gone_and_comes_back_by_itself(wire, rest):
    wire.run(2, rest)
    wire.cut = True
    cut_at = wire.now
    while not wire.of(Disconnected):
        wire.step(rest)
        assert wire.now - cut_at < 1.0
    assert wire.of(Disconnected)[0].silent_s > DOWN_S
    status = wire.hub.status(wire.now)
    assert not status.up
    assert status.lost_share == 1
    assert status.round_trip_s is None
    wire.run(3, rest)
    wire.cut = False
    healed_at = wire.now
    while len(wire.of(Connected)) < 2:
        wire.step(rest)
        assert wire.now - healed_at < 0.3
    wire.run(2, rest)
    assert wire.robot.controller.activity == Activity.FOLLOWING


def test_one_way_silence_is_silence_too(wire, rest):
    """The robot still talks, but hears nothing: no frame is acknowledged, and that counts."""
    wire.run(2, rest)
    wire.to_robot.lost = 1
    cut_at = wire.now
    while not wire.of(Disconnected):
        wire.step(rest)
        assert wire.now - cut_at < 1.0


def test_a_robot_that_restarts_is_found_again(wire, rest):
    wire.run(2, rest)
    wire.robot.reset(wire_cause := 4)
    wire.run(2, rest)
    first, second = wire.of(Connected)
    assert second.welcome.reset_cause == wire_cause
    assert (second.welcome.session, second.welcome.robot_session) != (
        first.welcome.session,
        first.welcome.robot_session,
    )
    assert wire.hub.status(wire.now).telemetry.reset_cause == wire_cause


def test_telemetry_tells_battery_activity_and_faults(wire, rest):
    wire.run(4, rest)
    told = wire.of(Heard)[-1].telemetry
    # Two full cells less what the load takes from them (robot file: 4.2 V a cell).
    assert 8_000 < told.battery_mv < 8_400
    assert told.activity == Activity.FOLLOWING
    assert told.faults == 0
    assert told.uptime_s == 3
    assert len(wire.of(Heard)) == pytest.approx(40, abs=2)


def test_a_robot_of_another_shape_gets_no_frames_and_is_named_once(tansy, rest):
    session = LinkSession(tansy, 7)
    (encoded,) = wire.Splitter().feed(session.send_frame(rest, (0, 0), 0.0))
    hello = wire.read_hello(wire.unseal(encoded))
    said = wire.seal(wire.Welcome(False, hello.session, 0, 14, 1, 0).body())
    events = session.receive(said + said, 0.1)
    assert events == [Mismatch("the robot has 14 joints and 1 outputs, its file says 20 and 2")]
    assert session.send_frame(rest, (0, 0), 0.12) == b""
    newer = wire.seal(wire.Welcome(False, hello.session, 0, 20, 2, 0, version=9).body())
    assert "version 9" in session.receive(newer, 0.2)[0].text
    assert not session.up


def test_neither_an_old_welcome_nor_an_echo_opens_the_link(tansy, rest):
    session = LinkSession(tansy, 7)
    hello = session.send_frame(rest, (0, 0), 0.0)
    assert session.receive(hello, 0.1) == []
    assert session.receive(wire.seal(wire.Welcome(True, 6, 1, 20, 2, 0).body()), 0.1) == []
    assert not session.up
    (event,) = session.receive(wire.seal(wire.Welcome(True, 7, 99, 20, 2, 0).body()), 0.1)
    assert isinstance(event, Connected)
    # A second answer to a repeated hello changes nothing.
    assert session.receive(wire.seal(wire.Welcome(True, 7, 100, 20, 2, 0).body()), 0.1) == []
    frame = session.send_frame(rest, (0, 0), 0.2)
    assert session.receive(frame, 0.3) == []


def test_reports_are_taken_once_and_in_order(tansy, rest):
    session = LinkSession(tansy, 7)
    session.send_frame(rest, (0, 0), 0.0)
    session.receive(wire.seal(wire.Welcome(True, 7, 99, 20, 2, 0).body()), 0.0)
    key = wire.Key(7, 99)

    def report(number, mv):
        told = wire.Telemetry(mv, wire.Faults(0), 3, 1, 0, 0, 0, 0)
        return wire.seal(wire.report_body(number, wire.Receipt(0, 0, 255), told), key.bytes_for(number))

    first, second, third = (report(n, 7000 + n) for n in (1, 2, 3))
    heard = session.receive(second + first + second + third, 0.1)
    assert [event.telemetry.battery_mv for event in heard] == [7002, 7003]
    assert session.damaged == 2


def test_what_the_robot_says_leaves_a_slow_radio_free(make_wire, tansy, rest):
    receipt = wire.Receipt(0, 0, 0)
    told = wire.Telemetry(0, wire.Faults(0), Activity.OFF, wire.ResetCause.POWER, 0, 0, 0, 0)
    assert len(wire.seal(wire.report_body(1, receipt, None))) == ACK_BYTES
    assert len(wire.seal(wire.report_body(1, receipt, told))) == TELEMETRY_BYTES
    slow = dataclasses.replace(tansy, link=dataclasses.replace(tansy.link, baud=9600))
    link = make_wire(slow)
    link.run(2, rest)
    said = []
    for _ in range(500):
        back = link.robot.receive(link.hub.send_frame(rest, (0, 0), link.now), link.now)
        back += link.robot.advance(link.now)
        said.append(len(back))
        link.hub.receive(back, link.now)
        link.tick += 1
    # 9600 baud at ten bits a byte are 960 bytes a second; a quarter is for acks, a tenth for telemetry.
    assert sum(said) / 10 <= 0.35 * 960


def test_hello_is_not_said_more_often_than_a_radio_can_bear(tansy, rest):
    session = LinkSession(tansy, 0)
    said = [session.send_frame(rest, (0, 0), tick * 0.02) for tick in range(100)]
    assert sum(map(bool, said)) == 10
    assert len(set(said)) == 2  # one hello, and nothing


@pytest.mark.parametrize(
    ("pulses", "outputs"),
    [
        ([1500.0] * 19, [0, 0]),
        ([1500.0] * 20, [0]),
        ([1500.0] * 19 + [np.nan], [0, 0]),
        ([1500.0] * 19 + [4096], [0, 0]),
        ([1500.0] * 19 + [-1], [0, 0]),
        ([1500.0] * 19 + [np.inf], [0, 0]),
    ],
)
def test_refuses_to_send_what_is_no_frame(tansy, pulses, outputs):
    with pytest.raises(ValueError, match="expected"):
        LinkSession(tansy).send_frame(pulses, outputs, 0.0)


def test_a_robot_too_large_for_a_packet_is_refused_by_name(tansy):
    many = dataclasses.replace(tansy, joint_names=tuple(f"j{i}" for i in range(49)))
    with pytest.raises(InputError, match="at most 48"):
        LinkSession(many)


def test_a_whole_frame_takes_39_bytes(wire, rest):
    wire.step(rest)
    # By hand: 2 for kind and number, 2 outputs, 30 for twenty pulses, 3 check, 1 COBS, 1 delimiter.
    assert len(wire.hub.send_frame(rest, (0.5, 1), wire.now)) == 39


def test_frame_bytes_is_what_the_session_really_sends(make_wire, tansy, calibration, rest):
    """A move over a radio that takes 60 ms there and back, which is what frame_bytes supposes."""
    wire = make_wire(delay=1, delay_back=2)
    moves = np.array([swing(rest, tick) for tick in range(300)])
    told = coder.frame_bytes(tansy, calibration, 50.0)(moves)
    wire.run(0.2, moves[0], (0, 0))
    sent = []
    for pulses in moves:
        data = wire.hub.send_frame(pulses, (0, 0), wire.now)
        sent.append(len(data))
        wire.carry(data)
    settled = slice(8, None)  # before that the session leans on frames from before the move
    assert sent[settled] == told[settled].tolist()
    print(f"bytes per frame, one joint moving: {np.mean(sent):.1f} (raw 16-bit pulses alone: {2 * tansy.joints})")


def test_frame_bytes_of_a_long_move_is_that_of_its_parts(tansy, calibration, rest, monkeypatch):
    moves = np.array([swing(rest, tick) * (1 + tick % 7 / 1000) for tick in range(1000)])
    measure = coder.frame_bytes(tansy, calibration, 50.0)
    at_once = measure(moves)
    for block in (1, 5, 64, 999):
        monkeypatch.setattr(coder, "BLOCK", block)
        assert (measure(moves) == at_once).all()
    assert len(measure(moves[:0])) == 0
    assert (measure(moves[:4]) == 39).all()  # nothing acknowledged yet: whole frames
    # At half the rate a round trip is fewer frames but as many ticks; the sizes stay those of a move.
    assert coder.frame_bytes(tansy, calibration, 25.0)(moves[::2])[5:].mean() < 39


@given(st.data())
@settings(max_examples=25)
def test_over_any_bad_radio_only_what_was_meant_is_applied(make_wire, rest, data):
    """Both ends, any loss, repeats, flips and cuts, any delay: frames are applied once, in order, unchanged."""
    link = make_wire(delay=data.draw(st.integers(0, 10)))
    share = st.floats(0, 0.4)
    for trouble in (link.to_robot, link.to_hub):
        trouble.lost, trouble.repeated, trouble.cut = data.draw(share), data.draw(share), data.draw(share)
        trouble.flipped = data.draw(st.sampled_from([0, 1e-4, 1e-2]))
        trouble.__post_init__()
    meant = set()
    for tick in range(200):
        pulses = rest + tick  # every tick has pulses of its own, so a repeat would show
        meant.add(tuple(int(p) for p in np.rint(pulses)))
        link.step(pulses)
    applied = [each.frame.pulses for each in link.robot.decoded]
    assert len(set(applied)) == len(applied)
    assert set(applied) <= meant
    assert applied == sorted(applied)
    # Recovery: once the radio is good again, whatever was lost, the robot soon follows.
    for trouble in (link.to_robot, link.to_hub):
        trouble.lost = trouble.repeated = trouble.cut = trouble.flipped = 0.0
    link.run(5, rest)
    assert link.robot.controller.activity == Activity.FOLLOWING
    assert link.robot.controller.pulses == [int(p) for p in np.rint(rest)]
    assert link.hub.status(link.now).lost_share == 0
