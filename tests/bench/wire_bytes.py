"""Bytes per frame on the wire, all in, over every shipped move and a drive; beside other ways of coding."""

from __future__ import annotations

import zlib
from collections.abc import Callable

import msgpack
import numpy as np

from motionhub.library.shipped import shipped_folder
from motionhub.library.store import Library
from motionhub.link.coder import frame_bytes
from motionhub.motion.render import render
from motionhub.robot import description
from motionhub.robot.calibration import Calibration

from . import Result

RATE_HZ = 50.0


def measure(say: Callable[[str], None]) -> Result:
    """Means over all frames; the reference is raw 16-bit pulses without any framing."""
    robot = description.load(shipped_folder() / "robots" / "tansy.toml")
    calibration = Calibration.default(robot)
    library = Library(shipped_folder(), shipped_folder(), robot)
    moves = []
    for name in library.names():
        if library.kind(name) == "sequence":
            say(name)
            moves.append(calibration.pulses(robot, render(library.sequence(name), robot, RATE_HZ).joints))
    coder = frame_bytes(robot, calibration, RATE_HZ)
    ours = np.concatenate([coder(pulses) for pulses in moves])
    pulses = np.rint(np.concatenate(moves)).astype(np.int64)
    packed = [len(msgpack.packb(row)) for row in pulses.tolist()]
    squeezer = zlib.compressobj(9)
    squeezed = [
        len(squeezer.compress(row.astype("<u2").tobytes()) + squeezer.flush(zlib.Z_SYNC_FLUSH)) for row in pulses
    ]
    raw = 2.0 * robot.joints
    mean = float(ours.mean())
    return Result(
        "wire-bytes",
        {
            "frame, all in, mean": (mean, "bytes"),
            "frame, all in, largest": (float(ours.max()), "bytes"),
            "at 50 frames a second": (mean * RATE_HZ, "bytes/s"),
            "the radio's budget": (robot.link.baud / 10 * robot.link.share, "bytes/s"),
            "MessagePack of the pulses": (float(np.mean(packed)), "bytes"),
            "zlib, flushed per frame": (float(np.mean(squeezed)), "bytes"),
            "order-0 entropy of first differences": (_entropy(moves, 1) * robot.joints / 8, "bytes"),
            "order-0 entropy of second differences": (_entropy(moves, 2) * robot.joints / 8, "bytes"),
        },
        ("raw 16-bit pulses, unframed", raw, "bytes"),
        mean / raw,
    )


def _entropy(moves: list[np.ndarray], order: int) -> float:
    """Bits per joint and frame, if each difference were coded by itself with a perfect table."""
    differences = np.concatenate([np.diff(np.rint(move), n=order, axis=0).ravel() for move in moves])
    _, counts = np.unique(differences, return_counts=True)
    share = counts / counts.sum()
    return float(-(share * np.log2(share)).sum())
