"""From what can be measured to a robot file: the shape, what is bolted on to it, and what follows from both.

A :class:`Skeleton` is the shape alone, from a ruler (:func:`by_ruler`) or from a URDF
(:mod:`~motionhub.robot.urdf_read`). :class:`Fitting` is what no drawing says: servos, supply, radio, pins.
:func:`compose` makes a robot file of the two, with the rest stance and the walk that suit such legs.
Units here are those of the file.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from math import atan2, cos, degrees, pi, sin
from typing import Any

from motionhub.robot.robotfile import FORMAT

Point = tuple[float, float, float]
PARTS = ("coxa", "femur", "tibia")

# As the horns of most walkers of this kind are fitted: coxa straight ahead, femur a little up, tibia bent.
# (range, mid) in degrees, for 180 degrees of travel (practice).
_RANGES: Mapping[str, tuple[tuple[float, float], float]] = {
    "coxa": ((-50.0, 50.0), 0.0),
    "femur": ((-60.0, 95.0), 20.0),
    "tibia": ((-160.0, 0.0), -85.0),
}
_CYCLES = {4: 2400.0, 5: 2000.0, 6: 1200.0, 7: 1400.0, 8: 1600.0}
"""Milliseconds that a cycle of the usual gait takes a robot of a few kilograms (practice)."""
_LIFTED = pi / 6
"""A femur raised by this much over a tibia that stands upright: the usual stance (practice)."""


@dataclass(frozen=True)
class LegShape:
    """One leg: its segments by part name, each with ``length_mm``, ``mass_g`` and what else is known of it."""

    name: str
    hip_mm: Point
    heading_deg: float
    segments: Mapping[str, Mapping[str, Any]]
    foot_radius_mm: float = 6.0
    stand_mm: float | None = None
    stand_turn_deg: float = 0.0
    pins: tuple[int, int, int] | None = None


@dataclass(frozen=True)
class Skeleton:
    """The shape of a robot. ``joints`` are extra joints as the robot file has them, without servo and pin."""

    name: str
    body: Mapping[str, Any]
    legs: Sequence[LegShape]
    joints: Sequence[Mapping[str, Any]] = ()


@dataclass(frozen=True)
class Fitting:
    """What is bolted on. Servos are tables of the robot file by name; pins are handed out from ``first_pin``."""

    servos: Mapping[str, Mapping[str, Any]]
    leg_servo: str
    extra_servo: str
    supply: Mapping[str, Any]
    baud: int
    first_pin: int = 22
    height_mm: float | None = None
    outputs: Sequence[Mapping[str, Any]] = ()
    walk: Mapping[str, float] = field(default_factory=dict)


def by_ruler(
    count: int, body_size_mm: Point, segments: Mapping[str, Mapping[str, Any]], foot_radius_mm: float
) -> list[LegShape]:
    """Legs where they usually are: in two rows along the trunk, or evenly around it when their number is odd.

    Args:
        count: 4 to 8.
        body_size_mm: The trunk's box; hips sit just inside its outline.
        segments: Of every leg, by part name.
        foot_radius_mm: Of every foot.
    """
    length, width, _ = body_size_mm
    legs = []
    if count % 2:
        for i in range(count):
            angle = 2 * pi * i / count
            hip = (round(0.42 * length * cos(angle), 1), round(0.5 * width * sin(angle), 1), 0.0)
            heading = round(degrees(atan2(sin(angle), cos(angle))), 1)
            legs.append(LegShape(f"leg_{i + 1}", hip, heading, segments, foot_radius_mm))
        return legs
    rows = count // 2
    names = {2: ("front", "rear"), 3: ("front", "middle", "rear")}.get(rows) or tuple(str(i + 1) for i in range(rows))
    for side, sign in (("left", 1.0), ("right", -1.0)):
        for row, name in enumerate(names):
            along = 1 - 2 * row / (rows - 1)
            hip = (round(0.42 * length * along, 1), round(sign * 0.5 * width, 1), 0.0)
            heading = sign * round(90 - 45 * along, 1)
            legs.append(LegShape(f"{side}_{name}", hip, heading, segments, foot_radius_mm))
    return legs


def mirrored(leg: LegShape) -> LegShape:
    """The same leg on the other side, named for it; its pins are its own to be given."""
    swap = {"left": "right", "right": "left"}
    first, _, rest = leg.name.partition("_")
    x, y, z = leg.hip_mm
    segments = {part: _mirrored_segment(segment) for part, segment in leg.segments.items()}
    return LegShape(
        f"{swap[first]}_{rest}" if rest else swap[first], (x, -y, z), -leg.heading_deg, segments,
        leg.foot_radius_mm, leg.stand_mm, -leg.stand_turn_deg, None,
    )  # fmt: skip


def _mirrored_segment(segment: Mapping[str, Any]) -> Mapping[str, Any]:
    if segment.get("com_mm") is None:
        return segment
    x, y, z = segment["com_mm"]
    return {**segment, "com_mm": (x, -y, z)}


def stance(leg: LegShape) -> tuple[float, float]:
    """Where a leg stands well: mm from the coxa's axis to the foot, and height of that axis above the ground.

    The tibia upright under a femur raised by 30 degrees; with a tibia too short for that, a level femur.
    """
    coxa, femur, tibia = (leg.segments[part]["length_mm"] for part in PARTS)
    lift = _LIFTED if tibia > 1.2 * femur * sin(_LIFTED) + leg.foot_radius_mm else 0.0
    return round(coxa + femur * cos(lift)), round(tibia - femur * sin(lift) + leg.foot_radius_mm)


def compose(shape: Skeleton, fitting: Fitting) -> dict[str, Any]:
    """A robot file as data, to be validated and written; nothing in it is judged here."""
    travel = fitting.servos[fitting.leg_servo]["travel_deg"] if fitting.leg_servo in fitting.servos else 180.0
    pin = iter(_free_pins(shape, fitting))
    height = fitting.height_mm
    if height is None:
        height = min(stance(leg)[1] - leg.hip_mm[2] for leg in shape.legs)
    legs = []
    for leg in shape.legs:
        pins = leg.pins or (next(pin), next(pin), next(pin))
        stand = leg.stand_mm if leg.stand_mm is not None else float(stance(leg)[0])
        entry: dict[str, Any] = {
            "name": leg.name,
            "hip_mm": leg.hip_mm,
            "heading_deg": leg.heading_deg,
            "pins": dict(zip(PARTS, pins, strict=True)),
            "foot_radius_mm": leg.foot_radius_mm,
            "stand_mm": stand,
            "stand_turn_deg": leg.stand_turn_deg,
        }
        for part in PARTS:
            entry[part] = {"servo": fitting.leg_servo, **_range(part, leg.segments[part], travel)}
        legs.append(entry)
    joints = []
    for joint in shape.joints:
        low, high = joint.get("range_deg", (-60.0, 60.0))
        known = {"servo": fitting.extra_servo, "range_deg": (low, high), "mid_deg": (low + high) / 2}
        joints.append({**known, **joint, "pin": joint["pin"] if "pin" in joint else next(pin)})
    outputs = [{**output, "pin": output["pin"] if "pin" in output else next(pin)} for output in fitting.outputs]
    reach = max(leg.segments["femur"]["length_mm"] + leg.segments["tibia"]["length_mm"] for leg in shape.legs)
    walk = {
        "cycle_ms": _CYCLES.get(len(shape.legs), 2000.0),
        "lift_mm": float(round(0.15 * reach)),
        "stride_mm": float(round(0.28 * reach)),
    }
    return {
        "format": FORMAT,
        "name": shape.name,
        "body": dict(shape.body),
        "rest": {"height_mm": float(height)},
        "walk": {**walk, **fitting.walk},
        "servos": {name: dict(servo) for name, servo in fitting.servos.items()},
        "legs": legs,
        "joints": joints,
        "outputs": outputs,
        "supply": dict(fitting.supply),
        "link": {"baud": fitting.baud},
    }


def _free_pins(shape: Skeleton, fitting: Fitting) -> list[int]:
    taken = {pin for leg in shape.legs for pin in leg.pins or ()}
    taken |= {item["pin"] for item in (*shape.joints, *fitting.outputs) if "pin" in item}
    return [pin for pin in range(fitting.first_pin, 256) if pin not in taken]


def _range(part: str, segment: Mapping[str, Any], travel: float) -> dict[str, Any]:
    """A joint's range: as given, else the usual one; within the travel around the middle that suits it."""
    usual, mid = _RANGES[part]
    if "range_deg" in segment:
        low, high = segment["range_deg"]
        # Keep the usual way to fit the horn where its travel covers the range; else centre the travel on it.
        covers = mid - travel / 2 <= low and high <= mid + travel / 2
        found: dict[str, Any] = {"range_deg": (low, high), "mid_deg": mid if covers else (low + high) / 2}
    else:
        found = {"range_deg": (max(usual[0], mid - travel / 2), min(usual[1], mid + travel / 2)), "mid_deg": mid}
    return found | dict(segment)
