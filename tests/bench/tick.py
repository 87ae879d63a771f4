"""How late frames are, seen from the robot's end of the wire, with eight viewers and a walk going on.

The robot of this process notes when each frame comes in. Frame k is due at t0 + 20 ms · k, t0 being the
time that makes no frame early; how much later it came is its lateness: the hub's, the loopback's and this
receiver's together. The reference is the same receiver fed by a bare loop that only sleeps to absolute
deadlines and sends as many bytes, in a process of its own: what this machine does at best.
"""

from __future__ import annotations

import select
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from . import Result, percentile
from .hub_process import HubProcess
from .tcp_robot import TcpRobot

VIEWERS = 8
SECONDS = 30.0
SETTLED_S = 25.0
"""Until the hub has checked the moves that it lists."""
PERIOD_S = 0.02

BARE = """
import socket, sys, time
wire = socket.create_connection(("127.0.0.1", int(sys.argv[1])))
wire.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
due = time.perf_counter()
for _ in range(int(sys.argv[2])):
    due += 0.02
    time.sleep(max(0, due - time.perf_counter()))
    wire.sendall(bytes(48))
"""


def lateness_ms(arrivals: list[float]) -> list[float]:
    """Lateness of each frame on the grid of 20 ms on which none is early, ms."""
    grid = [arrival - PERIOD_S * i for i, arrival in enumerate(arrivals)]
    earliest = min(grid)
    return [(value - earliest) * 1e3 for value in grid]


def _bare(frames: int) -> list[float]:
    arrivals: list[float] = []
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = str(listener.getsockname()[1])
        sender = subprocess.Popen([sys.executable, "-c", BARE, port, str(frames)])
        wire, _ = listener.accept()
        with wire:
            while select.select([wire], [], [], 5)[0] and wire.recv(48):
                arrivals.append(time.perf_counter())
        sender.wait(timeout=10)
    return arrivals


def measure(say: Callable[[str], None]) -> Result:
    """Half a minute of walking under eight viewers."""
    say(f"{VIEWERS} viewers, {SECONDS:.0f} s of walking")
    with tempfile.TemporaryDirectory() as folder, TcpRobot() as robot, HubProcess(Path(folder), robot.port) as hub:
        time.sleep(SETTLED_S)
        # Viewers and driver in a process of their own: this one has to be awake when a frame comes.
        command = [sys.executable, str(Path(__file__).with_name("viewer.py")), hub.address, hub.key, str(VIEWERS)]
        viewers = subprocess.Popen([*command, str(SECONDS + 3)], stdout=subprocess.PIPE, text=True)
        time.sleep(2)
        start = len(robot.arrivals)
        time.sleep(SECONDS)
        arrivals = robot.arrivals[start:]
        heard = int(viewers.communicate(timeout=30)[0])
        lost = SECONDS / PERIOD_S - len(arrivals)
    late = lateness_ms(arrivals)
    say("the bare loop")
    bare = lateness_ms(_bare(1000))
    return Result(
        "tick",
        {
            "lateness, p50": (percentile(late, 0.5), "ms"),
            "lateness, p99": (percentile(late, 0.99), "ms"),
            "lateness, worst": (max(late), "ms"),
            "frames missing": (max(0.0, round(lost)), "frames"),
            "messages to viewers": (heard / (SECONDS + 3), "messages/s"),
        },
        ("a bare loop that only sleeps and sends, p99", percentile(bare, 0.99), "ms"),
        percentile(late, 0.99) / percentile(bare, 0.99),
        {"lateness, p99": 2.0},
    )
