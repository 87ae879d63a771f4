"""Messages for what comes before and after a show: the show check, the flight recorder, the supply's advice."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from motionhub.remote.parts import Message

MoveName = Annotated[str, Field(max_length=64)]

# ---------------------------------------------------------------- from the browser


class CheckShow(Message):
    """Look at everything before a show; nothing moves for it. Everybody is shown what comes of it."""

    type: Literal["check_show"] = "check_show"
    routine: MoveName = ""
    """What is to be played; none when empty."""


class SweepJoints(Message):
    """Let every joint move slowly, one leg after another; only for whoever holds control."""

    type: Literal["sweep_joints"] = "sweep_joints"


class SweepSeen(Message):
    """What was seen of the sweep; only for whoever holds control."""

    type: Literal["sweep_seen"] = "sweep_seen"
    stuck: Annotated[list[MoveName], Field(max_length=48)]
    """Joints that did not move."""


class AskFlight(Message):
    """Ask for the last minute, or for what was kept of a fault."""

    type: Literal["ask_flight"] = "ask_flight"
    name: MoveName = ""
    """One of :attr:`FlightTold.kept`; the last minute when empty."""
    joints: Annotated[list[MoveName], Field(max_length=4)]
    """Whose curves to show; those that moved most when empty."""


class AskSupply(Message):
    """Ask what the regulator should be set to and has to deliver, for all moves together; takes up to some minutes."""

    type: Literal["ask_supply"] = "ask_supply"


# ---------------------------------------------------------------- from the hub


class CheckLine(Message):
    """A line of the show check. care: it may be shown, and somebody should know. open: not known yet."""

    name: str
    state: Literal["good", "care", "bad", "open"]
    words: str


class ShowChecked(Message):
    """How the show check stands; sent after Welcome and whenever it changes."""

    type: Literal["show_checked"] = "show_checked"
    running: bool
    routine: str
    lines: list[CheckLine]
    """Empty before the first check."""
    go: bool | None
    """Null while something is open."""
    reason: str
    asks: Literal["", "sweep", "sweeping", "seen"]
    """What is asked of whoever holds control: to let the joints move, to watch, to say what was seen."""


class FlightLine(Message):
    """Something that happened."""

    at: str
    """Time of the day."""
    t_s: float
    kind: Literal["asked", "refused", "told", "mode", "fault", "left"]
    text: str


class FlightCurve(Message):
    """A curve; null where nothing was known."""

    name: str
    """With its unit."""
    values: list[float | None]


class FlightTold(Message):
    """A recorded minute."""

    type: Literal["flight_told"] = "flight_told"
    name: str
    kept: list[str]
    """Names of what was kept of faults, newest first."""
    summary: list[str]
    lines: list[FlightLine]
    t_s: list[float]
    curves: list[FlightCurve]
    """Each as long as ``t_s``; the last are joints."""
    joints: list[str]
    """All that can be asked for."""
    fault_s: float | None


class SupplyTold(Message):
    """What the supply has to be, in the words of ``motionhub check --size``."""

    type: Literal["supply_told"] = "supply_told"
    working: bool
    """It is still being worked out."""
    words: list[str]
