"""Before a show: what was measured and seen, judged into one list, and a plain go or no-go with its reason.

Pure: :class:`Facts` in, :class:`Item` out. Whoever gathers the facts is :mod:`motionhub.hub.beforehand`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from motionhub.hub.battery import WORDS, said
from motionhub.hub.faults import RESTARTS
from motionhub.hub.faults import WORDS as FAULT_WORDS
from motionhub.hub.snapshot import BatteryView, LinkView
from motionhub.link.wire import ResetCause, Telemetry
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

State = Literal["good", "care", "bad", "open"]
"""care: it may be shown, and somebody should know. open: not known yet."""

LOST_MOST = 0.05
"""Of frames: the link makes up for single ones; from here on it shows (practice)."""
TRIP_MOST_S = 0.25
"""There and back: with half of it the robot is an eighth of a second behind the hand, which people notice."""
ROOM_LEAST = 0.1
"""Of the radio's share that is not used while it stands."""
SAGS = 2.0
"""Times the resistance that the robot file has: the pack is tired or cold, or a plug is bad."""
SURE = 2.0
"""Standard deviations by which that has to be certain."""
TIME_LEAST = 1.5
"""Times the routine's own length that the battery has to last."""
TROUBLE = (ResetCause.WATCHDOG, ResetCause.BROWN_OUT)
MET_S = 120
"""A restart by these is trouble for so long after it, or until the power is switched."""


@dataclass(frozen=True)
class Facts:
    """Everything that is judged."""

    links: tuple[LinkView, ...] = ()
    """Of some seconds."""
    mismatch: str = ""
    """Why the robot that answered is not this hub's."""
    telemetry: Telemetry | None = None
    battery: BatteryView = field(default_factory=BatteryView)
    ohm: tuple[float, float] | None = None
    """Ω that the battery sags by, and how far that may be off."""
    kept: str = "unknown"
    """How the robot's kept settings compare: ``same``, ``differs``, or anything else for not known."""
    calibration: Calibration | str = ""
    """As it is on the disk now, or in words why it cannot be read."""
    in_use: Calibration | None = None
    """As the hub uses it."""
    routine: str = ""
    fits: Literal["fits", "warns", "fails", "unreadable", ""] = ""
    """What the check says of the routine on this battery; empty while it has not."""
    why: str = ""
    duration_s: float | None = None
    swept: bool | None = None
    """Whether the sweep was played to its end; None while it was not asked for."""
    stuck: tuple[str, ...] = ()
    """Joints that somebody did not see moving."""
    seen: bool = False
    """Whether somebody said what they saw."""


@dataclass(frozen=True)
class Item:
    """A line of the list."""

    name: str
    state: State
    words: str


def judge(facts: Facts, robot: Robot) -> list[Item]:
    """The list, in the order in which one mends it."""
    return [
        _link(facts),
        _program(facts),
        _settings(facts),
        _trims(facts, robot),
        _battery(facts, robot),
        _routine(facts),
        _sweep(facts),
    ]


def verdict(items: list[Item]) -> tuple[bool | None, str]:
    """Go, no-go, or None while something is open; and the reason in one line."""
    for state, go in (("bad", False), ("open", None)):
        found = [item for item in items if item.state == state]
        if found:
            more = f" (and {len(found) - 1} more)" if len(found) > 1 else ""
            return go, f"{found[0].name}: {found[0].words}{more}"
    cares = [item.name.lower() for item in items if item.state == "care"]
    return True, f"go, and keep an eye on: {', '.join(cares)}" if cares else "everything is as it should be"


def _link(f: Facts) -> Item:
    name = "Radio"
    if f.mismatch:
        return Item(name, "bad", f.mismatch)
    if not f.links:
        return Item(name, "open", "not measured yet")
    if not all(link.up for link in f.links):
        return Item(name, "bad", "the robot does not answer, or not all the time")
    trips = [link.round_trip_s for link in f.links if link.round_trip_s is not None]
    trip = max(trips, default=0.0)
    lost = float(np.mean([link.lost_share for link in f.links]))
    used, budget = max(link.bytes_s for link in f.links), f.links[-1].budget_bytes_s
    figures = f"{trip * 1e3:.0f} ms there and back, {lost:.1%} of frames lost, {budget - used:.0f} bytes/s to spare"
    if lost > LOST_MOST:
        return Item(name, "bad", f"too much is lost: {figures}; bring the two radios nearer, or change the channel")
    if trip > TRIP_MOST_S:
        return Item(name, "bad", f"too slow: {figures}")
    if budget - used < ROOM_LEAST * budget or f.links[-1].thinned:
        return Item(name, "bad", f"the radio is full: {figures}")
    return Item(name, "good", figures)


