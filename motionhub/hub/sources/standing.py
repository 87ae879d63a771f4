"""Standing and walking: what a driver moves. The walk of the stepper, under a body carried as the driver likes.

Standing still is walking at no speed, so rest and driving are one source, and nothing has to be blended
when a stick is touched.
"""

from __future__ import annotations

from math import hypot, inf

import numpy as np

from motionhub.hub.bearing import Bearing
from motionhub.hub.effort import ALL
from motionhub.hub.sources import Array, Limit, Step
from motionhub.hub.sources.glide import Glide
from motionhub.hub.steps import Steps
from motionhub.motion.manner import Manner
from motionhub.motion.planar import REST, Twist
from motionhub.motion.posing import joints_for, rest_extra
from motionhub.motion.stepper import Stepper
from motionhub.robot.limits import top_speed
from motionhub.robot.model import Robot

POSTURE_SPEED = (0.08, 0.7, 0.7, 0.7)
"""Height in m/s and roll, pitch, yaw in rad/s: brisk for a hand on a slider, and a fraction of what servos do."""
POSTURE_RAMP_S = 0.15
"""How long getting up to that speed takes, and how long getting up to that acceleration."""

LEAD_SHARE = 0.25
"""Of a servo's no-load speed, at which a head turns ahead of the body: it looks round, it does not snap."""
LEAD_RAMP_S = 0.2

WAY = 9
"""Moments at which a posture on its way is looked at."""

SPEED_SHARE = 0.98
"""Of a servo's no-load speed that walk and posture together may ask of it; the guard stops it at all of it."""


