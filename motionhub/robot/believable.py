"""What has to agree between the tables of a robot file: names, pins, servos, and a stance it can stand in.

Each question yields where the file contradicts itself and what was expected there; the reader of the
file is told the first. Pydantic has already seen to it that every value is one of its kind.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import chain

import numpy as np

from motionhub.errors import Location, unknown
from motionhub.robot.kinematics import leg_angles, within
from motionhub.robot.model import Robot
from motionhub.robot.robotfile import Range, RobotFile

Misfit = tuple[Location, str]
"""Where in the file, and what was expected there."""

PARTS = ("coxa", "femur", "tibia")


def misfits(file: RobotFile) -> Iterator[Misfit]:
    """Every contradiction in ``file``, the most basic first; the stance is asked only of a sound file."""
    found = False
    for misfit in chain(_names(file), _pins(file), _parents(file), _servos(file), _gaits(file)):
        found = True
        yield misfit
    if not found:
        yield from _stance(file)


def _names(file: RobotFile) -> Iterator[Misfit]:
    named = [(("legs", i, "name"), leg.name) for i, leg in enumerate(file.legs)]
    named += [(("joints", i, "name"), joint.name) for i, joint in enumerate(file.joints)]
    named += [(("outputs", i, "name"), output.name) for i, output in enumerate(file.outputs)]
    seen = {"body"}
    for place, name in named:
        if name in seen:
            yield place, f"expected a name of its own, found {name!r} again"
        seen.add(name)


def _pins(file: RobotFile) -> Iterator[Misfit]:
    places: list[tuple[Location, str, int]] = []
    for i, leg in enumerate(file.legs):
        places += [(("legs", i, "pins", part), f"{leg.name}.{part}", getattr(leg.pins, part)) for part in PARTS]
    places += [(("joints", i, "pin"), joint.name, joint.pin) for i, joint in enumerate(file.joints)]
    places += [(("outputs", i, "pin"), output.name, output.pin) for i, output in enumerate(file.outputs)]
    owner: dict[int, str] = {}
    for place, name, pin in places:
        if pin in owner:
            yield place, f"expected a pin of its own for {name}, found pin {pin}, which is {owner[pin]}'s"
        owner.setdefault(pin, name)


def _parents(file: RobotFile) -> Iterator[Misfit]:
    known = ["body"]
    for i, joint in enumerate(file.joints):
        if joint.parent not in known:
            yield ("joints", i, "parent"), unknown("parent listed before this joint", joint.parent, known)
        known.append(joint.name)


def _ranges(file: RobotFile) -> Iterator[tuple[Location, Range]]:
    for i, leg in enumerate(file.legs):
        yield from ((("legs", i, part), getattr(leg, part)) for part in PARTS)
    yield from ((("joints", i), joint) for i, joint in enumerate(file.joints))


def _servos(file: RobotFile) -> Iterator[Misfit]:
    for place, item in _ranges(file):
        kind = file.servos.get(item.servo)
        if kind is None:
            yield (*place, "servo"), unknown("servo of this file", item.servo, file.servos)
            continue
        low, high = item.mid_deg - kind.travel_deg / 2, item.mid_deg + kind.travel_deg / 2
        if item.range_deg[0] < low - 1e-9 or item.range_deg[1] > high + 1e-9:
            yield (
                (*place, "range_deg"),
                (
                    f"expected a range within the servo's travel, {low:g} to {high:g} deg around mid_deg, "
                    f"found {item.range_deg[0]:g} to {item.range_deg[1]:g}"
                ),
            )
        if not kind.min_v <= file.supply.regulator_v <= kind.max_v:
            yield (
                ("supply", "regulator_v"),
                (
                    f"expected {kind.min_v:g} to {kind.max_v:g} V, which is what the servo {item.servo!r} takes, "
                    f"found {file.supply.regulator_v:g}"
                ),
            )


FEET_DOWN = 3
"""A robot that is not to fall when it stops in mid-step stands on three feet at least."""
TAKEN = ("tripod", "tetrapod", "ripple", "wave", "creep")
"""Names of the gaits that every robot has which they suit; a file's own gaits go by other names."""


def _gaits(file: RobotFile) -> Iterator[Misfit]:
    legs = [leg.name for leg in file.legs]
    for name, gait in file.gaits.items():
        place: Location = ("gaits", name)
        if name in TAKEN:
            yield place, f"expected a name of its own, found {name!r}, which is a gait already"
        for leg in gait.touchdown:
            if leg not in legs:
                yield (*place, "touchdown", leg), unknown("leg", leg, legs)
        if missing := [leg for leg in legs if leg not in gait.touchdown]:
            yield (*place, "touchdown"), f"expected every leg in it, found none of {', '.join(missing)}"
            continue
        down, at = _fewest_down(gait.duty, [gait.touchdown[leg] for leg in legs])
        if down < FEET_DOWN:
            yield (
                place,
                f"expected {FEET_DOWN} feet on the ground at any time, found {down} at {at:g} of the cycle; "
                "a larger duty factor leaves more",
            )


def _fewest_down(duty: float, touchdown: list[float]) -> tuple[int, float]:
    """The least number of feet that stand at once, and when: it falls only where a foot lifts."""
    found = []
    for leg, touch in enumerate(touchdown):
        lifts = round((touch + duty) % 1, 9) % 1
        since = [round((lifts - other) % 1, 9) % 1 for other in touchdown]
        # A foot that lands just then stands; this one does not any more, and neither do those that lift with it.
        found.append((sum(s < round(duty, 9) for i, s in enumerate(since) if i != leg), lifts))
    return min(found)


def _stance(file: RobotFile) -> Iterator[Misfit]:
    """The rest stance is where everything starts, so every leg has to get there."""
    robot = Robot.from_file(file)
    reach = leg_angles(robot, robot.rest_feet)
    inside = within(robot, np.append(reach.joints.ravel(), robot.lower[3 * robot.legs :]))
    for leg in range(robot.legs):
        if not reach.ok[leg]:
            yield (
                ("legs", leg, "stand_mm"),
                (
                    f"expected a rest stance that the leg reaches at rest.height_mm = {file.rest.height_mm:g}, "
                    f"found it {1e3 * reach.error[leg]:.1f} mm out of reach"
                ),
            )
            continue
        for part in range(3):
            if not inside[3 * leg + part]:
                yield (
                    ("legs", leg, PARTS[part], "range_deg"),
                    (
                        f"expected {np.rad2deg(reach.joints[leg, part]):.1f} deg inside it, where the rest stance "
                        f"(stand_mm, stand_turn_deg, rest.height_mm) puts the joint"
                    ),
                )