def _program(f: Facts) -> Item:
    name, told = "Robot's program", f.telemetry
    if told is None:
        return Item(name, "open", "the robot has not reported yet")
    cause = ResetCause(told.reset_cause)
    if cause in TROUBLE and told.uptime_s < MET_S:
        return Item(name, "bad", f"{_small(RESTARTS[cause])}, {told.uptime_s} s ago; find out why, and switch it anew")
    for fault, words in FAULT_WORDS.items():
        if told.faults & fault:
            return Item(name, "bad", _small(words))
    return Item(name, "good", f"runs for {told.uptime_s} s, its longest loop took {told.worst_loop_us / 1000:.1f} ms")


def _settings(f: Facts) -> Item:
    name = "Settings on the robot"
    if f.kept == "same":
        return Item(name, "good", "the same as here")
    if f.kept == "differs":
        return Item(name, "bad", "the robot keeps other trims or ends than the hub: send it these, or take its own")
    return Item(name, "open" if not f.links else "care", "not compared yet")


def _trims(f: Facts, robot: Robot) -> Item:
    name = "Trims"
    if isinstance(f.calibration, str):
        return Item(name, "bad" if f.calibration else "open", f.calibration or "not looked at yet")
    if f.in_use is not None and f.in_use.dump() != f.calibration.dump():
        return Item(name, "bad", "those on the disk are not those in use; end the hub and start it again")
    own = np.abs(f.calibration.trim_rad) > 0
    turned = int((f.calibration.direction < 0).sum())
    if not own.any() and not turned:
        return Item(name, "bad", "nobody has trimmed this robot: no servo lands exactly on centre by itself")
    words = f"{int(own.sum())} of {robot.joints} joints trimmed, {turned} turned round"
    if not own.all():
        first = robot.joint_names[int(np.argmin(own))]
        return Item(name, "care", f"{words}; {first} is the first that is not")
    return Item(name, "good", words)


def _battery(f: Facts, robot: Robot) -> Item:
    name, view = "Battery", f.battery
    if view.volts is None:
        return Item(name, "open", WORDS["unknown"].lower())
    words = said(view)
    if view.level in ("low", "empty") or view.volts < robot.supply.battery_warn_v:
        return Item(name, "bad", words if view.level in ("low", "empty") else f"{view.volts:.1f} V is low; charge it")
    ohm = robot.supply.battery_ohm
    if f.ohm is not None and f.ohm[0] - SURE * f.ohm[1] > SAGS * max(ohm, 0.01):
        return Item(
            name, "bad",
            f"it sags by {f.ohm[0] * 1000:.0f} mV for each A where its file says {ohm * 1000:.0f}: "
            "a tired or cold pack, or a bad plug",
        )  # fmt: skip
    if f.duration_s and view.minutes_left is not None and view.minutes_left * 60 < TIME_LEAST * f.duration_s:
        return Item(name, "bad", f"{words}; the routine takes {f.duration_s / 60:.0f} min, so charge it first")
    return Item(name, "good", words)


def _routine(f: Facts) -> Item:
    name = "Routine"
    if not f.routine:
        return Item(name, "care", "none was chosen")
    volts = "" if f.battery.volts is None else f" on this battery ({f.battery.volts:.1f} V)"
    if f.fits == "":
        return Item(name, "open", f"{f.routine} is being checked{volts}")
    if f.fits == "unreadable":
        return Item(name, "bad", f.why)
    if f.fits == "fails":
        return Item(name, "bad", f"{f.routine} does not fit{volts}: {f.why}")
    length = f", {f.duration_s:.0f} s" if f.duration_s else ""
    care = f"{f.routine} fits{volts}, with care: {f.why}"
    return Item(name, "good", f"{f.routine} fits{volts}{length}") if f.fits == "fits" else Item(name, "care", care)


def _sweep(f: Facts) -> Item:
    name = "Every joint"
    if f.swept is None:
        return Item(name, "open", "let every joint move once, and watch it")
    if not f.swept:
        return Item(name, "bad", "the sweep was broken off")
    if not f.seen:
        return Item(name, "open", "did every joint move?")
    if f.stuck:
        return Item(name, "bad", f"did not move: {', '.join(f.stuck)}; look at its plug, its horn and its wire")
    return Item(name, "good", "seen moving")


def _small(words: str) -> str:
    return words[:1].lower() + words[1:]
