r"""The stepper: from a wanted velocity of the body to where every foot is, tick by tick.

It drives live and it renders the walks inside sequences, so it is deterministic to the last bit: the same
twists from the same start give the same feet. It keeps every foot in the *ground* frame. A foot that
stands is simply not touched, so what it does in the body's frame is what a rigid body demands and the
plan has no slip. A foot in the air is re-planned on every tick by the quintic from how it moves now to
where it is to land, so it leaves and meets the ground without speed over the ground::

              .-----.                     target: where its home will be, half a stance ahead
           .-'       '-.                  frozen for the last quarter of the swing
    ______/             \______  ground
       lift-off      touchdown

Where the gait needs it, the body sways over the feet that stay down (:mod:`motionhub.motion.sway`): it leans
over before the first step and comes back after the last. The stance frame goes with it.

Two rules keep the legs in reach whatever is commanded. Every tick the planned velocity goes towards the
wanted one only as far as every foot could still end its stance within its room if that velocity were then
held; so holding is always possible, and slowing down always is (a foot then goes less far along the same
arc). And the limit itself (:meth:`Stepper.limit`) leaves each foot half a stance before and half behind its home.
"""

from __future__ import annotations

from collections import deque
from copy import copy
from dataclasses import dataclass
from math import cos, hypot, inf, isfinite, sin
from typing import Self

import numpy as np
from numpy.typing import NDArray

from motionhub.motion.foot import Foot
from motionhub.motion.gait import Gait, default_gait
from motionhub.motion.planar import REST, Pose, Twist, compose, displacement, outward
from motionhub.motion.posing import standing_feet
from motionhub.motion.sway import sway_path
from motionhub.motion.workspace import SLACK, workspace
from motionhub.robot.model import Robot

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

RAMP_CYCLES = 0.5
"""Cycles that it takes to reach full speed. A new speed is then complete when every foot has taken one step at it."""

BRAKE_CYCLES = 0.25
"""Cycles that it takes from full speed to rest when no motion is wanted."""

SMOOTH_S = 0.16
"""Velocity is averaged over this long, so that acceleration does not jump either."""

FROZEN_SHARE = 0.25
"""The last share of a swing, in which the landing place no longer changes: a foot does not swerve as it lands."""

LEAN_SHARE = 0.25
"""Share of the cycle that the body takes to lean over before the first step, and to come back after the last."""

SWAY_SHARE = 0.45
"""Share of the longest stride that the body sways further than the margin asks: feet stand up to half a
stride from home, and not all of them where that makes the polygon smaller."""

AIM_SHARE = 2.0
"""How fast a landing place may move over the ground, in shares of the foot's pace: a little more than it moves
while the body speeds up. A sudden stop would otherwise make a foot in mid-air dart to its new place."""

STILL = 1e-6
"""A command below this share of the limit means standing still."""

ROUNDING = 1e-12
"""A share of the limit that is this much over one is one."""

HOME = 1e-9
"""A foot within this many metres of its home is home."""


@dataclass(frozen=True, slots=True)
class Stance:
    """Where the feet are. Arrays are read-only.

    Args:
        feet: (L, 3) m, foot centres in the stance frame (see :mod:`motionhub.motion.posing`).
        down: (L,) whether each foot carries weight.
        travel: x, y (m) and yaw (rad, not wrapped) of the stance frame in the ground frame, since the start.
    """

    feet: Array
    down: Flags
    travel: Pose


def own_cycle(robot: Robot, gait: Gait) -> float:
    """Seconds a cycle: the robot file's in the robot's default gait, and with as long a swing in any other."""
    return robot.walk.cycle_s * (1 - default_gait(robot).duty) / (1 - gait.duty)


