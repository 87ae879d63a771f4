"""What the emulated chip did, done again by the simulated robot: the same bytes at the same times; both compared."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
from chip import PERIOD, US, Chip, Doing, measured

from motionhub.link.keeper import Memory
from motionhub.link.simulated import SimulatedRobot

WITHIN = 2 * US
"""Every pulse, against what was commanded."""


class Twin:
    """A simulated robot that is given what a chip was given. Made when the chip has just been switched on.

    Args:
        chip: Which to follow.
        chip_said: The bytes that it sends; may grow from one :meth:`follow` to the next.
    """

    def __init__(self, chip: Chip, chip_said: bytearray) -> None:
        self.chip, self.chip_said = chip, chip_said
        program = chip.program
        memory = Memory()
        memory.bytes[:] = chip.eeprom
        self.robot = SimulatedRobot(program.robot, program.calibration, memory=memory)
        self.battery = SimpleNamespace(volts=0.0)
        self.robot.plant = SimpleNamespace(
            battery=self.battery, joints=np.zeros(program.robot.joints), step=lambda *_: None
        )  # type: ignore[assignment]
        self.taken = 0
        self.heard = bytearray()
        self.said = bytearray()
        self.activities: list[int] = []
        self.pulses: list[tuple[int, ...]] = []
        self.ticked_at: list[int] = []
        self._was = Doing.STARTING
        self._edges: list[np.ndarray] = []
        self._issues: list[np.ndarray] = []

    def follow(self) -> None:
        """Do again what the chip did since this was last called; the two have said and decided the same."""
        chip = self.chip
        self._issues.append(chip.issues())
        self._edges.append(chip.edges())
        self.heard += chip.heard()
        before = len(self.pulses)
        for mark in chip.marks():
            self._do(mark)
        done = self.pulses[before:]
        issued = self._issues[-1]
        assert len(done) == len(issued)
        for wanted, activity, made in zip(done, self.activities[before:], issued, strict=True):
            assert tuple(made["pulses"]) == wanted
            assert made["activity"] == activity
        # What it says takes its time on the wire.
        assert self.said.startswith(self.chip_said)
        assert len(self.said) - len(self.chip_said) < 128

    def _do(self, mark: np.void) -> None:
        doing, now = Doing(mark["doing"]), int(mark["now_ms"]) / 1000
        robot = self.robot
        if doing in (Doing.TAKING, Doing.TICKING):
            self._was = doing
        elif doing == Doing.ANSWERING and self._was == Doing.TAKING:
            count = (int(mark["bytes"]) - self.taken) % 65536
            data = bytes(self.heard[self.taken : self.taken + count])
            self.taken += count
            self.said += robot.receive(data, now)
        elif doing == Doing.ANSWERING:
            self.battery.volts = int(mark["mv"]) / 1000
            robot._started, robot._next = True, now
            self.said += robot.advance(now)
            self.pulses.append(tuple(robot.controller.pulses))
            self.activities.append(int(robot.controller.activity))
            self.ticked_at.append(int(mark["cycle"]))
        elif doing == Doing.DONE:
            robot.note_loop(int(mark["loop_us"]) / 1e6)

    def compare_edges(self) -> np.ndarray:
        """Every pulse that left the chip is the one that the simulated robot issued; errors in µs."""
        issues, edges = np.concatenate(self._issues), np.concatenate(self._edges)
        starts, widths = measured(edges, issues, self.chip.robot.joints)
        wanted = np.array(self.pulses)
        # The last period or two are not over yet.
        over = issues["cycle"] < self.chip.cycle - 2 * PERIOD
        wanted, widths, starts = wanted[over], widths[over], starts[over]
        assert ((widths > 0) == (wanted > 0)).all()
        error = widths - wanted * US
        assert (np.abs(error[wanted > 0]) < WITHIN).all()
        assert (np.rint(widths / US) == wanted).all()
        return error[wanted > 0] / US
