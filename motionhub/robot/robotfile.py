"""The robot file, key by key: what a person measures with a ruler, a scale and a data sheet, and writes down.

These models mirror the TOML file in the units of the file, and every key says its unit: ``_mm``
millimetres, ``_g`` grams, ``_deg`` degrees, ``_us`` microseconds of pulse width, ``_ms`` milliseconds,
``_s`` seconds, ``_v`` and ``volts`` volts, ``_a`` amps, ``_mah`` milliampere-hours, ``_ohm`` ohms,
``_kgfcm`` kilogram-force centimetres, ``seconds_per_60deg`` as data sheets put it, ``baud`` bits a second.
Shares and efficiencies are between 0 and 1. Positions are [x, y, z]: forward, left, up.

Each model refuses what cannot be true of it alone; what has to agree between tables is asked in
:mod:`~motionhub.robot.believable`.
"""

from __future__ import annotations

import re
from typing import Annotated, Literal, Self

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StrictBool, field_validator, model_validator

FORMAT = "motionhub-robot/1"


def _name(value: str) -> str:
    if not re.fullmatch(r"[a-z][a-z0-9_]{0,31}", value):
        raise ValueError("expected a name of at most 32 small letters, digits and _ that starts with a letter")
    return value


# Strict: true is not 1 and "12" is not 12. The bounds catch a value in the wrong unit (a femur of 90 m, a
# torque of 350 kgf·cm) and nothing else.
Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Whole = Annotated[int, Field(strict=True)]
Millimetres = Annotated[Number, Field(ge=-2000, le=2000)]
Length = Annotated[Number, Field(gt=0, le=1000)]
Grams = Annotated[Number, Field(gt=0, le=50_000)]
Degrees = Annotated[Number, Field(ge=-360, le=360)]
Volts = Annotated[Number, Field(gt=0, le=60)]
Amps = Annotated[Number, Field(ge=0, le=200)]
Ohms = Annotated[Number, Field(ge=0, le=2)]
PulseWidth = Annotated[Number, Field(ge=300, le=3000)]
Point = tuple[Millimetres, Millimetres, Millimetres]
Name = Annotated[str, AfterValidator(_name)]
Pin = Annotated[Whole, Field(ge=0, le=255)]
Divider = Annotated[Number, Field(ge=100, le=600_000)]


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


class LegPins(Part):
    """The controller's pins that a leg's servos are on."""

    coxa: Pin
    femur: Pin
    tibia: Pin


class Leg(Part):
    """One leg: where it sits, and what is unlike the common ``[leg]`` table."""

    name: Name
    hip_mm: Point
    """The coxa's axis, in the body frame."""
    heading_deg: Degrees
    """Where the leg points with its coxa at zero; 0 is forward, 90 is left."""
    pins: LegPins
    coxa: Segment
    femur: Segment
    tibia: Segment
    foot_radius_mm: Length = 6.0
    stand_mm: Annotated[Number, Field(gt=0, le=1000)]
    """Horizontal distance from the coxa's axis to the foot in the rest stance."""
    stand_turn_deg: Degrees = 0.0
    """Coxa angle in the rest stance."""


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
    leads_deg: Annotated[Number, Field(ge=-90, le=90)] = 0.0
    """How far it turns ahead of the body when a driver turns as fast as the robot can: a head looks where it goes."""


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

    cycle_ms: Annotated[Number, Field(ge=200, le=20_000)]
    lift_mm: Annotated[Number, Field(gt=0, le=300)]
    stride_mm: Annotated[Number, Field(gt=0, le=500)]
    """The longest way a foot goes on the ground in one step."""
    margin_mm: Annotated[Number, Field(ge=0, le=200)] = 10.0
    """Static stability margin that the check asks for."""


class Gait(Part):
    """A gait of the user's own, under its name: ``[gaits.amble]``."""

    duty: Annotated[Number, Field(gt=0, lt=1)]
    """Share of the cycle that each foot stands."""
    touchdown: dict[str, Annotated[Number, Field(ge=0, lt=1)]]
    """For every leg the share of the cycle at which its foot is set down."""
    cycle_ms: Annotated[Number, Field(ge=200, le=20_000)] | None = None
    """One step of every leg; when not given, as long as leaves the swing of the robot's first gait."""
    lift_mm: Annotated[Number, Field(gt=0, le=300)] | None = None
    """As in ``[walk]`` when not given, and so is the stride."""
    stride_mm: Annotated[Number, Field(gt=0, le=500)] | None = None
    wider_mm: Annotated[Number, Field(ge=-200, le=200)] = 0.0
    """How much further out than at rest the feet step; they are back at rest when it stands."""
    sway_margin_mm: Annotated[Number, Field(ge=0, le=200)] | None = None
    """The margin for whose sake the body sways over the feet that stand; as in ``[walk]`` when not given."""


class ServoPoint(Part):
    """One line of a data sheet: what the servo gives at one voltage."""

    volts: Volts
    stall_torque_kgfcm: Annotated[Number, Field(gt=0, le=200)]
    seconds_per_60deg: Annotated[Number, Field(gt=0.005, le=5)]
    stall_a: Annotated[Number, Field(gt=0, le=30)]
    idle_a: Annotated[Number, Field(ge=0, le=2)]
    """Standing still without load."""
    running_a: Annotated[Number, Field(ge=0, le=5)]
    """Turning freely at full speed."""