class Standing:
    """Starts at the rest stance.

    Args:
        robot: The robot.
        dt: Seconds a tick.
        bearing: What postures its legs allow.
        steps: How the driver wants it to step; looked at on every tick.
    """

    def __init__(self, robot: Robot, dt: float, bearing: Bearing, steps: Steps) -> None:
        self._robot = robot
        self._bearing = bearing
        self._steps = steps
        self._stepper = Stepper(robot, dt=dt)
        self._manner = self._stepper.goal
        self._given = ALL
        self._posture_share = 1.0
        self._shares = (0.0, 0.0, 0.0)
        self._top = _tops(self._manner)
        self._twist: Twist = REST
        self._walk_limit: Limit = ""
        self._leaning_limited = False
        self._asked, self._aimed = np.zeros(4), True
        self._aimed_for = self._stepper.manner
        self._strides = False
        """Whether the feet are, or are about to be, anywhere but home."""
        self._caught_up = True
        self._step = top_speed(robot) * dt * SPEED_SHARE
        self._posture = Glide((0.0,) * 4, POSTURE_SPEED, POSTURE_RAMP_S, dt)
        own = slice(3 * robot.legs, None)
        self._ahead = rest_extra(robot)
        self._leads = np.array([joint.leads for joint in robot.extra])
        self._range = robot.lower[own], robot.upper[own]
        leading = self._leads.any()
        self._lead = Glide(self._ahead.tolist(), (top_speed(robot)[own] * LEAD_SHARE).tolist(), LEAD_RAMP_S, dt)
        self._lead_of = self._look_where_it_goes if leading else _nothing
        self._feet = self._stepper.stance.feet
        self._joints = self._wanted(self._feet, self._posture.position)

    def drive(self, forward: float, left: float, turn: float) -> None:
        """Walk by these shares (each -1..1) of the fastest that the robot goes in each direction."""
        shares = (forward, left, turn)
        if self._steps.manner is self._manner and self._steps.given is self._given and shares == self._shares:
            return
        self._shares = shares
        if self._steps.manner is not self._manner:
            self._manner = self._steps.manner
            self._top = _tops(self._manner)
            self._aimed = False
            self._change()
        self._given = self._steps.given
        self._wish()

    def carry(self, height: float, roll: float, pitch: float, yaw: float) -> None:
        """Carry the body so: height in m over rest, and angles in rad; as far as the legs allow."""
        asked = np.array([height, roll, pitch, yaw])
        if (asked != self._asked).any():
            self._asked, self._aimed = asked, False  # weighed on the next tick, however often a slider moves

    def rest(self) -> None:
        """Stop walking, feet down and home, and carry the body as at rest."""
        self._shares = (0.0, 0.0, 0.0)
        self._wish()
        self.carry(0.0, 0.0, 0.0, 0.0)

    @property
    def asked(self) -> tuple[float, float, float, float]:
        """How the body was asked to be carried: height in m over rest, and angles in rad."""
        height, roll, pitch, yaw = self._asked.tolist()
        return height, roll, pitch, yaw

    @property
    def strides(self) -> bool:
        """Whether the feet are, or are about to be, anywhere but home."""
        return self._strides

    @property
    def settled(self) -> bool:
        """Whether it stands still, feet home, the body where it was asked to be."""
        return (
            self._stepper.settled
            and self._twist == REST
            and not self._strides
            and self._aimed
            and self._posture.resting
            and self._lead.resting
            and self._caught_up
        )

    @property
    def at_rest(self) -> bool:
        """Whether it is settled in the rest stance itself."""
        return self.settled and not self._asked.any() and not self._posture.position.any()

    def step(self) -> Step:
        """The next tick: walk on, lean on, and put the joints there."""
        strides = self._twist != REST or not self._stepper.settled
        if self._strides != strides or self._aimed_for is not self._stepper.manner:
            self._strides, self._aimed = strides, False
        if not self._aimed:
            self._aim()
        if self._stepper.goal is not self._manner:
            self._change()
        feet = self._stepper.step(self._twist if self._may_walk() else REST).feet
        self._lead_of()
        if feet is self._feet and self._posture.resting and self._lead.resting and self._caught_up:
            return Step(self._joints, limit=self._limit)
        self._feet = feet
        self._lead.look_ahead()
        self._lead.go()
        self._move(feet)
        return Step(self._joints, limit=self._limit)

    @property
    def done(self) -> bool:
        """Never: one stands until told otherwise."""
        return False

    @property
    def _limit(self) -> Limit:
        """What keeps it from doing all that was asked."""
        if self._walk_limit:
            return self._walk_limit
        return "posture" if self._leaning_limited else "" if self._caught_up else "speed"

    def _wish(self) -> None:
        """What the driver's shares come to, as far as the legs can, and what they cannot for."""
        self._stepper.effort = self._given.share * self._posture_share
        vx, vy, wz = (share * top for share, top in zip(self._shares, self._top, strict=True))
        self._twist, limited = self._stepper.limit((vx, vy, wz))
        self._walk_limit = ""
        if limited:
            self._walk_limit = self._given.short_of or ("speed" if self._posture_share < 1 else self._manner.bound)

    def _move(self, feet: Array) -> None:
        """Put the joints where walk, posture and lead want them, as far as servos get in one tick."""
        there = self._posture.look_ahead()
        wanted = self._wanted(feet, there)
        move = wanted - self._joints
        if not self._posture.resting:
            if (np.abs(move) > self._step).any():
                # The walk goes first: feet that stand would be dragged otherwise. The body leans over more slowly.
                here = self._wanted(feet, self._posture.position)
                self._posture.go_part(_fitting(here - self._joints, wanted - here, self._step))
                wanted = self._wanted(feet, self._posture.position)
                move = wanted - self._joints
            else:
                self._posture.go()
        excess = float(np.max(np.abs(move) / self._step))
        self._caught_up = excess <= 1
        self._joints = wanted if self._caught_up else self._joints + move / excess

    def _aim(self) -> None:
        """Lean as asked, as far as the legs allow: less far while they stride, and as asked again once they stand."""
        stepper = self._stepper
        self._aimed, self._aimed_for = True, stepper.manner
        allowed = self._asked
        # Until all feet are down for another manner, they step as by the one before.
        for manner in {self._manner: 0, stepper.goal: 0, stepper.manner: 0} if self._strides else (None,):
            allowed = self._bearing.allowed(allowed, manner)
        self._leaning_limited = bool((allowed != self._asked).any())
        self._posture.target = allowed
        stepper.shift = self._bearing.aside(allowed)
        self._posture_share = self._bearing.pace_share(allowed, self._manner)
        self._wish()

    def _change(self) -> None:
        """Walk in the manner that is wanted, as soon as the body is held, and will be, as its steps allow."""
        if self._stepper.settled or self._carried_for(self._manner):
            self._stepper.change(self._manner)

    def _may_walk(self) -> bool:
        """A walk does not begin before the body is held as walking allows, nor on its way to where it is not."""
        return not self._stepper.settled or self._twist == REST or self._carried_for(self._manner)

    def _carried_for(self, manner: Manner) -> bool:
        """Whether the legs can step in this manner under the body's posture, all the way to where that goes now."""
        return self._bearing.fit(self._posture.way(WAY), manner)

    def _look_where_it_goes(self) -> None:
        """A head turns ahead of the body: as far as it may in the fastest turn, and less in others."""
        turn = self._twist[2] / self._top[2] if self._top[2] and self._steps.leads else 0.0
        self._lead.target = np.clip(self._ahead + turn * self._leads, *self._range)

    def _wanted(self, feet: Array, posture: Array) -> Array:
        body = np.zeros(6)
        body[2:] = posture
        joints, _ = joints_for(self._robot, body, feet, self._lead.position)
        return np.clip(joints, self._robot.lower, self._robot.upper)


def _nothing() -> None:
    """No head leads."""


def _tops(manner: Manner) -> Twist:
    """The fastest that it goes straight ahead, straight aside (m/s) and around (rad/s), which a full stick means."""
    straight = min(manner.pace)
    around = min(
        (pace / max(hypot(x, y), 1e-9) for (x, y), pace in zip(manner.homes, manner.pace, strict=True)), default=inf
    )
    return straight, straight, around


def _fitting(move: Array, more: Array, most: Array) -> float:
    """The largest share of ``more`` that may be added to ``move`` with no joint (J,) going further than ``most``."""
    with np.errstate(divide="ignore", invalid="ignore"):
        room = np.where(more > 0, (most - move) / more, np.where(more < 0, (-most - move) / more, 1.0))
    return float(np.clip(room.min(), 0.0, 1.0))


class Settling:
    """Lets a :class:`Standing` come to rest in the rest stance, and is done when it has."""

    def __init__(self, standing: Standing) -> None:
        self._standing = standing
        standing.rest()

    def step(self) -> Step:
        """One tick of it."""
        return self._standing.step()

    @property
    def done(self) -> bool:
        """Whether it stands at rest."""
        return self._standing.at_rest
