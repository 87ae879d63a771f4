"""How servos follow: against the model written out as a loop over frames, its closed forms, and by example."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from scipy.signal import lfilter
from stances import frames, rotorless

from motionhub.check import timeline
from motionhub.check.report import check
from motionhub.check.rules_tracking import APART
from motionhub.check.timeline import Timeline, work_out
from motionhub.check.tracking import CREEP, RESPONSE_S, RISE_S
from motionhub.motion.posing import rest_joints
from motionhub.robot.model import Robot

Array = NDArray[np.float64]
RATE = 50.0
PULL = 1 - np.exp(-1 / RATE / RESPONSE_S)


def one_by_one(t: Timeline) -> tuple[Array, int]:
    """The model as its docstring writes it, frame by frame; and how many steps were at a limit."""
    robot, q, h = t.frames.robot, t.frames.joints, 1 / t.frames.rate_hz
    x, step, held = q.copy(), np.zeros(robot.joints), 0
    for i in range(1, len(q)):
        volts = t.rail.steady_volts[i]
        free = np.array([servo.free_speed_at(volts) for servo in robot.servos])
        stall = np.array([servo.stall_torque_at(volts) for servo in robot.servos])
        load = np.where(t.torques[i] * t.speeds[i] > 0, np.abs(t.torques[i]) / stall, 0)
        most, rise = free * np.maximum(1 - load, CREEP) * h, free * h**2 / RISE_S
        wanted = (1 - np.exp(-h / RESPONSE_S)) * (q[i - 1] - x[i - 1])
        step = np.clip(np.clip(wanted, step - rise, step + rise), -most, most)
        held += int((np.abs(step - wanted) > 1e-12).sum())
        x[i] = x[i - 1] + step
    return x, held


def restless(robot: Robot, seed: int, size: float, steps: int = 200) -> Array:
    """Joints that wander, and some that jump half way."""
    rng = np.random.default_rng(seed)
    wander = np.cumsum(rng.normal(0, 1, (steps, robot.joints)), axis=0)
    wander *= size / np.abs(wander).max()
    wander[steps // 2 :] += 0.3 * size * (rng.random(robot.joints) < 0.3)
    return rest_joints(robot) + wander


@settings(max_examples=12, deadline=None)
@given(seed=st.integers(0, 2**32 - 1), size=st.sampled_from([0.2, 1.0, 3.0]), block=st.sampled_from([7, 64, 1024]))
def test_following_is_the_loop_over_frames(tansy: Robot, seed: int, size: float, block: int) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(timeline, "BLOCK", block)
        t = work_out(frames(tansy, restless(tansy, seed, size)))
    x, _ = one_by_one(t)
    assert t.frames.joints - t.late == pytest.approx(x, abs=1e-6)


def test_the_loop_comes_to_its_limits(tansy: Robot) -> None:
    """Or the test above would show nothing of them."""
    assert one_by_one(work_out(frames(tansy, restless(tansy, 1, 3.0))))[1] > 50
    assert one_by_one(work_out(frames(tansy, restless(tansy, 1, 0.2))))[1] == 0


@pytest.mark.parametrize("rate", [25.0, 50.0, 200.0, 400.0])
def test_without_limits_it_is_a_first_order_filter(tansy: Robot, rate: float) -> None:
    """Against scipy.signal's recursive filter, at rates at which it looks back over few frames and over many."""
    j = tansy.joint_index["head"]
    joints = np.tile(rest_joints(tansy), (600, 1))
    joints[:, j] += 0.1 * np.sin(np.arange(600) / rate * 3)
    keep = np.exp(-1 / rate / RESPONSE_S)
    theirs = lfilter([0, 1 - keep], [1, -keep], joints[:, j])
    found = work_out(frames(tansy, joints, rate))
    assert (joints - found.late)[:, j] == pytest.approx(theirs, abs=1e-7)


