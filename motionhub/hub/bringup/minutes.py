"""How long what is left of a bring-up takes: what a person with one free hand needs for each answer, by practice.

Seconds of practice, with the servo's way there included (half a turn at the bench's slow speed is five of them); what
is typed wrong, looked for and dropped is not in them.
"""

from __future__ import annotations

from motionhub.hub.bringup.course import Course
from motionhub.library.notebook import STEPS, StepName

EACH_S: dict[StepName, float] = {
    "ready": 60.0,
    "centre": 30.0,  # unscrew a horn, set it one tooth on, screw it down
    "look": 10.0,
    "angles": 15.0,  # a reading: six of them are its way there, nine to hold on the protractor and to type
    "level": 7.0,  # a height
    "legs": 10.0,
    "floor": 60.0,
}
STAND_S = 5.0
"""Until it stands in another stance."""
READINGS_EACH = {0.5: 3.4, 1.0: 8.6}
"""Readings of a joint on the average, by how closely (degrees) they are read: counted on robots with hidden faults."""


def minutes(course: Course) -> dict[StepName, float]:
    """Minutes that each step still takes; ends are only for those who want them, and not counted."""
    found: dict[StepName, float] = {}
    for step in STEPS:
        if step == "ends":
            continue
        done = course.done(step)
        left = [item for item in course.items(step) if item not in done]
        if step == "angles":
            seconds = EACH_S[step] * sum(readings_left(course, joint) for joint in left)
        elif step == "level":
            seconds = len(left) * (STAND_S + EACH_S[step] * course.robot.legs)
        else:
            seconds = len(left) * EACH_S[step]
        found[step] = seconds / 60
    return found


def readings_left(course: Course, joint: str) -> float:
    """How many more readings this joint probably takes."""
    if course.next_pulse(joint) is None:
        return 0.0
    note = course.notebook
    closely = min(READINGS_EACH, key=lambda to: abs(to - note.read_to_deg))
    return max(READINGS_EACH[closely] - len(note.read.get(joint, ())), 1.0)
