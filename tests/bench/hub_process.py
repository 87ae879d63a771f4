"""A hub of its own, as a process: what a benchmark or a browser test talks to."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path
from types import TracebackType
from typing import Self


def free_port() -> int:
    """A TCP port on loopback that nothing listens on at this moment."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class HubProcess:
    """`motionhub serve` on loopback, with a library folder of its own.

    Args:
        folder: Library folder, for ``--sequences``; the keys are kept there.
        port: For ``--port``.
        robot: For ``--robot``; the demo robot when not given.
    """

    def __init__(self, folder: Path, port: str = "simulated", robot: Path | None = None) -> None:
        self.folder = folder
        self.address = f"127.0.0.1:{free_port()}"
        self.url = f"http://{self.address}/"
        self.log = folder / "serve.log"
        self._command = [sys.executable, "-m", "motionhub", "serve", "--sequences", str(folder), "--port", port]
        self._command += ["--listen", self.address]
        if robot:
            self._command += ["--robot", str(robot)]
        self.answered_s = float("nan")
        self.ready_s = float("nan")

    def __enter__(self) -> Self:
        began = time.perf_counter()
        out = self.log.open("ab")
        start = out.tell()
        self.process = subprocess.Popen(self._command, stdout=out, stderr=subprocess.STDOUT)
        out.close()
        while True:
            try:
                urllib.request.urlopen(self.url, timeout=5).read()
                break
            except (urllib.error.URLError, ConnectionError, TimeoutError):
                self._alive(began)
                time.sleep(0.005)
        self.answered_s = time.perf_counter() - began
        while b"#key=" not in self.log.read_bytes()[start:]:
            self._alive(began)
            time.sleep(0.01)
        self.ready_s = time.perf_counter() - began
        text = self.log.read_bytes()[start:].decode(errors="replace")
        self.key = text.split("#key=")[1].split()[0]
        self.pair_url = f"{self.url}#key={self.key}"
        return self

    def _alive(self, began: float) -> None:
        if self.process.poll() is not None or time.perf_counter() - began > 30:
            raise RuntimeError(f"motionhub serve did not come up:\n{self.log.read_text(errors='replace')}")

    def resident_mb(self) -> float:
        """Resident set of the process, as the kernel counts it (Linux)."""
        for line in Path(f"/proc/{self.process.pid}/status").read_text().splitlines():
            if line.startswith("VmRSS:"):
                return int(line.split()[1]) / 1024
        return float("nan")

    def kill(self) -> None:
        """End it without a word, as a power cut would."""
        self.process.kill()
        self.process.wait()

    def leave(self) -> int:
        """End it as Ctrl-C does, and give its exit code."""
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGINT if os.name != "nt" else signal.CTRL_C_EVENT)
        return self.process.wait(timeout=20)

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            self.leave()
        except subprocess.TimeoutExpired:
            self.kill()
