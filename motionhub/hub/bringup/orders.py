"""Every command of a bring-up, one by one: what it does, or in words why it is refused.

Raw pulses are for the mode ``setup`` alone. What was seen and read may be told in any mode.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, Protocol

import numpy as np

from motionhub.hub.bringup import asks as ask
from motionhub.hub.bringup.course import LEG_WAYS, WIGGLE
from motionhub.hub.bringup.workbench import Workbench, at_once
from motionhub.hub.director import Director
from motionhub.hub.events import BringupChanged, Event, KeepBringup, Think
from motionhub.hub.lease import Person
from motionhub.hub.snapshot import LinkView
from motionhub.hub.states import Cause, Mode, after
from motionhub.motion.levelling import Levelling
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

NO_LINK = "there is no link to the robot"
NOT_NOW = "raw pulses are for bring-up alone; begin it first"


class Hub(Protocol):
    """What these need of the hub."""

    robot: Robot
    mode: Mode
    link: LinkView
    director: Director
    workbench: Workbench
    calibration: Calibration

    def cause(self, cause: Cause, reason: str = "") -> str:
        """Let something happen, by the table of modes; returns why it is refused, or nothing."""

    def use(self, calibration: Calibration) -> None:
        """From now on this is the calibration; what has a pulse glides to its new one."""

    def say(self, event: Event) -> None:
        """Something that the shell is to hear of."""


def _unknown(hub: Hub, *joints: str) -> str:
    for joint in joints:
        if joint not in hub.robot.joint_index:
            return f"there is no joint {joint!r}"
    return ""


def _few(hub: Hub, joints: Sequence[str]) -> str:
    if refused := _unknown(hub, *joints):
        return refused
    if not joints:
        return "no joint was named"
    most = at_once(hub.robot)
    if len(joints) > most:
        return f"the supply carries {most} servos that stall; choose fewer joints"
    return ""


def _begin(hub: Hub, command: ask.BringupBegin) -> str:
    if refused := after(hub.mode, "setup").refused:
        return refused
    if not hub.link.up:
        return NO_LINK
    return hub.cause("setup")


def _leave(hub: Hub, command: ask.BringupLeave) -> str:
    return hub.cause("finish", "Bring-up was left; the robot is limp.")


def _go(hub: Hub, command: ask.BringupGo) -> str:
    if refused := hub.workbench.course.go(command.step, command.item):
        return refused
    if hub.mode == "setup":
        # Another item means other joints, so nothing is left holding that nobody looks at.
        hub.workbench.clear()
    return ""


def _done(hub: Hub, command: ask.BringupDone) -> str:
    return hub.workbench.course.mark(command.step, command.item, command.done)


def _drop(hub: Hub, command: ask.BringupDrop) -> str:
    hub.workbench.clear()
    return ""


def _centre(hub: Hub, command: ask.BringupCentre) -> str:
    if refused := _few(hub, command.joints):
        return refused
    robot, connector = hub.robot, hub.calibration.connector
    joints = [robot.joint_index[name] for name in command.joints]
    hub.workbench.hold_pulses({connector[i]: float(np.rint(robot.mid_us[i])) for i in joints})
    return ""


def _try(hub: Hub, command: ask.BringupTry) -> str:
    if refused := _unknown(hub, command.joint):
        return refused
    robot, at = hub.robot, hub.robot.joint_index[command.joint]
    mid = float(np.rint(robot.mid_us[at]))
    there = float(np.rint(mid + WIGGLE * robot.us_per_rad[at]))
    hub.workbench.hold_pulses({at: mid}, [{at: there}, {at: mid}, {at: there}])
    return ""


def _saw(hub: Hub, command: ask.BringupSaw) -> str:
    if refused := _unknown(hub, command.joint, *([command.moved] if command.moved else [])):
        return refused
    if command.moved and command.way is None:
        return "which way did it move?"
    hub.workbench.course.saw(command.joint, command.moved or None, command.way)
    return ""


def _pulse(hub: Hub, command: ask.BringupPulse) -> str:
    if refused := _unknown(hub, command.joint):
        return refused
    i = hub.robot.joint_index[command.joint]
    low, high = np.ceil(hub.calibration.low_us[i]), np.floor(hub.calibration.high_us[i])
    if not low <= command.pulse <= high:
        return f"its ends are {low:g} and {high:g} µs"
    hub.workbench.hold_pulses({hub.calibration.connector[i]: float(np.rint(command.pulse))})
    return ""


def _angle(hub: Hub, command: ask.BringupAngle) -> str:
    if refused := _few(hub, command.joints):
        return refused
    if len(command.joints) != len(command.angles):
        return "expected an angle for each joint"
    robot = hub.robot
    joints = [robot.joint_index[name] for name in command.joints]
    hub.workbench.hold_angles(
        {
            i: float(np.clip(angle, robot.lower[i], robot.upper[i]))
            for i, angle in zip(joints, command.angles, strict=True)
        }
    )
    return ""


def _read(hub: Hub, command: ask.BringupRead) -> str:
    if refused := _unknown(hub, command.joint):
        return refused
    hub.workbench.course.read(command.joint, command.pulse, command.angle)
    return ""


def _protractor(hub: Hub, command: ask.BringupProtractor) -> str:
    hub.workbench.course.protractor(command.to)
    return ""


def _forget(hub: Hub, command: ask.BringupForget) -> str:
    if refused := _unknown(hub, command.joint):
        return refused
    hub.workbench.course.forget(command.joint)
    return ""


def _trim(hub: Hub, command: ask.BringupTrim) -> str:
    if refused := _unknown(hub, command.joint):
        return refused
    hub.workbench.course.trim(command.joint, command.trim)
    return ""


def _turn(hub: Hub, command: ask.BringupTurn) -> str:
    if refused := _unknown(hub, command.joint):
        return refused
    hub.workbench.course.turn(command.joint, command.reversed)
    return ""


def _limit(hub: Hub, command: ask.BringupLimit) -> str:
    return _unknown(hub, command.joint) or hub.workbench.course.limit(command.joint, command.which, command.pulse)


def _stand(hub: Hub, command: ask.BringupStand) -> str:
    if refused := after(hub.mode, "play").refused:
        return refused
    if not hub.link.up:
        return NO_LINK
    if not 0 <= command.stance < len(hub.workbench.course.stances):
        return f"there are {len(hub.workbench.course.stances)} stances"
    if refused := hub.cause("play"):
        return refused
    hub.director.stand(hub.workbench.course.stances[command.stance].joints)
    return ""


def _heights(hub: Hub, command: ask.BringupHeights) -> str:
    if refused := hub.workbench.course.heights(command.stance, command.heights):
        return refused
    _reckon(hub)
    return ""


def _level(hub: Hub, command: ask.BringupLevel) -> str:
    if not hub.workbench.course.notebook.heights:
        return "no heights have been told yet"

    def take(found: Levelling | None) -> None:
        if found is not None:
            hub.workbench.course.level(found)
            changed(hub)

    hub.say(Think(hub.workbench.course.levelling, take))
    return ""


def _leg(hub: Hub, command: ask.BringupLeg) -> str:
    if command.leg not in hub.robot.leg_index:
        return f"there is no leg {command.leg!r}"
    start, there, moved = hub.workbench.course.leg_path(command.leg, command.way)
    first = 3 * hub.robot.leg_index[command.leg]
    leg = {i: float(start[i]) for i in range(first, first + len(LEG_WAYS))}
    hub.workbench.hold_angles(leg, [{**leg, moved: float(there[moved])}, leg, {**leg, moved: float(there[moved])}])
    return ""


def _went(hub: Hub, command: ask.BringupWent) -> str:
    if command.leg not in hub.robot.leg_index:
        return f"there is no leg {command.leg!r}"
    if command.moved:
        if refused := _unknown(hub, command.moved):
            return refused
        if command.moved_way is None:
            return "which way did it move?"
    hub.workbench.course.went(command.leg, command.way, command.right, command.moved, command.moved_way)
    return ""


def _back(hub: Hub, command: ask.BringupBack) -> str:
    return hub.workbench.course.back()


def _reckon(hub: Hub) -> None:
    """What the heights say so far, away from the tick."""

    def take(found: Levelling | None) -> None:
        hub.workbench.course.reckoned = found
        hub.say(BringupChanged())

    hub.say(Think(hub.workbench.course.levelling, take))


def changed(hub: Hub) -> None:
    """The course may have another calibration now, and certainly another notebook: use it, and have both kept."""
    course = hub.workbench.course
    calibration = None
    if course.calibration is not hub.calibration:
        hub.use(course.calibration)
        calibration = course.calibration
    hub.say(KeepBringup(course.notebook, calibration))
    hub.say(BringupChanged())


_RAW: dict[type, Callable[[Hub, Any], str]] = {
    ask.BringupDrop: _drop,
    ask.BringupCentre: _centre,
    ask.BringupTry: _try,
    ask.BringupPulse: _pulse,
    ask.BringupAngle: _angle,
    ask.BringupLeg: _leg,
}
"""Those that move servos by raw pulses."""

_TOLD: dict[type, Callable[[Hub, Any], str]] = {
    ask.BringupGo: _go,
    ask.BringupDone: _done,
    ask.BringupSaw: _saw,
    ask.BringupRead: _read,
    ask.BringupProtractor: _protractor,
    ask.BringupForget: _forget,
    ask.BringupTrim: _trim,
    ask.BringupTurn: _turn,
    ask.BringupLimit: _limit,
    ask.BringupHeights: _heights,
    ask.BringupWent: _went,
    ask.BringupBack: _back,
}
"""Those that change what is known."""

_OTHER: dict[type, Callable[[Hub, Any], str]] = {
    ask.BringupBegin: _begin,
    ask.BringupLeave: _leave,
    ask.BringupStand: _stand,
    ask.BringupLevel: _level,
}

KINDS = (*_RAW, *_TOLD, *_OTHER)


def take(hub: Hub, person: Person, command: ask.Ask, now: float) -> str:
    """Do what is asked; why not, if not."""
    kind = type(command)
    if act := _TOLD.get(kind):
        refused = act(hub, command)
        if not refused:
            changed(hub)
        return refused
    if act := _OTHER.get(kind):
        refused = act(hub, command)
    elif hub.mode != "setup":
        return "it is stopped; lift the stop first" if hub.mode == "halted" else NOT_NOW
    elif not hub.link.up:
        return NO_LINK
    else:
        refused = _RAW[kind](hub, command)
    if not refused:
        hub.say(BringupChanged())
    return refused
