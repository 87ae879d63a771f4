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

from motionhub.link import coder
from motionhub.link.controller import PERIOD_S, Controller, Settings
from motionhub.link.plant import Plant, lowered_joints
from motionhub.link.receiver import Receiver
from motionhub.link.wire import Activity, Faults, Frame, ResetCause, Telemetry
from motionhub.motion.posing import rest_joints
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

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


def whole(pulses: Array) -> tuple[int, ...]:
    """Pulses as the wire and the chip have them: whole microseconds."""
    return tuple(int(p) for p in np.rint(pulses))


def settings(robot: Robot, calibration: Calibration) -> Settings:
    """What the controller needs to know of its robot; the same numbers go into the firmware."""
    supply = robot.supply
    return Settings(
        low=whole(calibration.low_us),
        high=whole(calibration.high_us),
        rest=whole(calibration.pulses(robot, rest_joints(robot))),
        lowered=whole(calibration.pulses(robot, lowered_joints(robot))),
        quiet=round(robot.controller.quiet_s / PERIOD_S),
        cut_off=round(robot.controller.cut_off_s / PERIOD_S),
        warn_mv=round(supply.battery_warn_v * 1000),
        cut_off_mv=round(supply.battery_cut_off_v * 1000),
        silenced=tuple(output.kind == "sounder" for output in robot.outputs),
    )


class SimulatedRobot:
    """A robot at the far end of a wire. Not thread-safe.

    Args:
        robot: What it is.
        calibration: How its servos sit; the hub's must be the same for poses to come out right.
        boot: Differs from one power-up to the next; new sessions are numbered from it.
        charge: Share of the battery's capacity to begin with.

    Raises:
        InputError: if the robot has more joints than a packet has room for.
    """

    def __init__(self, robot: Robot, calibration: Calibration, boot: int = 0, charge: float = 1.0) -> None:
        coder.require_room(robot)
        self.robot = robot
        self.calibration = calibration
        self.settings = settings(robot, calibration)
        self.plant = Plant(robot, charge)
        self.decoded: deque[Decoded] = deque(maxlen=LOGGED)
        self.issued: deque[Issued] = deque(maxlen=LOGGED)
        self._boot = boot
        self.reset(ResetCause.POWER)

    def reset(self, cause: ResetCause) -> None:
        """Start the controller anew, as after power-up or a watchdog; the machine stays as it is."""
        self._boot += 1000
        self.cause = cause
        self.controller = Controller(self.settings)
        self.receiver = Receiver(self.settings.low, self.settings.high, len(self.robot.outputs), self._boot, int(cause))
        self._started: float | None = None
        self._next = 0.0
        self._worst_loop_s = 0.0
        self._refused = 0

    @property
    def joints(self) -> Array:
        """Where the joints really are, (J,) rad."""
        return self.plant.joints

    def receive(self, data: bytes, now: float) -> bytes:
        """Take bytes from the wire; returns what goes back at once."""
        for taken in self.receiver.receive(data, now):
            self.decoded.append(Decoded(now, taken.number, taken.frame))
            self.controller.command(taken.frame, taken.ticks)
        return self.receiver.answer(now, lambda: self._telemetry(now))

    def advance(self, now: float) -> bytes:
        """Let time pass up to ``now``, one servo period after another; returns what is due to the hub."""
        if self._started is None:
            self._started = self._next = now
        while self._next <= now + 1e-9:
            self._period(self._next)
            self._next += PERIOD_S
        return self.receiver.answer(now, lambda: self._telemetry(now))

    def skip(self, now: float) -> None:
        """Leave out the time up to ``now``, as after the computer slept; nothing moved meanwhile."""
        if self._started is not None:
            self._started += max(now - self._next, 0.0)
            self._next = max(self._next, now)

    def note_loop(self, seconds: float) -> None:
        """Tell how long one round of the loop around this object took, for telemetry."""
        self._worst_loop_s = max(self._worst_loop_s, seconds)

    def _period(self, at: float) -> None:
        controller = self.controller
        controller.period(round(self.plant.battery.volts * 1000))
        pulses = np.array(controller.pulses, dtype=np.float64)
        on = pulses > 0
        wanted = self.calibration.angles(self.robot, pulses)
        # A servo without a pulse has nothing to want, so it wants where it is.
        wanted = np.where(on, wanted, self.plant.joints)
        self.plant.step(wanted, on, np.array(controller.outputs) / 255, PERIOD_S)
        self.issued.append(Issued(at, tuple(controller.pulses), controller.activity))

    def _telemetry(self, now: float) -> Telemetry:
        faults = self.controller.faults
        if self.receiver.refused != self._refused:
            faults |= Faults.REFUSED_PULSE
            self._refused = self.receiver.refused
        worst, self._worst_loop_s = self._worst_loop_s, 0.0
        return Telemetry(
            battery_mv=self.controller.battery_mv,
            faults=faults,
            activity=self.controller.activity,
            reset_cause=self.cause,
            worst_loop_us=round(worst * 1e6),
            uptime_s=0 if self._started is None else int(now - self._started),
            damaged=self.receiver.damaged,
            late=self.receiver.late,
        )
