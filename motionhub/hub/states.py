"""The modes of the show, and the one table that says what may change them.

::

                       play                    begin
        +------> rest -------> moving ------------------> playing <---+
        |        ^  |            ^ |                       |   |      | go
        | settled|  | drive      | | home (to rest)        |   | wait |
        |        |  v            | v                  over |   v      |
        |       driving          rest        moving <------+  waiting-+
        |
        |    stop, empty                still                 resume
      any of these -----> stopping -----------> stopped --------------> moving -> rest
        |    violation
        +---------------> fault  -- resume --> moving -> rest
        |    limp, and sure; lain down after empty
        +---------------> limp   -- resume --> moving -> rest
                          |  ^
                    setup |  | finish, limp, empty, leave
                          v  |          stop
                          setup <---------------> halted
                                       resume

``stopped`` latches: it holds every joint where it is until someone resumes (or, deliberately, lets go of
the robot altogether). ``limp`` is the deeper of the two: there are no pulses, nothing moves, so Stop has
nothing to add there, and must not: holding would snap a sagged robot straight. In the words of IEC 60204-1,
``stopped`` and ``limp`` are stop categories 2 and 0 in kind only: no software stop is an emergency stop.

``setup`` is bring-up: raw pulses for the joints that were chosen, none for all others. Since a standing robot would
drop when it begins, it begins from ``limp`` alone, and ends there. Stop in it makes what has a pulse stay where it is,
latched as ``halted``; were it to hold every joint, those that have none would snap to wherever they were last.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, cast, get_args

Mode = Literal[
    "rest", "moving", "playing", "waiting", "driving", "stopping", "stopped", "limp", "fault", "setup", "halted"
]
Cause = Literal[
    "drive",  # the driver asks to walk, or to carry the body otherwise
    "settled",  # the walk has ended, feet down, posture reached
    "play",  # a prepared move or recording is to be played
    "begin",  # on the way to it, its first frame has been reached
    "home",  # on the way to it, the rest stance has been reached
    "wait",  # a routine waits for the operator
    "go",  # the operator lets it go on
    "over",  # it has been played to its end
    "stop",  # anybody pressed Stop
    "still",  # every joint is at a standstill
    "resume",  # the stop, the limpness or the fault is lifted
    "limp",  # the pulses shall end, and whoever asks is sure
    "unsure",  # the pulses shall end, but nobody has said that they are sure
    "violation",  # the guard will not let a frame pass
    "lost",  # the link went quiet: the robot eases to rest by itself, and so does the hub
    "leave",  # the hub is about to end
    "empty",  # the battery is below its cut-off
    "lain",  # the robot has lain down for that
    "setup",  # bring-up begins
    "finish",  # bring-up is left
]

MODES: tuple[Mode, ...] = get_args(Mode)
CAUSES: tuple[Cause, ...] = get_args(Cause)

# A mode's name: that mode is next (its own name: it stays, and the cause has been taken).
# "."   it changes nothing in this mode and is let pass without a word.
# "no"  refused, with the words in REASONS.
_TABLE = """
cause      rest      moving    playing   waiting   driving   stopping  stopped   limp      fault     setup     halted
drive      driving   no        no        no        driving   no        no        no        no        no        no
settled    .         .         .         .         rest      .         .         .         .         .         .
play       moving    moving    moving    moving    moving    no        no        no        no        no        no
begin      .         playing   .         .         .         .         .         .         .         .         .
home       .         rest      .         .         .         .         .         .         .         .         .
wait       .         .         waiting   .         .         .         .         .         .         .         .
go         no        no        no        playing   no        no        no        no        no        no        no
over       .         .         moving    moving    .         .         .         .         .         .         .
stop       stopping  stopping  stopping  stopping  stopping  stopping  stopped   limp      stopping  halted    halted
still      .         .         .         .         .         stopped   .         .         .         .         .
resume     no        no        no        no        no        no        moving    moving    moving    no        setup
limp       limp      limp      limp      limp      limp      limp      limp      limp      limp      limp      limp
unsure     no        no        no        no        no        no        no        no        no        no        no
violation  fault     fault     fault     fault     fault     fault     .         .         .         .         .
lost       moving    moving    moving    moving    moving    stopping  stopped   .         fault     setup     halted
leave      moving    moving    moving    moving    moving    .         .         .         .         limp      limp
empty      stopping  stopping  stopping  stopping  stopping  stopping  .         .         .         limp      limp
setup      no        no        no        no        no        no        no        setup     no        .         no
finish     .         .         .         .         .         .         .         .         .         limp      limp
lain       .         .         .         .         .         limp      .         .         .         .         .
"""

REASONS: dict[Cause, dict[Mode, str]] = {
    "drive": {
        "moving": "it is on the way to a stance; wait until it stands",
        "playing": "a move is playing; stop it first",
        "waiting": "a routine waits to go on; stop it first",
    },
    "play": {},
    "setup": {
        **dict.fromkeys(
            ("rest", "moving", "playing", "waiting", "driving", "stopping", "stopped", "fault"),
            "put it on its stand and let it go limp first; bring-up begins without pulses",
        ),
    },
    "go": {
        "rest": "nothing waits to go on",
        "moving": "nothing waits to go on",
        "playing": "nothing waits to go on",
        "driving": "nothing waits to go on",
    },
    "resume": {
        "rest": "nothing is stopped",
        "moving": "nothing is stopped",
        "playing": "nothing is stopped",
        "waiting": "nothing is stopped",
        "driving": "nothing is stopped",
        "setup": "nothing is stopped",
    },
    "unsure": dict.fromkeys(MODES, "ending the pulses lets the robot sag; say that you are sure"),
}
"""Why a cause is refused in a mode, where :data:`HELD` does not say it already."""

HELD: dict[Mode, str] = {
    "stopping": "it is coming to a stop; wait until it is still",
    "stopped": "it is stopped; resume first",
    "limp": "it is limp; resume first",
    "fault": "it is at fault; resume first",
    "setup": "it is being brought up; leave that first",
    "halted": "it is stopped; resume first",
}
"""Why nothing is taken in the modes that hold the robot."""


@dataclass(frozen=True)
class Outcome:
    """What a cause does in a mode: the mode that follows, or why it is refused.

    ``taken`` is False when the cause passes without effect; ``refused`` then has the words, if any are due.
    """

    mode: Mode
    taken: bool
    refused: str = ""


def _read(table: str) -> dict[tuple[Mode, Cause], Outcome]:
    head, *rows = [line.split() for line in table.strip().splitlines()]
    outcomes: dict[tuple[Mode, Cause], Outcome] = {}
    for name, *cells in rows:
        cause = cast(Cause, name)
        for mode, cell in zip(cast(list[Mode], head[1:]), cells, strict=True):
            if cell == ".":
                outcome = Outcome(mode, taken=False)
            elif cell == "no":
                words = REASONS.get(cause, {}).get(mode) or HELD[mode]
                outcome = Outcome(mode, taken=False, refused=words)
            else:
                outcome = Outcome(cast(Mode, cell), taken=True)
            outcomes[mode, cause] = outcome
    return outcomes


OUTCOMES = _read(_TABLE)
"""Every mode with every cause; nothing is left to chance (the tests walk all of it)."""


def after(mode: Mode, cause: Cause) -> Outcome:
    """What this cause does in this mode."""
    return OUTCOMES[mode, cause]
