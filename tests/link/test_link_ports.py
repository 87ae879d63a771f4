"""Ports over real pseudo-terminals and sockets. They wait for what must happen, with a bound, and time nothing."""

import os
import socket
import threading
import time
import tty
from collections.abc import Callable

import pytest

from motionhub.errors import InputError
from motionhub.link import channels, ports, reconnecting
from motionhub.link.session import Connected, Disconnected, LinkSession
from motionhub.link.simulated_port import SimulatedPort
from motionhub.link.wire import Activity

pytestmark = pytest.mark.alone

needs_terminals = pytest.mark.skipif(not hasattr(os, "openpty"), reason="no pseudo-terminals on this system")


def until(happened: Callable[[], object], seconds: float = 10.0) -> None:
    end = time.monotonic() + seconds
    while not happened():
        assert time.monotonic() < end, "waited in vain"
        time.sleep(0.005)


class Terminal:
    """A pseudo-terminal whose far end the test holds, under a name that outlives it."""

    def __init__(self, link):
        self.link = link
        self.master, self.slave = os.openpty()
        tty.setraw(self.slave)
        link.unlink(missing_ok=True)
        link.symlink_to(os.ttyname(self.slave))

    def pull(self):
        os.close(self.slave)
        os.close(self.master)
        self.link.unlink()


class Collected:
    """Everything a port has read, as the hub's loop would gather it."""

    def __init__(self, port):
        self.port, self.data = port, b""

    def has(self, expected):
        self.data += self.port.read()
        return expected in self.data


@needs_terminals
def test_serial_carries_every_byte_both_ways(tmp_path):
    terminal = Terminal(tmp_path / "radio")
    port = ports.serial_port(str(terminal.link), 57600)
    port.open()
    try:
        until(lambda: port.connected)
        every = bytes(range(256))  # XON, XOFF, ^C and newline among them: nothing may be translated
        port.write(every)
        got = b""
        while len(got) < len(every):
            got += os.read(terminal.master, 4096)
        assert got == every
        collected = Collected(port)
        os.write(terminal.master, every)
        until(lambda: collected.has(every))
    finally:
        port.close()
        terminal.pull()


@needs_terminals
def test_unplugging_is_an_event_and_plugging_in_again_is_enough(tmp_path):
    terminal = Terminal(tmp_path / "radio")
    port = ports.serial_port(str(terminal.link), 57600)
    changes = []
    port.open(lambda: changes.append(port.connected))
    try:
        until(lambda: port.connected)
        terminal.pull()
        until(lambda: not port.connected)
        port.write(b"into the air")
        assert port.read() == b""
        terminal = Terminal(tmp_path / "radio")
        until(lambda: port.connected)
        port.write(b"here again")
        assert os.read(terminal.master, 100) == b"here again"  # and nothing that was written meanwhile
        assert changes == [True, False, True]
    finally:
        port.close()
        terminal.pull()


@needs_terminals
def test_writing_never_waits_and_drops_the_oldest(tmp_path):
    terminal = Terminal(tmp_path / "radio")
    port = ports.serial_port(str(terminal.link), 57600)
    port.open()
    try:
        until(lambda: port.connected)
        # Nobody reads: the system's buffer fills, the device takes no more, and the caller does not notice.
        stuck = b"\x01" * 30_000
        for _ in range(4):
            port.write(stuck)
        for i in range(100):
            port.write(b"packet %d\0" % i)
        assert port.dropped >= 96 - 4
        # Once somebody reads, the newest come.
        got = b""
        end = time.monotonic() + 10
        os.set_blocking(terminal.master, False)
        while b"packet 99\0" not in got and time.monotonic() < end:
            try:
                got += os.read(terminal.master, 65_536)
            except BlockingIOError:
                time.sleep(0.01)
        assert got.endswith(b"packet 99\0")
        assert b"packet 0\0" not in got
    finally:
        port.close()
        terminal.pull()


class SlowDevice:
    """What a radio looks like that is slower than its frames: the system says how much waits."""

    def __init__(self, waiting):
        self._waiting = list(waiting)
        self.seen: list[int] = []
        self.happened: list[str] = []

    @property
    def out_waiting(self):
        self.seen.append(self._waiting[0])
        return self._waiting.pop(0) if len(self._waiting) > 1 else self._waiting[0]

    def write(self, data):
        self.happened.append("written")

    def reset_output_buffer(self):
        self.happened.append("thrown away")


