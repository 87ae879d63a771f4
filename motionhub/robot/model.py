"""The robot that everything computes with: arrays in SI units and radians, made from a robot file.

Order of joints, everywhere: the legs in the order of the file, each as coxa, femur, tibia; then the
extra joints. With L legs and E extra joints there are J = 3 L + E of them, and as many links, each
named after the joint that moves it.

Frames of a leg, at zero: the coxa's frame sits on its axis, x along the leg's heading, z up. The femur's
frame sits ``coxa`` along that x, the tibia's ``femur`` further along, and the foot is ``tibia`` further
still, so a leg at zero is a straight line. Positive coxa turns to the left about +z; positive femur and
tibia lift, about -y of the leg's frame::

        z |       femur > 0
          |      .-'
    hip --+--o-'------------- x        tibia = 0 continues the femur's line
          coxa
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from motionhub.robot.servo import Servo

if TYPE_CHECKING:
    from motionhub.robot.robotfile import Leg, RobotFile, Segment

Array = NDArray[np.float64]

STANDARD_GRAVITY = 9.80665
"""m/s², CGPM 1901."""


@dataclass(frozen=True)
class Supply:
    """Battery, regulator and wiring, in volts, amps, ohms and coulombs."""

    battery_full_v: float
    battery_nominal_v: float
    battery_warn_v: float
    battery_cut_off_v: float
    capacity_c: float
    battery_ohm: float
    regulator_v: float
    regulator_a: float
    regulator_efficiency: float
    regulator_dropout_v: float
    wiring_ohm: float
    electronics_a: float


@dataclass(frozen=True)
class Walk:
    """Default walking: seconds and metres."""

    cycle_s: float
    lift: float
    stride: float
    margin: float


@dataclass(frozen=True)
class OwnGait:
    """A gait that the robot file brings along: metres and seconds, ``None`` where it leaves things as they are.

    ``touchdown`` is in the order of the legs; ``wider`` is how much further out the feet step than at rest;
    ``sway_margin`` the margin for whose sake the body sways.
    """

    name: str
    duty: float
    touchdown: tuple[float, ...]
    cycle_s: float | None = None
    lift: float | None = None
    stride: float | None = None
    wider: float = 0.0
    sway_margin: float | None = None


@dataclass(frozen=True)
class LinkSpec:
    """The serial radio: baud rate, and the share of the line that frames may take."""

    baud: int
    share: float


@dataclass(frozen=True)
class ControllerSpec:
    """The board on the robot, its failsafe times in seconds, and what is wired to it."""

    board: str
    quiet_s: float
    cut_off_s: float
    uart: int
    """Number of the serial port that the radio is on."""
    battery_input: int
    """Number of the analogue input that measures the battery, through a divider:"""
    divider_ohm: tuple[float, float]
    """from the battery to the input, and from there to ground."""
    reference_v: float
    """What the input is measured against."""


@dataclass(frozen=True)
class Output:
    """A lamp or a sounder; ``current_a`` at full level, from the servo rail."""

    name: str
    kind: str
    pin: int
    current_a: float
    low_battery: bool = False
    """A lamp that the robot blinks while the battery is low, and burns while it lies down for an empty one."""


@dataclass(frozen=True)
class ExtraJoint:
    """A joint that carries no weight. ``parent`` is the index of its parent joint, -1 for the body."""

    name: str
    parent: int
    at: Array
    axis: Array
    tip: Array
    radius: float
    leads: float = 0.0
    """rad that it turns ahead of the body when it is driven to turn as fast as it can."""

    @cached_property
    def cross(self) -> Array:
        """The matrix K of the axis, K v = axis × v, and its square, (2, 3, 3): what a rotation about it needs."""
        x, y, z = self.axis
        turn = np.array([[0, -z, y], [z, 0, -x], [-y, x, 0]])
        return _array([turn, turn @ turn])


@dataclass(frozen=True, eq=False)
class Robot:
    """One robot. Arrays are read-only; L legs, J joints (and links), E extra joints."""

    name: str
    about: str
    source: str
    leg_names: tuple[str, ...]
    joint_names: tuple[str, ...]
    # Legs, each (L,) or (L, 3)
    hip: Array
    heading: Array
    coxa: Array
    femur: Array
    tibia: Array
    foot_radius: Array
    stand_reach: Array
    stand_turn: Array
    link_radius: Array  # (J,), of the capsules
    # Joints, each (J,)
    lower: Array
    upper: Array
    mid: Array
    pins: tuple[int, ...]
    servos: tuple[Servo, ...]
    # Links: mass (J,), centre of mass (J, 3) in the link's frame, inertia (J, 3, 3) about it
    link_mass: Array
    link_com: Array
    link_inertia: Array
    # Trunk
    body_mass: float
    body_com: Array
    body_inertia: Array
    body_size: Array
    body_centre: Array
    extra: tuple[ExtraJoint, ...]
    outputs: tuple[Output, ...]
    rest_height: float
    walk: Walk
    supply: Supply
    link: LinkSpec
    controller: ControllerSpec
    gaits: tuple[OwnGait, ...] = ()

    @property
    def legs(self) -> int:
        """Number of legs, L."""
        return len(self.leg_names)

    @property
    def joints(self) -> int:
        """Number of joints, J."""
        return len(self.joint_names)

    @cached_property
    def mass(self) -> float:
        """All of it, in kilograms."""
        return float(self.body_mass + self.link_mass.sum())

    @cached_property
    def joint_index(self) -> dict[str, int]:
        """Index of each joint by name."""
        return {name: i for i, name in enumerate(self.joint_names)}

    @cached_property
    def leg_index(self) -> dict[str, int]:
        """Index of each leg by name."""
        return {name: i for i, name in enumerate(self.leg_names)}

    def leg_joints(self, leg: int) -> slice:
        """The three joints of a leg, as a slice of the joint axis."""
        return slice(3 * leg, 3 * leg + 3)

    @cached_property
    def heading_cos(self) -> Array:
        """Cosine of each leg's heading, (L,)."""
        return _array(np.cos(self.heading))

    @cached_property
    def heading_sin(self) -> Array:
        """Sine of each leg's heading, (L,)."""
        return _array(np.sin(self.heading))

    @cached_property
    def mid_us(self) -> Array:
        """Pulse width of each joint's servo at mid-travel, (J,) µs."""
        return _array([servo.mid_us for servo in self.servos])

    @cached_property
    def rotor_inertia(self) -> Array:
        """What each joint's servo feels of its own rotor and gears, (J,) kg·m²."""
        return _array([servo.rotor_inertia for servo in self.servos])

    @cached_property
    def us_per_rad(self) -> Array:
        """Pulse width per angle of each joint's servo, (J,) µs/rad."""
        return _array([servo.us_per_rad for servo in self.servos])

    @cached_property
    def coxa_lower(self) -> Array:
        """Lower end of each coxa's range, (L,) rad."""
        return self.lower[: 3 * self.legs : 3]

    @cached_property
    def coxa_upper(self) -> Array:
        """Upper end of each coxa's range, (L,) rad."""
        return self.upper[: 3 * self.legs : 3]

    @cached_property
    def rest_feet(self) -> Array:
        """Foot centres in the rest stance, (L, 3), in the body frame."""
        turn = self.heading + self.stand_turn
        feet = self.hip.copy()
        feet[:, 0] += np.cos(turn) * self.stand_reach
        feet[:, 1] += np.sin(turn) * self.stand_reach
        feet[:, 2] = self.foot_radius - self.rest_height
        feet.flags.writeable = False
        return feet

    def on_supply(self, regulator_v: float | None = None, regulator_a: float | None = None) -> Robot:
        """The same robot with its regulator set to so many volts, or with one that gives so many amperes."""
        supply = self.supply
        volts = supply.regulator_v if regulator_v is None else regulator_v
        amps = supply.regulator_a if regulator_a is None else regulator_a
        if (volts, amps) == (supply.regulator_v, supply.regulator_a):
            return self
        return replace(self, supply=replace(supply, regulator_v=volts, regulator_a=amps))

    @classmethod
    def from_file(cls, file: RobotFile, source: str = "") -> Robot:
        """Turn a validated robot file into SI arrays."""
        return _build(file, source)


