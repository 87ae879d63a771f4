"""A part of a robot in one line, as it is given on a command line: ``left_rear hip=-82,58,0 heading=130 tibia=112``.

A name, then ``key=value`` with units understood as :mod:`~motionhub.robot.quantities` does. What a key means in
the robot file's terms is in the tables below.
"""

from __future__ import annotations

import shlex
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from motionhub.errors import InputError, unknown
from motionhub.robot.quantities import number, numbers
from motionhub.robot.robotfile import ServoPoint
from motionhub.robot.skeleton import PARTS, LegShape

Keys = Mapping[str, tuple[str, str, int]]
"""Of a kind of entry: key on the line → key in the file, unit, how many values."""

LEG: Keys = {
    "hip": ("hip_mm", "mm", 3),
    "heading": ("heading_deg", "deg", 1),
    "turn": ("stand_turn_deg", "deg", 1),
    "stand": ("stand_mm", "mm", 1),
    "foot": ("foot_radius_mm", "mm", 1),
    "pins": ("pins", "", 3),
    **{part: (part, "mm", 1) for part in PARTS},
    **{f"{part}_mass": (f"{part}_mass", "g", 1) for part in PARTS},
}
JOINT: Keys = {
    "axis": ("axis", "text", 1),
    "parent": ("parent", "text", 1),
    "servo": ("servo", "text", 1),
    "at": ("at_mm", "mm", 3),
    "tip": ("tip_mm", "mm", 3),
    "com": ("com_mm", "mm", 3),
    "mass": ("mass_g", "g", 1),
    "radius": ("radius_mm", "mm", 1),
    "range": ("range_deg", "deg", 2),
    "mid": ("mid_deg", "deg", 1),
    "pin": ("pin", "", 1),
}
SERVO: Keys = {
    "volts": ("volts", "v", 1),
    "torque": ("stall_torque_kgfcm", "kgfcm", 1),
    "speed": ("seconds_per_60deg", "s", 1),
    "stall": ("stall_a", "a", 1),
    "idle": ("idle_a", "a", 1),
    "running": ("running_a", "a", 1),
    "travel": ("travel_deg", "deg", 1),
    "pulse": ("pulse_us", "us", 2),
    "min": ("min_v", "v", 1),
    "max": ("max_v", "v", 1),
}
OUTPUT: Keys = {"kind": ("kind", "text", 1), "pin": ("pin", "", 1), "current": ("current_a", "a", 1)}


def entry(text: str, flag: str, keys: Keys) -> tuple[str, dict[str, Any]]:
    """The name and the values of one line.

    Raises:
        InputError: naming ``flag``, the key, and what was expected of it.
    """
    try:
        name, *pairs = shlex.split(text)
    except ValueError:
        raise InputError(flag, repr(text), "expected a name and then key=value, found " + repr(text)) from None
    if "=" in name:
        raise InputError(flag, name, f"expected a name first and then key=value, found {text!r}")
    found: dict[str, Any] = {}
    for pair in pairs:
        key, equals, value = pair.partition("=")
        if not equals:
            raise InputError(flag, name, f"expected key=value, found {pair!r}")
        if key not in keys:
            raise InputError(flag, name, unknown("key", key, keys))
        inner, unit, count = keys[key]
        try:
            found[inner] = _value(value, unit, count)
        except ValueError as error:
            raise InputError(flag, f"{name} {key}", str(error)) from None
    return name, found


def _value(text: str, unit: str, count: int) -> Any:
    if unit == "text":
        return text
    values: Any = (number(text, unit),) if count == 1 else numbers(text, unit, count)
    if not unit:  # pins
        if any(value != int(value) for value in values):
            raise ValueError(f"expected a whole number, found {text!r}")
        values = tuple(int(value) for value in values)
    return values[0] if count == 1 else values


def leg(usual: LegShape | None, name: str, values: Mapping[str, Any], segments: Mapping[str, Any]) -> LegShape:
    """A leg from its line: the usual one of that name, with what the line says otherwise.

    Raises:
        InputError: when it says too little of where a leg of no usual name sits.
    """
    if usual is None:
        for key in ("hip_mm", "heading_deg"):
            if key not in values:
                raise InputError("--leg", name, f"expected {key.rsplit('_', 1)[0]}=, since {name!r} has no usual place")
        usual = LegShape(name, values["hip_mm"], values["heading_deg"], segments)
    own = {part: dict(segment) for part, segment in usual.segments.items()}
    for part in PARTS:
        if part in values:
            own[part]["length_mm"] = values[part]
        if f"{part}_mass" in values:
            own[part]["mass_g"] = values[f"{part}_mass"]
    plain = {key: value for key, value in values.items() if key not in own and not key.endswith("_mass")}
    return replace(usual, segments=own, **plain)


def servo(points: list[Mapping[str, Any]]) -> dict[str, Any]:
    """A servo of the robot file from its data sheet's lines, one for each voltage; what is common may stand in any.

    Idle and running currents that are not given are a hundredth and an eighth of stall; the servo may have from a
    twentieth below its lowest voltage to a twentieth above its highest (practice).
    """
    common: dict[str, Any] = {"travel_deg": 180.0, "pulse_us": (500.0, 2500.0)}
    sheet = []
    for point in points:
        common |= {key: value for key, value in point.items() if key not in ServoPoint.model_fields}
        at = {key: value for key, value in point.items() if key in ServoPoint.model_fields}
        stall = at.get("stall_a", 0.0)
        sheet.append({"idle_a": round(0.01 * stall, 3), "running_a": round(0.125 * stall, 3), **at})
    volts = [point["volts"] for point in sheet if "volts" in point]
    if volts:
        common = {"min_v": round(0.95 * min(volts), 2), "max_v": round(1.05 * max(volts), 2), **common}
    return {"points": sorted(sheet, key=lambda point: point.get("volts", 0.0)), **common}
