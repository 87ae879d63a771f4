"""Reading the robot file: from the text that a person wrote to the robot that everything else works with.

The keys of the file and their units are in :mod:`~motionhub.robot.robotfile`; what is refused comes
back as one line that names the place in the file as it was written.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable
from pathlib import Path

from pydantic import ValidationError

from motionhub.errors import InputError, Location, dotted, from_validation, unknown
from motionhub.robot.believable import misfits
from motionhub.robot.model import Robot
from motionhub.robot.robotfile import FORMAT, RobotFile

__all__ = ["FORMAT", "RobotFile", "load", "parse"]


def parse(text: str, source: str | Path) -> RobotFile:
    """Read the text of a robot file.

    A ``[leg]`` table holds what the legs have in common; each entry of ``[[legs]]`` may override any
    key of it, down to single keys of its ``coxa``, ``femur`` and ``tibia``.

    Raises:
        InputError: naming the place in the file and what was expected there.
    """
    data = _toml(text, source)
    if data.get("format") != FORMAT:
        found = repr(data["format"]) if "format" in data else "nothing"
        raise InputError(source, "format", f"expected {FORMAT!r}, found {found}")
    known = [*RobotFile.model_fields, "leg"]
    for key in data:
        if key not in known:
            raise InputError(source, key, unknown("table", key, known))
    common = data.pop("leg", {})
    if not isinstance(common, dict):
        raise InputError(source, "leg", "expected a table of what the legs have in common")
    legs = data.get("legs")
    if isinstance(legs, list):
        data["legs"] = [_merged(common, leg) if isinstance(leg, dict) else leg for leg in legs]
    locate = _locator(common, legs)
    try:
        file = RobotFile.model_validate(data)
    except ValidationError as error:
        raise from_validation(source, error, RobotFile, locate) from None
    for location, expected in misfits(file):
        raise InputError(source, dotted(locate(location)), expected)
    return file


def load(path: str | Path) -> Robot:
    """Read a robot file.

    Raises:
        InputError: if it cannot be read or is not a believable robot.
    """
    try:
        text = Path(path).read_text(encoding="utf-8")
    except FileNotFoundError:
        raise InputError(path, "", "expected a robot file, found nothing there") from None
    except UnicodeDecodeError as error:
        raise InputError(path, f"byte {error.start}", "expected a robot file in UTF-8") from None
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or str(error)).lower()
        raise InputError(path, "", f"expected a robot file that can be read, found: {reason}") from None
    return Robot.from_file(parse(text, path), source=str(path))


def _toml(text: str, source: str | Path) -> dict[str, object]:
    try:
        return tomllib.loads(text)
    except RecursionError:
        raise InputError(source, "", "expected TOML, found it nested too deeply") from None
    except ValueError as error:  # broken TOML, or a number with thousands of digits
        place = re.search(r"\(at (line \d+), column \d+\)", str(error))
        reason = re.sub(r"\s*\(at .*\)$", "", str(error))
        if "integer string conversion" in reason:
            reason = "a number of thousands of digits"
        where = place.group(1) if place else "the end" if "at end of document" in str(error) else ""
        raise InputError(source, where, f"expected TOML, found: {reason[:1].lower()}{reason[1:]}") from None


def _merged(common: dict[str, object], own: dict[str, object]) -> dict[str, object]:
    merged = dict(common)
    for key, value in own.items():
        base = merged.get(key)
        merged[key] = _merged(base, value) if isinstance(base, dict) and isinstance(value, dict) else value
    return merged


def _locator(common: dict[str, object], legs: object) -> Callable[[Location], Location]:
    """Undo the merging of ``[leg]`` into ``[[legs]]`` for places: say where a value was written.

    A value stands where it was written. A key that is missing is missed where its table was written.
    """

    def locate(location: Location) -> Location:
        if location[:1] != ("legs",) or len(location) < 3 or not isinstance(legs, list):
            return location
        own, path = legs[int(location[1])], location[2:]
        if _written(own, path) or not (_written(common, path) or _only_in(common, own, path[:-1])):
            return location
        return ("leg", *path)

    return locate


def _only_in(common: object, own: object, path: Location) -> bool:
    return bool(path) and _written(common, path) and not _written(own, path)


def _written(table: object, path: Location) -> bool:
    for part in path:
        inside = (isinstance(table, dict) and part in table) or (
            isinstance(table, list) and isinstance(part, int) and part < len(table)
        )
        if not inside:
            return False
        table = table[part]  # type: ignore[index]
    return True
