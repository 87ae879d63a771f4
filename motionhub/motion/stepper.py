r"""The stepper: from a wanted velocity of the body to where every foot is, tick by tick.

It drives live and it renders the walks inside sequences, so it is deterministic to the last bit: the same
twists from the same start give the same feet. It keeps every foot in the *ground* frame. A foot that
stands is simply not touched, so what it does in the body's frame is what a rigid body demands and the
plan has no slip. A foot in the air is re-planned on every tick by the quintic from how it moves now to
where it is to land, so it leaves and meets the ground without speed over the ground::

              .-----.                     target: where its next stance will be centred
           .-'       '-.                  frozen for the last quarter of the swing
    ______/             \______  ground
       lift-off      touchdown

A clock of ticks says whose turn it is to step, and what may happen at a turn depends on the phase::

    lean    on all feet, the clock stands: the body leans over to where its gait's sway begins, or back
    step    walking: a foot lifts when it is its turn
    land    no motion is wanted: the body brakes, feet in the air land, none lifts that need not
    stood   on all feet, and still: the walk has ended
    tidy    feet that are not home go there in turn; then it is settled

Another gait begins on all feet too: while it walks on, no foot lifts until all are down, and the new clock starts
at the turn at which the feet can best bear the speed; before that it slows down as far as that takes. And
whatever the clock says, no foot lifts that the weight needs (:mod:`~motionhub.motion.balance`): it misses its turn.

Two rules keep the legs in reach whatever is commanded. Every tick the planned velocity goes towards the
wanted one only as far as every foot could still end its stance within its room if that velocity were then
held; so holding is always possible, and slowing down always is (a foot then goes less far along the same
arc). And the limit itself (:meth:`Stepper.limit`) leaves each foot half a stance before and half behind its home.
"""

from __future__ import annotations

from copy import copy
from math import hypot, inf, isfinite
from typing import Literal, Self

from motionhub.motion.balance import spares
from motionhub.motion.foot import Foot
from motionhub.motion.gait import Gait, Timing, default_gait
from motionhub.motion.lean import Lean
from motionhub.motion.manner import Manner, manner_of
from motionhub.motion.planar import REST, Pose, Twist, compose, displacement, inward, outward
from motionhub.motion.posing import standing_feet
from motionhub.motion.stance import Stance, at_home, seen
from motionhub.motion.turns import begins, holds, until_lift
from motionhub.motion.velocity import Velocity, share_of
from motionhub.robot.model import Robot

Phase = Literal["lean", "step", "land", "stood", "tidy"]

FROZEN_SHARE = 0.25
"""The last share of a swing, in which the landing place no longer changes: a foot does not swerve as it lands."""

AIM_SHARE = 2.0
"""How fast a landing place may move over the ground, in shares of the foot's pace: a little more than it moves
while the body speeds up. A sudden stop would otherwise make a foot in mid-air dart to its new place."""

STOOD_S = 0.1
"""A walk that has ended stands for so long before feet go home: whoever drives on at once has lost no step."""

STILL = 1e-6
"""A command below this share of the limit means standing still."""

ROUNDING = 1e-12
"""A share of the limit that is this much over one is one."""

HOME = 1e-9
"""A foot within this many metres of its home is home."""