class Stepper:
    """Walks, one tick of ``dt`` at a time. Starts standing at rest: every foot home, all down.

    Args:
        robot: The robot.
        gait: How it steps; its default gait when not given.
        dt: Seconds a tick.
        cycle_s: Seconds a cycle; see :func:`own_cycle` when not given. Rounded to whole ticks for every leg.
        lift: Height in m to which feet are lifted; the robot's own when not given.
    """

    def __init__(
        self,
        robot: Robot,
        gait: Gait | None = None,
        dt: float = 0.02,
        cycle_s: float | None = None,
        lift: float | None = None,
    ) -> None:
        self.robot = robot
        self.gait = default_gait(robot) if gait is None else gait
        if len(self.gait.phases) != robot.legs:
            raise ValueError(f"expected a gait for {robot.legs} legs, found {len(self.gait.phases)} phases")
        self.dt = dt
        self.lift = robot.walk.lift if lift is None else lift
        self.timing = timing = self.gait.timing(own_cycle(robot, self.gait) if cycle_s is None else cycle_s, dt)
        home = standing_feet(robot)
        self._ground = [float(z) for z in home[:, 2]]
        self._height = [self.lift * 64 * (i * (timing.swing - i) / timing.swing**2) ** 3 for i in range(timing.swing)]
        self._freeze = max(1, round(FROZEN_SHARE * timing.swing))
        self._smooth = max(1, round(SMOOTH_S / dt))
        self._sway = sway_path(robot, timing, robot.walk.margin + SWAY_SHARE * robot.walk.stride)
        self._leaning = round(LEAN_SHARE * timing.cycle) if self._sway else 0
        space = workspace(robot, timing, dt, self.lift, self._sway)
        self._feet = [
            Foot((float(x), float(y)), float((room * SLACK) ** 2), float(pace), 0)
            for (x, y, _), room, pace in zip(home, space.room, space.pace, strict=True)
        ]
        self._able = all(foot.pace > 0 for foot in self._feet)
        self._gain = 1 / max(1.0, RAMP_CYCLES * timing.cycle)
        self._brake = 1 / max(1.0, BRAKE_CYCLES * timing.cycle)
        self._pose: Pose = (0.0, 0.0, 0.0)
        home.flags.writeable = False
        self._home = home
        # The state, to which _settle gives its values
        self._walking = self._stepping = False
        self._planned = self._twist = REST
        self._final: Pose | None = None
        self._recent: deque[Twist] = deque()
        self._tick = self._lean_ticks = 0
        self._leans: deque[tuple[float, float]] = deque()
        self._offset = 0.0, 0.0
        self._stance = Stance(self._home, np.ones(robot.legs, dtype=np.bool_), self._pose)
        self._settle()

    # ------------------------------------------------------------------ what is asked of it

    @property
    def settled(self) -> bool:
        """Whether it stands still with every foot home."""
        return not self._walking

    @property
    def twist(self) -> Twist:
        """How the body moves now: forward and left in m/s, turning left in rad/s."""
        return self._twist

    @property
    def stance(self) -> Stance:
        """Where the feet are now."""
        return self._stance

    def copy(self) -> Self:
        """Another stepper in the same state, that goes on by itself."""
        other = copy(self)
        other._feet = [copy(foot) for foot in self._feet]
        other._recent, other._leans = self._recent.copy(), self._leans.copy()
        return other

    def limit(self, twist: Twist) -> tuple[Twist, bool]:
        """The twist itself, or scaled down to what the legs can do; and whether it had to be.

        Direction and curvature are kept. A twist that is not finite means standing still.
        """
        wanted, share = self._limited(twist)
        return wanted, share > 1 + ROUNDING

    def step(self, twist: Twist) -> Stance:
        """Go on by one tick towards walking by ``twist`` (limited as :meth:`limit` does)."""
        wanted, share = self._limited(twist)
        if share < STILL:
            wanted = REST
        if not self._walking and wanted == REST:
            return self._stance
        self._walking = True
        if not self._stepping:
            self._lean(wanted != REST)
        going = wanted if self._stepping else REST
        self._accelerate(going)
        self._pose = compose(self._pose, displacement(self._twist, self.dt))
        if self._stepping:
            self._place()
            self._lift()
            if going == REST and self._at_rest():
                self._stepping = False
        if self._sway:
            self._shift()
        if not self._stepping and self._lean_ticks == 0 and self._offset == (0.0, 0.0):
            self._settle()
        else:
            self._stance = self._seen()
        return self._stance

    def ticks_to_settle(self) -> int:
        """Ticks that it takes from now until it stands settled, if no motion is wanted from now on."""
        trial, ticks = self.copy(), 0
        while trial._walking:
            trial.step(REST)
            ticks += 1
        return ticks

    # ------------------------------------------------------------------ how the body moves

    def _limited(self, twist: Twist) -> tuple[Twist, float]:
        """The twist, scaled down if need be, and the share of what the legs can do that was asked for."""
        vx, vy, wz = float(twist[0]), float(twist[1]), float(twist[2])
        if not (isfinite(vx) and isfinite(vy) and isfinite(wz)):
            return REST, inf
        share = self._share((vx, vy, wz))
        if share <= 1 + ROUNDING:
            return (vx, vy, wz), share
        return (vx / share, vy / share, wz / share), share  # of an infinite share nothing is left

    def _share(self, twist: Twist) -> float:
        """The share of what the legs can do that a twist asks for: a norm, the greatest over the feet."""
        vx, vy, wz = twist
        if not self._able:
            return 0.0 if vx == vy == wz == 0 else inf
        greatest = 0.0
        for foot in self._feet:
            x, y = foot.home
            share = hypot(vx - wz * y, vy + wz * x) / foot.pace
            if share > greatest:
                greatest = share
        return greatest

    def _accelerate(self, wanted: Twist) -> None:
        """Bring the planned velocity towards the wanted one, as far as reach allows now, and smooth it."""
        if wanted == REST:
            self._planned = self._braked(self._planned)
            self._push(self._recent, self._planned)
            if self._final is None:
                self._final = self._resting_pose()
        else:
            self._final = None
            now = self._planned
            change = (wanted[0] - now[0], wanted[1] - now[1], wanted[2] - now[2])
            share = self._share(change)
            part = 1.0 if share <= self._gain else self._gain / share
            for _ in range(3):
                trial = (now[0] + part * change[0], now[1] + part * change[1], now[2] + part * change[2])
                if self._holds(trial):
                    self._planned = trial
                    break
                part /= 4
            else:
                if not self._holds(now):  # a foot was about to land for a stop that is not wanted any more
                    self._planned = self._braked(now)
            self._push(self._recent, self._planned)
        self._twist = self._mean(self._recent)

    def _braked(self, twist: Twist) -> Twist:
        """One tick of braking: slower along the same arc."""
        share = self._share(twist)
        if share <= self._brake:
            return REST
        keep = 1 - self._brake / share
        return twist[0] * keep, twist[1] * keep, twist[2] * keep

    def _push(self, recent: deque[Twist], twist: Twist) -> None:
        recent.append(twist)
        recent.popleft()

    def _mean(self, recent: deque[Twist]) -> Twist:
        """The average, summed anew each time so that rest comes out as exactly nothing."""
        x = y = w = 0.0
        for vx, vy, wz in recent:
            x += vx
            y += vy
            w += wz
        n = self._smooth
        return x / n, y / n, w / n

    def _resting_pose(self) -> Pose:
        """Where the body comes to rest if no motion is wanted from the next tick on, this tick's motion to come."""
        pose, planned, recent = self._pose, self._planned, self._recent.copy()
        while True:
            twist = self._mean(recent)
            if planned == REST and twist == REST:
                return pose
            pose = compose(pose, displacement(twist, self.dt))
            planned = self._braked(planned)
            self._push(recent, planned)

    def _holds(self, twist: Twist) -> bool:
        """Whether every foot ends its stance within its room if the body moves by ``twist`` from now on."""
        cycle, stance = self.timing.cycle, self.timing.stance
        pose = self._pose
        ends: dict[int, tuple[float, float, float, float]] = {}
        for foot in self._feet:
            if foot.air:
                if not foot.frozen:
                    continue
                x, y, ticks = foot.tx, foot.ty, cycle - foot.since + stance
            else:
                x, y, ticks = foot.x, foot.y, (stance - foot.since) % cycle or cycle
            end = ends.get(ticks)
            if end is None:
                body = compose(pose, displacement(twist, ticks * self.dt))
                end = ends[ticks] = body[0], body[1], cos(body[2]), sin(body[2])
            dx, dy, c, s = x - end[0], y - end[1], end[2], end[3]
            hx, hy = foot.home
            if (c * dx + s * dy - hx) ** 2 + (c * dy - s * dx - hy) ** 2 > foot.room:
                return False
        return True

    # ------------------------------------------------------------------ how the body sways

    def _lean(self, over: bool) -> None:
        """With all feet down: lean a tick further over or back, and begin to step once fully over."""
        full = self._leaning + self._smooth if self._sway else 0  # the smoothing comes that much later
        if not over:
            self._lean_ticks = max(0, min(self._leaning, self._lean_ticks) - 1)
            return
        self._lean_ticks = min(full, self._lean_ticks + 1)
        if self._lean_ticks == full:
            self._stepping = True
            self._final = None
            self._lift()

    def _shift(self) -> None:
        """Where the body is over its feet, smoothed as its velocity is; the smoothing's lag is taken off."""
        x, y = self._sway[(self._tick + self._smooth // 2) % self.timing.cycle]
        share = min(1.0, self._lean_ticks / self._leaning)
        self._leans.append((share * x, share * y))
        self._leans.popleft()
        n = self._smooth
        self._offset = sum(x for x, _ in self._leans) / n, sum(y for _, y in self._leans) / n

    # ------------------------------------------------------------------ how the feet move

    def _place(self) -> None:
        """Advance every foot in the air by one tick."""
        cycle, half, dt = self.timing.cycle, self.timing.stance / 2, self.dt
        ahead: dict[int, Pose] = {}
        for foot in self._feet:
            if foot.air:
                ticks = cycle - foot.since
                if not foot.frozen:
                    body = self._final
                    if body is None:
                        body = ahead.get(ticks)
                        if body is None:
                            go = displacement(self._planned, (ticks - 1 + half) * dt)
                            body = ahead[ticks] = compose(self._pose, go)
                    foot.aim(
                        *outward(body, *foot.home), inf if ticks == self.timing.swing else foot.pace * AIM_SHARE * dt
                    )
                    foot.frozen = ticks <= self._freeze
                foot.advance(ticks, dt)
            foot.since = (foot.since + 1) % cycle
            if foot.since == 0:
                foot.air = False
        self._tick = (self._tick + 1) % cycle

    def _lift(self) -> None:
        """Let go of the ground the feet whose stance is over, but not those that a stop finds home already."""
        for foot in self._feet:
            if foot.since == self.timing.stance and not foot.air and not (self._final and self._is_home(foot)):
                foot.air, foot.frozen = True, False

    def _is_home(self, foot: Foot) -> bool:
        """Whether it stands where it belongs once the body has come to rest."""
        assert self._final is not None
        x, y = outward(self._final, *foot.home)
        return abs(foot.x - x) < HOME and abs(foot.y - y) < HOME

    def _at_rest(self) -> bool:
        if self._planned != REST or self._twist != REST:
            return False
        return all(not foot.air and self._is_home(foot) for foot in self._feet)

    def _settle(self) -> None:
        """Stand: rounding is dropped, and the next walk starts at the gait's own beginning."""
        first = self._tick = self.timing.first
        for leg, foot in enumerate(self._feet):
            foot.air = foot.frozen = False
            foot.x, foot.y = outward(self._pose, *foot.home)
            foot.since = self.timing.since_touchdown(first, leg)
        self._walking = self._stepping = False
        self._planned = self._twist = REST
        self._final = None
        self._recent = deque([REST] * self._smooth)
        self._lean_ticks = 0
        self._leans = deque([(0.0, 0.0)] * self._smooth)
        self._offset = 0.0, 0.0
        down = np.ones(self.robot.legs, dtype=np.bool_)
        down.flags.writeable = False
        self._stance = Stance(self._home, down, self._pose)

    def _seen(self) -> Stance:
        pose, stance = compose(self._pose, (*self._offset, 0.0)), self.timing.stance
        c, s = cos(pose[2]), sin(pose[2])
        x, y = pose[0], pose[1]
        rows = []
        down = []
        for foot, z in zip(self._feet, self._ground, strict=True):
            dx, dy = foot.x - x, foot.y - y
            if foot.air:
                z += self._height[foot.since - stance]
            rows.append((c * dx + s * dy, c * dy - s * dx, z))
            down.append(not foot.air)
        flags = np.array(down)
        flags.flags.writeable = False
        feet = np.array(rows)
        feet.flags.writeable = False
        return Stance(feet, flags, pose)