class ServoType(Part):
    """A class of servo, as its data sheet has it."""

    points: Annotated[list[ServoPoint], Field(min_length=1)]
    travel_deg: Annotated[Number, Field(ge=30, le=360)] = 180.0
    pulse_us: tuple[PulseWidth, PulseWidth]
    """Pulse widths at the two ends of the travel, short first."""
    max_v: Volts
    min_v: Volts
    hold_fraction: Annotated[Number, Field(gt=0, le=1)] = 1 / 3
    """Share of the stall torque that it holds for long without overheating (practice: about a third)."""
    hold_window_s: Annotated[Number, Field(gt=0, le=600)] = 5.0
    """The time over which that is averaged."""

    @model_validator(mode="after")
    def _believable(self) -> Self:
        volts = [p.volts for p in self.points]
        if volts != sorted(set(volts)):
            raise ValueError(f"expected points in order of rising volts, found {', '.join(f'{v:g}' for v in volts)}")
        if self.pulse_us[0] >= self.pulse_us[1]:
            raise ValueError(f"expected the shorter pulse first in pulse_us, found {list(self.pulse_us)}")
        if self.min_v >= self.max_v:
            raise ValueError(f"expected min_v below max_v, found {self.min_v:g} and {self.max_v:g}")
        return self


class Supply(Part):
    """One battery, one regulator, and the wire between the regulator and the servos."""

    cells: Annotated[Whole, Field(ge=1, le=8)]
    cell_full_v: Volts = 4.2
    cell_nominal_v: Volts = 3.7
    cell_warn_v: Volts = 3.5
    cell_cut_off_v: Volts = 3.3
    capacity_mah: Annotated[Number, Field(gt=0, le=100_000)]
    battery_ohm: Ohms
    regulator_v: Volts
    regulator_a: Annotated[Number, Field(gt=0, le=200)]
    regulator_efficiency: Annotated[Number, Field(gt=0.3, le=1)] = 0.9
    regulator_dropout_v: Annotated[Number, Field(ge=0, le=3)] = 0.3
    wiring_ohm: Ohms
    electronics_a: Amps = 0.15
    """Controller and radio, from the battery's side."""

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        levels = (self.cell_cut_off_v, self.cell_warn_v, self.cell_nominal_v, self.cell_full_v)
        if list(levels) != sorted(levels):
            found = ", ".join(f"{v:g}" for v in levels)
            raise ValueError(
                f"expected cut-off, warning, nominal and full cell voltages in rising order, found {found}"
            )
        return self


class Link(Part):
    """The serial radio."""

    baud: Annotated[Whole, Field(ge=1200, le=1_000_000)]
    share: Annotated[Number, Field(gt=0, le=1)] = 0.75
    """How much of the line frames may take; the rest is for commands and repeats."""


class Controller(Part):
    """The board on the robot and what it does by itself."""

    board: Literal["atmega2560"] = "atmega2560"
    quiet_ms: Annotated[Whole, Field(ge=100, le=10_000)] = 500
    """Link quiet for this long: ease to rest and hold."""
    cut_off_ms: Annotated[Whole, Field(ge=100, le=60_000)] = 3000
    """Battery below cut-off for this long: lower the body, end the pulses."""
    uart: Annotated[Whole, Field(ge=0, le=3)] = 1
    """Which of the board's serial ports the radio is on; 0 is the one that the USB socket has too."""
    battery_input: Annotated[Whole, Field(ge=0, le=15)] = 0
    """Analogue input that measures the battery: 0 is A0."""
    divider_ohm: tuple[Divider, Divider] = (10_000, 4_700)
    """From the battery to that input, and from there to ground."""
    reference_v: Annotated[Number, Field(ge=1, le=5.5)] = 5.0
    """The board's own 5 V, as a meter shows it: the battery is measured against it."""


class Output(Part):
    """A lamp, a sounder, or anything else that is switched or dimmed."""

    name: Name
    kind: Literal["lamp", "sounder"]
    pin: Pin
    current_a: Amps
    """At full level, from the servo rail."""
    low_battery: StrictBool = False
    """A lamp that the robot blinks while the battery is low, and burns while it lies down for an empty one."""

    @model_validator(mode="after")
    def _a_lamp(self) -> Self:
        if self.low_battery and self.kind != "lamp":
            raise ValueError(f"expected low_battery of a lamp only, found it of the {self.kind} {self.name}")
        return self


class RobotFile(Part):
    """The whole robot file."""

    format: Literal["motionhub-robot/1"]
    name: Annotated[str, Field(min_length=1, max_length=60)]
    about: str = ""
    body: Body
    rest: Rest
    walk: Walk
    gaits: dict[Name, Gait] = {}
    servos: dict[str, ServoType]
    legs: Annotated[list[Leg], Field(min_length=4, max_length=8)]
    joints: list[ExtraJoint] = []
    outputs: list[Output] = []
    supply: Supply
    link: Link
    controller: Controller = Controller()

    def ranges(self) -> dict[str, Range]:
        """Every joint by name, in the order of ``Robot.joint_names``."""
        found: dict[str, Range] = {}
        for leg in self.legs:
            found |= {f"{leg.name}.coxa": leg.coxa, f"{leg.name}.femur": leg.femur, f"{leg.name}.tibia": leg.tibia}
        return found | {joint.name: joint for joint in self.joints}

    def pins(self) -> dict[str, int]:
        """The pin of every joint and output."""
        found: dict[str, int] = {}
        for leg in self.legs:
            pins = leg.pins
            found |= {f"{leg.name}.coxa": pins.coxa, f"{leg.name}.femur": pins.femur, f"{leg.name}.tibia": pins.tibia}
        found |= {joint.name: joint.pin for joint in self.joints}
        return found | {output.name: output.pin for output in self.outputs}
