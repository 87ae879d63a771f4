"""One battery, run after run: against a discharge that is stepped through frame by frame, and known facts."""

import json
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from motionhub.check.discharge import USABLE, Pack, discharge
from motionhub.check.supply import solve
from motionhub.check.timeline import Timeline, work_out
from motionhub.motion import documents
from motionhub.motion.render import render
from motionhub.robot.battery import open_circuit_v
from motionhub.robot.model import Robot

MAH = 3.6


def worked_out(robot: Robot, mah: float | None = None, seconds: float = 2.0, **changes: float) -> Timeline:
    spec = replace(robot.supply, **changes)
    robot = replace(robot, supply=spec if mah is None else replace(spec, capacity_c=mah * MAH))
    keyframes = [
        {"at_ms": 500 * seconds, "body": {"z_mm": -20}, "joints_deg": {"head": 40}},
        {"at_ms": 1000 * seconds, "body": {"z_mm": 0}, "joints_deg": {"head": 0}},
    ]
    text = json.dumps({"format": "motionhub-sequence/1", "name": "test", "keyframes": keyframes})
    return work_out(render(documents.parse(text, "test", robot), robot))


def stepped(t: Timeline) -> int:
    """Whole runs on one pack, frame after frame, each solved at the voltage that the battery then has."""
    robot, spec = t.frames.robot, t.frames.robot.supply
    left, runs = spec.capacity_c, 0
    while True:
        for i in range(len(t.torques)):
            one = slice(i, i + 1)
            cell = float(open_circuit_v(spec, left / spec.capacity_c))
            rail = solve(robot, t.torques[one], t.speeds[one], t.frames.outputs[one], t.set_v, cell)
            left -= float(rail.battery_amps[0]) / t.frames.rate_hz
            if rail.battery_volts[0] < spec.battery_cut_off_v or left < 0:
                return runs
        runs += 1


@pytest.mark.parametrize(("mah", "ohm"), [(30, 0.03), (45, 0.15), (12, 0.0)])
def test_as_many_runs_as_frame_by_frame(tansy: Robot, mah: float, ohm: float) -> None:
    t = worked_out(tansy, mah, battery_ohm=ohm)
    expected = stepped(t)
    assert expected > 2
    assert abs(discharge(t).runs - expected) <= 1  # a run is worked out at the voltage that it begins with


def test_a_run_by_hand(tansy: Robot) -> None:
    """Without resistance the battery stays at its open-circuit voltage, and power is power: I = V·I/(η·E)."""
    t = worked_out(tansy, battery_ohm=0.0)
    spec = t.frames.robot.supply
    full = 8.4  # two cells of 4.2 V
    amps = 7.0 * t.rail.amps / (0.92 * full) + 0.15
    assert (spec.regulator_v, spec.regulator_efficiency, spec.electronics_a) == (7.0, 0.92, 0.15)
    found = discharge(t)
    assert found.charge_c == pytest.approx(float(amps.sum()) / 50, rel=1e-9)
    assert found.open_v[0] == pytest.approx(full)


def test_the_curve_is_that_of_a_two_cell_pack(tansy: Robot) -> None:
    """8.4 V full, 7.4 V nominal, and empty before 3.3 V a cell (practice: references of the trade)."""
    spec = tansy.supply
    assert float(open_circuit_v(spec, 1.0)) == pytest.approx(8.4)
    assert float(open_circuit_v(spec, 0.0)) < 2 * 3.3
    # Half full is a little above nominal; nominal comes in the last fifth.
    assert 7.4 < float(open_circuit_v(spec, 0.5)) < 7.8
    assert float(open_circuit_v(spec, 0.05)) < 7.4 < float(open_circuit_v(spec, 0.2))


@given(lower=st.floats(0, 1), upper=st.floats(0, 1))
def test_a_fuller_battery_never_has_less_voltage(lower: float, upper: float, tansy: Robot) -> None:
    lower, upper = sorted((lower, upper))
    low, high = open_circuit_v(tansy.supply, [lower, upper])
    assert low <= high


@settings(max_examples=15, deadline=None)
@given(mah=st.floats(20, 8000), ohm=st.floats(0, 0.2), more=st.floats(1.01, 3))
def test_monotonous(mah: float, ohm: float, more: float, tansy: Robot) -> None:
    """A larger pack gives no fewer runs, and one of more resistance no more; each run leaves less than before."""
    found = discharge(t := worked_out(tansy, mah, battery_ohm=ohm))
    assert discharge(worked_out(tansy, mah * more, battery_ohm=ohm)).runs >= found.runs
    assert discharge(worked_out(tansy, mah, battery_ohm=ohm * more)).runs <= found.runs
    assert found.usable_runs <= found.runs
    assert (np.diff(found.used_c) > 0).all()
    assert (np.diff(found.open_v) <= 0).all()
    assert (np.diff(found.low_v) <= 1e-9).all()
    assert (found.low_v >= t.frames.robot.supply.battery_cut_off_v).all()
    if found.usable_runs < found.runs:
        taken = found.charge_c * found.usable_runs
        # a run takes a little more from an emptier battery, at most as the voltage falls
        assert taken <= USABLE * mah * MAH <= taken * 8.4 / 6.5 + 2 * found.charge_c


def test_many_short_runs_taken_together_are_as_many_as_one_by_one(tansy: Robot) -> None:
    t = worked_out(tansy, 900, seconds=0.4)
    pack = Pack(t)
    used, runs = 0.0, 0
    while True:
        taken, low = pack.run(used)
        if low < t.frames.robot.supply.battery_cut_off_v or used + taken > t.frames.robot.supply.capacity_c:
            break
        used, runs = used + taken, runs + 1
    assert runs > 500
    assert pack.discharge().runs == pytest.approx(runs, rel=2e-3)


def test_a_run_longer_than_the_pack_is_none(tansy: Robot) -> None:
    found = discharge(worked_out(tansy, 2))
    assert (found.runs, found.usable_runs) == (0, 0)
    assert found.used_c.size == 0


def test_a_long_run_empties_the_battery_on_its_way(tansy: Robot) -> None:
    """One run of two minutes takes what sixty of two seconds take, at the same mean height of the body."""
    long, short = worked_out(tansy, 400, seconds=120), worked_out(tansy, 400, seconds=2)
    a, b = discharge(long), discharge(short)
    assert a.charge_c == pytest.approx(60 * b.charge_c, rel=0.08)
    assert a.runs == pytest.approx(b.runs / 60, abs=1)
