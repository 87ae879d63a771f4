"""What a bring-up has under its hands: the course, and the bench that its pulses come from."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from motionhub.hub.bringup.bench import Bench
from motionhub.hub.bringup.course import Course
from motionhub.hub.bringup.view import BringupView, view
from motionhub.library.notebook import Notebook
from motionhub.link.controller import easing_s
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

Array = NDArray[np.float64]
Angles = Mapping[int, float]
"""rad by joint."""


def at_once(robot: Robot) -> int:
    """How many servos may have raw pulses at a time: as many as the regulator gives their stall current, or a leg's."""
    stall = max(float(servo.current(1e9, 0.0, robot.supply.regulator_v)) for servo in robot.servos)
    return max(3, int(robot.supply.regulator_a / stall))


class Workbench:
    """Raw pulses by connector, or angles by joint that follow the calibration when it changes.

    Args:
        robot: The robot.
        calibration: What is known of it.
        dt: Seconds a tick.
        starts: See :class:`~motionhub.hub.bringup.bench.Bench`.
        notebook: What was answered before.
    """

    def __init__(
        self,
        robot: Robot,
        calibration: Calibration,
        dt: float,
        starts: Callable[[], Array],
        notebook: Notebook | None = None,
    ) -> None:
        self._robot = robot
        self._calibration = calibration
        self.course = Course(robot, calibration, notebook)
        # What calibration the robot itself rests by is not always known, so it may start anywhere.
        travel = max(high - low for low, high in (servo.pulse_us for servo in robot.servos))
        self.bench = Bench(robot.us_per_rad, dt, easing_s(travel), starts)
        self._angles: Angles = {}
        self._was_still = True

    def use(self, calibration: Calibration) -> None:
        """From now on this is the calibration; what is held at an angle goes to where that is now."""
        self._calibration = self.course.calibration = calibration
        if self._angles:
            self.hold_angles(self._angles)

    def hold_angles(self, angles: Angles, then: Sequence[Angles] = ()) -> None:
        """These joints to these angles, one after another of ``then`` after that; all others have no pulse."""
        first, *rest = [self._pulses(each) for each in (angles, *then)]
        self.bench.hold(first, rest)
        self._was_still = False  # as it is told at once; that it is there may be true one tick later
        self._angles = dict(then[-1] if then else angles)

    def hold_pulses(self, pulses: Mapping[int, float], then: Sequence[Mapping[int, float]] = ()) -> None:
        """These connectors to these pulses, µs; all others have none."""
        self._angles = {}
        self.bench.hold(pulses, then)
        self._was_still = False

    def freeze(self) -> None:
        """What has a pulse stays where it is."""
        self._angles = {}
        self.bench.freeze()

    def clear(self) -> None:
        """Nothing has a pulse; what comes back does so because somebody asked for it."""
        self.hold_pulses({})

    def step(self, joints: Array) -> tuple[Array, Array]:
        """The next tick.

        Args:
            joints: (J,) rad, where joints without a pulse are taken to be.

        Returns:
            Pulses (J,) in µs, whole, 0 for none; and where the joints are as far as the pulses say, (J,) rad.
        """
        pulses = np.rint(self.bench.step())
        on = self._calibration.by_joint(pulses) > 0
        known = self._calibration.angles(self._robot, np.where(pulses > 0, pulses, 1.0))
        return pulses, np.clip(np.where(on, known, joints), self._robot.lower, self._robot.upper)

    def view(self) -> BringupView:
        """How the bring-up stands."""
        names, known = self._robot.joint_names, self._calibration
        return replace(
            view(self.course),
            held=tuple((names[known.joint_at[at]], pulse) for at, pulse in sorted(self.bench.wanted.items())),
            still=self.bench.still,
            at_once=at_once(self._robot),
        )

    @property
    def turned(self) -> bool:
        """Whether the bench has begun or ended to move since this was asked last."""
        was, self._was_still = self._was_still, self.bench.still
        return was != self._was_still

    def _pulses(self, angles: Angles) -> dict[int, float]:
        known = self._calibration
        joints = self._robot.mid.copy()
        for joint, angle in angles.items():
            joints[joint] = angle
        low, high = known.by_connector(np.ceil(known.low_us)), known.by_connector(np.floor(known.high_us))
        pulses = np.clip(np.rint(known.pulses(self._robot, joints)), low, high)
        return {known.connector[joint]: float(pulses[known.connector[joint]]) for joint in angles}
