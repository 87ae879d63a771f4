"""The live state as the hub tells it, in SI units and radians: all that a viewer needs, and a copy of its own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from motionhub.hub.kept import KeptView
from motionhub.hub.sources import Limit
from motionhub.hub.states import Mode

Array = NDArray[np.float64]
Level = Literal["ok", "low", "empty", "unknown"]


@dataclass(frozen=True)
class LinkView:
    """The radio link over the last second. ``round_trip_s`` is None while nothing has come back.

    On a slow radio frames share packets, ``together`` of them, or every second one is left out (``thinned``).
    """

    up: bool = False
    round_trip_s: float | None = None
    lost_share: float = 0.0
    bytes_s: float = 0.0
    budget_bytes_s: float = 0.0
    together: int = 1
    thinned: bool = False


@dataclass(frozen=True)
class BatteryView:
    """The battery in volts as a meter would show them; ``level`` by the robot file's voltages."""

    volts: float | None = None
    level: Level = "unknown"
    minutes_left: float | None = None
    """Until the cut-off, used as in the last minutes; None while that is not known."""


@dataclass(frozen=True)
class DriverView:
    """Who holds control."""

    id: str
    name: str


@dataclass(frozen=True)
class ProgressView:
    """What is being played or replayed, in seconds."""

    name: str
    at_s: float
    duration_s: float
    waits_for_go: bool = False


@dataclass(frozen=True, eq=False)
class HubState:
    """One moment of the show."""

    tick: int
    mode: Mode
    reason: str
    joints: Array
    """(J,) as commanded, radians; where they were last commanded while limp."""
    body: Array
    """(6,) x, y, z in metres and roll, pitch, yaw in radians over the ground."""
    down: NDArray[np.bool_]
    """(L,) whether each foot carries weight."""
    com: Array
    """(2,) centre of mass above the ground, ground frame, metres."""
    margin: float
    """Static stability margin in metres, negative outside the support polygon."""
    outputs: Array
    """(O,) levels 0..1."""
    limit: Limit
    """What keeps it from doing all that is asked, and nothing otherwise."""
    gait: str
    lift: float
    """m to which it lifts its feet."""
    cycle_s: float
    """s that one step of every leg takes."""
    pace: float
    """Share 0..1 of the fastest at which a full stick walks."""
    posture: tuple[float, float, float, float]
    """How the driver wants the body carried: height in m over rest, and roll, pitch, yaw in rad."""
    leads: bool
    """Whether a head may turn ahead of the body."""
    walking: bool
    """Whether feet step or are about to: it may be driven only to carry its body otherwise."""
    feet: tuple[tuple[bool, ...] | None, ...]
    """For the last ticks up to this one, oldest first: whether each leg's foot was down; None where the robot
    did not stand as it was told."""
    link: LinkView
    battery: BatteryView
    kept: KeptView
    driver: DriverView | None
    playing: ProgressView | None
    recording_s: float | None
    watchers: int
