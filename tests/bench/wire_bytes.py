"""Bytes per frame on the wire, all in, over every shipped move and a drive; beside other ways of coding."""

from __future__ import annotations

import dataclasses
import zlib
from collections.abc import Callable, Iterable

import msgpack
import numpy as np
from numpy.typing import NDArray

from motionhub.hub import commands
from motionhub.hub.core import Hub
from motionhub.library.shipped import shipped_folder
from motionhub.library.store import Library
from motionhub.link.coder import ROUND_TRIP_S
from motionhub.motion.render import render
from motionhub.robot import description
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

from . import Result
from .driving import at_rest
from .radio import Sent, send

RATE_HZ = 50.0
SLOW, FAST = 9600, 57600
"""Baud: where hobby radios start, and one that carries every frame by itself."""
LOST = 0.05
AIM, AIM_WITH_LOSS, AIM_WORST = 12.0, 15.0, 14.4
"""Bytes a frame: on average, on average over a bad radio, and in any second (9600 baud less a quarter)."""
STICK = [
    (1.0, (0.0, 0.0, 0.0)),
    (6.0, (1.0, 0.0, 0.0)),
    (4.0, (1.0, 0.0, 0.5)),
    (4.0, (0.4, 0.0, 0.0)),
    (3.0, (0.0, 0.0, 0.0)),
    (4.0, (0.0, 1.0, 0.0)),
    (3.0, (0.0, -0.6, 0.0)),
    (5.0, (0.0, 0.0, 1.0)),
    (3.0, (0.0, 0.0, -1.0)),
    (5.0, (-1.0, 0.0, 0.0)),
    (4.0, (0.7, 0.7, 0.0)),
    (3.0, (0.0, 0.0, 0.0)),
]
"""Seconds, and forward, left and turn: a driver who tries everything once."""

Run = tuple[NDArray[np.float64], NDArray[np.float64]]
"""Pulses (T, J) in µs and outputs (T, O)."""


def measure(say: Callable[[str], None]) -> Result:
    """Means over all frames; the reference is raw 16-bit pulses without any framing."""
    robot = description.load(shipped_folder() / "robots" / "tansy.toml")
    moves = _moves(robot, say)
    say("a drive")
    drive = driven(robot)
    runs = [*moves, drive]
    figures: dict[str, tuple[float, str]] = {}
    say(f"{SLOW} baud, no delay")
    figures |= _sums("9600 baud, no delay", [send(_at(robot, SLOW), *run) for run in runs])
    say(f"{SLOW} baud, 60 ms")
    figures |= _sums("9600 baud, 60 ms", slow := [send(_at(robot, SLOW), *run, ROUND_TRIP_S) for run in runs])
    figures["the moves alone, 9600 baud, 60 ms, mean"] = (_mean(slow[:-1]), "bytes")
    figures["the drive alone, 9600 baud, 60 ms, mean"] = (_mean(slow[-1:]), "bytes")
    figures["frames in a packet, 9600 baud, 60 ms"] = (_over(slow, lambda s: s.together), "frames")
    figures["frames left out, 9600 baud, 60 ms"] = (50 * _over(slow, lambda s: s.thinned), "%")
    figures["back from the robot, 9600 baud, 60 ms"] = (
        _over(slow, lambda s: s.back / len(s.sizes)) * RATE_HZ,
        "bytes/s",
    )
    say(f"{SLOW} baud, 60 ms, 5 % lost each way")
    lossy = [send(_at(robot, SLOW), *run, ROUND_TRIP_S, LOST) for run in runs]
    figures |= _sums("9600 baud, 60 ms, 5 % lost", lossy)
    figures["frames taken, 9600 baud, 60 ms, 5 % lost"] = (100 * _over(lossy, lambda s: s.taken), "%")
    say(f"{FAST} baud, 60 ms")
    figures |= _sums("every frame by itself, 60 ms", [send(_at(robot, FAST), *run, ROUND_TRIP_S) for run in runs])
    mean = figures["9600 baud, 60 ms, mean"][0]
    raw = 2.0 * robot.joints
    figures |= _others([pulses for pulses, _ in runs], robot.joints)
    aims = {
        "9600 baud, no delay, mean": AIM,
        "9600 baud, 60 ms, mean": AIM,
        "9600 baud, 60 ms, 5 % lost, mean": AIM_WITH_LOSS,
        "9600 baud, 60 ms, worst second": AIM_WORST,
        "9600 baud, 60 ms, 5 % lost, worst second": AIM_WORST,
    }
    return Result("wire-bytes", figures, ("raw 16-bit pulses, unframed", raw, "bytes"), mean / raw, aims)


