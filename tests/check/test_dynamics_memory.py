"""What a check keeps and needs in passing, per frame: a routine of two hours has to fit in a gigabyte."""

import tracemalloc

import numpy as np
from stances import frames, posed, standing

from motionhub.check.report import check
from motionhub.robot.model import Robot

TWO_HOURS = 2 * 3600 * 50
LARGEST = 1e9


def test_two_hours_need_less_than_a_gigabyte(tansy: Robot) -> None:
    """From how the most that is held at once grows between two lengths; the frames themselves come on top."""
    turn = np.linspace(0, 2 * np.pi, 1500, endpoint=False)[:, None]
    body = np.array([0.01, 0.01, 0.005, 0.03, 0.03, 0.05]) * np.sin(turn * [3, 5, 2, 4, 7, 1])
    once = posed(tansy, standing(tansy, len(turn)), body)
    check(frames(tansy, once))  # what is worked out once for a robot
    most = []
    for times in (2, 6):
        move = frames(tansy, np.tile(once, (times, 1)))
        tracemalloc.start()
        check(move, frame_bytes=lambda pulses: np.full(len(pulses), 40.0))
        most.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    per_frame = (most[1] - most[0]) / (4 * len(once))
    assert most[0] + per_frame * TWO_HOURS + TWO_HOURS * tansy.joints * 8 < LARGEST
    assert per_frame > tansy.joints * 8  # or nothing was measured
