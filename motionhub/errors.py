"""The one way in which input is refused: where it is, the place in it, and what was expected.

Every room raises :class:`InputError` for input that cannot be used. The command line prints it as one
line and exits with 2; the remote sends it as an ``error`` message. Nothing else is ever shown to a user
as a reason, so the text has to be complete by itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pydantic


class InputError(ValueError):
    """Input that cannot be used.

    Args:
        source: The file, command option or message that the input came from, as its user knows it.
        place: Where in it, e.g. ``legs[2].femur.length_mm`` or ``line 4``; empty for the whole of it.
        expected: What was expected and what was found instead, in one sentence without a full stop.
    """

    def __init__(self, source: str | Path, place: str, expected: str) -> None:
        self.source = str(source)
        self.place = place
        self.expected = " ".join(expected.split())
        super().__init__(": ".join(part for part in (self.source, self.place, self.expected) if part))


def dotted(location: Sequence[int | str]) -> str:
    """Write a path into nested data the way a person would: ``legs[2].femur.length_mm``."""
    text = ""
    for part in location:
        if isinstance(part, int):
            text += f"[{part}]"
        else:
            text += f".{part}" if text else part
    return text


# pydantic's own wording, where it would send a maker looking in the wrong place.
_PLAIN = {
    "missing": "is missing",
    "extra_forbidden": "is not a known key here",
    "finite_number": "expected a finite number",
}


def from_validation(source: str | Path, error: pydantic.ValidationError) -> InputError:
    """Turn the first error that pydantic found into an :class:`InputError` of one line."""
    errors = error.errors(include_url=False, include_context=False)
    first = errors[0]
    kind = first["type"]
    message = _PLAIN.get(kind, first["msg"].removeprefix("Value error, "))
    message = message[:1].lower() + message[1:]
    value = first.get("input")
    if kind not in _PLAIN and isinstance(value, str | int | float | bool):
        message += f" (found {value!r})"
    if len(errors) > 1:
        message += f" (and {len(errors) - 1} more)"
    return InputError(source, dotted([p for p in first["loc"] if not _is_branch(p)]), message)


def _is_branch(part: int | str) -> bool:
    """Pydantic names the branch of a union in the location; a reader of the file has no use for it."""
    return isinstance(part, str) and (part.startswith(("function-", "tagged-union", "literal[")) or "[" in part)
