"""The robot file: what a person measures with a ruler, a scale and a data sheet, and writes down.

These models mirror the TOML file key by key, in the units of the file (every key says its unit), and
refuse what cannot be true. :func:`load` turns a file into the :class:`~motionhub.robot.model.Robot`
that everything else works with, in SI units and radians.
"""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator, model_validator

from motionhub.errors import InputError, from_validation
from motionhub.robot.model import Robot

FORMAT = "motionhub-robot/1"

# Bounds that catch a value in the wrong unit (a femur of 90 m, a torque of 350 kgf·cm) and nothing else.
Millimetres = Annotated[float, Field(ge=-2000, le=2000, allow_inf_nan=False)]
Length = Annotated[float, Field(gt=0, le=1000, allow_inf_nan=False)]
Grams = Annotated[float, Field(gt=0, le=50_000, allow_inf_nan=False)]
Degrees = Annotated[float, Field(ge=-360, le=360, allow_inf_nan=False)]
Volts = Annotated[float, Field(gt=0, le=60, allow_inf_nan=False)]
Amps = Annotated[float, Field(ge=0, le=200, allow_inf_nan=False)]
Point = tuple[Millimetres, Millimetres, Millimetres]
Name = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,31}$")]
Pin = Annotated[int, Field(ge=0, le=255)]


class Part(BaseModel):
    """Any table of the file: unknown keys are refused, values are kept as they were written."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Range(Part):
    """A joint's range and where its servo sits in it."""

    servo: str
    range_deg: tuple[Degrees, Degrees]
    mid_deg: Degrees = 0.0
    """Joint angle at the servo's mid-travel, as the horn is fitted."""

    @field_validator("range_deg")
    @classmethod
    def _in_order(cls, value: tuple[float, float]) -> tuple[float, float]:
        if value[0] >= value[1]:
            raise ValueError(f"expected the lower end first, found {list(value)}")
        return value


class Segment(Range):
    """One of the three links of a leg: the joint that turns it, and the link itself."""

    length_mm: Length
    mass_g: Grams
    com_mm: Point | None = None
    """Centre of mass in the link's frame (x along the link, from its joint); its middle when not given."""
    radius_mm: Length = 12.0
    """Of the capsule that stands for the link, for inertia and clearance."""


class Leg(Part):
    """One leg: where it sits, and what is unlike the common ``[leg]`` table."""

    name: Name
    hip_mm: Point
    """The coxa's axis, in the body frame."""
    heading_deg: Degrees
    """Where the leg points with its coxa at zero; 0 is forward, 90 is left."""
    pins: dict[Literal["coxa", "femur", "tibia"], Pin]
    coxa: Segment
    femur: Segment
    tibia: Segment
    foot_radius_mm: Length = 6.0
    stand_mm: Annotated[float, Field(gt=0, le=1000, allow_inf_nan=False)]
    """Horizontal distance from the coxa's axis to the foot in the rest stance."""
    stand_turn_deg: Degrees = 0.0
    """Coxa angle in the rest stance."""

    @model_validator(mode="after")
    def _all_pins(self) -> Self:
        if missing := {"coxa", "femur", "tibia"} - set(self.pins):
            raise ValueError(f"expected a pin for {', '.join(sorted(missing))} in pins")
        return self


class ExtraJoint(Range):
    """A joint that carries no weight: a head, a tail, a gripper."""

    name: Name
    parent: str = "body"
    """``body`` or the name of an extra joint listed before this one."""
    at_mm: Point
    """The axis, in the parent's frame."""
    axis: Literal["roll", "pitch", "yaw"]
    """About x, y or z of the parent, right-handed (ROS REP 103: pitch positive is nose down)."""
    pin: Pin
    mass_g: Grams
    com_mm: Point
    tip_mm: Point
    """The far end of the capsule that stands for the link; it starts at the axis."""
    radius_mm: Length = 12.0


class Body(Part):
    """The trunk with all that is fixed to it: battery, regulator, controller, and the coxa servos' cases."""

    mass_g: Grams
    com_mm: Point = (0.0, 0.0, 0.0)
    size_mm: tuple[Length, Length, Length]
    """The box that stands for it: length (x), width (y), height (z)."""
    centre_mm: Point = (0.0, 0.0, 0.0)
    """The box's centre, in the body frame."""


class Rest(Part):
    """The stance that everything starts from and returns to."""

    height_mm: Length
    """Of the body's reference point above the ground."""


class Walk(Part):
    """How the robot walks unless told otherwise."""

    cycle_ms: Annotated[float, Field(ge=200, le=20_000, allow_inf_nan=False)]
    lift_mm: Annotated[float, Field(gt=0, le=300, allow_inf_nan=False)]
    stride_mm: Annotated[float, Field(gt=0, le=500, allow_inf_nan=False)]
    """The longest way a foot goes on the ground in one step."""
    margin_mm: Annotated[float, Field(ge=0, le=200, allow_inf_nan=False)] = 10.0
    """Static stability margin that the check asks for."""


