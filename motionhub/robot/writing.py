"""Writing a robot file as a person would have: grouped, with a comment where a number needs one.

The inverse of :func:`motionhub.robot.description.parse`: reading what :func:`text` writes gives the same
:class:`~motionhub.robot.robotfile.RobotFile`. What most legs have in common goes into the ``[leg]`` table,
so that a maker who measures a femur anew changes one number and not six.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Mapping
from typing import Any

from pydantic import BaseModel

from motionhub.robot.robotfile import Controller, ExtraJoint, Leg, RobotFile, Segment, ServoType

_TABLES = {
    "body": "the trunk with battery, regulator, controller and the coxa servos' cases",
    "rest": "the stance that everything starts from and returns to",
    "walk": "how it walks unless told otherwise",
    "supply": "one battery, one regulator, and the wire from the regulator to the servos",
    "link": "the serial radio",
    "controller": "the board on the robot, and what it does by itself",
    "leg": "what the legs have in common",
}
_KEYS = {
    ("body", "com_mm"): "where it balances, from the point that everything is measured from",
    ("body", "size_mm"): "box: length, width, height",
    ("rest", "height_mm"): "of that point above the ground",
    ("walk", "lift_mm"): "how high a foot swings",
    ("walk", "stride_mm"): "the longest way a foot goes on the ground in one step",
    ("walk", "margin_mm"): "how far inside its feet the weight has to stay",
    ("servo", "travel_deg"): "from one end to the other",
    ("servo", "pulse_us"): "at these two ends",
    ("servo", "hold_fraction"): "practice: about a third of stall for long",
    ("supply", "wiring_ohm"): "practice: 0.01 to 0.05; drop in volts over amps, measured with a load on",
    ("supply", "regulator_dropout_v"): "how much more the regulator needs than it gives",
    ("link", "share"): "how much of the line frames may take",
    ("controller", "quiet_ms"): "link quiet for this long: ease to rest and hold",
    ("controller", "cut_off_ms"): "battery below cut-off for this long: lower the body, end the pulses",
    ("controller", "uart"): "the board's serial port that the radio is on",
    ("controller", "battery_input"): "analogue input that measures the battery: 0 is A0",
    ("controller", "divider_ohm"): "from the battery to that input, and from there to ground",
    ("controller", "reference_v"): "the board's 5 V, as a meter shows it",
    ("leg", "stand_mm"): "from the coxa's axis to the foot, level, in the rest stance",
}
_SEGMENTS = ("coxa", "femur", "tibia")


def text(file: RobotFile, notes: Iterable[str] = ()) -> str:
    """The text of a robot file; ``notes`` are lines of comment for its head, without their ``#``."""
    lines = [f"# {note}".rstrip() for note in notes]
    lines += ["", *_pairs({"format": file.format, "name": file.name} | ({"about": file.about} if file.about else {}))]
    for name in ("body", "rest", "walk"):
        lines += _table(name, _written(getattr(file, name)))
    for name, servo in file.servos.items():
        lines += _servo(name, servo)
    for name in ("supply", "link"):
        lines += _table(name, _written(getattr(file, name)))
    if file.controller != Controller():
        lines += _table("controller", _written(file.controller))
    lines += _legs(file.legs)
    for joint in file.joints:
        lines += ["", "[[joints]]", *_pairs(_joint(joint))]
    for output in file.outputs:
        lines += ["", "[[outputs]]", *_pairs(_written(output))]
    return "\n".join(lines).lstrip("\n") + "\n"


def _written(part: BaseModel) -> dict[str, Any]:
    """The keys of a table that do not merely repeat a default."""
    return part.model_dump(exclude_defaults=True)


def _joint(joint: ExtraJoint) -> dict[str, Any]:
    found = _written(joint)
    first = ("name", "parent", "axis", "at_mm", "tip_mm", "com_mm", "mass_g", "radius_mm", "servo", "range_deg")
    return {key: found[key] for key in (*first, "mid_deg", "pin") if key in found}


def _servo(name: str, servo: ServoType) -> list[str]:
    found = servo.model_dump(exclude={"points"})
    lines = ["", f"[servos.{_key(name)}]", *_pairs(found, "servo")]
    for point in servo.points:
        lines += ["", f"[[servos.{_key(name)}.points]]", *_pairs(point.model_dump())]
    return lines


def _legs(legs: list[Leg]) -> list[str]:
    """The common table, and each leg with what is unlike it."""
    whole = [_leg(leg) for leg in legs]
    shared = {
        key: _commonest(leg[key] for leg in whole) for key in ("stand_mm", "stand_turn_deg", "foot_radius_mm")
    } | {
        part: {key: _commonest(leg[part][key] for leg in whole) for key in whole[0][part]} for part in _SEGMENTS
    }  # fmt: skip
    lines = _table("leg", {key: value for key, value in shared.items() if value not in (0.0, None)})
    for leg in whole:
        own: dict[str, Any] = {}
        for key, value in leg.items():
            if key in _SEGMENTS:
                own[key] = {k: v for k, v in value.items() if v != shared[key][k]}
            elif key not in shared or value != shared[key]:
                own[key] = value
        lines += ["", "[[legs]]", *_pairs({key: value for key, value in own.items() if value != {}})]
    return lines


def _leg(leg: Leg) -> dict[str, Any]:
    found: dict[str, Any] = {"name": leg.name, "hip_mm": leg.hip_mm, "heading_deg": leg.heading_deg}
    found |= {"stand_mm": leg.stand_mm, "stand_turn_deg": leg.stand_turn_deg, "foot_radius_mm": leg.foot_radius_mm}
    found["pins"] = leg.pins.model_dump()
    return found | {part: _segment(getattr(leg, part)) for part in _SEGMENTS}


def _segment(segment: Segment) -> dict[str, Any]:
    # Its middle written out: a leg that has none of its own could not say so beside a common one.
    middle = segment.com_mm if segment.com_mm is not None else (segment.length_mm / 2, 0.0, 0.0)
    return {
        "length_mm": segment.length_mm,
        "mass_g": segment.mass_g,
        "com_mm": middle,
        "radius_mm": segment.radius_mm,
        "servo": segment.servo,
        "range_deg": segment.range_deg,
        "mid_deg": segment.mid_deg,
    }


def _commonest(values: Iterable[Any]) -> Any:
    return Counter(values).most_common(1)[0][0]


def _table(name: str, values: Mapping[str, Any]) -> list[str]:
    return ["", _with(f"[{name}]", _TABLES.get(name)), *_pairs(values, name)]


def _pairs(values: Mapping[str, Any], table: str = "") -> list[str]:
    return [_with(f"{_key(key)} = {_value(value)}", _KEYS.get((table, key))) for key, value in values.items()]


def _with(line: str, comment: str | None) -> str:
    return f"{line:<28} # {comment}" if comment else line


def _key(name: str) -> str:
    return name if name.replace("_", "").replace("-", "").isalnum() and name.isascii() else _value(name)


def _value(value: Any) -> str:
    """One value as TOML writes it."""
    if isinstance(value, str):
        # JSON's strings are TOML's basic strings, but for DEL and what JSON would write as surrogate pairs
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{_key(key)} = {_value(item)}" for key, item in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_value(item) for item in value) + "]"
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return repr(value)
