"""What the robot's controller does with its servos: gentle starting, following, and the failsafe.

A twin of the firmware, in whole microseconds and whole servo periods of 20 ms. What it is doing
(:class:`~motionhub.link.wire.Activity`) and what changes that::

    OFF        -> ENABLING    a frame with pulses arrives
    ENABLING   -> EASING      every joint that the frame has a pulse for is on
    EASING     -> FOLLOWING   every pulse is where the frame asks
    FOLLOWING  -> ENABLING    a frame has a pulse for a joint that is off
    QUIET      -> ENABLING    a frame with pulses arrives (and at once on to EASING if no joint is off)
    ENABLING, EASING, FOLLOWING -> QUIET     no frame for the robot's quiet time
    any but LOWERING, ENDED     -> OFF       a limp frame arrives
    any with a joint on         -> LOWERING  battery below cut-off for the robot's cut-off time
    OFF        -> ENDED       the same, with no joint on
    LOWERING   -> ENDED       the body is down
    ENDED stays until the controller is reset by anything but its watchdog.

The watchdog ends a hung program, and a robot that stood would sag without its pulses. So they outlive that
reset, and only that: issued again at once where they were, they are eased to rest and held (QUIET), or
lowered on (LOWERING); OFF and ENDED stay what they are. After any other reset there are no pulses before a
frame comes.

Joints start three at a time, each at its rest pose, so that eighteen servos do not draw their starting
current at once; those that are on hold still meanwhile. Easing starts slowly and gets faster, so it
catches up with any move.

A lamp that warns blinks while the battery is low and burns while the body goes down, with or without a hub. Once the
pulses have ended every output is off, because a lithium pack that is emptied further is ruined: that lamp alone
flashes now and then.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from motionhub.link.kept import Limits
from motionhub.link.wire import Activity, Faults, Frame

PERIOD_S = 0.02
START_AT_ONCE = 3
START_EVERY = 5
"""Periods between one group of joints and the next: a servo has most of its start behind it after 0.1 s."""
EASE_US = 10
"""Slowest easing, µs a period: 500 µs/s, about 45 degrees a second for a servo of 180 degrees."""
EASE_FASTER = 1
"""By how much faster each period when easing toward frames."""
INTERPOLATED = 8
"""Most ticks over which the way to a frame is drawn out."""
SETTLE = 25
"""Periods to wait after lowering before the pulses end."""
HYSTERESIS_MV = 100
BLINK = 25
"""Periods that a warning lamp is lit, and then dark, while the battery is low: once a second."""
FLASH = 5
FLASH_EVERY = 100
"""Periods of its flash when the battery is empty, and from one to the next: a twentieth of its charge."""
SMOOTHING = 8
"""The battery is averaged over about this many periods, so one servo's start is not a low battery."""


def easing_s(gap_us: float) -> float:
    """How long a joint that has just been started takes, s, until it is where frames ask, ``gap_us`` µs from rest.

    At most so long from the frame on, when no other group of joints was started just before.
    """
    periods, ease, left = START_EVERY, EASE_US, gap_us
    while left > 0:
        ease += EASE_FASTER
        left -= ease
        periods += 1
    return periods * PERIOD_S


@dataclass(frozen=True)
class Settings:
    """What the robot file and the calibration say, in the controller's units."""

    low: tuple[int, ...]
    high: tuple[int, ...]
    rest: tuple[int, ...]
    """Pulses of the rest pose."""
    lowered: tuple[int, ...]
    """Pulses with the body on the ground."""
    quiet: int
    """Periods without a frame before the failsafe."""
    cut_off: int
    """Periods below cut-off before lowering."""
    warn_mv: int
    cut_off_mv: int
    silenced: tuple[bool, ...]
    """Outputs that are switched off when the link is quiet (sounders; a lamp stays lit)."""
    warns: tuple[bool, ...]
    """Lamps that warn of the battery, over whatever they are asked to show."""


