"""What the robot's program is built with: ``config.h``, made from a robot file and its calibration.

The numbers are those that the simulated robot has (:mod:`~motionhub.link.kept`,
:mod:`~motionhub.link.controller`), so the two behave alike. What each line means is said in
``firmware/core/config.example.h``, which is the contract with the program.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from motionhub.errors import InputError
from motionhub.link import coder
from motionhub.link.controller import START_AT_ONCE, START_EVERY, Settings
from motionhub.link.kept import Export, export
from motionhub.link.simulated import settings
from motionhub.robot.board import misfit
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

MARK = "made from its robot file and calibration by motionhub"
"""In the first line, so that an export is known from what a person wrote."""


@dataclass(frozen=True)
class Wiring:
    """What is wired to the board, and what the robot's parts are called."""

    joint_names: Sequence[str]
    joint_pins: Sequence[int]
    output_names: Sequence[str]
    output_pins: Sequence[int]
    uart: int
    baud: int
    battery_input: int
    reference_mv: int
    divider_ohm: tuple[float, float]

    @classmethod
    def of(cls, robot: Robot) -> Wiring:
        """As the robot file says."""
        controller = robot.controller
        return cls(
            joint_names=robot.joint_names,
            joint_pins=robot.pins,
            output_names=[output.name for output in robot.outputs],
            output_pins=[output.pin for output in robot.outputs],
            uart=controller.uart,
            baud=robot.link.baud,
            battery_input=controller.battery_input,
            reference_mv=round(controller.reference_v * 1000),
            divider_ohm=controller.divider_ohm,
        )


def config_header(robot: Robot, calibration: Calibration) -> str:
    """The text of ``config.h``.

    Raises:
        InputError: naming what the board does not have or cannot do.
    """
    coder.require_room(robot)
    found = misfit(robot)
    if found is not None:
        raise InputError(robot.source, *found)
    made = export(robot, calibration)
    records = made.records(made.image)
    if records is None:
        raise InputError(robot.source, "", "expected a calibration whose ends lie within the servos' own")
    return header(made, settings(robot, made.limits(records), calibration.battery_scale), Wiring.of(robot), robot.name)


def header(made: Export, numbers: Settings, wiring: Wiring, name: str) -> str:
    """The text of ``config.h`` from its parts; see :func:`config_header`."""
    joints = [
        (
            f"{{{pin}, {line.hard_low}, {line.hard_high}, {line.mid}, {line.rest}, {line.lowered}, "
            f"{line.record.low}, {line.record.high}, {line.record.trim}, {int(line.record.reversed)}, "
            f"{line.record.scale}, {line.record.joint}}},",
            joint,
        )
        for joint, pin, line in zip(wiring.joint_names, wiring.joint_pins, made.joints, strict=True)
    ]
    outputs = [
        (f"{{{pin}, {int(silenced)}, {int(warns)}}},", output)
        for output, pin, silenced, warns in zip(
            wiring.output_names, wiring.output_pins, numbers.silenced, numbers.warns, strict=True
        )
    ]
    top, bottom = wiring.divider_ohm
    return f"""\
// {_comment(name)}: {MARK}. Change those and export again, not this.
#pragma once

#include "platform.h"

#define MOTIONHUB_UART {wiring.uart}  // the board's serial port that the radio is on

namespace motionhub {{

constexpr uint8_t JOINTS = {len(joints)};
constexpr uint8_t OUTPUTS = {len(outputs)};

// pin, hard low, hard high, mid, rest, lowered (both from mid), low, high, trim, reversed, scale, whose; in µs
const JointLine JOINT_TABLE[JOINTS] MOTIONHUB_TABLE = {{
{_lines(joints)}
}};

// pin, switched off when the link is quiet, warns of the battery
const OutputLine OUTPUT_TABLE[OUTPUTS ? OUTPUTS : 1] MOTIONHUB_TABLE = {{
{_lines(outputs or [("{0, 0, 0},", "none")])}
}};

// In ticks of 20 ms.
constexpr uint16_t QUIET_TICKS = {numbers.quiet};
constexpr uint16_t CUT_OFF_TICKS = {numbers.cut_off};
constexpr uint8_t START_AT_ONCE = {START_AT_ONCE};
constexpr uint8_t START_EVERY_TICKS = {START_EVERY};

// At the battery.
constexpr uint16_t WARN_MV = {numbers.warn_mv};
constexpr uint16_t CUT_OFF_MV = {numbers.cut_off_mv};

constexpr uint32_t BAUD = {wiring.baud};
constexpr uint8_t BATTERY_PIN = {wiring.battery_input};  // A{wiring.battery_input}
constexpr uint16_t ADC_REFERENCE_MV = {wiring.reference_mv};
constexpr uint16_t DIVIDER_TOP_OHM_BY_10 = {round(top / 10)};
constexpr uint16_t DIVIDER_BOTTOM_OHM_BY_10 = {round(bottom / 10)};

}}  // namespace motionhub
"""


def _lines(lines: Sequence[tuple[str, str]]) -> str:
    width = max(len(text) for text, _ in lines)
    return "\n".join(f"    {text:<{width}}  // {name}" for text, name in lines)


def _comment(text: str) -> str:
    """A name that a person wrote, for one line of a comment: in ASCII, and no backslash to join the next line to it."""
    return "".join(c if c.isascii() and c.isprintable() and c != "\\" else "?" for c in text)
