"""What the robot says is wrong with it, in words, once each time."""

from __future__ import annotations

from motionhub.link.wire import Faults, ResetCause, Telemetry

QUIET_S = 10.0
"""A fault that comes and goes is told again only after it was gone for this long."""

WORDS = {
    Faults.REFUSED_PULSE: (
        "The robot refused a frame, for a pulse in it lay outside its joint's ends. "
        "The ends that the robot knows are not those of this calibration"
    ),
    Faults.SLOW_LOOP: "The robot's program took longer than a servo period for one round of its loop",
    Faults.CALIBRATION: (
        "What the robot kept of its calibration is damaged, and it does without. "
        "It rests and lowers itself by an older one until it is sent this one again"
    ),
}

RESTARTS = {
    ResetCause.UNKNOWN: "The robot's controller has restarted; it does not say why",
    ResetCause.POWER: "The robot's controller has restarted: its power was switched on",
    ResetCause.BUTTON: "The robot's controller has restarted: its reset was pressed",
    ResetCause.BROWN_OUT: "The robot's controller has restarted: its supply had fallen too low for it",
    ResetCause.WATCHDOG: "The robot's controller has restarted: its program hung, and its watchdog ended that",
}


class RobotFaults:
    """Follows telemetry, and says what is new in it.

    Battery and quiet link are not told here: they change what the hub does, which tells of them itself.
    """

    def __init__(self) -> None:
        self._seen: dict[Faults, float] = {}
        self._uptime_s = 0

    def hear(self, telemetry: Telemetry, now: float) -> list[str]:
        """Telemetry has come in; returns what to tell people."""
        told = [RESTARTS[telemetry.reset_cause]] if telemetry.uptime_s < self._uptime_s else []
        self._uptime_s = telemetry.uptime_s
        for fault, words in WORDS.items():
            if telemetry.faults & fault:
                if now - self._seen.get(fault, -QUIET_S) >= QUIET_S:
                    told.append(words)
                self._seen[fault] = now
        return told