class ServoPoint(Part):
    """One line of a data sheet: what the servo gives at one voltage."""

    volts: Volts
    stall_torque_kgfcm: Annotated[float, Field(gt=0, le=200, allow_inf_nan=False)]
    seconds_per_60deg: Annotated[float, Field(gt=0.005, le=5, allow_inf_nan=False)]
    stall_a: Annotated[float, Field(gt=0, le=30, allow_inf_nan=False)]
    idle_a: Annotated[float, Field(ge=0, le=2, allow_inf_nan=False)]
    """Standing still without load."""
    running_a: Annotated[float, Field(ge=0, le=5, allow_inf_nan=False)]
    """Turning freely at full speed."""


class ServoType(Part):
    """A class of servo, as its data sheet has it."""

    points: Annotated[list[ServoPoint], Field(min_length=1)]
    travel_deg: Annotated[float, Field(ge=30, le=360, allow_inf_nan=False)] = 180.0
    pulse_us: tuple[Annotated[float, Field(ge=300, le=3000)], Annotated[float, Field(ge=300, le=3000)]]
    """Pulse widths at the two ends of the travel, short first."""
    max_v: Volts
    min_v: Volts
    hold_fraction: Annotated[float, Field(gt=0, le=1)] = 1 / 3
    """Share of the stall torque that it holds for long without overheating (practice: about a third)."""
    hold_window_s: Annotated[float, Field(gt=0, le=600)] = 5.0
    """The time over which that is averaged."""

    @model_validator(mode="after")
    def _believable(self) -> Self:
        volts = [p.volts for p in self.points]
        if volts != sorted(set(volts)):
            raise ValueError("expected the points in order of rising volts")
        if self.pulse_us[0] >= self.pulse_us[1]:
            raise ValueError("expected the shorter pulse first in pulse_us")
        if self.min_v >= self.max_v:
            raise ValueError("expected min_v below max_v")
        return self


class Supply(Part):
    """One battery, one regulator, and the wire between the regulator and the servos."""

    cells: Annotated[int, Field(ge=1, le=8)]
    cell_full_v: Volts = 4.2
    cell_nominal_v: Volts = 3.7
    cell_warn_v: Volts = 3.5
    cell_cut_off_v: Volts = 3.3
    capacity_mah: Annotated[float, Field(gt=0, le=100_000)]
    battery_ohm: Annotated[float, Field(ge=0, le=2)]
    regulator_v: Volts
    regulator_a: Annotated[float, Field(gt=0, le=200)]
    regulator_efficiency: Annotated[float, Field(gt=0.3, le=1)] = 0.9
    regulator_dropout_v: Annotated[float, Field(ge=0, le=3)] = 0.3
    wiring_ohm: Annotated[float, Field(ge=0, le=2)]
    electronics_a: Amps = 0.15
    """Controller and radio, from the battery's side."""

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        levels = (self.cell_cut_off_v, self.cell_warn_v, self.cell_nominal_v, self.cell_full_v)
        if list(levels) != sorted(levels):
            raise ValueError("expected cut-off, warning, nominal and full cell voltages in rising order")
        return self


class Link(Part):
    """The serial radio."""

    baud: Annotated[int, Field(ge=1200, le=1_000_000)]
    share: Annotated[float, Field(gt=0, le=1)] = 0.75
    """How much of the line frames may take; the rest is for commands and repeats."""


class Controller(Part):
    """The board on the robot and what it does by itself."""

    board: Literal["atmega2560"] = "atmega2560"
    quiet_ms: Annotated[int, Field(ge=100, le=10_000)] = 500
    """Link quiet for this long: ease to rest and hold."""
    cut_off_ms: Annotated[int, Field(ge=100, le=60_000)] = 3000
    """Battery below cut-off for this long: lower the body, end the pulses."""


class Output(Part):
    """A lamp, a sounder, or anything else that is switched or dimmed."""

    name: Name
    kind: Literal["lamp", "sounder"]
    pin: Pin
    current_a: Amps
    """At full level, from the servo rail."""


