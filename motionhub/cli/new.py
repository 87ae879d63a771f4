"""``motionhub new``: describe a robot, from a ruler and a scale or from its URDF."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from motionhub.cli.group import COMMANDS
from motionhub.cli.questions import answers, flags, servo_class, to_go_on
from motionhub.errors import InputError

_EXAMPLE = """
\b
Parts that are unlike the usual ones, one flag each, as often as needed:
  --leg "left_rear hip=-82,58,0 heading=130 tibia=112"  (the right one follows)
  --joint "head axis=yaw at=132,0,20 tip=60,0,12 mass=110 servo=standard"
  --servo "own volts=6 torque=18.5 speed=0.16 stall=2.5"  or  --servo strong
  --output "lamp kind=lamp pin=44 current=0.6"
"""


@click.command(help=COMMANDS["new"] + "\n\n" + _EXAMPLE)
@flags
@click.option("--urdf", type=click.Path(path_type=Path), metavar="FILE", help="Take the shape from a URDF.")
@click.option("--leg", "leg_lines", multiple=True, metavar="LEG", help="A leg that is unlike the usual.")
@click.option("--joint", "joint_lines", multiple=True, metavar="JOINT", help="A head, a tail, a gripper.")
@click.option(
    "--servo", "servo_lines", multiple=True, metavar="SERVO", help="Class or data sheet; the first is the legs'."
)
@click.option("--output", "output_lines", multiple=True, metavar="OUTPUT", help="A lamp or a sounder.")
@click.option("--height", metavar="MM", help="Of the body's reference point above the ground, standing at rest.")
@click.option("--out", required=True, type=click.Path(path_type=Path), metavar="FILE", help="The robot file to write.")
@click.option(
    "--drawing", type=click.Path(path_type=Path), metavar="SVG", help="Where to draw it; beside the file if not given."
)
@click.option("--replace", "replacing", is_flag=True, help="Write over a file that is there.")
@click.option("--sure", is_flag=True, help="Write it although some values look wrong.")
@click.option("--no-questions", is_flag=True, help="Ask nothing, also in a terminal.")
def new(
    urdf: Path | None,
    leg_lines: Sequence[str],
    joint_lines: Sequence[str],
    servo_lines: Sequence[str],
    output_lines: Sequence[str],
    height: str | None,
    out: Path,
    drawing: Path | None,
    replacing: bool,
    sure: bool,
    no_questions: bool,
    **given: str | None,
) -> None:
    """Ask, judge, draw, and write: all of it or nothing."""
    from motionhub.cli.common import save
    from motionhub.robot import description
    from motionhub.robot import drawing as drawn
    from motionhub.robot.doubts import doubts
    from motionhub.robot.model import Robot
    from motionhub.robot.skeleton import compose

    if out.exists() and not replacing:
        raise InputError("--out", str(out), "expected a new file, found one there; --replace writes over it")
    may_ask = sys.stdin.isatty() and not no_questions
    notes: list[str] = []
    if urdf is None:
        known = answers(given, shape_known=False, may_ask=may_ask)
        shape = _measured(known, leg_lines, joint_lines)
    else:
        shape, notes = _from_urdf(urdf, joint_lines)
        known = answers(given, shape_known=True, may_ask=may_ask)
        shape = replace(shape, name=known.get("name", shape.name))
    fitting, typical = _fitting(known, servo_lines, output_lines, height, may_ask)
    notes = [*_head(shape.name, typical), *notes]
    text = _text(compose(shape, fitting), notes)
    file = description.parse(text, "what was given")
    robot = Robot.from_file(file)
    if (odd := doubts(file)) and not sure:
        for doubt in odd:
            click.echo(f"Is this right? {doubt}", err=True)
        if not (may_ask and click.confirm("Write it all the same?", default=False, err=True)):
            click.echo("Nothing was written. Mend the values, or give --sure when they are right.", err=True)
            if may_ask:
                click.echo(to_go_on(known), err=True)
            sys.exit(1)
    picture = drawing or out.with_suffix(".svg")
    save(out, text)
    save(picture, drawn.svg(robot))
    click.echo(f"{out}: {robot.name}, {robot.legs} legs, {robot.joints} joints, {robot.mass:.2f} kg")
    click.echo(f"{picture}: hold it beside the machine; a leg on the wrong side is seen at once")
    click.echo(f"Next: motionhub serve --robot {out}")


def _head(name: str, typical: Sequence[str]) -> list[str]:
    notes = [f"{name}: begun by motionhub new. It is yours: change what you measure better."]
    for kind in typical:
        notes.append(f"servos.{kind}: TYPICAL numbers of its class, nobody's data sheet. Put yours in.")
    return [*notes, ""]


def _text(data: dict[str, Any], notes: Sequence[str]) -> str:
    """The file's text, judged before it is written.

    Raises:
        InputError: naming the value that cannot be.
    """
    from pydantic import ValidationError

    from motionhub.errors import dotted, from_validation
    from motionhub.robot import writing
    from motionhub.robot.believable import misfits
    from motionhub.robot.robotfile import RobotFile

    try:
        file = RobotFile.model_validate(data)
    except ValidationError as error:
        found = from_validation("what was given", error, RobotFile)
        raise InputError(found.source, _flag(found.place, data), found.expected) from None
    for place, expected in misfits(file):
        raise InputError("what was given", _flag(dotted(place), data), expected)
    return writing.text(file, notes)


def _flag(place: str, data: dict[str, Any]) -> str:
    """A place in the file as whoever types flags knows it: ``joints[0].mass_g`` is ``--joint head: mass_g``."""
    part, bracket, rest = place.partition("[")
    at, _, field = rest.partition("]")
    if not bracket or part not in ("joints", "legs", "outputs") or not at.isdigit():
        return place
    name = data[part][int(at)].get("name", at)
    return f"--{part[:-1]} {name}{f': {field[1:]}' if field else ''}"


def _measured(known: dict[str, Any], leg_lines: Sequence[str], joint_lines: Sequence[str]) -> Any:
    from motionhub.robot import entries
    from motionhub.robot.skeleton import PARTS, Skeleton, by_ruler, mirrored

    segments = {part: {"length_mm": known[part], "mass_g": known[f"{part}_mass"]} for part in PARTS}
    usual = {leg.name: leg for leg in by_ruler(known["legs"], known["body"], segments, known["foot"])}
    said = dict(entries.entry(line, "--leg", entries.LEG) for line in leg_lines)
    own = {name: entries.leg(usual.get(name), name, values, segments) for name, values in said.items()}
    if own and not set(own) <= set(usual) and len(own) < known["legs"]:
        # Names of one's own: the left legs are given and the right ones are their mirror images
        usual = {}
    for name, leg in list(own.items()):
        if name.startswith(("left", "right")) and (other := mirrored(leg)).name not in own:
            own[other.name] = other
    legs = {**usual, **own}
    if len(legs) != known["legs"]:
        names = ", ".join(legs)
        raise InputError("motionhub new", "--leg", f"expected {known['legs']} legs in all, found {len(legs)} ({names})")
    size = known["body"]
    return Skeleton(
        known["name"], {"mass_g": known["body_mass"], "size_mm": size}, list(legs.values()), _extra(joint_lines)
    )


def _extra(lines: Sequence[str]) -> list[dict[str, Any]]:
    """Extra joints; a joint whose centre of mass is not given has it in the middle."""
    from motionhub.robot import entries

    joints = []
    for line in lines:
        name, values = entries.entry(line, "--joint", entries.JOINT)
        if "com_mm" not in values and "tip_mm" in values:
            values["com_mm"] = tuple(value / 2 for value in values["tip_mm"])
        joints.append({"name": name, **values})
    return joints


def _from_urdf(path: Path, joint_lines: Sequence[str]) -> tuple[Any, list[str]]:
    from motionhub.robot.urdf_read import read

    try:
        text = path.read_text(encoding="utf-8")
    except UnicodeDecodeError as error:
        raise InputError(path, f"byte {error.start}", "expected a URDF in UTF-8") from None
    except OSError as error:
        raise InputError(
            path, "", f"expected a URDF that can be read, found: {(error.strerror or '').lower()}"
        ) from None
    found = read(text, path)
    for mesh in found.meshes:
        if not (path.parent / mesh.removeprefix("file://")).is_file():
            raise InputError(path, f"mesh {mesh}", "expected the file beside the URDF, found nothing there")
    notes = []
    changed = {name for name, sign in found.signs.items() if sign < 0}
    changed |= {name for name, offset in found.offsets_deg.items() if abs(offset) > 1e-6}
    if changed:
        notes.append(f"Shape from {path.name}. Its joint angles become ours as sign × angle + offset:")
        for name in found.signs:
            if name in changed:
                notes.append(f"  {name}: {found.signs[name]:+d} × angle {found.offsets_deg[name]:+.3f} deg")
        notes.append("")
    said = {joint["name"]: joint for joint in _extra(joint_lines)}
    joints = [{**joint, **said.pop(str(joint["name"]), {})} for joint in found.skeleton.joints]
    return replace(found.skeleton, joints=[*joints, *said.values()]), notes


def _fitting(
    known: dict[str, Any], servo_lines: Sequence[str], output_lines: Sequence[str], height: str | None, may_ask: bool
) -> tuple[Any, list[str]]:
    from motionhub.robot import entries
    from motionhub.robot.quantities import number
    from motionhub.robot.servo_classes import CLASSES
    from motionhub.robot.skeleton import Fitting

    sheets: dict[str, list[Any]] = {}
    for line in servo_lines or (servo_class(may_ask),):
        name, values = entries.entry(line, "--servo", entries.SERVO)
        if not values and name not in CLASSES:
            raise InputError(
                "motionhub new",
                "--servo",
                f"expected a class ({', '.join(CLASSES)}) or a data sheet's line, found {name!r}",
            )
        sheets.setdefault(name, [])
        sheets[name] += [values] if values else []
    typical = [name for name, points in sheets.items() if not points]
    servos = {name: entries.servo(points) if points else CLASSES[name].model_dump() for name, points in sheets.items()}
    names = list(servos)
    outputs = []
    for line in output_lines:
        name, values = entries.entry(line, "--output", entries.OUTPUT)
        outputs.append({"name": name, "kind": "lamp", "current_a": 0.1, **values})
    try:
        stand = None if height is None else number(height, "mm")
    except ValueError as error:
        raise InputError("motionhub new", "--height", str(error)) from None
    supply = {
        "cells": known["cells"],
        "capacity_mah": known["capacity"],
        "battery_ohm": 0.03,
        "regulator_v": known["regulator_v"],
        "regulator_a": known["regulator_a"],
        "wiring_ohm": known["wiring"],
    }
    fitting = Fitting(
        servos=servos,
        leg_servo=names[0],
        extra_servo=names[1] if len(names) > 1 else names[0],
        supply=supply,
        baud=int(known["baud"]),
        first_pin=known["first_pin"],
        height_mm=stand,
        outputs=outputs,
    )
    return fitting, typical
