"""What in a robot file can be true but seldom is: asked about, with the reason, before a maker builds on it.

:mod:`~motionhub.robot.believable` refuses contradictions; here are the mistakes that contradict nothing:
a torque in another unit, a gram for a kilogram, a regulator that a single stalled servo would drag down.
Where physics gives the reason it is used; the rest is *practice*, marked where it stands.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from math import hypot, pi

import numpy as np

from motionhub.robot.kinematics import leg_angles
from motionhub.robot.mass import centre_of_mass
from motionhub.robot.model import STANDARD_GRAVITY, Robot
from motionhub.robot.robotfile import RobotFile, ServoType
from motionhub.robot.servo import KGF_CM


@dataclass(frozen=True)
class Doubt:
    """One question: the place in the file, what stands there, and why that is odd."""

    place: str
    found: str
    why: str

    def __str__(self) -> str:
        return f"{self.place}: found {self.found}; {self.why}"


def doubts(file: RobotFile) -> list[Doubt]:
    """Every doubt about a believable robot file, in the order of the file."""
    robot = Robot.from_file(file)
    return [
        *_sizes(file),
        *_masses(file, robot),
        *_stance(file, robot),
        *(doubt for name, servo in file.servos.items() for doubt in _servo(name, servo)),
        *_strength(file, robot),
        *_supply(file, robot),
    ]


def _sizes(file: RobotFile) -> Iterator[Doubt]:
    """*Practice*: walkers that are printed at home have legs of 8 to 50 cm."""
    seen = set()
    for leg in file.legs:
        for part in ("coxa", "femur", "tibia"):
            length = getattr(leg, part).length_mm
            if (part, length) in seen:
                continue
            seen.add((part, length))
            if length > 300:
                yield Doubt(f"{leg.name}.{part} length", f"{length:g} mm", "that is very long for a hobby servo's leg")
            elif length < (4 if part == "coxa" else 15):
                yield Doubt(f"{leg.name}.{part} length", f"{length:g} mm", "that is shorter than a servo is wide")
    for first, second in combinations(file.legs, 2):
        apart = hypot(*(a - b for a, b in zip(first.hip_mm, second.hip_mm, strict=True)))
        if apart < 20:
            yield Doubt(
                f"{first.name} and {second.name} hips", f"{apart:.0f} mm apart", "two servos do not fit in there"
            )
    for leg in file.legs:
        x, y = leg.hip_mm[0] - file.body.centre_mm[0], leg.hip_mm[1] - file.body.centre_mm[1]
        inward = x * np.cos(np.deg2rad(leg.heading_deg)) + y * np.sin(np.deg2rad(leg.heading_deg))
        if hypot(x, y) > 20 and inward < 0:
            yield Doubt(
                f"{leg.name} heading", f"{leg.heading_deg:g} deg",
                "that points into the body; 0 is forward, 90 is left, -90 is right",
            )  # fmt: skip


def _masses(file: RobotFile, robot: Robot) -> Iterator[Doubt]:
    """Density: a printed trunk with a battery is lighter than aluminium and heavier than cork (*practice*)."""
    litres = float(np.prod(file.body.size_mm)) * 1e-6
    density = file.body.mass_g / 1000 / litres
    if not 0.12 <= density <= 2.7:
        much = "more than solid aluminium" if density > 1 else "less than cork"
        yield Doubt("body mass", f"{file.body.mass_g:g} g in a box of {litres:.2f} litres", f"that weighs {much}")
    for leg in file.legs[:1]:
        for part in ("coxa", "femur", "tibia"):
            segment = getattr(leg, part)
            if segment.mass_g > file.body.mass_g:
                yield Doubt(f"{leg.name}.{part} mass", f"{segment.mass_g:g} g", "that is more than the whole trunk")
    if robot.mass > 12:
        yield Doubt("mass", f"{robot.mass:.1f} kg in all", "hobby servos seldom carry more than a few kilograms")


def _stance(file: RobotFile, robot: Robot) -> Iterator[Doubt]:
    underside = file.rest.height_mm + file.body.centre_mm[2] - file.body.size_mm[2] / 2
    if underside < 5:
        yield Doubt(
            "rest height", f"{file.rest.height_mm:g} mm", f"the trunk's underside would be at {underside:.0f} mm"
        )
    joints = np.append(leg_angles(robot, robot.rest_feet).joints.ravel(), np.zeros(robot.joints - 3 * robot.legs))
    centre, feet = centre_of_mass(robot, joints)[:2], robot.rest_feet[:, :2]
    around = feet[np.argsort(np.arctan2(*(feet - feet.mean(axis=0)).T[::-1]))]
    along = np.roll(around, -1, axis=0) - around
    away = centre - around
    inside = (along[:, 0] * away[:, 1] - along[:, 1] * away[:, 0]) / np.hypot(*along.T)
    if inside.min() < 0:
        yield Doubt(
            "rest stance", f"weight {-1e3 * inside.min():.0f} mm outside the feet",
            "it would tip over where it stands; look at hips, headings and where the trunk balances",
        )  # fmt: skip


def _servo(name: str, servo: ServoType) -> Iterator[Doubt]:
    """A motor cannot give more than it takes: stall torque × no-load speed ≤ volts × stall current.

    For a brushed motor without losses torque is k·I and speed U/k, so the product of the two ends of its
    line is exactly the electrical power at stall; gears and friction only take away. *Practice*: real
    servos come to between a fifth and nine tenths of it.
    """
    for point in servo.points:
        torque = point.stall_torque_kgfcm * KGF_CM
        share = torque * (pi / 3 / point.seconds_per_60deg) / (point.volts * point.stall_a)
        place, found = f"servo {name} at {point.volts:g} V", f"{point.stall_torque_kgfcm:g} kgf·cm"
        asked = f"with {point.stall_a:g} A at stall and {point.seconds_per_60deg:g} s for 60 deg"
        if share > 1:
            units = "; is it in oz·in (divide by 13.9) or N·cm (by 9.8)?" if share > 5 else ""
            yield Doubt(place, found, f"{asked} that is {share:.1f} times what its current can give{units}")
        elif share < 0.15:
            given = f"{100 * share:.1f} % of what its current can give"
            yield Doubt(place, found, f"{asked} that is only {given}; is it in N·m (multiply by 10.2)?")
        if point.running_a >= point.stall_a:
            yield Doubt(
                place, f"running_a {point.running_a:g} A", f"that is no less than stalled ({point.stall_a:g} A)"
            )
        if not 0.03 <= point.seconds_per_60deg <= 0.6:
            yield Doubt(place, f"{point.seconds_per_60deg:g} s for 60 deg", "hobby servos take 0.05 to 0.3 (practice)")
    per_deg = (servo.pulse_us[1] - servo.pulse_us[0]) / servo.travel_deg
    if not 4.5 <= per_deg <= 14:
        yield Doubt(
            f"servo {name} pulses", f"{per_deg:.1f} µs a degree", "most turn by one degree in 7 to 11 µs (practice)"
        )


def _strength(file: RobotFile, robot: Robot) -> Iterator[Doubt]:
    """Standing on half its legs, as it has to while it walks: moment of the ground about each femur's axis."""
    feet_down = max(3, robot.legs // 2)
    weight = robot.mass * STANDARD_GRAVITY / feet_down
    worst: tuple[float, str, float, float] | None = None
    for leg, name in enumerate(robot.leg_names):
        arm = abs(float(robot.stand_reach[leg] - robot.coxa[leg]))
        stall = float(robot.servos[3 * leg + 1].stall_torque_at(robot.supply.regulator_v))
        share = weight * arm / stall
        if worst is None or share > worst[0]:
            worst = (share, name, weight * arm, stall)
    assert worst is not None
    share, name, needed, stall = worst
    if share > 0.9:
        yield Doubt(
            f"{name}.femur's servo", f"{stall:.2f} N·m at {file.supply.regulator_v:g} V",
            f"on {feet_down} legs it would have to hold {needed:.2f} N·m; is the mass ({robot.mass:.2f} kg) right?",
        )  # fmt: skip


def _supply(file: RobotFile, robot: Robot) -> Iterator[Doubt]:
    supply = file.supply
    stall = max(
        float(servo.current(servo.stall_torque_at(supply.regulator_v), 0.0, supply.regulator_v))
        for servo in robot.servos
    )
    if supply.regulator_a < stall:
        yield Doubt(
            "regulator", f"{supply.regulator_a:g} A",
            f"one servo alone takes {stall:.1f} A when it stalls; large walkers of this kind need more than 6 A",
        )  # fmt: skip
    full = supply.cells * supply.cell_full_v
    if supply.regulator_v + supply.regulator_dropout_v > full:
        yield Doubt(
            "regulator", f"{supply.regulator_v:g} V", f"a full pack of {supply.cells} cells has only {full:g} V"
        )
    if file.link.baud not in (1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200, 230400, 250000, 500000, 1_000_000):
        yield Doubt("link baud", f"{file.link.baud}", "radios are set to 9600, 19200, 38400, 57600 or 115200")
    if not 0.005 <= supply.wiring_ohm <= 0.3:
        yield Doubt("wiring", f"{supply.wiring_ohm:g} ohm", "0.01 to 0.05 is usual (practice)")
