"""Gaits as data: which share of its cycle a leg stands, and when in the cycle it sets its foot down.

A gait is a duty factor (the share of the cycle that each foot spends on the ground) and one phase per
leg (the share of the cycle at which that leg's foot touches down), the two numbers that the literature
on legged walking describes regular gaits with (McGhee & Frank, Math. Biosci. 3, 1968)::

    leg     |0      cycle      1|
    A   φ=0 |=========----------|     ===  stance: the foot is on the ground
    B   φ=½ |---------==========|     ---  swing: the foot is in the air

The gaits here are made for a robot rather than for a number of legs: which legs are neighbours follows
from where their feet stand. Most are wave gaits: on each side a wave of steps runs from the rear to the front,
half a cycle apart on the two sides, each leg a share ``duty`` of the cycle after the one behind it (Song &
Waldron, *Machines That Walk*, 1989; *memory*). A duty factor of 1/2 makes that the alternating tripod, and
the larger it is, the more feet stand and the further inside them the weight is. A robot file may bring
gaits of its own along.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass
from fractions import Fraction
from math import ceil, gcd, lcm
from types import MappingProxyType

from motionhub.robot.model import Robot

_FINEST = 96
"""Phases and duty factors are read as fractions with at most this denominator, to land on whole ticks."""


@dataclass(frozen=True)
class Gait:
    """A regular gait.

    Args:
        name: The trade's name for it.
        duty: Share of the cycle that each foot stands, above 0 and below 1.
        phases: Per leg, in the robot's order, the share of the cycle at which its foot touches down, 0 to below 1.
        cycle_s: Seconds a cycle; as long as leaves the swing of the robot's first gait when ``None``.
        lift: Height in m to which feet are lifted; the robot's own when ``None``, and so is the stride.
        stride: The longest way in m that a foot goes on the ground in one step.
        wider: How much further out in m the feet step than they stand at rest.
        sway_margin: The static stability margin in m for whose sake the body sways over the feet that stand, as near
            to it as a smooth sway comes; the robot's own when ``None``, without which it would not walk at all.
    """

    name: str
    duty: float
    phases: tuple[float, ...]
    cycle_s: float | None = None
    lift: float | None = None
    stride: float | None = None
    wider: float = 0.0
    sway_margin: float | None = None

    def __post_init__(self) -> None:
        if not 0 < self.duty < 1:
            raise ValueError(f"expected a duty factor between 0 and 1, found {self.duty!r}")
        if not self.phases or not all(0 <= phase < 1 for phase in self.phases):
            raise ValueError(f"expected phases from 0 to below 1, found {self.phases!r}")

    def timing(self, cycle_s: float, dt: float) -> Timing:
        """Lay the gait out on ticks of ``dt`` seconds, at the cycle time nearest to ``cycle_s`` that fits.

        Feet change over on ticks, so that a foot lifts on the very tick on which another took its weight:
        with rounded times a tripod would have four feet down on some ticks and two on others.
        """
        shares = [Fraction(x).limit_denominator(_FINEST) for x in (self.duty, *self.phases)]
        grain = lcm(*(share.denominator for share in shares))
        wanted = cycle_s / dt
        cycle = max(grain, round(wanted / grain) * grain) if grain <= wanted / 2 else max(2, round(wanted))
        stance = min(max(1, round(shares[0] * cycle)), cycle - 1)
        return Timing(cycle, stance, tuple(round(share * cycle) % cycle for share in shares[1:]))


@dataclass(frozen=True)
class Timing:
    """A gait on ticks: ticks in a cycle, ticks that a foot stands in it, and each leg's tick of touchdown."""

    cycle: int
    stance: int
    touchdown: tuple[int, ...]

    @property
    def swing(self) -> int:
        """Ticks that a foot is in the air."""
        return self.cycle - self.stance

    def finer(self, ticks: int) -> Timing:
        """The same shares of a cycle, on at least so many ticks: the same for a walk however long its cycle is."""
        share = gcd(self.cycle, self.stance, *self.touchdown)
        times = ceil(ticks * share / self.cycle)
        return Timing(
            self.cycle // share * times,
            self.stance // share * times,
            tuple(touch // share * times for touch in self.touchdown),
        )

    def since_touchdown(self, tick: int, leg: int) -> int:
        """Ticks since the leg touched down, 0 to below ``cycle``; from ``stance`` on it is in the air."""
        return (tick - self.touchdown[leg]) % self.cycle

    @property
    def first(self) -> int:
        """The tick to start walking at: some legs lift there, and as few as possible should already be up."""

        def late(tick: int) -> tuple[int, int]:
            since = [self.since_touchdown(tick, leg) for leg in range(len(self.touchdown))]
            return sum(s > self.stance for s in since), -sum(s == self.stance for s in since)

        lifts = sorted({(touch + self.stance) % self.cycle for touch in self.touchdown})
        return min(lifts, key=late)


def sides(robot: Robot) -> tuple[list[int], list[int]]:
    """The legs whose feet stand to the left and to the right of the middle, each from front to rear."""
    feet = robot.rest_feet
    order = sorted(range(robot.legs), key=lambda leg: -feet[leg, 0])
    return [leg for leg in order if feet[leg, 1] >= 0], [leg for leg in order if feet[leg, 1] < 0]


def _even_sides(robot: Robot, name: str, *legs: int) -> tuple[list[int], list[int]]:
    """The legs of each side, which have to be as many on both, and one of these numbers in all."""
    left, right = sides(robot)
    if len(left) != len(right) or robot.legs not in legs:
        numbers = " or ".join(str(count) for count in legs)
        raise ValueError(
            f"expected {numbers} legs, half of them on each side, to walk by {name}, "
            f"found {len(left)} and {len(right)} legs on each side"
        )
    return left, right


def _wave(robot: Robot, name: str, legs: tuple[int, ...], duty: Fraction) -> Gait:
    """A wave gait: leg m of a side, counted from the front, touches down m·duty after the front one."""
    left, right = _even_sides(robot, name, *legs)
    phases = [0.0] * robot.legs
    for side, shift in ((left, Fraction(0)), (right, Fraction(1, 2))):
        for place, leg in enumerate(side):
            phases[leg] = float((place * duty + shift) % 1)
    return Gait(name, float(duty), tuple(phases))


def tripod(robot: Robot) -> Gait:
    """Front and rear of one side step with the middle of the other: always three down and three up (*practice*).

    The fastest gait of six legs that never counts on momentum.
    """
    return _wave(robot, "tripod", (6,), Fraction(1, 2))


def tetrapod(robot: Robot) -> Gait:
    """Four feet always stand: of eight every second one steps, of six one on each side."""
    if robot.legs == 8:
        left, right = _even_sides(robot, "tetrapod", 6, 8)
        phases = [0.0] * 8
        for side, shift in ((left, 0), (right, 1)):
            for place, leg in enumerate(side):
                phases[leg] = (place + shift) % 2 / 2
        return Gait("tetrapod", 0.5, tuple(phases))
    left, right = _even_sides(robot, "tetrapod", 6, 8)
    phases = [0.0] * 6
    for side, first in ((left, 2), (right, 3)):
        for place, leg in enumerate(side):
            phases[leg] = (first - place) % 3 / 3
    return Gait("tetrapod", 2 / 3, tuple(phases))


def ripple(robot: Robot) -> Gait:
    """A wave gait with two feet in the air, one on each side, the second lifting when the first is half over."""
    return _wave(robot, "ripple", (6, 8), 1 - Fraction(2, robot.legs))


def wave(robot: Robot) -> Gait:
    """A wave gait with one foot in the air at any time, the next lifting as it lands: slow, and very steady."""
    return _wave(robot, "wave", (6, 8), 1 - Fraction(1, robot.legs))


def creep(robot: Robot) -> Gait:
    """One leg at a time, each side from rear to front, with a pause on all feet before the other side's turn.

    The pause is there for the body to move over to the feet that will stay down: with four legs the centre
    lies on the line between two opposite feet, and there is no stable triangle to step from without it.
    Rear to front is the order in which a step of one leg makes room for the next (McGhee & Frank 1968).
    """
    left, right = sides(robot)
    slots = robot.legs + 2
    phases = [0.0] * robot.legs
    slot = 0
    for side in (left, right):
        for leg in reversed(side):
            slot += 1
            phases[leg] = slot / slots
        slot += 1
    return Gait("creep", 1 - 1 / slots, tuple(phases))


GAITS: Mapping[str, Callable[[Robot], Gait]] = MappingProxyType(
    {"tripod": tripod, "tetrapod": tetrapod, "ripple": ripple, "wave": wave, "creep": creep}
)
"""Every gait by name; each makes itself for a robot, or raises ``ValueError`` when its legs do not suit it."""


def gaits(robot: Robot) -> dict[str, Gait]:
    """The gaits that suit the robot, its file's own among them, by name; the first is its default."""
    found: dict[str, Gait] = {}
    for name, make in GAITS.items():
        with suppress(ValueError):
            found[name] = make(robot)
    for own in robot.gaits:
        shape = own.cycle_s, own.lift, own.stride, own.wider, own.sway_margin
        found[own.name] = Gait(own.name, own.duty, own.touchdown, *shape)
    return found


def default_gait(robot: Robot) -> Gait:
    """The gait that the robot walks by unless told otherwise: its fastest."""
    return next(iter(gaits(robot).values()))


def own_cycle(robot: Robot, gait: Gait) -> float:
    """Seconds a cycle: the gait's own, or as long as leaves it the swing that the robot's first gait has."""
    if gait.cycle_s is not None:
        return gait.cycle_s
    return robot.walk.cycle_s * (1 - default_gait(robot).duty) / (1 - gait.duty)