class Stepper:
    """Walks, one tick of ``dt`` at a time. Starts standing at rest: every foot home, all down.

    Args:
        robot: The robot.
        gait: How it steps; its default gait when not given.
        dt: Seconds a tick.
        cycle_s: Seconds a cycle; see :func:`~motionhub.motion.gait.own_cycle` when not given.
        lift: Height in m to which feet are lifted; the gait's, or else the robot's own, when not given.
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
        self.dt = dt
        self.manner = manner_of(robot, default_gait(robot) if gait is None else gait, dt, cycle_s, lift)
        self.effort = 1.0
        """Share of the pace that may be asked for now, above 0: less than geometry allows where power is short."""
        self.shift = 0.0, 0.0
        """m, how far aside the centre of mass is, since the body is carried otherwise than at rest."""
        home = standing_feet(robot)
        home.flags.writeable = False
        self._home = home
        self._ground = [float(z) for z in home[:, 2]]
        self._pose: Pose = (0.0, 0.0, 0.0)
        self._feet = [Foot(x, y) for x, y in self.manner.rest]
        # The state, to which _settle gives its values
        self._settled = True
        self._phase: Phase = "lean"
        self._tick = self._pause = 0
        self._velocity, self._sway = Velocity(self.manner.smooth), Lean(self.manner.smooth)
        self._next: Manner | None = None
        self._start: int | None = None
        """The tick of the next manner's cycle to begin with as soon as all feet are down."""
        self._final: Pose | None = self._pose
        """Where the body comes, or has come, to rest; None while it walks."""
        self._stance = at_home(home, self._pose)
        self._settle()

    # ------------------------------------------------------------------ what is asked of it

    @property
    def settled(self) -> bool:
        """Whether it stands still with every foot home."""
        return self._settled

    @property
    def twist(self) -> Twist:
        """How the body moves now: forward and left in m/s, turning left in rad/s."""
        return self._velocity.twist

    @property
    def stance(self) -> Stance:
        """Where the feet are now."""
        return self._stance

    @property
    def timing(self) -> Timing:
        """Its gait, on ticks."""
        return self.manner.timing

    @property
    def goal(self) -> Manner:
        """How it walks as soon as it can: by its manner, or the one that it is changing to."""
        return self.manner if self._next is None else self._next

    def copy(self) -> Self:
        """Another stepper in the same state, that goes on by itself."""
        other = copy(self)
        other._feet = [copy(foot) for foot in self._feet]
        other._velocity, other._sway = self._velocity.copy(), self._sway.copy()
        return other

    def change(self, manner: Manner) -> None:
        """Walk in this manner, made for the same robot and tick, from the next tick on or as soon as the feet allow."""
        self._next = None if manner is self.manner else manner
        self._start = None
        if self._settled and self._next is not None:
            self._adopt()
            self._settle()

    def limit(self, twist: Twist) -> tuple[Twist, bool]:
        """The twist itself, or scaled down to what the legs can do; and whether it had to be.

        Direction and curvature are kept. A twist that is not finite means standing still.
        """
        wanted, share = self._limited(twist, self.goal)
        return wanted, share > 1 + ROUNDING

    def step(self, twist: Twist) -> Stance:
        """Go on by one tick towards walking by ``twist`` (limited as :meth:`limit` does)."""
        wanted, share = self._limited(twist, self.manner)
        if self._next is not None:
            wanted, _ = self._limited(wanted, self._next)
        if share < STILL:
            wanted = REST
        if self._settled and wanted == REST:
            return self._stance
        self._settled = False
        self._turn_to(wanted)
        self._move(wanted)
        if self._phase != "lean":
            self._place()
            self._land()
            self._lift()
        if self.manner.sway:
            self._sway.shift(self.manner, self._tick)
        self._come_to_rest()
        if not self._settled:
            self._stance = self._seen()
        return self._stance

    def ticks_to_settle(self) -> int:
        """Ticks that it takes from now until it stands settled, if no motion is wanted from now on."""
        trial, ticks = self.copy(), 0
        while not trial._settled:
            trial.step(REST)
            ticks += 1
        return ticks

    def _limited(self, twist: Twist, manner: Manner) -> tuple[Twist, float]:
        """The twist, scaled down if need be, and the share of what the legs can do that was asked for."""
        vx, vy, wz = float(twist[0]), float(twist[1]), float(twist[2])
        if not (isfinite(vx) and isfinite(vy) and isfinite(wz)):
            return REST, inf
        share = share_of(manner, (vx, vy, wz)) / self.effort
        if share <= 1 + ROUNDING:
            return (vx, vy, wz), share
        return (vx / share, vy / share, wz / share), share  # of an infinite share nothing is left

    # ------------------------------------------------------------------ phases

    def _turn_to(self, wanted: Twist) -> None:
        """Go over to the phase that suits what is wanted."""
        phase, sways = self._phase, self._sways
        if phase == "step":
            if wanted == REST or (self._next is not None and sways):
                self._phase, self._start = "land", None
            elif self._next is not None and self._start is None:
                self._look_for_start(wanted)
        elif wanted != REST and not (self._next is not None and sways):
            if phase in ("land", "stood") and self._all_down and not sways:
                self._phase = "lean"
            elif phase in ("land", "tidy"):
                self._phase = "step"
                self._final = None
        if self._phase == "lean":
            self._lean(wanted)

    @property
    def _sways(self) -> bool:
        """Whether the body sways in its manner, or will in the one to come."""
        return bool(self.manner.sway) or bool(self._next and self._next.sway)

    @property
    def _all_down(self) -> bool:
        return not any(foot.air for foot in self._feet)

    def _lean(self, wanted: Twist) -> None:
        """With all feet down: lean a tick further over or back, and begin to step once fully over."""
        if self._next is not None and self._sway.upright:
            self._adopt()
        if self._next is not None or (wanted == REST and self._all_home()):
            self._sway.back(self.manner)
            return
        if not self._sway.over(self.manner):
            return
        self._phase = "step" if wanted != REST else "tidy"
        self._final = None if wanted != REST else self._pose
        if not self.manner.sway:
            self._tick = begins(self.manner, self._seen_feet(), wanted, self._away())
        self._lift()

    def _come_to_rest(self) -> None:
        """What the tick has brought to its end."""
        if self._phase in ("land", "tidy", "stood") and self._all_down and self._velocity.resting:
            if self._next is not None or self._all_home():
                self._phase = "lean"
            elif self._phase == "land":
                # A body that sways goes on swaying until all are home.
                self._phase = "tidy" if self.manner.sway else "stood"
                self._pause = max(1, round(STOOD_S / self.dt))
            elif self._phase == "stood":
                self._pause -= 1
                if self._pause <= 0:
                    self._phase = "lean"
        if self._phase == "lean" and self._sway.upright and self._next is None and self._all_home():
            self._settle()

    def _adopt(self) -> None:
        """Walk in the new manner from now on, all feet down."""
        assert self._next is not None
        self.manner, self._next, self._start = self._next, None, None
        self._tick = self.manner.timing.first
        self._velocity.average_over(self.manner.smooth)
        self._sway = Lean(self.manner.smooth)

    def _settle(self) -> None:
        """Stand: rounding is dropped, and the next walk starts at the gait's own beginning."""
        manner = self.manner
        self._tick = manner.timing.first
        for foot, (x, y) in zip(self._feet, manner.rest, strict=True):
            foot.stand(*outward(self._pose, x, y))
        self._settled = True
        self._phase = "lean"
        self._next = self._start = None
        self._velocity, self._sway = Velocity(manner.smooth), Lean(manner.smooth)
        self._final = self._pose
        self._pause = 0
        self._stance = at_home(self._home, self._pose)

    # ------------------------------------------------------------------ how the body moves

    def _move(self, wanted: Twist) -> None:
        """One tick of the body's motion."""
        velocity, manner = self._velocity, self.manner
        if self._phase == "step":
            braking = self._next is not None and self._start is None
            velocity.plan(velocity.braked(manner) if braking else self._towards(wanted))
        else:
            velocity.plan(velocity.braked(manner))
            if self._final is None:
                self._final = velocity.resting_pose(manner, self._pose)
        self._pose = compose(self._pose, displacement(velocity.twist, self.dt))

    def _towards(self, wanted: Twist) -> Twist:
        """The planned velocity brought towards the wanted one, as far as reach allows now."""
        now, manner = self._velocity.planned, self.manner
        change = (wanted[0] - now[0], wanted[1] - now[1], wanted[2] - now[2])
        share = share_of(manner, change)
        part = 1.0 if share <= manner.gain else manner.gain / share
        for _ in range(3):
            trial = (now[0] + part * change[0], now[1] + part * change[1], now[2] + part * change[2])
            if self._holds(trial):
                return trial
            part /= 4
        # A foot was about to land for a stop that is not wanted any more, or has missed its turn.
        return now if self._holds(now) else self._velocity.braked(manner)

    def _waits(self) -> list[int]:
        """Ticks until each foot's next turn to lift, after the one it may be at."""
        if self._start is None or self._next is None:
            return until_lift(self.manner.timing, self._tick)
        first = max(1, max(foot.left for foot in self._feet))
        return [first + wait for wait in until_lift(self._next.timing, self._start, now=True)]

    def _holds(self, twist: Twist) -> bool:
        """Whether every foot ends its stance within its room if the body moves by ``twist`` from now on."""
        manner = self.manner if self._start is None else self.goal
        return holds(manner, self._feet, self._waits(), self._pose, twist)

    # ------------------------------------------------------------------ how the feet move

    def _look_for_start(self, wanted: Twist) -> None:
        """Find the turn of the new gait to begin with, if the feet bear how fast it goes now."""
        assert self._next is not None
        planned = self._velocity.planned
        best = begins(self._next, self._seen_feet(), planned if planned != REST else wanted, self._away())
        self._start = best
        if not self._holds(planned) and not self._velocity.resting:
            self._start = None

    def _place(self) -> None:
        """Advance every foot in the air by one tick."""
        manner, dt = self.manner, self.dt
        if not self._all_down:
            ahead: dict[float, Pose] = {}
            homes = manner.rest if self._final else self.goal.homes if self._start is not None else manner.homes
            for foot, wait, home, pace in zip(self._feet, self._waits(), homes, manner.pace, strict=True):
                if not foot.air:
                    continue
                if not foot.frozen:
                    body = self._final
                    if body is None:
                        ticks = foot.left - 1 + (wait - foot.left) / 2
                        body = ahead.get(ticks)
                        if body is None:
                            go = displacement(self._velocity.planned, ticks * dt)
                            body = ahead[ticks] = compose(self._pose, go)
                    foot.aim(*outward(body, *home), inf if foot.left == foot.span else pace * AIM_SHARE * dt)
                    foot.frozen = foot.left <= max(1, round(FROZEN_SHARE * foot.span))
                foot.advance(dt)
        if self._phase != "stood":
            self._tick = (self._tick + 1) % manner.timing.cycle

    def _land(self) -> None:
        """Begin with the new gait once all feet are down for it."""
        if self._start is not None and self._all_down:
            start = self._start
            self._adopt()
            self._tick = start

    def _lift(self) -> None:
        """Let go of the ground the feet whose turn it is, as far as the phase and the weight allow."""
        timing = self.manner.timing
        if self._start is not None or self._phase == "stood" or (self._phase == "tidy" and self._next is not None):
            return
        for leg, foot in enumerate(self._feet):
            if foot.air or timing.since_touchdown(self._tick, leg) != timing.stance:
                continue
            if (self._phase == "step" or self._has_to_step(leg)) and self._spares(leg):
                foot.lift(timing.swing, self.manner.lift)

    def _has_to_step(self, leg: int) -> bool:
        """Whether a foot has to step though no motion is wanted: to go home, or for the body to come to rest at all."""
        assert self._final is not None
        foot, manner = self._feet[leg], self.manner
        x, y = outward(self._final, *manner.rest[leg])
        away = hypot(foot.x - x, foot.y - y)
        return away > (HOME if self._phase == "tidy" else float(manner.space.reach[leg]))

    def _spares(self, leg: int) -> bool:
        """Whether the other feet that stand carry the weight until this one could be down again."""
        planned, offset = self._velocity.planned, self._sway.offset
        return spares(self.manner, self._feet, leg, self._pose, offset, self._tick, planned, self.shift)

    # ------------------------------------------------------------------ where the feet are

    def _seen_feet(self) -> list[tuple[float, float]]:
        """Every foot, from the body without its sway."""
        return [inward(self._pose, foot.x, foot.y) for foot in self._feet]

    def _away(self) -> list[bool]:
        """Which feet are not home, for a body that stays where it is."""
        return [
            hypot(x - hx, y - hy) > HOME for (x, y), (hx, hy) in zip(self._seen_feet(), self.manner.rest, strict=True)
        ]

    def _all_home(self) -> bool:
        return self._velocity.resting and self._all_down and not any(self._away())

    def _seen(self) -> Stance:
        return seen(self._feet, self._ground, compose(self._pose, (*self._sway.offset, 0.0)))
