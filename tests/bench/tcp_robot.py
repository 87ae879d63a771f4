"""A simulated robot behind a TCP port of this process, for `--port tcp://…`.

It is the robot of `motionhub.link.simulated`, but whoever runs it here can see what it decoded, note when
each byte came, and cut the wire: a hub in another process knows only the bytes.
"""

from __future__ import annotations

import contextlib
import select
import socket
import threading
import time
from types import TracebackType
from typing import Self

from motionhub.library.shipped import shipped_folder
from motionhub.link.controller import PERIOD_S
from motionhub.link.simulated import Decoded, SimulatedRobot
from motionhub.robot import description
from motionhub.robot.calibration import Calibration


class TcpRobot:
    """A shipped robot, simulated, listening on loopback; one hub at a time. Use it as a context manager."""

    def __init__(self, name: str = "tansy") -> None:
        self.file = shipped_folder() / "robots" / f"{name}.toml"
        self.robot = description.load(self.file)
        self.calibration = Calibration.default(self.robot)
        self.simulated = SimulatedRobot(self.robot, self.calibration, boot=1)
        self.lock = threading.Lock()
        self.arrivals: list[float] = []
        """``time.perf_counter()`` at each decoded frame."""
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = f"tcp://127.0.0.1:{self._listener.getsockname()[1]}"
        self._stop = threading.Event()
        self._cut = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stop.set()
        self._thread.join(timeout=5)
        self._listener.close()

    def cut(self) -> None:
        """Cut the wire: the hub's connection ends and new ones are refused until :meth:`mend`."""
        self._cut.set()

    def mend(self) -> None:
        """Put the wire back."""
        self._cut.clear()

    def decoded(self) -> list[Decoded]:
        """Every frame that the robot took so far, oldest first."""
        with self.lock:
            return list(self.simulated.decoded)

    def issued(self) -> list[tuple[float, tuple[int, ...]]]:
        """The pulses of every servo period so far, with the robot's own time."""
        with self.lock:
            return [(entry.now, entry.pulses) for entry in self.simulated.issued]

    def _run(self) -> None:
        wire: socket.socket | None = None
        due = time.monotonic()
        while not self._stop.is_set():
            now = time.monotonic()
            if self._cut.is_set() and wire is not None:
                wire.close()
                wire = None
            waiting = [wire] if wire is not None else [] if self._cut.is_set() else [self._listener]
            ready, _, _ = select.select(waiting, [], [], max(0.0, min(due - now, PERIOD_S)))
            if not waiting:
                self._stop.wait(0.005)
            now, came_at = time.monotonic(), time.perf_counter()
            data = b""
            if ready and wire is None:
                wire, _ = self._listener.accept()
                wire.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            elif ready and wire is not None:
                with contextlib.suppress(OSError):
                    data = wire.recv(4096)
                if not data:
                    wire.close()
                    wire = None
            with self.lock:
                before = len(self.simulated.decoded)
                reply = self.simulated.receive(data, now) if data else b""
                came = len(self.simulated.decoded) - before
                self.arrivals += [came_at] * came
                if now >= due:
                    reply += self.simulated.advance(now)
                    due = max(due + PERIOD_S, now - 1.0)
            if reply and wire is not None:
                with contextlib.suppress(OSError):
                    wire.sendall(reply)
