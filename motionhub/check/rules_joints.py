"""Rules about single joints: where they go, how fast, and against what load."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from motionhub.check.derivatives import half_width
from motionhub.check.findings import APART_S, Advise, Finding, Limit, Stretch, advised
from motionhub.check.machine import some_of, stronger
from motionhub.check.mend import LOOKED_AT, SLOWEST, SPARE, Mender, Trial, times_slower, up_to
from motionhub.check.pieces import part
from motionhub.check.rules_tracking import lagging
from motionhub.check.slowness import at_rest, for_torque
from motionhub.check.timeline import Timeline
from motionhub.robot.kinematics import RANGE_SLACK, REACHED
from motionhub.robot.limits import top_speed
from motionhub.robot.servo import Servo

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]

DEG = float(np.rad2deg(1))
REACH_SLACK = 1e-4
"""m: a foot that falls short by less than a tenth of a millimetre is there."""
STALLED_S = 10.0
"""s: a hobby servo that is stalled for longer from cold does not come out of it whole (practice)."""
JUMP_SHARE = 0.25
"""A joint that turns in one frame what its neighbours hardly share in jumps; slowing the move does not help it."""


def joint_range(t: Timeline, mender: Mender) -> list[Finding]:
    """Joints outside their range."""
    robot, joints = t.frames.robot, t.frames.joints
    found = []
    for j in np.flatnonzero((joints.min(axis=0) < robot.lower) | (joints.max(axis=0) > robot.upper)):
        for limit, above in ((robot.upper[j], True), (robot.lower[j], False)):
            rule = Limit("joint-range", "deg", DEG, t.frames.rate_hz, above, RANGE_SLACK)
            advise = _bend_less(t, mender, int(j), limit)
            found += rule.findings(
                joints[:, j], limit, advise, robot.joint_names[j], span=robot.upper[j] - robot.lower[j]
            )
    return found


def _bend_less(t: Timeline, mender: Mender, j: int, limit: float) -> Advise:
    robot = t.frames.robot

    def advise(stretch: Stretch) -> str:
        less = up_to(abs(t.frames.joints[stretch.worst, j] - limit) * DEG, 0.1)
        plain = f"turn {robot.joint_names[j]} {less:g} deg less"
        if j >= 3 * robot.legs:
            return plain
        other = mender.least(stretch, lambda trial: np.ones(len(trial.joints), dtype=bool))
        return f"{other}, or {plain}" if other else plain

    return advise


def reach(t: Timeline, mender: Mender) -> list[Finding]:
    """Feet that the move wants where the leg does not get."""
    robot = t.frames.robot
    rule = Limit("reach", "mm", 1e3, t.frames.rate_hz, slack=REACH_SLACK)
    found = []
    for leg in np.flatnonzero((t.frames.reach_error > REACHED).any(axis=0)):
        knee = t.frames.joints[:, 3 * leg + 2]

        def advise(stretch: Stretch, leg: int = int(leg), knee: Array = knee) -> str:
            short = up_to(t.frames.reach_error[stretch.worst, leg] * 1e3, 1)
            straight = abs(knee[stretch.worst]) < np.pi / 2
            way = "nearer to" if straight else "further from"
            x, y, z = mender.nearest(stretch.worst, leg) * 1e3
            plain = f"keep the foot {short:g} mm {way} its hip (x {round(x):+d}, y {round(y):+d}, z {round(z):+d} mm)"
            other = mender.least(stretch, lambda trial: np.asarray(trial.reached.all(axis=1)))
            return f"{plain}, or {other}" if other else plain

        found += rule.findings(
            t.frames.reach_error[:, leg],
            0.0,
            advise,
            robot.leg_names[leg],
            span=float(robot.femur[leg] + robot.tibia[leg]),
        )
    return found


def joint_speed(t: Timeline, mender: Mender) -> list[Finding]:
    """Joints faster than their servo turns without load, or so fast that what they do late breaks another rule."""
    robot = t.frames.robot
    rule = Limit("joint-speed", "deg/s", DEG, t.frames.rate_hz)
    limits = top_speed(robot, t.set_v)
    found = []
    for j in np.flatnonzero(np.maximum(t.speeds.max(axis=0), -t.speeds.min(axis=0)) > limits):
        speeds = np.abs(t.speeds[:, j])

        def advise(stretch: Stretch, own: Array = speeds, limit: float = float(limits[j])) -> str:
            return _slower(own, stretch.worst, limit, t.frames.rate_hz)

        found += rule.findings(speeds, limits[j], advise, robot.joint_names[j])
    late = lagging(t)
    # Told to be too fast it falls behind: that is one fault.
    merged = [_besides(own, next((f for f in late if _together(own, f)), None)) for own in found]
    return merged + [f for f in late if not any(_together(own, f) for own in found)]


def _together(one: Finding, other: Finding) -> bool:
    near = one.start_s - APART_S <= other.end_s and other.start_s <= one.end_s + APART_S
    return near and one.subject == other.subject


def _besides(finding: Finding, late: Finding | None) -> Finding:
    """The finding, with what comes of the joint's being late."""
    if late is None:
        return finding

    def ask() -> str:
        of_late = advised(late).advice
        mend, _, what = of_late.partition(": ")
        return f"{advised(finding).advice}; {what}" if "slower" in mend else of_late

    return replace(finding, ask=ask)


