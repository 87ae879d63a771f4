"""A hub and a robot's receiver with a radio between them that takes its time and loses packets, without a clock."""

from __future__ import annotations

import random
from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motionhub.link.receiver import Receiver
from motionhub.link.session import LinkSession
from motionhub.link.wire import TICK_S, Activity, Faults, ResetCause, Telemetry
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

BEFORE = 60
"""Ticks of standing before what is measured: the link is open by then, as it is before any move."""
AHEAD_S = 0.003
"""By how much a frame is worked out before its time, as the hub does it (motionhub/hub/live.py)."""
_TOLD = Telemetry(7800, Faults(0), Activity.FOLLOWING, ResetCause.POWER, 900, 60, 0, 0)


@dataclass(frozen=True)
class Sent:
    """What a run of frames took."""

    sizes: NDArray[np.int64]
    """(T,) bytes that went to the robot in each tick, all in."""
    back: int
    """Bytes that came back, all in."""
    taken: float
    """Of the frames, the share that the robot took."""
    thinned: float
    """Of the ticks, the share in which every second frame was being left out."""
    together: float
    """Frames in a packet, on average over the ticks."""


def send(
    robot: Robot,
    pulses: NDArray[np.float64],
    outputs: NDArray[np.float64],
    round_trip_s: float = 0.0,
    lost: float = 0.0,
    seed: int = 1,
) -> Sent:
    """Send frames, pulses (T, J) in µs and outputs (T, O), over a radio of this round trip and loss each way."""
    calibration = Calibration.default(robot)
    low, high = (tuple(map(int, ends)) for ends in (np.ceil(calibration.low_us), np.floor(calibration.high_us)))
    hub, there = LinkSession(robot, 7), Receiver(low, high, len(robot.outputs))
    chance = random.Random(seed)
    out: deque[tuple[float, bytes]] = deque()
    back: deque[tuple[float, bytes]] = deque()
    sizes, frames, returned, thin, together = [], 0, 0, 0, 0
    for tick in range(-BEFORE, len(pulses)):
        now = tick * TICK_S
        arrived: list[tuple[float, bytes]] = []
        while out and out[0][0] <= now:
            arrived.append(out.popleft())
        # Besides what arrives the robot looks once a period whether anything is due.
        for at, data in [*arrived, (now, b"")]:
            found = there.receive(data, round((at + BEFORE) * 1000))
            frames += len(found) if tick >= 0 else 0
            answer = there.answer(round((at + BEFORE) * 1000), lambda: _TOLD)
            returned += len(answer) if tick >= 0 else 0
            if answer and not (tick >= 0 and chance.random() < lost):
                back.append((at + round_trip_s / 2, answer))
        while back and back[0][0] < now - AHEAD_S:
            at, answer = back.popleft()
            hub.receive(answer, at)
        row = max(tick, 0)
        hub.tick(now)
        data = hub.send_frame(pulses[row], outputs[row], now)
        if data and not (tick >= 0 and chance.random() < lost):
            out.append((now + round_trip_s / 2, data))
        if tick >= 0:
            status = hub.status(now)
            sizes.append(len(data))
            thin += status.thinned
            together += status.together
    count = max(len(pulses), 1)
    return Sent(np.array(sizes), returned, frames / count, thin / count, together / count)
