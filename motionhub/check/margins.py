"""How close a move that fits comes to each limit: the first thing that would go if it were changed."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from motionhub.check import rules_supply
from motionhub.check.discharge import USABLE
from motionhub.check.parts import pairs
from motionhub.check.report import Report
from motionhub.check.rules_ground import CLEAR, SLIP
from motionhub.check.rules_joints import held_load
from motionhub.check.timeline import Timeline
from motionhub.robot.limits import top_speed

SHOWN = 4


@dataclass(frozen=True)
class Closeness:
    """One rule, where it comes closest to its limit."""

    rule: str
    subject: str | None
    value: float
    limit: float
    unit: str
    used: float | None
    """Share of the limit that is used, for limits that are a most; None for those that are a least."""
    near: float
    """For putting the closest first: 1 at the limit, 0 far from it."""


def closest(report: Report, count: int = SHOWN) -> list[Closeness]:
    """The rules that come closest to their limits, closest first."""
    t = report.timeline
    robot = t.frames.robot
    names = robot.joint_names
    found: list[Closeness] = []

    def most(rule: str, value: float, limit: float, unit: str, subject: str | None = None) -> None:
        used = value / limit if limit > 0 else 0.0
        found.append(Closeness(rule, subject, value, limit, unit, used, used))

    def least(rule: str, value: float, limit: float, unit: str, subject: str | None = None) -> None:
        found.append(Closeness(rule, subject, value, limit, unit, None, limit / max(value, limit, 1e-9)))

    top = top_speed(robot, t.set_v)
    fastest = np.abs(t.speeds).max(axis=0)
    j = int(np.argmax(fastest / top))
    most("joint-speed", float(np.rad2deg(fastest[j])), float(np.rad2deg(top[j])), "deg/s", names[j])
    j, i, available = _heaviest(t)
    most("joint-torque", abs(float(t.torques[i, j])), available, "N·m", names[j])
    held = [held_load(t, j) / servo.hold_fraction for j, servo in enumerate(robot.servos)]
    j = int(np.argmax([load.max() for load in held]))
    i = int(np.argmax(held[j]))
    long = robot.servos[j].hold_fraction * float(robot.servos[j].stall_torque_at(t.rail.steady_volts[i]))
    most("holding-torque", float(held[j][i]) * long, long, "N·m", names[j])
    most("supply-current", float(t.rail.amps.max()), robot.supply.regulator_a, "A")
    lowest, least_v = float(t.rail.volts.min()), max(servo.min_v for servo in robot.servos)
    drop = (t.set_v - lowest) / max(t.set_v - least_v, 1e-9)
    found.append(Closeness("supply-voltage", "rail", lowest, least_v, "V", None, drop))
    least("stability", float(t.margin.min()) * 1e3, robot.walk.margin * 1e3, "mm")
    i = int(np.argmin(t.clearance))
    if known := pairs(robot):
        least("clearance", float(t.clearance[i]) * 1e3, CLEAR * 1e3, "mm", " and ".join(known[t.nearest[i]].names))
    leg = int(np.argmax(t.travel.slip.max(axis=0)))
    most("foot-slip", float(t.travel.slip.max()) * 1e3, SLIP * 1e3, "mm", robot.leg_names[leg])
    if "link-rate" not in report.not_checked:
        line = robot.link.baud / rules_supply.BITS * robot.link.share
        most("link-rate", report.peaks.link_bytes_s, line, "B/s")
    full = USABLE * robot.supply.capacity_c / rules_supply.MAH
    most("charge", report.peaks.charge_mah, full, "mAh")
    return sorted(found, key=lambda m: -m.near)[:count]


def _heaviest(t: Timeline) -> tuple[int, int, float]:
    """The joint and the frame with the largest share of the torque that is available there, and that torque."""
    best = (0, 0, 1.0)
    share = -1.0
    for j, servo in enumerate(t.frames.robot.servos):
        available = servo.torque_available(np.abs(t.speeds[:, j]), t.rail.steady_volts)
        used = np.where(available > 0, np.abs(t.torques[:, j]) / np.maximum(available, 1e-9), 0.0)
        i = int(np.argmax(used))
        if used[i] > share:
            share, best = float(used[i]), (j, i, float(available[i]))
    return best
