"""How the driver wants it to step: by which gait, and how high. Kept from one walk to the next."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from motionhub.hub.bearing import Bearing
from motionhub.hub.effort import Effort, Given, effort_of
from motionhub.motion.gait import default_gait, gaits
from motionhub.motion.manner import Manner, manner_of
from motionhub.robot.model import Robot

LOWEST = 0.005
"""m: a foot that is lifted by less drags over what lies on any floor."""
HIGHER = 1.5
"""Times the robot's own lift: the highest that is offered."""
RECOVERS_V = 0.005
"""Per reading, of which there are some ten a second: how fast a voltage that was read is forgotten."""
NOTED_V = 0.1
"""What the battery gives is asked anew when its voltage has changed by more than this."""


class Steps:
    """The driver's choice, and what it comes to.

    Args:
        robot: The robot.
        dt: Seconds a tick.
    """

    def __init__(self, robot: Robot, dt: float) -> None:
        self._robot, self._dt = robot, dt
        self._gaits = gaits(robot)
        self.gait = default_gait(robot).name
        self.lift: float | None = None
        """m; the gait's own when None."""
        self.leads = True
        """Whether a head that its file says so of turns ahead of the body."""
        self._battery_v: float | None = None
        self._rested: float | None = None
        self._effort: Effort | None = None
        self._choose()

    @property
    def names(self) -> tuple[str, ...]:
        """Of the gaits that there are."""
        return tuple(self._gaits)

    @property
    def cycle_s(self) -> float:
        """One step of every leg, in seconds."""
        return self.manner.timing.cycle * self._dt

    def by(self, gait: str) -> None:
        """Walk by this gait from now on; one of :attr:`names`."""
        self.gait = gait
        self._choose()

    def as_high_as(self, lift: float) -> None:
        """Lift feet so high in m, as far as may be."""
        self.lift = min(max(lift, LOWEST), lift_range(self._robot)[1])
        self._choose()

    def learn(self, bearing: Bearing) -> None:
        """Work out all that may be chosen, which takes a second or two: for a thread, before anybody chooses."""
        for gait in list(self._gaits.values()):
            own = manner_of(self._robot, gait, self._dt)
            for manner in (own, manner_of(self._robot, gait, self._dt, lift=lift_range(self._robot)[1])):
                effort_of(self._robot, manner)
                bearing.learn(manner)

    def _choose(self) -> None:
        gait = self._gaits[self.gait]
        base = manner_of(self._robot, gait, self._dt)
        lift = base.lift if self.lift is None else self.lift
        if lift > base.lift:
            base = manner_of(self._robot, gait, self._dt, lift=lift_range(self._robot)[1])
        # Who can lift a foot high at a pace can lift it less high.
        self.manner: Manner = base if lift == base.lift else _lower(base, lift)
        self._take(effort_of(self._robot, base), self._battery_v)

    def _take(self, effort: Effort, volts: float | None) -> None:
        if effort is not self._effort or volts != self._battery_v:
            self._effort, self._battery_v = effort, volts
            self.given: Given = effort.given(volts)
            """How much of its pace servos and supply give now."""

    def battery_is(self, volts: float) -> None:
        """A reading of the battery, in V. It sags under load, so that for some seconds the highest is believed."""
        rested = volts if self._rested is None else max(volts, self._rested - RECOVERS_V)
        self._rested = rested
        if self._battery_v is None or abs(rested - self._battery_v) > NOTED_V:
            assert self._effort is not None
            self._take(self._effort, rested)


@lru_cache(maxsize=128)
def _lower(manner: Manner, lift: float) -> Manner:
    """The same manner with feet lifted less high; one and the same each time, for what is kept of it elsewhere."""
    return replace(manner, lift=lift)


def lift_range(robot: Robot) -> tuple[float, float]:
    """Between which heights in m feet may be told to be lifted."""
    return LOWEST, max(HIGHER * robot.walk.lift, LOWEST)
