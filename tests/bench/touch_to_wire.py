"""From a driver's touch to the first changed frame at the robot, over the real socket and the real wire."""

from __future__ import annotations

import asyncio
import random
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from . import Result, percentile
from .hub_process import HubProcess
from .tcp_robot import TcpRobot
from .viewer import pair, say

TOUCHES = 60
PERIOD_MS = 20.0


async def _touches(hub: HubProcess, robot: TcpRobot, say_line: Callable[[str], None]) -> list[float]:
    dice = random.Random(1)
    times: list[float] = []
    async with await pair(hub.address, hub.key, "driver") as connection:

        async def read() -> None:
            async for _ in connection:
                pass

        reading = asyncio.create_task(read())
        await say(connection, type="take")
        for touch in range(TOUCHES):
            if touch % 20 == 0:
                say_line(f"touch {touch + 1} of {TOUCHES}")
            # Standing still until every foot is home, then a touch at a moment that no tick knows of.
            for _ in range(400):
                await asyncio.sleep(0.1)
                last = robot.decoded()[-25:]
                if len({entry.frame.pulses for entry in last}) == 1:
                    break
            await asyncio.sleep(dice.uniform(0, 0.04))
            still = robot.decoded()[-1].frame.pulses
            seen = len(robot.arrivals)
            began = time.perf_counter()
            await say(connection, type="drive", forward=1.0, left=0.0, turn=0.0)
            while time.perf_counter() - began < 1.0:
                frames = robot.decoded()
                fresh = len(robot.arrivals) - seen
                changed = [i for i, entry in enumerate(frames[len(frames) - fresh :]) if entry.frame.pulses != still]
                if fresh and changed:
                    times.append((robot.arrivals[seen + changed[0]] - began) * 1e3)
                    break
                await asyncio.sleep(0.002)
            await say(connection, type="drive", forward=0.0, left=0.0, turn=0.0)
        reading.cancel()
    return times


def measure(say_line: Callable[[str], None]) -> Result:
    """The reference is one tick: a touch that just missed one cannot be answered sooner than the next."""
    with tempfile.TemporaryDirectory() as folder, TcpRobot() as robot, HubProcess(Path(folder), robot.port) as hub:
        time.sleep(4)
        times = asyncio.run(_touches(hub, robot, say_line))
    p95 = percentile(times, 0.95)
    return Result(
        "touch-to-wire",
        {
            "p50": (percentile(times, 0.5), "ms"),
            "p95": (p95, "ms"),
            "worst": (max(times), "ms"),
            "touches answered": (float(len(times)), "of 60"),
        },
        ("one tick", PERIOD_MS, "ms"),
        p95 / PERIOD_MS,
    )
