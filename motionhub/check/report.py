"""The check itself, and its report: does this robot do this move, and if not, what would mend it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from motionhub.check import rules_ground, rules_joints, rules_supply
from motionhub.check.findings import RULES, Finding, advised, worst_first
from motionhub.check.handover import around
from motionhub.check.mend import Budget, Mender
from motionhub.check.timeline import Progress, Timeline, work_out
from motionhub.motion.frames import Frames
from motionhub.robot.calibration import Calibration

Array = NDArray[np.float64]

FrameBytes = Callable[[Array], Array]

MOVE_RULES: tuple[Callable[[Timeline, Mender], list[Finding]], ...] = (
    rules_joints.joint_range,
    rules_joints.reach,
    rules_joints.joint_speed,
    rules_joints.joint_torque,
    rules_joints.holding_torque,
    rules_supply.supply_current,
    rules_supply.supply_voltage,
    rules_ground.stability,
    rules_ground.tip_over,
    rules_ground.ground,
    rules_ground.foot_slip,
    rules_ground.clearance,
    rules_supply.charge,
)


@dataclass(frozen=True)
class Peaks:
    """The extremes of a move, in the units of the report."""

    joint_torque_nm: dict[str, float]
    joint_speed_dps: dict[str, float]
    supply_a: float
    supply_v_min: float
    stability_margin_mm: float
    clearance_mm: float
    charge_mah: float
    link_bytes_s: float


@dataclass(frozen=True, eq=False)
class Report:
    """The verdict on one move."""

    sequence: str
    robot: str
    duration_s: float
    frames: int
    findings: tuple[Finding, ...]
    """Worst first."""
    peaks: Peaks
    not_checked: tuple[str, ...]
    """Rules that this run could not answer."""
    timeline: Timeline
    """All of it, frame by frame, for details and pictures."""

    @property
    def fits(self) -> bool:
        """Whether no finding is an error."""
        return not any(f.severity == "error" for f in self.findings)

    def to_json(self) -> dict[str, object]:
        """The report as the ``--json`` of the command has it: finite numbers, strings, lists and maps."""
        return {
            "sequence": self.sequence,
            "robot": self.robot,
            "fits": self.fits,
            "duration_s": self.duration_s,
            "frames": self.frames,
            "findings": [
                {
                    "rule": f.rule,
                    "severity": f.severity,
                    "start_s": f.start_s,
                    "end_s": f.end_s,
                    "subject": f.subject,
                    "value": f.value,
                    "limit": f.limit,
                    "unit": f.unit,
                    "advice": f.advice,
                }
                for f in self.findings
            ],
            "peaks": vars(self.peaks),
            "not_checked": list(self.not_checked),
        }


def check(
    frames: Frames,
    *,
    supply_v: float | None = None,
    battery_v: float | None = None,
    frame_bytes: FrameBytes | None = None,
    progress: Progress | None = None,
    advise: bool = True,
) -> Report:
    """Check a move against the robot that it was rendered for.

    Args:
        frames: The move.
        supply_v: The regulator's set-point in volts, instead of the robot's own.
        battery_v: The battery's voltage without load in volts, as measured; its nominal when None.
        frame_bytes: From pulses (T, J) in µs to bytes on the wire for each frame (T,), as the link's coder
            writes them, 0 for those that it leaves out; without it ``link-rate`` is not checked.
        progress: Called with frames done and frames in all, every so often.
        advise: Whether to work out all advice, which may take many times as long as the findings; else each has what
            it is asked by (:func:`~motionhub.check.findings.advised`; in their order, so that all come to the same).
    """
    # Not for the rail alone: stops and hand-overs are planned by what the servos do at their voltage.
    frames = replace(frames, robot=frames.robot.on_supply(supply_v))
    timeline = work_out(frames, battery_v, progress)
    budget = Budget()
    mender = Mender(timeline, budget)
    findings = [finding for rule in MOVE_RULES for finding in rule(timeline, mender)]
    findings += around(timeline, MOVE_RULES, findings, budget)
    not_checked = []
    busiest = 0.0
    if frame_bytes is None:
        not_checked.append("link-rate")
    else:
        pulses = Calibration.default(frames.robot).pulses(frames.robot, frames.joints)
        sizes = np.asarray(frame_bytes(pulses), dtype=np.float64)
        load = rules_supply.link_load(sizes, frames.rate_hz)
        findings += rules_supply.link_rate(timeline, sizes, load)
        busiest = float(load.max())
    return Report(
        sequence=frames.name,
        robot=frames.robot.name,
        duration_s=float(frames.duration_s),
        frames=len(frames),
        # The worst are asked first, so it is they that the trials are spent on.
        findings=tuple(advised(finding) if advise else finding for finding in worst_first(findings)),
        peaks=_peaks(timeline, busiest),
        not_checked=tuple(name for name in RULES if name in not_checked),
        timeline=timeline,
    )


def _peaks(t: Timeline, link_bytes_s: float) -> Peaks:
    names = t.frames.robot.joint_names
    torque, speed = (np.maximum(values.max(axis=0), -values.min(axis=0)) for values in (t.torques, t.speeds))
    return Peaks(
        joint_torque_nm=dict(zip(names, torque.tolist(), strict=True)),
        joint_speed_dps=dict(zip(names, np.rad2deg(speed).tolist(), strict=True)),
        supply_a=float(t.rail.amps.max()),
        supply_v_min=float(t.rail.volts.min()),
        stability_margin_mm=float(t.margin.min()) * 1e3,
        clearance_mm=float(t.clearance.min()) * 1e3,
        charge_mah=float(rules_supply.charge_used(t)[-1]) / rules_supply.MAH,
        link_bytes_s=link_bytes_s,
    )
