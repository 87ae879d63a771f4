"""What is shown of a bring-up, in SI units, radians and microseconds: a copy of its own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from motionhub.hub.bringup.course import READINGS, Course
from motionhub.hub.bringup.minutes import minutes
from motionhub.library.notebook import STEPS, StepName
from motionhub.motion.levelling import AGAINST, Levelling


@dataclass(frozen=True)
class JointView:
    """One joint: what is known of it, and what its readings say."""

    name: str
    pin: int
    """Where the robot file has it."""
    connector: str
    """The joint on whose pin it is really plugged in."""
    plugged: int
    """That pin."""
    trim: float
    reversed: bool
    scale: float
    low: float
    high: float
    sheet: tuple[float, float]
    """The servo's own ends, µs."""
    mid: float
    """µs at mid-travel."""
    mid_angle: float
    range: tuple[float, float]
    us_per_rad: float
    """By the data sheet."""
    readings: tuple[tuple[float, float], ...]
    """(µs, rad) each."""
    places: tuple[float, float]
    """µs at which to read the protractor."""
    next_pulse: float | None
    """Where to read it next; None: there are enough readings."""
    spread: float | None
    """rad, one standard deviation of where it stands; None without readings."""
    odd: tuple[tuple[int, float], ...]
    """Readings that were misread, each with how far it is from what the others say, rad."""


@dataclass(frozen=True)
class LevelView:
    """What the heights say."""

    residual: float
    """m, root of the mean square of what they are off by after the trims."""
    trims: tuple[float, ...]
    """(J,) rad that trims will change by."""
    odd: tuple[tuple[int, int, str, float], ...]
    """Heights that do not fit the others: which reading, of which stance, which leg, m off."""
    against: tuple[tuple[str, float], ...]
    """Joints of which ruler and protractor say different things, with how far apart these are, rad."""


@dataclass(frozen=True)
class BringupView:
    """All of it."""

    step: StepName
    item: str
    next: tuple[StepName, str] | None
    joints: tuple[JointView, ...]
    items: dict[StepName, tuple[str, ...]]
    done: dict[StepName, tuple[str, ...]]
    found: tuple[str, ...]
    """What has been found out, in words."""
    problems: tuple[str, ...]
    """What has to be looked at again, in words."""
    stances: tuple[tuple[str, ...], ...]
    """The legs that stand in each."""
    told: tuple[int, ...]
    """The stances whose heights wait to be used."""
    read_to: float
    """rad, how closely people read their protractor."""
    minutes: dict[StepName, float]
    """What each step still takes."""
    level: LevelView | None
    back: str
    """What would be taken back; empty: nothing."""
    held: tuple[tuple[str, float], ...] = ()
    """Joints that have a pulse, and where that is going, µs."""
    still: bool = True
    at_once: int = 3
    """So many joints may have pulses at a time."""
    saved: bool = True
    """Whether all of it is on the disk; the shell's to say."""


def view(course: Course) -> BringupView:
    """What a course looks like now, without the bench."""
    note, following = course.notebook, course.next()
    return BringupView(
        step=note.step,
        item=note.item,
        next=None if following is None else (following.step, following.item),
        joints=tuple(_joint(course, i) for i in range(course.robot.joints)),
        items={step: course.items(step) for step in STEPS},
        done={step: course.done(step) for step in STEPS},
        found=tuple(_found(course)),
        problems=tuple(_problems(course)),
        stances=tuple(tuple(course.robot.leg_names[leg] for leg in each.standing) for each in course.stances),
        told=tuple(each.stance for each in note.heights),
        read_to=float(np.deg2rad(note.read_to_deg)),
        minutes=minutes(course),
        level=None if course.reckoned is None else _level(course, course.reckoned),
        back=note.past[-1].words if note.past else "",
    )


def _joint(course: Course, i: int) -> JointView:
    robot, known = course.robot, course.calibration
    name, own = robot.joint_names[i], known.connector[i]
    read = course.notebook.read.get(name, ())
    low, high = robot.servos[i].pulse_us
    servo = course.servo(name)
    return JointView(
        name=name,
        pin=robot.pins[i],
        connector=robot.joint_names[own],
        plugged=robot.pins[own],
        trim=float(known.trim_rad[i]),
        reversed=bool(known.direction[i] < 0),
        scale=float(known.scale[i]),
        low=float(known.low_us[i]),
        high=float(known.high_us[i]),
        sheet=(low, high),
        mid=float(robot.mid_us[i]),
        mid_angle=float(robot.mid[i]),
        range=(float(robot.lower[i]), float(robot.upper[i])),
        us_per_rad=float(robot.us_per_rad[i]),
        readings=tuple((each.pulse_us, float(np.deg2rad(each.angle_deg))) for each in read),
        places=course.places(name),
        next_pulse=course.next_pulse(name),
        spread=servo.spread if read else None,
        odd=servo.odd,
    )


def _level(course: Course, found: Levelling) -> LevelView:
    told = course.notebook.heights
    odd = set(found.odd)
    own = [
        float(off)
        for i, each in enumerate(found.residuals)
        for leg, off in enumerate(each)
        if np.isfinite(off) and (i, leg) not in odd
    ]
    return LevelView(
        residual=float(np.sqrt(np.mean(np.square(own)))) if own else 0.0,
        trims=tuple(float(-each) for each in found.trims),
        odd=tuple(
            (i, told[i].stance, course.robot.leg_names[leg], float(found.residuals[i][leg]))
            for i, leg in found.odd
            if i < len(told)
        ),
        against=tuple(
            (course.robot.joint_names[i], float(abs(by)))
            for i, by in enumerate(found.trims)
            if abs(by) > AGAINST and course.notebook.read.get(course.robot.joint_names[i])
        ),
    )


def _found(course: Course) -> list[str]:
    names, known = course.robot.joint_names, course.calibration
    found = [
        f"{names[i]} is plugged in where {names[at]} belongs (pin {course.robot.pins[at]})"
        for i, at in enumerate(known.connector)
        if i != at
    ]
    found += [f"{names[i]} turns the other way" for i in np.flatnonzero(known.direction < 0)]
    found += [
        f"{name} takes {known.scale[i]:.2f} times the data sheet's microseconds for a degree"
        for i, name in enumerate(names)
        if course.servo(name).other
    ]
    return found


def _problems(course: Course) -> list[str]:
    names, wiring = course.robot.joint_names, course.wiring
    found = [f"nothing moved on the connector of {names[at]}" for at in wiring.dead]
    found += [
        f"{names[joint]} was seen to move on two connectors, {names[a]}'s and {names[b]}'s; try both again"
        for joint, a, b in wiring.twice
    ]
    for name in names:
        servo, read = course.servo(name), course.notebook.read.get(name, ())
        for i, off in servo.odd:
            angle, pulse, far = read[i].angle_deg, read[i].pulse_us, abs(np.rad2deg(off))
            found.append(
                f"{name}: the reading of {angle:g}° at {pulse:g} µs is {far:.0f}° from what the others say; "
                "it is left out, read it again"
            )
        if not servo.agrees and len(read) >= READINGS:
            found.append(f"{name}: its angles do not agree; is its horn tight? Forget them and read anew")
    found += [f"what moves on the connector of {names[at]}? Its joint was seen on another one" for at in wiring.open]
    return found