class RobotFile(Part):
    """The whole robot file."""

    format: Literal["motionhub-robot/1"]
    name: Annotated[str, Field(min_length=1, max_length=60)]
    about: str = ""
    body: Body
    rest: Rest
    walk: Walk
    servos: dict[str, ServoType]
    legs: Annotated[list[Leg], Field(min_length=4, max_length=8)]
    joints: list[ExtraJoint] = []
    outputs: list[Output] = []
    supply: Supply
    link: Link
    controller: Controller = Controller()

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        self._unique_names()
        self._unique_pins()
        self._known_parents()
        self._servos_fit()
        return self

    def _unique_names(self) -> None:
        seen: set[str] = {"body"}
        for kind, items in (("legs", self.legs), ("joints", self.joints), ("outputs", self.outputs)):
            for i, item in enumerate(items):
                if item.name in seen:
                    raise ValueError(f"expected a name of its own for {kind}[{i}], found {item.name!r} again")
                seen.add(item.name)

    def _unique_pins(self) -> None:
        owner: dict[int, str] = {}
        for name, pin in self.pins().items():
            if pin in owner:
                raise ValueError(f"expected a pin of its own for {name}, found pin {pin}, which is {owner[pin]}'s")
            owner[pin] = name

    def _known_parents(self) -> None:
        known = {"body"}
        for joint in self.joints:
            if joint.parent not in known:
                raise ValueError(
                    f"expected 'body' or a joint listed earlier as parent of {joint.name}, found {joint.parent!r}"
                )
            known.add(joint.name)

    def _servos_fit(self) -> None:
        for name, item in self.ranges().items():
            kind = self.servos.get(item.servo)
            if kind is None:
                known = ", ".join(sorted(self.servos)) or "none"
                raise ValueError(f"expected a servo of this file for {name} ({known}), found {item.servo!r}")
            half = kind.travel_deg / 2
            low, high = item.mid_deg - half, item.mid_deg + half
            if item.range_deg[0] < low - 1e-9 or item.range_deg[1] > high + 1e-9:
                raise ValueError(
                    f"expected range_deg of {name} within its servo's travel {low:g} to {high:g} deg, "
                    f"found {item.range_deg[0]:g} to {item.range_deg[1]:g}"
                )
            if self.supply.regulator_v > kind.max_v:
                raise ValueError(
                    f"expected supply.regulator_v of at most {kind.max_v:g} V, which is all that the servo "
                    f"{item.servo!r} takes, found {self.supply.regulator_v:g}"
                )

    def ranges(self) -> dict[str, Range]:
        """Every joint by name, in the order of ``Robot.joint_names``."""
        found: dict[str, Range] = {}
        for leg in self.legs:
            found |= {f"{leg.name}.coxa": leg.coxa, f"{leg.name}.femur": leg.femur, f"{leg.name}.tibia": leg.tibia}
        return found | {joint.name: joint for joint in self.joints}

    def pins(self) -> dict[str, int]:
        """The pin of every joint and output."""
        found = {f"{leg.name}.{part}": leg.pins[part] for leg in self.legs for part in ("coxa", "femur", "tibia")}  # type: ignore[index]
        found |= {joint.name: joint.pin for joint in self.joints}
        return found | {output.name: output.pin for output in self.outputs}


def parse(text: str, source: str | Path) -> RobotFile:
    """Read the text of a robot file.

    A ``[leg]`` table holds what the legs have in common; each entry of ``[[legs]]`` may override any
    key of it, down to single keys of its ``coxa``, ``femur`` and ``tibia``.

    Raises:
        InputError: naming the place in the file and what was expected there.
    """
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        place = re.search(r"\(at (line \d+), column \d+\)", str(error))
        reason = re.sub(r"\s*\(at .*\)$", "", str(error))
        where = place.group(1) if place else "the end"
        raise InputError(source, where, f"expected TOML, {reason[:1].lower()}{reason[1:]}") from None
    if data.get("format") != FORMAT:
        raise InputError(source, "format", f"expected {FORMAT!r}, found {data.get('format')!r}")
    common = data.pop("leg", {})
    if not isinstance(common, dict):
        raise InputError(source, "leg", "expected a table of what the legs have in common")
    legs = data.get("legs")
    if isinstance(legs, list):
        data["legs"] = [_merged(common, leg) if isinstance(leg, dict) else leg for leg in legs]
    try:
        return RobotFile.model_validate(data)
    except ValidationError as error:
        raise from_validation(source, error) from None


def _merged(common: dict[str, object], own: dict[str, object]) -> dict[str, object]:
    merged = dict(common)
    for key, value in own.items():
        base = merged.get(key)
        merged[key] = _merged(base, value) if isinstance(base, dict) and isinstance(value, dict) else value
    return merged


def load(path: str | Path) -> Robot:
    """Read a robot file.

    Raises:
        InputError: if it cannot be read or is not a believable robot.
    """
    try:
        text = Path(path).read_text(encoding="utf-8")
    except FileNotFoundError:
        raise InputError(path, "", "expected a robot file, found nothing there") from None
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(path, "", f"expected a readable robot file in UTF-8 ({error})") from None
    return Robot.from_file(parse(text, path), source=str(path))