def _slower(speed: Array, worst: int, limit: float, rate_hz: float) -> str:
    before, after = (float(speed[i]) if 0 <= i < len(speed) else 0.0 for i in (worst - 1, worst + 1))
    if max(before, after) < JUMP_SHARE * speed[worst]:
        return _time_for(float(speed[worst]) / rate_hz, limit)
    # A frame's speed is a mean over it, and the peak may fall between two: when slowed, more of it shows. Near a
    # parabola's top the mean is up to 1/12 + 1/4 of the second difference low; peaks of a few frames are sharper.
    peak = float(speed[worst]) + max(float(speed[worst]) - (before + after) / 2, 0.0) * 0.75
    return times_slower(peak / limit)


def _time_for(way: float, top: float) -> str:
    """For a joint that goes a way (rad) in one frame, and has this top speed (rad/s)."""
    # Minimum jerk peaks at 15/8 of its mean speed (Flash & Hogan 1985).
    milliseconds = up_to(1.02 * 15 / 8 * way / top * 1000, 20)
    return f"take at least {milliseconds:g} ms for it: it jumps within one frame"


def _jumps(t: Timeline, j: int, first: int, last: int) -> str:
    """The same, if in these frames or next to them a joint jumps faster than it can; else nothing."""
    top = float(top_speed(t.frames.robot, t.set_v)[j])
    near = half_width(t.frames.rate_hz)
    speed = np.abs(t.speeds[max(first - near, 0) : last + near + 1, j])
    i = int(speed.argmax())
    beside = speed[[k for k in (i - 1, i + 1) if 0 <= k < len(speed)]].max(initial=0.0)
    jumps = speed[i] > top and beside < JUMP_SHARE * speed[i]
    return _time_for(float(speed[i]) / t.frames.rate_hz, top) if jumps else ""


def joint_torque(t: Timeline, mender: Mender) -> list[Finding]:
    """Joints that need more torque than their servo gives at that speed and voltage."""
    robot = t.frames.robot
    rule = Limit("joint-torque", "N·m", 1.0, t.frames.rate_hz)
    found = []
    for j, servo in enumerate(robot.servos):
        if t.hardest[j] <= 1:
            continue
        torques, speeds = np.abs(t.torques[:, j]), np.abs(t.speeds[:, j])
        available = servo.torque_available(speeds, t.rail.steady_volts)
        # Too fast for any torque at all is the speed rule's to say, if it does: it goes by the set-point, and the
        # rail under load may leave less.
        too_fast = bool((speeds > top_speed(robot, t.set_v)[j]).any())
        where = t.standing & (available > 0) if too_fast else t.standing
        if not (torques > available)[where].any():
            continue
        advise = _carry_less(t, mender, j, servo)
        span = float(servo.stall_torque_at(t.set_v))
        found += rule.findings(torques, available, advise, robot.joint_names[j], where, span)
    return found


def _carry_less(t: Timeline, mender: Mender, j: int, servo: Servo) -> Advise:
    def advise(stretch: Stretch) -> str:
        i = stretch.worst
        if jump := _jumps(t, j, stretch.first, stretch.last):
            return jump
        name = t.frames.robot.joint_names[j]
        if slower := mender.slower(stretch, lambda some, still: for_torque(some, j, still), joint_torque, name):
            return slower

        def fits(trial: Trial) -> Flags:
            speed = np.abs(t.speeds[trial.frames, j])
            enough = SPARE * servo.torque_available(speed, trial.volts)
            return np.asarray((np.abs(trial.torques[..., j]) < enough).all(axis=1))

        rows = some_of(stretch.first, stretch.last, i)
        return mender.least(stretch, fits) or stronger(t, j, rows, np.abs(t.torques[rows, j]))

    return advise


def holding_torque(t: Timeline, mender: Mender) -> list[Finding]:
    """Joints that carry for long what their servo can only carry for a moment.

    What overheats a servo is the heat in its winding, which goes with the square of the current and so
    of the torque; so the load (torque over stall torque at the voltage of the moment) is averaged as a
    root of mean squares over the servo's window. Before the first frame and after the last the robot is
    taken to hold that pose, since it does: what holding the last pose takes counts as if for the whole window,
    and so does every pose in which a routine waits.
    """
    robot, rate = t.frames.robot, t.frames.rate_hz
    rule = Limit("holding-torque", "N·m", 1.0, rate)
    found = []
    for j, servo in enumerate(robot.servos):
        if max(t.heaviest[j], held_still(t, j).max()) <= servo.hold_fraction:
            continue
        mean = held_load(t, j)
        if mean.max() <= servo.hold_fraction:
            continue
        stall = servo.stall_torque_at(t.rail.steady_volts)
        advise = _hold_less(t, mender, j, servo, mean, hold_frames(servo, rate))
        found += rule.findings(mean * stall, servo.hold_fraction * stall, advise, robot.joint_names[j], t.standing)
    return found


