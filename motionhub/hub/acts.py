"""What each cause leads to, beside another mode: what happens on the stage, on the bench, to outputs and recordings.

Which mode follows is the table's to say (:mod:`motionhub.hub.states`); these are done once it has said so.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol

from motionhub.hub.bringup.workbench import Workbench
from motionhub.hub.director import Director
from motionhub.hub.outputs import Outputs
from motionhub.hub.pulses import Pulses
from motionhub.hub.sources.play import Play
from motionhub.hub.states import Cause, Mode

RAW: tuple[Mode, ...] = ("setup", "halted")
"""Modes in which there are raw pulses for what was chosen, and none for the rest."""


class Hub(Protocol):
    """What these need of the hub, which is :class:`motionhub.hub.core.Hub`."""

    director: Director
    workbench: Workbench
    outputs: Outputs
    pulses: Pulses

    def clear_bench(self) -> None:
        """Nothing has raw pulses any more."""

    def drop_request(self) -> None:
        """What was to be played is not, and nobody wants it to walk."""

    def end_recording(self, why: str) -> None:
        """A recording in the making ends here."""

    def raw_until_next(self) -> None:
        """A tick without pulses has to go out before it is at rest."""


Act = Callable[[Hub, Mode], None]
"""Takes the hub, which is in its new mode, and the mode that it was in."""


def _go(hub: Hub, was: Mode) -> None:
    if isinstance(hub.director.player, Play):
        hub.director.player.go()


def _stop(hub: Hub, was: Mode) -> None:
    _quieten(hub)
    if was in RAW:
        hub.workbench.freeze()
    elif was != "limp":
        hub.director.stop()


def _resume(hub: Hub, was: Mode) -> None:
    if was == "limp":
        hub.director.wake()
    elif was != "halted":
        hub.director.go_home()


def _limp(hub: Hub, was: Mode) -> None:
    _quieten(hub)
    hub.clear_bench()
    hub.pulses.let_go()
    hub.director.hold()
    hub.end_recording("the robot is limp")


def _setup(hub: Hub, was: Mode) -> None:
    hub.clear_bench()


def _leave(hub: Hub, was: Mode) -> None:
    if was in RAW:
        hub.raw_until_next()
        hub.clear_bench()
    else:
        hub.director.go_home()


def _lost(hub: Hub, was: Mode) -> None:
    if was in RAW:
        hub.clear_bench()
    elif was in ("stopping", "stopped", "fault"):
        # Where it holds, it goes on holding; but the robot eases to rest by itself, and has to be found there.
        hub.director.follow_home()
    else:
        hub.director.go_home()


def _empty(hub: Hub, was: Mode) -> None:
    _quieten(hub)
    if was in RAW:
        hub.clear_bench()
    else:
        hub.director.lie_down()


def _violation(hub: Hub, was: Mode) -> None:
    _quieten(hub)
    hub.director.hold()


def _quieten(hub: Hub) -> None:
    hub.drop_request()
    hub.outputs.quieten()


ACTS: dict[Cause, Act] = {
    "go": _go,
    "over": lambda hub, was: hub.director.go_home(),
    "stop": _stop,
    "still": lambda hub, was: hub.director.hold(),
    "resume": _resume,
    "limp": _limp,
    "violation": _violation,
    "lost": _lost,
    "leave": _leave,
    "setup": _setup,
    "finish": _limp,
    "empty": _empty,
    "lain": _limp,
}
