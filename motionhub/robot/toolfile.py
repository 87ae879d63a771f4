"""JSON files that the tool keeps about one robot: each names its format and its robot, and is refused without."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TypeVar

from pydantic import BaseModel, ValidationError

from motionhub.errors import InputError, from_validation
from motionhub.robot.model import Robot

M = TypeVar("M", bound=BaseModel)


def read(model: type[M], text: str, source: str | Path, robot: Robot, kind: str, what: str) -> M:
    """Read such a file.

    Args:
        model: What is in it; it has a field ``robot``.
        text: The file's.
        source: Its name.
        robot: Whose it has to be.
        kind: The format that it has to name.
        what: What it is, in a word.

    Raises:
        InputError: naming the place in the file and what was expected there.
    """
    try:
        data = json.loads(text)
    except json.JSONDecodeError as error:
        found = f"expected JSON, {error.msg[:1].lower()}{error.msg[1:]}"
        raise InputError(source, f"line {error.lineno}", found) from None
    except RecursionError:
        raise InputError(source, "", "expected JSON, found it nested too deeply") from None
    except ValueError:  # Python reads no integer of thousands of digits
        raise InputError(source, "", "expected JSON, found a number that is too long") from None
    if not isinstance(data, dict):
        raise InputError(source, "", "expected a JSON object")
    if data.get("format") != kind:
        raise InputError(source, "format", f"expected {kind!r}, found {data.get('format')!r}")
    try:
        made = model.model_validate(data)
    except ValidationError as error:
        raise from_validation(source, error, model) from None
    if (owner := getattr(made, "robot", None)) != robot.name:
        raise InputError(source, "robot", f"expected the {what} of {robot.name!r}, found {owner!r}'s")
    return made
