"""What one tick of driving costs the hub's core, for six legs and for eight, and the tick in which Stop is pressed."""

from __future__ import annotations

import math
import random
import time
from collections.abc import Callable

from motionhub.hub import commands
from motionhub.hub.core import Hub
from motionhub.hub.snapshot import LinkView
from motionhub.library.shipped import shipped_folder
from motionhub.link.wire import Activity, Faults, Telemetry
from motionhub.robot import description
from motionhub.robot.calibration import Calibration

from . import Result, percentile

TICKS = 3000
AIM_MS = 0.5
"""Of a tick of driving; a Stop is one tick of a drive."""
STOPS = 150
"""Out of as many drives, each another way and broken off at another moment of a step."""
PERIOD_S = 0.02


def measure(say: Callable[[str], None]) -> Result:
    """A minute of driving in every direction; the reference is the 20 ms that a tick may last."""
    figures: dict[str, tuple[float, str]] = {}
    worst = 0.0
    for path in sorted((shipped_folder() / "robots").glob("*.toml")):
        robot = description.load(path)
        if robot.legs < 6:
            continue
        say(robot.name)
        hub = Hub(robot, Calibration.default(robot))
        now = at_rest(hub)
        costs = []
        for _ in range(TICKS):
            now += PERIOD_S
            angle = now / 3
            hub.handle("bench", commands.Drive(math.cos(angle), math.sin(angle), math.sin(angle / 2)), now)
            began = time.perf_counter()
            hub.tick(now)
            costs.append((time.perf_counter() - began) * 1e3)
            assert hub.mode == "driving", f"expected it to drive all the time, found {hub.mode}: {hub.reason}"
        figures[f"{robot.legs} legs, p50"] = (percentile(costs, 0.5), "ms")
        figures[f"{robot.legs} legs, p99"] = (percentile(costs, 0.99), "ms")
        stops = stopping(hub, now)
        for name, cost in (("p50", percentile(stops, 0.5)), ("p99", percentile(stops, 0.99)), ("worst", max(stops))):
            figures[f"{robot.legs} legs, Stop, {name}"] = (cost, "ms")
        worst = max(worst, percentile(costs, 0.99))
    aims = {label: AIM_MS for label in figures if "Stop" not in label}
    return Result("driving", figures, ("one frame of 50 a second", 20.0, "ms"), worst / 20.0, aims)


def stopping(hub: Hub, now: float) -> list[float]:
    """ms that the command and its tick take together, when somebody who drives presses Stop."""
    dice, costs = random.Random(1), []

    def until(mode: str) -> None:
        nonlocal now
        while hub.mode != mode:
            now += PERIOD_S
            hub.handle("bench", commands.Ping(), now)
            hub.tick(now)

    for _ in range(STOPS):
        drive = commands.Drive(*(dice.uniform(-1, 1) for _ in range(3)))
        for _ in range(dice.randrange(20, 90)):
            now += PERIOD_S
            hub.handle("bench", drive, now)
            hub.tick(now)
        assert hub.mode == "driving", f"expected it to drive, found {hub.mode}: {hub.reason}"
        now += PERIOD_S
        began = time.perf_counter()
        hub.handle("bench", commands.Stop(), now)
        hub.tick(now)
        costs.append((time.perf_counter() - began) * 1e3)
        until("stopped")
        hub.handle("bench", commands.Resume(), now)
        until("rest")
    return costs


def at_rest(hub: Hub) -> float:
    """A robot that answers, stands and is under control of "bench"; returns the time by then."""
    now = 0.0
    hub.joined("bench", "bench", True, now)
    hub.link_is(LinkView(up=True), now)
    telemetry = Telemetry(
        battery_mv=round(hub.robot.supply.battery_nominal_v * 1000),
        faults=Faults(0),
        activity=int(Activity.FOLLOWING),
        reset_cause=0,
        worst_loop_us=0,
        uptime_s=1,
        damaged=0,
        late=0,
    )
    hub.robot_says(telemetry, now)
    while hub.mode != "rest":
        now += PERIOD_S
        hub.tick(now)
        assert now < 60, f"expected it to stand within a minute, found {hub.mode}: {hub.reason}"
    hub.handle("bench", commands.Take(), now)
    return now
