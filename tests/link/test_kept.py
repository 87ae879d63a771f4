"""Settings on their way to the robot, and what it does with them."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from motionhub.link import kept, wire
from motionhub.link.kept import Kept, KeptState, Record, Said
from motionhub.link.session import Connected, Heard, InUse, Keeping
from motionhub.link.simulated import SimulatedRobot
from motionhub.link.wire import Activity, DamagedError, Faults, ResetCause
from motionhub.motion.posing import rest_joints
from motionhub.robot.calibration import Calibration


@pytest.fixture(scope="module")
def mended(tansy, calibration):
    """As the hub may know it after a long evening with a screwdriver."""
    trim = np.deg2rad(np.linspace(-5, 5, tansy.joints))
    direction = np.where(np.arange(tansy.joints) % 3 == 0, -1.0, 1.0)
    return Calibration(
        tansy.name,
        tansy.joint_names,
        trim,
        direction,
        calibration.low_us + 40,
        calibration.high_us - 60,
        np.where(np.arange(tansy.joints) % 4 == 0, 0.93, 1.0),
        connector=(1, 2, 0, *range(3, tansy.joints - 2), tansy.joints - 1, tansy.joints - 2),
    )


def answers(wire_):
    return [event.state for event in wire_.of(Keeping)]


def test_a_record_by_hand():
    # 600 = 0x258, 2400 = 0x960, -13 = 0xFF3 in twelve bits; 1029 = 0b10000000101 in eleven.
    assert Record(19, 600, 2400, -13, True, 1029).pack() == bytes(
        [0x58, 0x02, 0x96, 0xF3, 0b1011_1111, 0b1000_0000, 19]
    )


def test_what_is_exported_is_what_the_hub_would_send(tansy, calibration, mended):
    for each in (calibration, mended):
        made = kept.export(tansy, each)
        limits = made.limits(made.records(made.image))
        # The robot adds three numbers that were rounded by themselves.
        assert np.abs(np.array(limits.rest) - each.pulses(tansy, rest_joints(tansy))).max() <= 1.5
        assert limits.low == tuple(each.by_connector(each.low_us))
        assert limits.high == tuple(each.by_connector(each.high_us))


def test_kept_and_used_at_once_without_pulses(wire, mended, tansy, rest):
    wire.run(0.2, None)
    before = wire.of(Connected)[0].welcome
    assert not before.kept
    image = kept.image(tansy, mended)
    assert before.digest == wire.robot.keeper.digest != kept.digest(image)
    wire.hub.keep(image)
    wire.run(6, None)
    assert answers(wire)[-1] == KeptState.KEPT
    export = kept.export(tansy, wire.robot.calibration)
    assert wire.robot.controller.settings.rest == export.limits(export.records(image)).rest
    assert np.abs(np.array(wire.robot.controller.settings.rest) - mended.pulses(tansy, rest_joints(tansy))).max() <= 1.5
    # After a reset it is still there, and the next hello is answered with it.
    wire.robot.reset(ResetCause.POWER)
    wire.run(2, None)
    after = wire.of(Connected)[-1].welcome
    assert after.kept
    assert after.digest == kept.digest(image)


def test_what_was_kept_is_read_again_as_it_was(wire, mended, tansy, calibration, rest):
    """The export's at first, then what was kept, to whole microseconds; and with no more said than was asked for."""
    wire.run(0.5, None)
    wire.hub.ask()
    wire.run(2, rest)
    (first,) = wire.of(InUse)
    assert first.image == kept.image(tansy, calibration)
    wire.hub.keep(kept.image(tansy, mended))
    wire.hub.ask()
    wire.run(6, None)
    _, second = wire.of(InUse)
    assert second.image == kept.image(tansy, mended)
    again = kept.calibration(tansy, second.image)
    assert kept.image(tansy, again) == second.image
    joints = rest_joints(tansy) + np.linspace(-0.3, 0.3, tansy.joints)
    # Trim to half a µs; scale to half a 1024th, which is 0.3 µs at 650 µs from mid-travel.
    assert np.abs(again.pulses(tansy, joints) - mended.pulses(tansy, joints)).max() <= 0.9
    assert (again.direction == mended.direction).all()
    assert again.connector == mended.connector


@pytest.mark.parametrize("lost", [0.2, 0.5])
def test_a_radio_that_loses_does_not_lose_what_is_read(make_wire, tansy, mended, lost):
    wire = make_wire(delay=2)
    wire.run(0.5, None)
    wire.hub.keep(kept.image(tansy, mended))
    wire.run(6, None)
    wire.to_robot.lost = wire.to_hub.lost = lost
    wire.hub.ask()
    wire.run(20, None)
    assert [each.image for each in wire.of(InUse)] == [kept.image(tansy, mended)]


def test_pieces_of_two_images_are_never_put_together():
    old, new = bytes(range(56)), bytes(range(100, 156))
    question = kept.Question(56)
    assert question.hear(Said(kept.digest(old), 0, old[:28])) is None
    assert question.hear(Said(kept.digest(new), 1, new[28:])) is None
    assert question.hear(Said(kept.digest(new), 1, old[:27])) is None  # not its own length
    assert question.hear(Said(kept.digest(new), 0, old[:28])) is None  # not of this digest, whatever it says
    assert question.hear(Said(kept.digest(new), 0, new[:28])) is None
    assert question.hear(Said(kept.digest(new), 1, new[28:])) == new


def test_another_robots_image_makes_no_calibration(tansy):
    with pytest.raises(ValueError, match="expected 140 bytes"):
        kept.calibration(tansy, bytes(139))
    with pytest.raises(ValueError, match="expected a connector for each joint"):
        kept.calibration(tansy, bytes(140))
    with pytest.raises(ValueError, match="expected ends in order"):
        kept.calibration(tansy, b"".join(Record(i, 0, 0, 0, False).pack() for i in range(20)))