class Controller:
    """Pulses out of frames, one servo period at a time."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.pulses: list[int] = [0] * len(settings.rest)
        """Pulses being issued, µs; 0 for none."""
        self.outputs: list[int] = [0] * len(settings.silenced)
        """Levels being issued, 0 to 255; as of the last period."""
        self._asked: list[int] = [0] * len(settings.silenced)
        self._flash = 0
        self.activity = Activity.OFF
        self._target: tuple[int, ...] | None = None
        self._steps = 0
        self._waiting: list[tuple[Frame, int]] = []
        self._since_frame = 0
        self._since_start = START_EVERY
        self._ease = EASE_US
        self._settled = 0
        self._battery_x = 0  # mV times SMOOTHING
        self._below = 0
        self._low = False

    @property
    def battery_mv(self) -> int:
        """The battery's voltage, smoothed; 0 before the first measurement."""
        return self._battery_x // SMOOTHING

    @property
    def faults(self) -> Faults:
        """What is wrong now."""
        found = Faults(0)
        if self._low:
            found |= Faults.BATTERY_LOW
        if self.activity in (Activity.LOWERING, Activity.ENDED):
            found |= Faults.BATTERY_EMPTY
        if self.activity == Activity.QUIET:
            found |= Faults.QUIET
        return found

    def command(self, frame: Frame, ticks: int = 1, first: bool = True) -> None:
        """Take a frame that came ``ticks`` ticks after the one before it, ``first`` in its packet or together with it.

        While following, the first frame of a packet is begun at once, and each further one when the one before it is
        reached. What still waits from the packet before is cut to its last frame, so that a packet that comes a
        tick early makes nothing jump. In every other activity a frame is what to go to from now on, and a
        limp one is obeyed at once.
        """
        self._since_frame = 0
        if self.activity in (Activity.LOWERING, Activity.ENDED):
            return
        if self.activity != Activity.FOLLOWING or frame.pulses is None:
            self._begin(frame, ticks)
            return
        if first:
            self._waiting = self._waiting[-1:]
        if first and not self._waiting:
            self._begin(frame, ticks)
        else:
            self._waiting.append((frame, ticks))

    def _begin(self, frame: Frame, ticks: int) -> None:
        self._asked[:] = frame.outputs
        self._target = frame.pulses
        if frame.pulses is None:
            self._all_off(Activity.OFF)
            return
        self._steps = min(max(ticks, 1), INTERPOLATED)
        for i, pulse in enumerate(frame.pulses):
            if pulse == 0:
                self.pulses[i] = 0
        if self.activity in (Activity.OFF, Activity.QUIET) or self._missing():
            self._set(Activity.ENABLING)

    def resume(self, activity: Activity, pulses: Sequence[int]) -> None:
        """Go on after a watchdog's reset from what was issued before it, held within the limits."""
        if activity in (Activity.OFF, Activity.ENDED):
            self._all_off(activity)
            return
        ends = zip(pulses, self.settings.low, self.settings.high, strict=True)
        self.pulses = [min(max(pulse, low), high) if pulse else 0 for pulse, low, high in ends]
        held = Activity.QUIET if any(self.pulses) else Activity.OFF
        self._set(Activity.LOWERING if activity == Activity.LOWERING else held)

    def suits(self, limits: Limits) -> bool:
        """Whether other limits could be used now: no pulse issued or asked for lies outside them."""
        asked = [self._target, *(frame.pulses for frame, _ in self._waiting)]
        return limits.allow(self.pulses) and all(limits.allow(pulses) for pulses in asked if pulses)

    def use(self, limits: Limits) -> None:
        """From now on these are the limits and the poses."""
        self.settings = replace(
            self.settings, low=limits.low, high=limits.high, rest=limits.rest, lowered=limits.lowered
        )

    def period(self, battery_mv: int) -> None:
        """One servo period: work out the pulses of the next 20 ms."""
        self._since_frame += 1
        self._since_start += 1
        self._watch_battery(battery_mv)
        on = any(self.pulses)
        driven = self.activity in (Activity.ENABLING, Activity.EASING, Activity.FOLLOWING)
        if driven and self._since_frame > self.settings.quiet:
            self._set(Activity.QUIET)
        if self._below > self.settings.cut_off and self.activity not in (Activity.LOWERING, Activity.ENDED):
            self._silence()
            if on:
                self._set(Activity.LOWERING)
            else:
                self._all_off(Activity.ENDED)
        self._move()
        self._light()

    # -- moving -------------------------------------------------------------------------------------

    def _move(self) -> None:
        rest = self.settings.rest
        if self.activity == Activity.QUIET:
            self._silence()
            self._ease_to(rest)
        elif self.activity == Activity.LOWERING:
            self._settled = self._settled + 1 if self._ease_to(self.settings.lowered) else 0
            if self._settled > SETTLE:
                self._all_off(Activity.ENDED)
        elif self.activity == Activity.ENABLING:
            self._start_some()
        elif self.activity == Activity.EASING and self._target is not None:
            self._ease += EASE_FASTER
            if self._ease_to(self._target):
                self._set(Activity.FOLLOWING)
        elif self.activity == Activity.FOLLOWING:
            if not self._steps and self._waiting:
                self._begin(*self._waiting.pop(0))
            if self.activity == Activity.FOLLOWING and self._target is not None and self._steps:
                for i, wanted in enumerate(self._target):
                    self.pulses[i] += _divide(wanted - self.pulses[i], self._steps)
                self._steps -= 1

    def _start_some(self) -> None:
        missing = self._missing()
        if not missing:
            self._set(Activity.EASING)
            return
        if self._since_start < START_EVERY:
            return
        self._since_start = 0
        for i in missing[:START_AT_ONCE]:
            self.pulses[i] = self.settings.rest[i]

    def _ease_to(self, target: Sequence[int]) -> bool:
        """Bring every pulse that is on nearer; whether all are there."""
        there = True
        for i, wanted in enumerate(target):
            if self.pulses[i] == 0 or wanted == 0:
                continue
            gap = wanted - self.pulses[i]
            self.pulses[i] += max(-self._ease, min(self._ease, gap))
            there = there and abs(gap) <= self._ease
        return there

    def _missing(self) -> list[int]:
        """Joints that the frame has a pulse for and that are off."""
        return [i for i, wanted in enumerate(self._target or ()) if wanted and not self.pulses[i]]

    def _set(self, activity: Activity) -> None:
        self._waiting = []
        self.activity = activity
        self._ease = EASE_US

    def _all_off(self, activity: Activity) -> None:
        self._set(activity)
        self.pulses = [0] * len(self.pulses)
        self._target = None

    def _silence(self) -> None:
        for i, silenced in enumerate(self.settings.silenced):
            if silenced:
                self._asked[i] = 0

    # -- battery ------------------------------------------------------------------------------------

    def _watch_battery(self, mv: int) -> None:
        if self._battery_x == 0:
            self._battery_x = mv * SMOOTHING
        self._battery_x += mv - self._battery_x // SMOOTHING
        level = self.battery_mv
        if level < self.settings.warn_mv:
            self._low = True
        elif level > self.settings.warn_mv + HYSTERESIS_MV:
            self._low = False
        self._below = self._below + 1 if level < self.settings.cut_off_mv else 0

    def _light(self) -> None:
        self._flash = (self._flash + 1) % FLASH_EVERY
        ended = self.activity == Activity.ENDED
        lowering = self.activity == Activity.LOWERING
        warning = ended or lowering or self._low
        lit = self._flash < FLASH if ended else lowering or self._flash % (2 * BLINK) < BLINK
        for i, warns in enumerate(self.settings.warns):
            if warns and warning:
                self.outputs[i] = 255 if lit else 0
            else:
                self.outputs[i] = 0 if ended else self._asked[i]


def _divide(a: int, b: int) -> int:
    """Toward zero, as C divides, so that the chip agrees."""
    return a // b if a >= 0 else -(-a // b)