@pytest.fixture
def channel(monkeypatch):
    def over(device, baud):
        monkeypatch.setattr(channels.serial, "Serial", lambda *_, **__: device)
        return channels.SerialChannel("radio", baud)

    return over


def test_the_system_is_not_let_to_hoard_frames(channel):
    # 20 ms of 9600 baud at ten bits a byte are 19 bytes.
    device = SlowDevice([60, 40, 20, 19, 0])
    channel(device, 9600).write(b"frame")
    assert device.seen == [60, 40, 20, 19]
    assert device.happened == ["written"]


def test_a_device_that_never_drains_is_emptied(channel, monkeypatch):
    monkeypatch.setattr(channels, "WRITE_S", 0.02)
    device = SlowDevice([4096])
    with pytest.raises(TimeoutError):
        channel(device, 9600).write(b"frame")
    assert device.happened == ["thrown away"]


@needs_terminals
def test_a_device_that_takes_nothing_any_more_does_not_hold_up_closing(tmp_path):
    terminal = Terminal(tmp_path / "radio")
    port = ports.serial_port(str(terminal.link), 57600)
    port.open()
    until(lambda: port.connected)
    for _ in range(5):
        port.write(b"\x01" * 30_000)
    port.close()
    assert not any(thread.is_alive() for thread in port._threads)
    terminal.pull()


def test_a_device_that_is_not_there_is_refused_in_one_line_that_lists_those_that_are(tansy, calibration, monkeypatch):
    class Info:
        device = "/dev/ttyRADIO7"

    monkeypatch.setattr(ports.list_ports, "comports", lambda: [Info])
    with pytest.raises(InputError) as caught:
        ports.open_port("/dev/ttyNOWHERE3", tansy, calibration)
    assert "/dev/ttyNOWHERE3" in str(caught.value)
    assert "/dev/ttyRADIO7" in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    "spec",
    ["", "sim", "\0", "tcp://", "tcp:/host:5", "tcp://host", "tcp://host:0", "tcp://host:65536", "tcp://host:x",
     "tcp://ho st:5", "tcp://user@host:5", "tcp://host:5/path", "/", "/dev/null/x"],
)  # fmt: skip
def test_what_is_no_port_is_refused_in_one_line(spec, tansy, calibration):
    with pytest.raises(InputError) as caught:
        ports.open_port(spec, tansy, calibration)
    assert "\n" not in str(caught.value)


def test_a_plain_file_is_no_device(tmp_path, tansy, calibration):
    (tmp_path / "radio").write_text("")
    with pytest.raises(InputError, match="is none"):
        ports.open_port(str(tmp_path / "radio"), tansy, calibration)


def test_tcp_connects_when_somebody_answers_and_again_after_they_left():
    server = socket.create_server(("127.0.0.1", 0))
    number = server.getsockname()[1]
    server.close()  # nobody there yet
    port = ports.tcp_port(f"tcp://127.0.0.1:{number}")
    port.open()
    try:
        assert not port.connected
        server = socket.create_server(("127.0.0.1", number))
        for word in (b"first", b"second"):
            far, _ = server.accept()
            until(lambda: port.connected)
            port.write(word)
            assert far.recv(100) == word
            collected = Collected(port)
            far.sendall(word[::-1])
            until(lambda c=collected, w=word: c.has(w[::-1]))
            far.close()
            until(lambda: not port.connected)
    finally:
        port.close()
        server.close()


def test_tcp_addresses_of_both_kinds():
    assert ports.tcp_port("tcp://[::1]:4000").name == "tcp://[::1]:4000"
    assert ports.tcp_port("tcp://robot.local:4000").name == "tcp://robot.local:4000"


def test_closing_leaves_no_thread_behind(tansy, calibration):
    before = set(threading.enumerate())
    port = ports.open_port("simulated", tansy, calibration)
    port.open()
    until(lambda: port.connected)
    port.close()
    assert set(threading.enumerate()) == before
    never_opened = ports.open_port("simulated", tansy, calibration)
    never_opened.close()
    with pytest.raises(RuntimeError):
        port.open()


