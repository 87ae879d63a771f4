"""The show in real time: the 50 Hz loop around the hub's core, the link, the library and whoever looks on."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

from motionhub.hub.commands import Command
from motionhub.hub.core import Hub
from motionhub.hub.events import Event
from motionhub.hub.snapshot import HubState
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

Verdict = Literal["fits", "warns", "fails", "unreadable", "checking"]


@dataclass(frozen=True)
class MoveLine:
    """A line of the list of moves."""

    name: str
    kind: Literal["sequence", "routine"]
    duration_s: float | None
    verdict: Verdict
    reason: str
    """The first finding in words, or why it cannot be read; empty when there is nothing to say."""
    shipped: bool


@dataclass(frozen=True)
class RecordingLine:
    """A line of the list of recordings; ``made`` is local date and time, ISO 8601."""

    name: str
    duration_s: float
    made: str


@dataclass(frozen=True)
class MovesChanged:
    """The list of moves is another one now: ask :meth:`Show.moves`."""


@dataclass(frozen=True)
class RecordingsChanged:
    """The list of recordings is another one now: ask :meth:`Show.recordings`."""


News = Event | MovesChanged | RecordingsChanged


class Show:
    """A robot, its hub and its loop. All calls are for the event loop that :meth:`start` ran in.

    Args:
        robot: The robot.
        calibration: Of this very machine.
        library: Moves and recordings.
        port: Where the robot is, closed as yet.
    """

    def __init__(self, robot: Robot, calibration: Calibration, library: object, port: object) -> None:
        self.hub = Hub(robot, calibration)

    async def start(self) -> None:
        """Open the port and begin to tick."""

    async def stop(self) -> None:
        """Bring the robot to rest, and leave."""

    def join(self, client: str, name: str, *, operator: bool) -> None:
        """Somebody has connected and been paired."""

    def leave(self, client: str) -> None:
        """Somebody has gone."""

    def handle(self, client: str, command: Command) -> None:
        """Take a command. Whatever comes of it, refusals too, is told to those who :meth:`listen`."""

    def subscribe(self, on_state: Callable[[HubState], None]) -> Callable[[], None]:
        """Call ``on_state`` 25 times a second. Returns what ends it."""
        return lambda: None

    def listen(self, on_news: Callable[[News], None]) -> Callable[[], None]:
        """Call ``on_news`` with refusals (which name their client), notices, changes of lists. Returns what ends it."""
        return lambda: None

    def moves(self) -> list[MoveLine]:
        """What can be played, by name, with verdicts as far as they are known."""
        return []

    def recordings(self) -> list[RecordingLine]:
        """What can be replayed, newest first."""
        return []