def _at(robot: Robot, baud: int) -> Robot:
    return dataclasses.replace(robot, link=dataclasses.replace(robot.link, baud=baud))


def _moves(robot: Robot, say: Callable[[str], None]) -> list[Run]:
    calibration = Calibration.default(robot)
    library = Library(shipped_folder(), shipped_folder(), robot)
    found = []
    for name in library.names():
        if library.kind(name) == "sequence":
            say(name)
            frames = render(library.sequence(name), robot, RATE_HZ)
            pulses = np.rint(calibration.pulses(robot, frames.joints))
            found.append((pulses, np.nan_to_num(frames.outputs)))
    return found


def driven(robot: Robot) -> Run:
    """What the hub sends while somebody drives with a thumb that takes a fifth of a second to get anywhere."""
    hub = Hub(robot, Calibration.default(robot))
    now = at_rest(hub)
    stick, rows = np.zeros(3), []
    for seconds, wanted in STICK:
        for _ in range(round(seconds * RATE_HZ)):
            now += 1 / RATE_HZ
            stick = stick + np.clip(np.array(wanted) - stick, -0.1, 0.1)
            hub.handle("bench", commands.Drive(*stick.tolist()) if stick.any() else commands.Ping(), now)
            tick = hub.tick(now)
            assert tick.pulses is not None, "expected it not to go limp while it is driven"
            rows.append(tick.pulses)
    return np.array(rows), np.zeros((len(rows), len(robot.outputs)))


def _over(sent: Iterable[Sent], what: Callable[[Sent], float]) -> float:
    """A figure of every run, averaged by their frames."""
    every = list(sent)
    return sum(what(each) * len(each.sizes) for each in every) / sum(len(each.sizes) for each in every)


def _mean(sent: Iterable[Sent]) -> float:
    return _over(sent, lambda each: float(each.sizes.mean()))


def _sums(label: str, sent: list[Sent]) -> dict[str, tuple[float, str]]:
    window = round(RATE_HZ)
    worst = max(float(np.convolve(each.sizes, np.ones(window), "valid").max()) / window for each in sent)
    return {f"{label}, mean": (_mean(sent), "bytes"), f"{label}, worst second": (worst, "bytes")}


def _others(moves: list[NDArray[np.float64]], joints: int) -> dict[str, tuple[float, str]]:
    pulses = np.concatenate(moves).astype(np.int64)
    packed = [len(msgpack.packb(row)) for row in pulses.tolist()]
    squeezer = zlib.compressobj(9)
    squeezed = [
        len(squeezer.compress(row.astype("<u2").tobytes()) + squeezer.flush(zlib.Z_SYNC_FLUSH)) for row in pulses
    ]
    return {
        "MessagePack of the pulses": (float(np.mean(packed)), "bytes"),
        "zlib, flushed per frame": (float(np.mean(squeezed)), "bytes"),
        "order-0 entropy of first differences": (_entropy(moves, 1) * joints / 8, "bytes"),
        "order-0 entropy of second differences": (_entropy(moves, 2) * joints / 8, "bytes"),
    }


def _entropy(moves: list[NDArray[np.float64]], order: int) -> float:
    """Bits per joint and frame, if each difference were coded by itself with a perfect table."""
    differences = np.concatenate([np.diff(np.rint(move), n=order, axis=0).ravel() for move in moves])
    _, counts = np.unique(differences, return_counts=True)
    share = counts / counts.sum()
    return float(-(share * np.log2(share)).sum())