def holds_for(servo: Servo, share: float) -> float:
    """How long, in s, a servo may hold ``share`` of its stall torque before it is too hot; infinite up to a share.

    Its winding is heated by the square of the current, so of the torque, and cools as it is warmer than the air. A
    motor of one time constant τ that may carry the share f for ever, and no more, is too hot under a larger share x
    when (x/f)²·(1 − exp(−t/τ)) = 1. τ is taken from how long it may stall, :data:`STALLED_S`.
    """
    fraction = servo.hold_fraction
    if share <= fraction:
        return float("inf")
    if fraction <= 0:
        return 0.0
    tau = -STALLED_S / np.log1p(-min(fraction**2, 1 - 1e-9))
    return float(-tau * np.log1p(-((fraction / share) ** 2)))


def hold_frames(servo: Servo, rate_hz: float) -> int:
    """The servo's window, in frames."""
    return max(round(servo.hold_window_s * rate_hz), 1)


def held_load(t: Timeline, j: int) -> Array:
    """What a joint carries over its servo's window up to each frame, (T,), as a share of its stall torque."""
    servo = t.frames.robot.servos[j]
    load = np.where(t.standing, np.abs(t.torques[:, j]) / servo.stall_torque_at(t.rail.steady_volts), 0.0)
    still, held = t.held[0], held_still(t, j)
    mean = moving_rms(load, hold_frames(servo, t.frames.rate_hz), float(held[0]))
    np.maximum.at(mean, still, held)
    return mean


def held_still(t: Timeline, j: int) -> Array:
    """What a joint carries in the poses that are held (:attr:`~motionhub.check.timeline.Timeline.held`), likewise."""
    frames, torques = t.held
    found: Array = np.abs(torques[:, j]) / t.frames.robot.servos[j].stall_torque_at(t.rail.steady_volts[frames])
    return np.where(t.standing[frames], found, 0.0)


def moving_rms(load: Array, window: int, before: float) -> Array:
    """Root of the mean square over the ``window`` frames up to each frame (T,), with so much of it before the first."""
    squares = np.concatenate([np.full(window, before**2), load**2])
    sums = np.cumsum(squares)
    found: Array = np.sqrt(np.maximum(sums[window:] - sums[:-window], 0.0) / window)
    return found


def _hold_less(t: Timeline, mender: Mender, j: int, servo: Servo, mean: Array, window: int) -> Advise:
    def advise(stretch: Stretch) -> str:
        i = stretch.worst
        frames, ends = t.held[0], held_still(t, j)
        end = i in frames
        # What is too heavy to be held is no lighter when it is come to more slowly.
        if not end or ends[frames == i].max() <= SPARE * servo.hold_fraction:
            if jump := _jumps(t, j, max(stretch.first - window, 0), stretch.last):
                return jump
            before = np.arange(max(i - window + 1, 0), i + 1)
            if slower := _less_moving(t, j, servo, before, float(mean[i])):
                return slower

        def fits(trial: Trial) -> Flags:
            load = np.abs(trial.torques[..., j]) / servo.stall_torque_at(trial.volts)
            before = np.abs(t.torques[trial.frames, j]) / servo.stall_torque_at(t.rail.steady_volts[trial.frames])
            # The samples' share of the window, scaled so that unchanged they give what was found.
            level = np.sqrt((load**2).mean(axis=1)) * (mean[i] / max(float(np.sqrt((before**2).mean())), 1e-9))
            if end:
                level = np.maximum(level, load[:, -1])
            good: Flags = level < SPARE * servo.hold_fraction
            return good

        other = mender.least(stretch, fits, window=window)
        rows = some_of(stretch.first, stretch.last, i)
        torques = mean[rows] * servo.stall_torque_at(t.rail.steady_volts[rows])
        machine = stronger(t, j, rows, torques, servo.hold_fraction)
        return f"{other}, or {machine}" if other else machine

    return advise


def _less_moving(t: Timeline, j: int, servo: Servo, rows: Indices, mean: float) -> str:
    """How much slower a joint has to be so that it gets no hotter than it may, if it is moving that heats it."""
    rows = rows[:: max(1, len(rows) // LOOKED_AT)]
    some = part(t, rows)
    stall = servo.stall_torque_at(some.rail.steady_volts)
    still = at_rest(some)[:, j] / stall
    moving = some.torques[:, j] / stall - still

    def heat(times: float) -> float:
        # At corners what moving takes falls with the speed, elsewhere with its square.
        return float(np.sqrt(np.mean((still + moving / times) ** 2)))

    limit = SPARE * servo.hold_fraction * heat(1.0) / mean
    if heat(SLOWEST) > limit:
        return ""
    low, high = 1.0, SLOWEST
    for _ in range(12):
        middle = (low + high) / 2
        low, high = (low, middle) if heat(middle) <= limit else (middle, high)
    return times_slower(high)