def test_at_a_steady_speed_it_is_behind_by_its_mean_delay(tansy: Robot) -> None:
    """By hand: at speed v a filter that takes the share s of what is left each frame is behind by v / s."""
    j, speed = tansy.joint_index["head"], 1.0
    joints = np.tile(rest_joints(tansy), (80, 1))
    joints[:, j] += speed * np.arange(80) / RATE - 0.8
    t = work_out(frames(tansy, joints))
    behind = speed / RATE / PULL
    assert t.late[-1, j] == pytest.approx(behind, rel=1e-6)
    assert t.lags[j].most == pytest.approx(behind, rel=1e-6)
    assert t.lags[j].delay_s == pytest.approx(1 / RATE / PULL, rel=0.05)
    assert t.lags[j].delay_s == pytest.approx(RESPONSE_S + 0.5 / RATE, rel=0.05)
    assert t.apart[-20:].max() < 1e-9  # merely late
    assert t.lags[0].most == pytest.approx(0, abs=1e-12)


def test_a_jump_is_taken_at_the_speed_that_the_load_leaves(tansy: Robot) -> None:
    j = tansy.joint_index["tail"]
    joints = np.tile(rest_joints(tansy), (60, 1))
    joints[10:, j] += 1.2
    t = work_out(frames(tansy, joints))
    turned = np.diff((joints - t.late)[:, j]) * RATE
    top = float(tansy.servos[j].free_speed_at(7.0))
    assert turned.max() == pytest.approx(top, rel=0.02)
    # It takes RISE_S to get there, and arrives without overshooting.
    assert turned[10] == pytest.approx(top / RATE / RISE_S, rel=0.02)
    assert t.late[:, j].min() > -1e-6
    assert abs(t.late[-1, j]) < 1e-3
    assert t.apart.max() > APART


def chased(robot: Robot, share: float) -> Array:
    """A middle leg turns to where the front leg was, just as that leaves for the front."""
    joints = np.tile(rest_joints(robot), (120, 1))
    front, middle = robot.joint_index["left_front.coxa"], robot.joint_index["left_middle.coxa"]
    away = np.interp(np.arange(120), [20, 20 + 25 / share, 120], [0, 1, 1])
    joints[:, front] += np.deg2rad(50) * (1 - away)
    joints[:, middle] += np.deg2rad(-50) * away
    return joints


def test_a_servo_that_falls_behind_is_named_with_what_it_breaks(tansy: Robot) -> None:
    """The same move with quick servos, and with one that is too slow: the legs meet only because it is late.

    A servo that is fifty times slower has not fifty times the rotor: it has none here.
    """
    tansy = rotorless(tansy)
    j = tansy.joint_index["left_front.coxa"]
    slow = replace(
        tansy,
        servos=tuple(replace(s, free_speed=s.free_speed * 0.02) if i == j else s for i, s in enumerate(tansy.servos)),
    )
    joints = chased(tansy, 1.0)
    quick = check(frames(tansy, joints))
    assert "clearance" not in {f.rule for f in quick.findings}
    assert not [f for f in quick.findings if "behind" in f.advice]
    late = check(frames(slow, joints))
    assert "clearance" not in {f.rule for f in late.findings}
    found = [f for f in late.findings if f.rule == "joint-speed" and "(clearance)" in f.advice]
    assert found, late.findings
    assert found[0].subject == "left_front.coxa"
    assert found[0].value > found[0].limit
    assert j == 0
    assert "parts touch" in found[0].advice
    # So for one that what moving takes holds fast. Slower, as it is told: then nothing is behind.
    weak = [replace(s, stall_torque=s.stall_torque * 1e-3) for s in slow.servos]
    held = replace(slow, servos=(weak[j], *slow.servos[1:]))
    for machine in (slow, held):
        (advice,) = [f.advice for f in check(frames(machine, joints)).findings if "(clearance)" in f.advice]
        times = float(advice.split(" times slower")[0])
        steps = np.arange(round(120 * times)) / times
        slowed = np.stack([np.interp(steps, np.arange(120), row) for row in joints.T], axis=1)
        assert not [f for f in check(frames(machine, slowed)).findings if "(clearance)" in f.advice]
