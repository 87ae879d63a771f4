"""The simulated robot behind a real wire: a thread that keeps it in time, and the port that leads to it.

The wire is a pseudo-terminal where the system has them, and the hub opens it by the same serial port as a
radio, so simulating exercises all of what a real robot does; elsewhere it is a pair of sockets.
"""

from __future__ import annotations

import contextlib
import os
import select
import socket
import threading
import time
from collections import deque
from collections.abc import Callable

from motionhub.link.channels import Channel, SerialChannel, SocketChannel
from motionhub.link.controller import PERIOD_S
from motionhub.link.reconnecting import ReconnectingPort
from motionhub.link.simulated import SimulatedRobot
from motionhub.link.trouble import Trouble
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

BEHIND_S = 1.0
"""A thread that is this late was asleep with its computer; the robot then leaves the time out."""
IDLE_S = 0.05
"""How often an unplugged robot looks whether it is plugged in again."""

try:
    import tty
except ImportError:  # no terminals here
    tty = None  # type: ignore[assignment]


class _Terminal:
    """The robot's end of a pseudo-terminal."""

    def __init__(self, baud: int) -> None:
        self.fd, self._slave = os.openpty()
        # Raw from the start, or the system would echo what the robot says before anyone opens it.
        tty.setraw(self._slave)
        os.set_blocking(self.fd, False)
        self._device, self._baud = os.ttyname(self._slave), baud

    def channel(self) -> Channel:
        return SerialChannel(self._device, self._baud)

    def read(self) -> bytes:
        return os.read(self.fd, 4096)

    def write(self, data: bytes) -> None:
        with contextlib.suppress(BlockingIOError):  # nobody reads: the radio's bytes go nowhere
            os.write(self.fd, data)

    def close(self) -> None:
        os.close(self._slave)
        os.close(self.fd)


class _Pair:
    """The robot's end of a pair of sockets."""

    def __init__(self) -> None:
        self._own, self._other = socket.socketpair()
        self._own.setblocking(False)
        self.fd = self._own.fileno()

    def channel(self) -> Channel:
        if self._other.fileno() < 0:
            raise ConnectionRefusedError("this wire was used up")
        return SocketChannel(self._other)

    def read(self) -> bytes:
        return self._own.recv(4096)

    def write(self, data: bytes) -> None:
        with contextlib.suppress(BlockingIOError):
            self._own.sendall(data)

    def close(self) -> None:
        self._own.close()
        self._other.close()


class SimulatedPort(ReconnectingPort):
    """A port with a simulated robot at its far end, which runs while the port is open.

    Args:
        robot: What to simulate.
        calibration: How its servos sit.
        charge: Of its battery, 0 to 1.
        terminal: Whether to use a pseudo-terminal; where the system has them if not said.
    """

    def __init__(
        self, robot: Robot, calibration: Calibration, charge: float = 1.0, terminal: bool | None = None
    ) -> None:
        super().__init__("simulated", self._dial)
        self.robot = SimulatedRobot(robot, calibration, boot=os.getpid(), charge=charge)
        """Read it, or change it, within :meth:`holding` only."""
        self.to_robot = Trouble(seed=1)
        """What the radio does to bytes on their way to the robot."""
        self.to_hub = Trouble(seed=2)
        self.delay_s = 0.0
        """Of each direction."""
        self._baud = robot.link.baud
        self._terminal = tty is not None and hasattr(os, "openpty") if terminal is None else terminal
        self._hold = threading.RLock()
        self._wire: _Terminal | _Pair | None = None
        self._plugged = True
        self._on_the_way: deque[tuple[float, bool, bytes]] = deque()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, name="simulated robot", daemon=True)

    def holding(self) -> contextlib.AbstractContextManager[bool]:
        """``with port.holding():`` keeps the robot's thread from changing the robot meanwhile."""
        return self._hold

    def open(self, on_change: Callable[[], None] | None = None) -> None:
        """Switch the robot on and connect to it."""
        self._thread.start()
        super().open(on_change)

    def close(self) -> None:
        """Disconnect, and switch the robot off."""
        super().close()
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join(timeout=5)

    def unplug(self) -> None:
        """Take the radio off, as a hand would; the robot goes on by itself."""
        self._plugged = False

    def plug_in(self) -> None:
        """Put the radio back."""
        self._plugged = True

    # -- the robot's thread -------------------------------------------------------------------------

    def _dial(self) -> Channel:
        with self._hold:
            if self._wire is None:
                raise FileNotFoundError("unplugged")
            return self._wire.channel()

    def _run(self) -> None:
        now = due = time.monotonic()
        try:
            while not self._stop.is_set():
                data = self._wait(due - now)
                began = now = time.monotonic()
                with self._hold:
                    self._carry(data, now)
                    if now >= due:
                        if now - due > BEHIND_S:
                            self.robot.skip(now)
                            due = now
                        self._send(self.robot.advance(now), now)
                        due += PERIOD_S
                    self.robot.note_loop(time.monotonic() - began)
        finally:
            self._unwire()

    def _wait(self, seconds: float) -> bytes:
        """Bytes from the hub, or nothing once it is time for the next period."""
        if self._on_the_way:
            seconds = min(seconds, self._on_the_way[0][0] - time.monotonic())
        seconds = max(seconds, 0.0)
        wire = self._wire
        if not self._plugged:
            self._unwire()
            self._stop.wait(min(seconds, IDLE_S))
            return b""
        if wire is None:
            with self._hold:
                self._wire = _Terminal(self._baud) if self._terminal else _Pair()
            return b""
        try:
            ready, _, _ = select.select([wire.fd], [], [], seconds)
            data = wire.read() if ready else b""
        except BlockingIOError:
            return b""
        except OSError:  # nobody at the other end
            data, ready = b"", [wire.fd]
        if ready and not data:
            self._unwire()  # the hub let go; offer a new wire
        return data

    def _carry(self, data: bytes, now: float) -> None:
        """Let the radio have ``data``, and deliver what has arrived by ``now``."""
        arrived = self.to_robot.pass_on(data)
        if arrived:
            self._on_the_way.append((now + self.delay_s, True, arrived))
        while self._on_the_way and self._on_the_way[0][0] <= now:
            _, inward, chunk = self._on_the_way.popleft()
            if inward:
                self._send(self.robot.receive(chunk, now), now)
            elif self._wire is not None:
                with contextlib.suppress(OSError):
                    self._wire.write(chunk)

    def _send(self, data: bytes, now: float) -> None:
        leaving = self.to_hub.pass_on(data)
        if leaving:
            self._on_the_way.append((now + self.delay_s, False, leaving))
            if not self.delay_s:
                self._carry(b"", now)

    def _unwire(self) -> None:
        with self._hold:
            if self._wire is not None:
                with contextlib.suppress(OSError):
                    self._wire.close()
                self._wire = None
                self._on_the_way.clear()
