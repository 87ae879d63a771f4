"""The one way in which input is refused: where it is, the place in it, and what was expected.

Every room raises :class:`InputError` for input that cannot be used. The command line prints it as one
line and exits with 2; the remote sends it as an ``error`` message. Nothing else is ever shown to a user
as a reason, so the text has to be complete by itself.
"""

from __future__ import annotations

import difflib
import re
import types
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Annotated, Union, get_args, get_origin

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


def unknown(kind: str, name: object, known: Iterable[str]) -> str:
    """What to say of a name that nothing has: what was probably meant, or else all that there is.

    Args:
        kind: What it should have been the name of, e.g. ``joint``.
        name: As it was written.
        known: The names that there are.
    """
    names = list(known)
    near = difflib.get_close_matches(str(name), names, n=1)
    if near:
        return f"expected a known {kind}, found {name!r}; did you mean {near[0]!r}?"
    return f"expected a known {kind} ({', '.join(names) or 'there is none'}), found {name!r}"


# What pydantic says, where its own wording would send a maker looking in the wrong place. Found values are
# added to all but the first three, which are about the key.
_PLAIN = {
    "missing": "is missing",
    "extra_forbidden": "is not a known key here",
    "model_type": "expected a table",
    "dict_type": "expected a table",
    "finite_number": "expected a finite number",
    "float_type": "expected a number",
    "int_type": "expected a whole number",
    "int_from_float": "expected a whole number",
    "bool_type": "expected true or false",
    "string_type": "expected text in quotes",
    "list_type": "expected a list",
    "tuple_type": "expected a list",
}
_ABOUT_THE_KEY = {"missing", "extra_forbidden"}

# The most telling error first: a misspelt key also makes its right spelling go missing.
_FIRST = ("extra_forbidden", "missing")

Location = tuple[int | str, ...]


def from_validation(
    source: str | Path,
    error: pydantic.ValidationError,
    model: type[pydantic.BaseModel] | None = None,
    locate: Callable[[Location], Location] | None = None,
) -> InputError:
    """Turn the most telling error that pydantic found into an :class:`InputError` of one line.

    Args:
        source: As in :class:`InputError`.
        error: What pydantic raised.
        model: What was being validated; given, a misspelt key is answered with the nearest right one.
        locate: Turns pydantic's location into the one in the file, where the two differ.
    """
    found = error.errors(include_url=False, include_context=False)
    found.sort(key=lambda item: _FIRST.index(item["type"]) if item["type"] in _FIRST else len(_FIRST))
    places = [(locate or tuple)(item["loc"]) for item in found]
    first, kind = found[0], found[0]["type"]
    message = _plain(kind, first["msg"])
    if kind == "extra_forbidden" and model is not None:
        known = _known_keys(model, first["loc"][:-1])
        near = difflib.get_close_matches(str(first["loc"][-1]), known, n=1)
        message += f"; did you mean {near[0]!r}?" if near else f" (known: {', '.join(known)})" if known else ""
    elif kind not in _ABOUT_THE_KEY and "found" not in message:
        message += f", found {_shown(first.get('input'))}"
    if more := len(set(places) - {places[0]}):
        message += f" (and {more} more)"
    return InputError(source, dotted([p for p in places[0] if not _is_branch(p)]), message)


def _plain(kind: str, text: str) -> str:
    if kind in _PLAIN:
        return _PLAIN[kind]
    text = text.removeprefix("Value error, ").removesuffix(" after validation")
    text = re.sub(r"^(?:Input|String) should (?:be|have) ", "expected ", text)
    text = re.sub(
        r"^(?:\w+) should have (at (?:least|most) \d+ items?)(?: after validation)?, not (\d+)$",
        r"expected \1, found \2",
        text,
    )
    text = re.sub(r"^expected (greater|less) than", r"expected a value \1 than", text)
    text = re.sub(r"^String should match pattern ", "expected text of the form ", text)
    return text[:1].lower() + text[1:]


def _shown(value: object) -> str:
    """The value as it was written, cut to what a line holds."""
    if isinstance(value, dict):
        return "a table"
    text = str(value).lower() if isinstance(value, bool) else repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _known_keys(model: type[pydantic.BaseModel], location: Location) -> list[str]:
    """The keys that the models at ``location`` have, in the order of their definition."""
    kinds: list[object] = [model]
    for part in location:
        step: list[object] = []
        for kind in kinds:
            if isinstance(kind, type) and issubclass(kind, pydantic.BaseModel):
                field = kind.model_fields.get(str(part))
                step += _alternatives(field.annotation) if field else []
            else:
                step += [a for arg in get_args(kind)[-1:] for a in _alternatives(arg)]
        kinds = step or kinds  # the name of a union's branch leads nowhere
    keys = [
        key
        for kind in kinds
        if isinstance(kind, type) and issubclass(kind, pydantic.BaseModel)
        for key in kind.model_fields
    ]
    return list(dict.fromkeys(keys))


def _alternatives(annotation: object) -> list[object]:
    """The types that an annotation allows, without its metadata and without None."""
    origin = get_origin(annotation)
    if origin is Annotated:
        return _alternatives(get_args(annotation)[0])
    if origin in (Union, types.UnionType):
        return [kind for arg in get_args(annotation) if arg is not type(None) for kind in _alternatives(arg)]
    return [annotation]


def _is_branch(part: int | str) -> bool:
    """Pydantic names the branch of a union in the location; a reader of the file has no use for it."""
    return isinstance(part, str) and (part.startswith(("function-", "tagged-union", "literal[")) or "[" in part)
