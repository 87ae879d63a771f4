"""JSON as people write it: read strictly, with the place of every mistake; written so that it diffs well.

Python's reader takes a key given twice (and forgets the first), NaN, and null for anything. A person who
wrote one of those meant something else, so they are refused here, once for every kind of document.
"""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any, TypeVar

import pydantic
from pydantic import BaseModel, ConfigDict

from motionhub.errors import InputError, dotted, from_validation

MAX_CHARACTERS = 20_000_000
"""Far longer than an hour of keyframes; what is longer was not meant for this tool."""

_WIDTH = 110


class Part(BaseModel):
    """Any object of a document: unknown keys are refused, numbers are numbers and finite, nothing changes later."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, allow_inf_nan=False)


P = TypeVar("P", bound=Part)


class _Object(dict[str, Any]):
    """A JSON object that remembers a key given twice."""

    repeated: str | None = None


def _object(pairs: list[tuple[str, Any]]) -> _Object:
    found = _Object(pairs)
    if len(found) < len(pairs):
        seen: set[str] = set()
        found.repeated = next(key for key, _ in pairs if key in seen or seen.add(key))  # type: ignore[func-returns-value]
    return found


def load(text: str, source: str | Path) -> dict[str, Any]:
    """The JSON object that the text holds.

    Raises:
        InputError: naming the line, or the place in the data, and what was expected there.
    """
    if len(text) > MAX_CHARACTERS:
        raise InputError(source, "", f"expected at most {MAX_CHARACTERS} characters, found {len(text)}")
    try:
        data = json.loads(text, object_pairs_hook=_object)
    except json.JSONDecodeError as error:
        missing = error.msg.removeprefix("Expecting ")
        what = (
            f"expected {missing}"
            if missing != error.msg
            else f"expected JSON, found {error.msg[:1].lower()}{error.msg[1:]}"
        )
        raise InputError(source, f"line {error.lineno}", f"{what} (column {error.colno})") from None
    except (RecursionError, ValueError):  # too deeply nested; or an integer of thousands of digits
        raise InputError(source, "", "expected a document, found JSON nested too deeply or a number too long") from None
    if not isinstance(data, _Object):
        raise InputError(source, "", "expected a JSON object, from { to }")
    _refuse_traps(data, source)
    return data


def _refuse_traps(data: Any, source: str | Path) -> None:
    """Refuse what Python's reader lets through: keys given twice, and null where a key should be left out."""
    waiting: list[tuple[tuple[int | str, ...], Any]] = [((), data)]
    while waiting:
        place, value = waiting.pop()
        if isinstance(value, _Object):
            if value.repeated is not None:
                raise InputError(source, dotted((*place, value.repeated)), "expected each key once, found it twice")
            waiting.extend(((*place, key), item) for key, item in reversed(value.items()))
        elif isinstance(value, list):
            waiting.extend(((*place, i), item) for i, item in reversed(list(enumerate(value))))
        elif value is None:
            raise InputError(source, dotted(place), "expected a value, found null; leave the key out instead")


def check_format(data: dict[str, Any], expected: str, source: str | Path) -> None:
    """Refuse another format or another version before looking at anything else.

    Raises:
        InputError: at ``format``.
    """
    found = data.get("format")
    if found == expected:
        return
    kind, _, version = expected.rpartition("/")
    if isinstance(found, str) and found.rpartition("/")[0] == kind:
        raise InputError(source, "format", f"expected version {version} ({expected!r}), found {found!r}")
    what = "nothing" if "format" not in data else repr(found)[:60]
    raise InputError(source, "format", f"expected {expected!r}, found {what}")


def read(model: type[P], data: dict[str, Any], source: str | Path) -> P:
    """Validate data into one of the document models.

    Raises:
        InputError: naming the place, what was expected and, for a misspelt key, the key it resembles.
    """
    try:
        return model.model_validate(data)
    except pydantic.ValidationError as error:
        raise from_validation(source, error, model) from None


def dump(part: Part) -> str:
    """The document as JSON text: short objects on one line, what is left out left out. Reads back as the same."""
    data = part.model_dump(mode="json", exclude_none=True, exclude_defaults=True)
    heading = {key: data.pop(key) for key in ("format", "name", "about") if key in data}
    return _laid_out(_whole({**heading, **data}), "") + "\n"


def _laid_out(value: Any, indent: str) -> str:
    """On one line if it fits, else one line for each item."""
    line = json.dumps(value, ensure_ascii=False)
    if not isinstance(value, dict | list) or not value:
        return line
    if indent and len(indent) + len(line) < _WIDTH:  # the document itself always gets several
        return line
    deeper = indent + "  "
    if isinstance(value, dict):
        items = [f"{json.dumps(k, ensure_ascii=False)}: {_laid_out(v, deeper)}" for k, v in value.items()]
        return "{\n" + ",\n".join(deeper + item for item in items) + "\n" + indent + "}"
    return "[\n" + ",\n".join(deeper + _laid_out(item, deeper) for item in value) + "\n" + indent + "]"


def _whole(value: Any) -> Any:
    """20.0 as 20: nobody writes the point."""
    if isinstance(value, float) and math.isfinite(value) and value == int(value) and abs(value) < 1e15:
        return int(value)
    if isinstance(value, dict):
        return {key: _whole(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_whole(item) for item in value]
    return value
