"""SEQUENCE on the command line: a file, or the name of a sequence or routine of the library."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from motionhub.errors import InputError
from motionhub.library.shelf import read_text
from motionhub.library.store import Library
from motionhub.motion import documents, jsontext
from motionhub.motion.documents import Sequence
from motionhub.motion.formats import ROUTINE_FORMAT, RoutineFile
from motionhub.motion.frames import Frames
from motionhub.motion.render import render
from motionhub.motion.routine import render_routine


@dataclass(frozen=True)
class Move:
    """A sequence or a routine, and the library that a routine takes its sequences from."""

    document: Sequence | RoutineFile
    source: str
    library: Library

    @property
    def runs(self) -> int:
        """Of a sequence, one after the other: a routine has many."""
        return 1 if isinstance(self.document, Sequence) else sum(step.times for step in self.document.steps)

    def frames(self, rate_hz: float, progress: Callable[[int, int], None] | None = None) -> Frames:
        """Render it; ``progress`` is called with runs done and runs in all, of a routine after each of them.

        Raises:
            InputError: It cannot be rendered; the place says why.
        """
        robot = self.library.robot
        if isinstance(self.document, Sequence):
            return render(self.document, robot, rate_hz)
        names = {step.sequence for step in self.document.steps} & set(self.library.names())
        parts = {name: self.library.sequence(name) for name in sorted(names)}
        return render_routine(self.document, self.source, parts, robot, rate_hz, progress)


def find_move(name: str, library: Library) -> Move:
    """Read what SEQUENCE stands for. A file of that name goes before the library.

    Raises:
        InputError: There is neither, or it does not make sense for the library's robot.
    """
    if not looks_like_a_file(name):
        routine = library.kind(name) == "routine"
        return Move(library.routine(name) if routine else library.sequence(name), name, library)
    text = read_text(Path(name))
    if jsontext.load(text, name).get("format") == ROUTINE_FORMAT:
        return Move(documents.parse_routine(text, name), name, library)
    return Move(library.parse_sequence(text, name), name, library)


def find_sequence(name: str, library: Library) -> Sequence:
    """As :func:`find_move`, where only a sequence will do.

    Raises:
        InputError: It is a routine, or as above.
    """
    document = find_move(name, library).document
    if not isinstance(document, Sequence):
        raise InputError(name, "format", "expected a sequence, found a routine; name its sequences one by one")
    return document


def looks_like_a_file(name: str) -> bool:
    """Whether SEQUENCE is meant as a file rather than as a name of the library."""
    return name.endswith(".json") or "/" in name or "\\" in name or Path(name).is_file()
