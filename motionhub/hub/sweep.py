"""The joint sweep before a show: every joint moves slowly, one leg after another, while somebody watches.

It is a move like any other: written down as one, checked like one, and played like one, at a walking robot's leisure.
The body leans off the leg that is lifted, so that a robot of four legs can do it too.
"""

from __future__ import annotations

import json

import numpy as np

from motionhub.motion.formats import SEQUENCE_FORMAT
from motionhub.robot.model import Robot

NAME = "joint-sweep"
LEAN_MS, LIFT_MS, SWING_MS = 500, 500, 500
RAISED = 1.2
"""Times the walk's own lift: enough to be seen from where the audience will be."""
SWING_DEG = 12.0
LEAN_OF_FOUR, LEAN = 0.45, 0.35
"""Share of the way from the body's middle to the middle of the other feet, on four legs and on more."""


def sweep(robot: Robot) -> str:
    """The move, as its document's text."""
    keyframes: list[dict[str, object]] = []
    at = 300
    lift = RAISED * robot.walk.lift
    share = LEAN_OF_FOUR if robot.legs == 4 else LEAN
    for leg, name in enumerate(robot.leg_names):
        foot, hip = robot.rest_feet[leg], robot.hip[leg]
        others = np.delete(robot.rest_feet[:, :2], leg, axis=0).mean(axis=0)
        lean = {"x_mm": _mm(share * others[0]), "y_mm": _mm(share * others[1])}
        still: dict[str, float] = {"x_mm": 0.0, "y_mm": 0.0, "z_mm": 0.0}
        keyframes.append({"at_ms": at, "body": {"x_mm": 0.0, "y_mm": 0.0}})
        at += LEAN_MS
        keyframes.append({"at_ms": at, "body": lean})
        keyframes.append({"at_ms": at, "feet": {name: still}})
        arm = foot[:2] - hip[:2]
        for turn in (0.0, SWING_DEG, -SWING_DEG, 0.0):
            cos, sin = np.cos(np.deg2rad(turn)), np.sin(np.deg2rad(turn))
            x, y = cos * arm[0] - sin * arm[1] - arm[0], sin * arm[0] + cos * arm[1] - arm[1]
            at += LIFT_MS if turn == 0 else SWING_MS
            keyframes.append({"at_ms": at, "feet": {name: {"x_mm": _mm(x), "y_mm": _mm(y), "z_mm": _mm(lift)}}})
        at += LIFT_MS
        keyframes.append({"at_ms": at, "feet": {name: still}})
        keyframes.append({"at_ms": at, "body": lean})
        at += LEAN_MS
        keyframes.append({"at_ms": at, "body": {"x_mm": 0.0, "y_mm": 0.0}})
    for i, joint in enumerate(robot.extra):
        j = 3 * robot.legs + i
        keyframes.append({"at_ms": at, "joints_deg": {joint.name: 0.0}})
        for turn in (SWING_DEG, -SWING_DEG, 0.0):
            at += SWING_MS
            held = float(np.clip(turn, np.rad2deg(robot.lower[j]), np.rad2deg(robot.upper[j])))
            keyframes.append({"at_ms": at, "joints_deg": {joint.name: held}})
    merged: dict[int, dict[str, object]] = {}
    for frame in keyframes:
        merged.setdefault(int(str(frame["at_ms"])), {}).update(frame)
    return json.dumps({"format": SEQUENCE_FORMAT, "name": NAME, "keyframes": list(merged.values())})


def _mm(metres: float) -> float:
    return round(float(metres) * 1000, 2)
