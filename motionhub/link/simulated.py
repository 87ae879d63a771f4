"""The simulated robot: receiver, controller and machine in one object that knows only bytes and the time.

It is a twin of the firmware on a robot: the same bytes, the same decisions, a servo's slowness and a
battery's sag. Give it bytes with :meth:`SimulatedRobot.receive` and let time pass with
:meth:`SimulatedRobot.advance`; both return what it has to say.
"""

from __future__ import annotations

from collections import deque
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motionhub.link import coder, kept
from motionhub.link.controller import PERIOD_S, Controller, Settings
from motionhub.link.keeper import Keeper, Memory
from motionhub.link.kept import Limits
from motionhub.link.plant import Plant
from motionhub.link.receiver import Receiver
from motionhub.link.wire import Activity, Faults, Frame, ResetCause, Telemetry
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

PERIODS_A_SECOND = round(1 / PERIOD_S)
LOGGED = 20_000
"""Frames and pulses remembered: more than six minutes at 50 a second."""


@dataclass(frozen=True)
class Decoded:
    """A frame that the robot took, and when."""

    now: float
    number: int
    frame: Frame


@dataclass(frozen=True)
class Issued:
    """The pulses of one servo period, µs, and the time at which it began."""

    now: float
    pulses: tuple[int, ...]
    activity: Activity


BETWEEN_STARTS = 40503
"""Odd, so that 65,536 starts begin with session numbers that all differ, and far apart: a start uses a few on."""
SLOW_LOOP_US = 20_000
"""A loop that takes longer than a servo period is told as a fault."""


def settings(robot: Robot, limits: Limits, battery_scale: float = 1.0) -> Settings:
    """What the controller needs to know of its robot; the same numbers go into the firmware.

    Its thresholds are in volts as it reads them itself, of which each is worth ``battery_scale``.
    """
    supply = robot.supply
    return Settings(
        low=limits.low,
        high=limits.high,
        rest=limits.rest,
        lowered=limits.lowered,
        quiet=round(robot.controller.quiet_s / PERIOD_S),
        cut_off=round(robot.controller.cut_off_s / PERIOD_S),
        warn_mv=round(supply.battery_warn_v * 1000 / battery_scale),
        cut_off_mv=round(supply.battery_cut_off_v * 1000 / battery_scale),
        silenced=tuple(output.kind == "sounder" for output in robot.outputs),
        warns=tuple(output.low_battery for output in robot.outputs),
    )


class SimulatedRobot:
    """A robot at the far end of a wire. Not thread-safe.

    Args:
        robot: What it is.
        calibration: How its servos sit, and what its program was exported with; the hub's must be the same for
            poses to come out right.
        boot: How often it has started before, in a memory of its own.
        charge: Share of the battery's capacity to begin with.
        memory: What is left of an earlier robot's life; ``boot`` is then in it.

    Raises:
        InputError: if the robot has more joints than a packet has room for.
    """

    def __init__(
        self,
        robot: Robot,
        calibration: Calibration,
        boot: int = 0,
        charge: float = 1.0,
        memory: Memory | None = None,
    ) -> None:
        coder.require_room(robot)
        self.robot = robot
        self.calibration = calibration
        self._export = kept.export(robot, calibration)
        self.memory = Memory(boots=boot) if memory is None else memory
        self.plant = Plant(robot, charge)
        self.shows = 1.0
        """V that its divider makes of each volt of the battery: 0.96 for resistors that are 4 % off."""
        self.decoded: deque[Decoded] = deque(maxlen=LOGGED)
        self.issued: deque[Issued] = deque(maxlen=LOGGED)
        self._start(ResetCause.POWER)

    def reset(self, cause: ResetCause) -> None:
        """Start the controller anew, as after power-up or a watchdog; the machine stays as it is."""
        before = self.controller
        self._start(cause)
        if cause == ResetCause.WATCHDOG:
            self.controller.resume(before.activity, before.pulses)

    def _start(self, cause: ResetCause) -> None:
        boots = self.memory.count_start()
        self.cause = cause
        self.keeper = Keeper(self._export, self.memory)
        limits = self.keeper.limits
        self.controller = Controller(settings(self.robot, limits, self.calibration.battery_scale))
        self.receiver = Receiver(
            limits.low, limits.high, len(self.robot.outputs), boots * BETWEEN_STARTS, int(cause), self.keeper
        )
        self._started = False
        self._next = 0.0
        self._periods = 0
        self._worst_loop_s = 0.0
        self._refused = 0

    @property
    def joints(self) -> Array:
        """Where the joints really are, (J,) rad."""
        return self.plant.joints

    def receive(self, data: bytes, now: float) -> bytes:
        """Take bytes from the wire; returns what goes back at once."""
        for taken in self.receiver.receive(data, _ms(now)):
            self.decoded.append(Decoded(now, taken.number, taken.frame))
            self.controller.command(taken.frame, taken.ticks, taken.first)
        return self.receiver.answer(_ms(now), self._telemetry)

    def advance(self, now: float) -> bytes:
        """Let time pass up to ``now``, one servo period after another; returns what is due to the hub."""
        if not self._started:
            self._started, self._next = True, now
        while self._next <= now + 1e-9:
            self._period(self._next)
            self._next += PERIOD_S
        return self.receiver.answer(_ms(now), self._telemetry)

    def skip(self, now: float) -> None:
        """Leave out the time up to ``now``, as after the computer slept; nothing moved meanwhile."""
        if self._started:
            self._next = max(self._next, now)

    def note_loop(self, seconds: float) -> None:
        """Tell how long one round of the loop around this object took, for telemetry."""
        self._worst_loop_s = max(self._worst_loop_s, seconds)

    def _period(self, at: float) -> None:
        controller = self.controller
        waiting = self.keeper.period()
        if waiting is not None and controller.suits(waiting):
            self.keeper.use()
            controller.use(waiting)
            self.receiver.use(waiting.low, waiting.high)
        controller.period(round(self.plant.battery.volts * self.shows * 1000))
        self._periods += 1
        pulses = np.array(controller.pulses, dtype=np.float64)
        on = pulses > 0
        wanted = self.calibration.angles(self.robot, pulses)
        # A servo without a pulse has nothing to want, so it wants where it is.
        wanted = np.where(on, wanted, self.plant.joints)
        self.plant.step(wanted, on, np.array(controller.outputs) / 255, PERIOD_S)
        self.issued.append(Issued(at, tuple(controller.pulses), controller.activity))

    def _telemetry(self) -> Telemetry:
        faults = self.controller.faults
        if self.receiver.refused != self._refused:
            faults |= Faults.REFUSED_PULSE
            self._refused = self.receiver.refused
        if self.keeper.damaged:
            faults |= Faults.CALIBRATION
        worst, self._worst_loop_s = round(self._worst_loop_s * 1e6), 0.0
        if worst > SLOW_LOOP_US:
            faults |= Faults.SLOW_LOOP
        return Telemetry(
            battery_mv=self.controller.battery_mv,
            faults=faults,
            activity=self.controller.activity,
            reset_cause=self.cause,
            worst_loop_us=worst,
            uptime_s=self._periods // PERIODS_A_SECOND,
            damaged=self.receiver.damaged,
            late=self.receiver.late,
        )


def _ms(now: float) -> int:
    return round(now * 1000)