def test_on_its_way_it_takes_a_frame_in_five_and_the_move_goes_on(wire, mended, tansy, rest):
    wire.run(2, rest)
    sent = wire.robot.decoded[-1].number
    wire.hub.keep(kept.image(tansy, mended))
    wire.run(0.5, rest)
    numbers = [each.number for each in wire.robot.decoded if each.number > sent]
    assert max(np.diff(numbers)) == 2
    assert len(numbers) >= 19
    assert wire.robot.controller.activity == Activity.FOLLOWING


@pytest.mark.parametrize("lost", [0.2, 0.5])
def test_a_radio_that_loses_does_not_lose_settings(make_wire, mended, tansy, lost):
    wire = make_wire(delay=2)
    wire.run(0.5, None)
    wire.hub.keep(kept.image(tansy, mended))
    wire.to_robot.lost = wire.to_hub.lost = lost
    wire.run(30, None)
    assert answers(wire)[-1] == KeptState.KEPT
    assert wire.robot.keeper.digest == kept.digest(kept.image(tansy, mended))


def test_a_link_that_goes_down_in_the_middle(wire, mended, tansy):
    wire.run(0.5, None)
    wire.hub.keep(kept.image(tansy, mended))
    wire.run(0.2, None)
    wire.cut = True
    wire.run(3, None)
    wire.cut = False
    wire.run(8, None)
    assert answers(wire)[-1] == KeptState.KEPT


def test_narrower_ends_wait_until_no_pulse_lies_outside(wire, tansy, calibration, rest):
    """The first joint stands at its old end; nothing leaps, and limp or another pose lets the new ends in."""
    at_end = rest.copy()
    at_end[0] = calibration.low_us[0]
    wire.run(3, at_end)
    narrow = Calibration(
        tansy.name,
        tansy.joint_names,
        calibration.trim_rad,
        calibration.direction,
        calibration.low_us + 100,
        calibration.high_us,
    )
    wire.hub.keep(kept.image(tansy, narrow))
    wire.run(6, at_end)
    assert answers(wire)[-1] == KeptState.WAITING
    assert wire.robot.issued[-1].pulses == tuple(np.rint(at_end).astype(int))
    wire.run(2, rest)
    assert answers(wire)[-1] == KeptState.KEPT
    # From now on the old end is outside, and is refused.
    wire.run(0.5, at_end)
    assert wire.robot.receiver.refused > 0
    assert wire.robot.issued[-1].pulses[0] >= narrow.low_us[0]


def test_ends_outside_the_servos_own_are_refused(wire, tansy, calibration):
    wire.run(0.5, None)
    wide = Calibration(
        tansy.name,
        tansy.joint_names,
        calibration.trim_rad,
        calibration.direction,
        calibration.low_us - 1,
        calibration.high_us,
    )
    wire.hub.keep(kept.image(tansy, wide))
    wire.run(3, None)
    assert answers(wire)[-1] == KeptState.REFUSED
    assert not wire.robot.keeper.kept_in_use


def test_another_robots_image_is_not_sent(wire):
    with pytest.raises(ValueError, match="expected 140 bytes"):
        wire.hub.keep(bytes(139))


def test_a_worn_memory_is_told(wire, tansy, mended):
    wire.run(0.5, None)
    wire.robot.memory.write = lambda at, value: None
    wire.hub.keep(kept.image(tansy, mended))
    wire.run(8, None)
    assert answers(wire)[-1] == KeptState.FAILED
    assert wire.of(Heard)[-1].telemetry.faults & Faults.CALIBRATION


def test_another_export_does_without_what_is_kept(tansy, calibration, mended):
    robot = SimulatedRobot(tansy, calibration)
    keeper = robot.keeper
    image = kept.image(tansy, mended)
    for i in range(kept.pieces(len(image))):
        keeper.take(wire.Packet(bytes((0x50, 1, i)) + image[28 * i :][:28], 0))
    keeper.take(wire.Packet(bytes((0x51, 1)) + kept.digest(image), 0))
    for _ in range(300):
        robot.advance(len(robot.issued) * 0.02)
    assert keeper.kept_in_use
    again = SimulatedRobot(tansy, calibration, memory=robot.memory)
    assert again.keeper.kept_in_use
    other = SimulatedRobot(tansy, mended, memory=robot.memory)
    assert not other.keeper.kept_in_use
    assert not other.keeper.damaged


@given(st.sampled_from(KeptState), st.binary(min_size=3, max_size=3), st.integers(0, 0xFFFF), st.integers(1, 10**6))
def test_an_answer_comes_back(state, digest, pieces, number):
    answer = Kept(state, digest, pieces)
    (encoded,) = wire.Splitter().feed(wire.seal(answer.body(number)))
    assert kept.read_kept(wire.unseal(encoded)) == answer


@given(st.binary(min_size=3, max_size=3), st.integers(0, 11), st.binary(min_size=1, max_size=24), st.integers(1, 10**6))
def test_a_piece_comes_back(digest, piece, data, number):
    said = Said(digest, piece, data)
    (encoded,) = wire.Splitter().feed(wire.seal(said.body(number)))
    assert kept.read_kept(wire.unseal(encoded)) == said


@pytest.mark.parametrize("body", [b"\xb8\x01" + bytes(4), b"\xb0\x01", b"\xb0\x01" + bytes(6), b"\xb7\x01" + bytes(5)])
def test_an_answer_that_is_none(body):
    with pytest.raises(DamagedError):
        kept.read_kept(wire.Packet(body, 0))
