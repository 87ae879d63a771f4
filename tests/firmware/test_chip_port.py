"""The hub plays shipped moves to the emulated chip over a real port, in real time: the code of ``motionhub play``."""

from __future__ import annotations

import os
from typing import Any

import numpy as np
import pytest
from chip import shown
from chip_twin import Twin
from chip_wire import Wire

from motionhub.cli.play import perform
from motionhub.hub.live import Show
from motionhub.library.shipped import shipped_folder
from motionhub.library.store import Library
from motionhub.link.coder import make_frame
from motionhub.link.ports import open_port
from motionhub.link.session import LinkSession
from motionhub.link.wire import Activity
from motionhub.motion.render import render

pytestmark = pytest.mark.alone

MOVES = os.environ.get("MOTIONHUB_CHIP_PORT_MOVES", "bow").split(",")
"""Shipped sequences to play; all of them, in groups, for the whole proof."""


@pytest.mark.parametrize("name", MOVES)
async def test_a_shipped_move_arrives_pulse_for_pulse_as_the_hub_meant_it(
    boards, tmp_path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    program = boards.program("tansy")
    robot, calibration = program.robot, program.calibration
    library = Library(tmp_path, shipped_folder(), robot)
    frames = render(library.sequence(name), robot)
    meant: dict[tuple[int, int], Any] = {}
    send = LinkSession.send_frame

    def noting(self: LinkSession, pulses: Any, outputs: Any, now: float) -> bytes:
        before = self.number
        data = send(self, pulses, outputs, now)
        if self.number == before + 1:
            meant[self._session, self.number] = make_frame(pulses, outputs)
        return data

    monkeypatch.setattr(LinkSession, "send_frame", noting)
    chip = boards.switch_on(program)
    with Wire(chip) as wire:
        twin = Twin(chip, wire.said)
        assert await perform(Show(robot, calibration, library, open_port(wire.port, robot, calibration)), frames) == 0
    twin.follow()
    error = twin.compare_edges()

    sessions = {session for session, _ in meant}
    assert len(sessions) == 1, "the link held"
    session = sessions.pop()
    for decoded in twin.robot.decoded:
        assert decoded.frame == meant[session, decoded.number]
    # The move itself: what was rendered is what the hub meant, frame after frame, and what the robot was told.
    wanted = [tuple(int(v) for v in np.rint(p)) for p in calibration.pulses(robot, frames.joints)]
    sent = [meant[session, number].pulses for number in sorted(n for _, n in meant)]
    at = next(i for i in range(len(sent) - len(wanted) + 1) if sent[i : i + len(wanted)] == wanted)
    arrived = {decoded.number for decoded in twin.robot.decoded}
    missing = [number for number in range(at + 1, at + 1 + len(wanted)) if number not in arrived]
    # Two clocks: in a period in which two frames came the second counts, and in one in which none came the last stays.
    issued = set(twin.pulses)
    following = np.array(twin.activities) == Activity.FOLLOWING
    shown(
        [
            (name, f"{len(wanted)} frames meant, {len(missing)} of them lost on the way"),
            ("issued as they were meant", f"{sum(pulses in issued for pulses in wanted)} of {len(wanted)}"),
            ("periods that followed", f"{following.sum()}; the emulator left out {wire.left_out_s:.1f} s"),
            ("width, off", f"{error.min():+.3f} to {error.max():+.3f} µs over {len(error)} pulses"),
        ]
    )
    assert not missing
    assert wire.left_out_s == 0
    told = set(sent)
    strays = {pulses for pulses, on in zip(twin.pulses, following, strict=True) if on and pulses not in told}
    # Between frames only where their numbers show that a tick's was left out.
    numbers = [decoded.number for decoded in twin.robot.decoded]
    assert not strays or (np.diff(numbers) > 1).any()