def _array(value: object) -> Array:
    array = np.array(value, dtype=np.float64)
    array.flags.writeable = False
    return array


def box_inertia(mass: float, size: Array) -> Array:
    """Inertia of a uniform box about its centre, (3, 3); sides along the axes."""
    x, y, z = size**2
    return np.diag([y + z, x + z, x + y]) * (mass / 12)


def rod_inertia(mass: float, length: float, radius: float, direction: Array) -> Array:
    """Inertia of a uniform solid cylinder about its centre, (3, 3), its axis along ``direction``."""
    along = direction / np.linalg.norm(direction)
    axial = mass * radius**2 / 2
    across = mass * (3 * radius**2 + length**2) / 12
    return across * np.eye(3) + (axial - across) * np.outer(along, along)


def _build(file: RobotFile, source: str) -> Robot:
    mm = 1e-3
    joint_names: list[str] = []
    mass, com, inertia, radius = [], [], [], []
    for leg in file.legs:
        for part in ("coxa", "femur", "tibia"):
            segment: Segment = getattr(leg, part)
            joint_names.append(f"{leg.name}.{part}")
            length = segment.length_mm * mm
            mass.append(segment.mass_g * mm)
            com.append(np.array(segment.com_mm) * mm if segment.com_mm else np.array([length / 2, 0, 0]))
            inertia.append(rod_inertia(mass[-1], length, segment.radius_mm * mm, np.array([1.0, 0, 0])))
            radius.append(segment.radius_mm * mm)
    first_extra = len(joint_names)
    order = {joint.name: first_extra + i for i, joint in enumerate(file.joints)}
    extra = []
    for joint in file.joints:
        joint_names.append(joint.name)
        tip = np.array(joint.tip_mm) * mm
        length = float(np.linalg.norm(tip))
        direction = tip if length > 0 else np.array([1.0, 0, 0])
        mass.append(joint.mass_g * mm)
        com.append(np.array(joint.com_mm) * mm)
        inertia.append(rod_inertia(mass[-1], length, joint.radius_mm * mm, direction))
        radius.append(joint.radius_mm * mm)
        axis = {"roll": [1.0, 0, 0], "pitch": [0, 1.0, 0], "yaw": [0, 0, 1.0]}[joint.axis]
        extra.append(
            ExtraJoint(
                joint.name,
                order.get(joint.parent, -1),
                _array(np.array(joint.at_mm) * mm),
                _array(axis),
                _array(tip),
                joint.radius_mm * mm,
                float(np.deg2rad(joint.leads_deg)),
            )
        )
    ranges = file.ranges()
    pins = file.pins()
    servos = {name: Servo.from_file(name, kind) for name, kind in file.servos.items()}
    supply, cells = file.supply, file.supply.cells

    def of_legs(get: object) -> Array:
        assert callable(get)
        return _array([get(leg) for leg in file.legs])

    def at(leg: Leg) -> list[float]:
        return [v * mm for v in leg.hip_mm]

    return Robot(
        name=file.name,
        about=file.about,
        source=source,
        leg_names=tuple(leg.name for leg in file.legs),
        joint_names=tuple(joint_names),
        hip=of_legs(at),
        heading=of_legs(lambda leg: np.deg2rad(leg.heading_deg)),
        coxa=of_legs(lambda leg: leg.coxa.length_mm * mm),
        femur=of_legs(lambda leg: leg.femur.length_mm * mm),
        tibia=of_legs(lambda leg: leg.tibia.length_mm * mm),
        foot_radius=of_legs(lambda leg: leg.foot_radius_mm * mm),
        stand_reach=of_legs(lambda leg: leg.stand_mm * mm),
        stand_turn=of_legs(lambda leg: np.deg2rad(leg.stand_turn_deg)),
        link_radius=_array(radius),
        lower=_array([np.deg2rad(ranges[n].range_deg[0]) for n in joint_names]),
        upper=_array([np.deg2rad(ranges[n].range_deg[1]) for n in joint_names]),
        mid=_array([np.deg2rad(ranges[n].mid_deg) for n in joint_names]),
        pins=tuple(pins[n] for n in joint_names),
        servos=tuple(servos[ranges[n].servo] for n in joint_names),
        link_mass=_array(mass),
        link_com=_array(com),
        link_inertia=_array(inertia),
        body_mass=file.body.mass_g * mm,
        body_com=_array(np.array(file.body.com_mm) * mm),
        body_inertia=_array(box_inertia(file.body.mass_g * mm, np.array(file.body.size_mm) * mm)),
        body_size=_array(np.array(file.body.size_mm) * mm),
        body_centre=_array(np.array(file.body.centre_mm) * mm),
        extra=tuple(extra),
        outputs=tuple(Output(o.name, o.kind, o.pin, o.current_a, o.low_battery) for o in file.outputs),
        rest_height=file.rest.height_mm * mm,
        walk=Walk(file.walk.cycle_ms * mm, file.walk.lift_mm * mm, file.walk.stride_mm * mm, file.walk.margin_mm * mm),
        supply=Supply(
            battery_full_v=supply.cell_full_v * cells,
            battery_nominal_v=supply.cell_nominal_v * cells,
            battery_warn_v=supply.cell_warn_v * cells,
            battery_cut_off_v=supply.cell_cut_off_v * cells,
            capacity_c=supply.capacity_mah * 3.6,
            battery_ohm=supply.battery_ohm,
            regulator_v=supply.regulator_v,
            regulator_a=supply.regulator_a,
            regulator_efficiency=supply.regulator_efficiency,
            regulator_dropout_v=supply.regulator_dropout_v,
            wiring_ohm=supply.wiring_ohm,
            electronics_a=supply.electronics_a,
        ),
        link=LinkSpec(file.link.baud, file.link.share),
        controller=ControllerSpec(
            board=file.controller.board,
            quiet_s=file.controller.quiet_ms * mm,
            cut_off_s=file.controller.cut_off_ms * mm,
            uart=file.controller.uart,
            battery_input=file.controller.battery_input,
            divider_ohm=file.controller.divider_ohm,
            reference_v=file.controller.reference_v,
        ),
        gaits=tuple(_own_gait(file, name) for name in file.gaits),
    )


def _own_gait(file: RobotFile, name: str) -> OwnGait:
    gait = file.gaits[name]

    def thousandth(value: float | None) -> float | None:
        return None if value is None else value * 1e-3

    return OwnGait(
        name=name,
        duty=gait.duty,
        touchdown=tuple(gait.touchdown[leg.name] for leg in file.legs),
        cycle_s=thousandth(gait.cycle_ms),
        lift=thousandth(gait.lift_mm),
        stride=thousandth(gait.stride_mm),
        wider=gait.wider_mm * 1e-3,
        sway_margin=thousandth(gait.sway_margin_mm),
    )