class Loop:
    """What the hub's live loop does with a port, on a thread's time: read, send a frame, again."""

    def __init__(self, port, robot, pulses):
        self.port, self.pulses = port, pulses
        self.session = LinkSession(robot, 7)
        self.events = []

    def turn(self):
        now = time.monotonic()
        self.events += self.session.receive(self.port.read(), now) + self.session.tick(now)
        self.port.write(self.session.send_frame(self.pulses, (0.5, 0), now))
        time.sleep(0.02)
        return self.events

    def until(self, happened):
        until(lambda: (self.turn() and happened()) or happened())

    def count(self, kind):
        return sum(isinstance(event, kind) for event in self.events)


@pytest.mark.parametrize("terminal", [pytest.param(True, marks=needs_terminals), False])
def test_the_simulated_robot_over_its_wire(tansy, calibration, rest, terminal):
    port = SimulatedPort(tansy, calibration, terminal=terminal)
    loop = Loop(port, tansy, rest)
    port.open()
    try:
        loop.until(lambda: loop.count(Connected) == 1)
        loop.until(lambda: port.robot.controller.activity == Activity.FOLLOWING)
        port.unplug()
        loop.until(lambda: loop.count(Disconnected) == 1)
        loop.until(lambda: not port.connected)
        loop.until(lambda: port.robot.controller.activity == Activity.QUIET)
        port.plug_in()
        loop.until(lambda: loop.count(Connected) == 2)
        loop.until(lambda: port.robot.controller.activity == Activity.FOLLOWING)
        with port.holding():
            numbers = [each.number for each in port.robot.decoded]
            frames = {each.frame.pulses for each in port.robot.decoded}
        # Two sessions, each counted up from one, nothing twice.
        again = numbers.index(1, 1)
        assert numbers[:again] == sorted(set(numbers[:again]))
        assert numbers[again:] == sorted(set(numbers[again:]))
        assert frames == {tuple(round(float(p)) for p in rest)}
    finally:
        port.close()


def test_a_bad_radio_loses_frames_and_nothing_else(tansy, calibration, rest):
    port = SimulatedPort(tansy, calibration)
    port.to_robot.lost = port.to_hub.lost = 0.3
    port.to_robot.flipped = 1e-3
    loop = Loop(port, tansy, rest)
    port.open()
    try:
        loop.until(lambda: port.robot.controller.activity == Activity.FOLLOWING)
        loop.until(lambda: loop.session.status(time.monotonic()).lost_share > 0.1)
        loop.until(lambda: port.robot.receiver.damaged > 0)
        with port.holding():
            assert {each.frame.pulses for each in port.robot.decoded} == {tuple(round(float(p)) for p in rest)}
    finally:
        port.close()


def test_a_delay_is_seen_as_round_trip(tansy, calibration, rest):
    port = SimulatedPort(tansy, calibration)
    port.delay_s = 0.05
    loop = Loop(port, tansy, rest)
    port.open()
    try:
        loop.until(lambda: (loop.session.status(time.monotonic()).round_trip_s or 0) > 0.1)
    finally:
        port.close()


def test_a_port_keeps_no_more_than_its_bound_for_a_reader_who_does_not_come():
    ours, theirs = socket.socketpair()
    port = reconnecting.ReconnectingPort("pair", lambda: channels.SocketChannel(ours))
    port.open()
    try:
        until(lambda: port.connected)
        theirs.setblocking(True)
        theirs.sendall(b"\x01" * (3 * reconnecting.HELD) + b"\x02" * 100)
        until(lambda: port._incoming.endswith(b"\x02" * 100))
        data = port.read()
        assert len(data) == reconnecting.HELD
        assert data.endswith(b"\x02" * 100)
    finally:
        port.close()
        theirs.close()


def test_after_a_packet_that_was_cut_the_next_begins_with_a_delimiter():
    class Stuck:
        """Takes half of the first packet, then times out, as a full device does."""

        def __init__(self):
            self.got = b""

        def read(self):
            time.sleep(0.01)
            return b""

        def write(self, data):
            if not self.got:
                self.got = data[: len(data) // 2]
                raise TimeoutError
            self.got += data

        def close(self):
            pass

    channel = Stuck()
    port = reconnecting.ReconnectingPort("stuck", lambda: channel)
    port.open()
    try:
        until(lambda: port.connected)
        port.write(b"firstpacket\0")
        until(lambda: channel.got)
        port.write(b"second\0")
        until(lambda: channel.got == b"firstp\0second\0")
    finally:
        port.close()
