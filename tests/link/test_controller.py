"""What the robot's controller does by itself: gentle starting, following, failsafe, limits."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from motionhub.link.controller import EASE_US, PERIOD_S, Controller, Settings, easing_s
from motionhub.link.wire import Activity, Faults, Frame

J = 20
SETTINGS = Settings(
    low=(600,) * J,
    high=(2400,) * J,
    rest=tuple(1400 + 10 * i for i in range(J)),
    lowered=(900,) * J,
    quiet=25,
    cut_off=150,
    warn_mv=7000,
    cut_off_mv=6600,
    silenced=(False, True),
    warns=(True, False),
)
GOOD_MV = 7800
REST = Frame(SETTINGS.rest, (128, 200))


class Bench:
    """A controller and its servo periods of 20 ms, with what was issued in each."""

    def __init__(self):
        self.controller = Controller(SETTINGS)
        self.issued: list[tuple[int, ...]] = []
        self.activities: list[Activity] = []

    def run(self, periods, frame=None, mv=GOOD_MV):
        for _ in range(periods):
            if frame is not None:
                self.controller.command(frame)
            self.controller.period(mv)
            self.issued.append(tuple(self.controller.pulses))
            self.activities.append(self.controller.activity)

    def following(self, frame=REST):
        self.run(60, frame)
        assert self.controller.activity == Activity.FOLLOWING
        return self


@pytest.fixture
def bench():
    return Bench()


@pytest.mark.parametrize("gap", [0, 11, 24, 300, 700])
def test_a_started_joint_is_there_after_the_time_told(bench, gap):
    frame = Frame((SETTINGS.rest[0] + gap, *[0] * (J - 1)), (0, 0))
    bench.run(100, frame)
    there = next(i for i, issued in enumerate(bench.issued) if issued[0] == frame.pulses[0])
    assert there + 1 <= easing_s(gap) / PERIOD_S <= there + 6  # when no group was started just before, a little sooner


def test_no_pulse_before_the_first_frame(bench):
    bench.run(500)
    assert not np.any(bench.issued)
    assert set(bench.activities) == {Activity.OFF}


def test_starts_three_joints_at_a_time_a_tenth_of_a_second_apart_at_rest(bench):
    bench.run(60, Frame((2000,) * J, (0, 0)))
    on = np.count_nonzero(bench.issued, axis=1)
    steps = np.diff(np.concatenate([[0], on]))
    starts = np.flatnonzero(steps)
    assert steps.max() <= 3
    assert np.diff(starts).min() >= 5
    assert on[-1] == J
    # 20 joints by threes are 7 groups, 6 waits of 0.1 s: all on within 0.7 s.
    assert starts[-1] * 0.02 <= 0.7
    # Each begins at its rest pulse, and none moves before all are on.
    all_on = starts[-1]
    for row in bench.issued[: all_on + 1]:
        assert all(pulse in (0, rest) for pulse, rest in zip(row, SETTINGS.rest, strict=True))


def test_eases_from_rest_to_a_far_frame_slowly_first(bench):
    far = Frame((2300,) * J, (0, 0))
    bench.run(31, far)
    bench.run(120, far)
    moving = np.array(bench.issued, dtype=int)[31:]
    steps = np.abs(np.diff(moving, axis=0)).max(axis=1)
    assert steps[:5].max() <= 2 * EASE_US
    # It speeds up evenly (so it catches up with anything), never by a leap.
    assert np.diff(steps[:-1]).max() <= 2
    assert tuple(moving[-1]) == far.pulses
    assert bench.controller.activity == Activity.FOLLOWING


def test_catches_up_with_a_move_that_does_not_wait(bench):
    for tick in range(250):
        pulses = tuple(int(1500 + 300 * np.sin(tick / 5)) for _ in range(J))
        bench.run(1, Frame(pulses, (0, 0)))
    assert bench.controller.activity == Activity.FOLLOWING
    assert bench.issued[-1] == pulses


def test_follows_to_the_microsecond_in_the_next_period(bench):
    bench.following()
    for tick in range(100):
        frame = Frame(tuple(rest + tick % 7 * 30 for rest in SETTINGS.rest), (0, 0))
        bench.run(1, frame)
        assert bench.issued[-1] == frame.pulses


def test_draws_the_way_out_over_the_ticks_between_two_frames(bench):
    bench.following()
    target = tuple(rest + 100 for rest in SETTINGS.rest)
    bench.controller.command(Frame(target, (0, 0)), ticks=4)
    start = len(bench.issued)
    bench.run(4)
    gone = np.array(bench.issued[start:])[:, 0] - SETTINGS.rest[0]
    assert gone.tolist() == [25, 50, 75, 100]


def test_a_link_that_goes_quiet_means_rest_and_hold(bench):
    away = Frame(tuple(rest + 200 for rest in SETTINGS.rest), (128, 200))
    bench.following(away)
    start = len(bench.issued)
    bench.run(400)
    activities = bench.activities[start:]
    began = activities.index(Activity.QUIET)
    # 0.5 s asked for: not before, and within one period and a half after.
    assert 0.5 <= (began + 1) * 0.02 <= 0.53
    rows = np.array(bench.issued[start:], dtype=int)
    assert np.abs(np.diff(rows, axis=0)).max() <= EASE_US
    assert tuple(rows[-1]) == SETTINGS.rest
    assert bench.controller.faults == Faults.QUIET
    # The sounder is silenced, the lamp stays lit.
    assert bench.controller.outputs == [128, 0]
    # A frame ends it, gently again.
    bench.run(1, away)
    bench.run(1, away)
    assert bench.controller.activity == Activity.EASING
    assert np.abs(np.array(bench.issued[-1]) - SETTINGS.rest).max() <= 2 * EASE_US
    bench.run(60, away)
    assert bench.issued[-1] == away.pulses


def test_a_frame_just_in_time_keeps_it_going(bench):
    bench.following()
    for _ in range(20):
        bench.controller.command(REST)
        bench.run(25)
    assert Activity.QUIET not in bench.activities


def test_limp_ends_every_pulse_at_once_and_quiet_does_not_bring_them_back(bench):
    bench.following()
    bench.run(1, Frame(None, (10, 0)))
    assert not any(bench.issued[-1])
    bench.run(200)
    assert not np.any(bench.issued[-200:])
    assert bench.controller.activity == Activity.OFF
    bench.run(1, REST)
    assert np.count_nonzero(bench.issued[-1]) <= 3


def test_single_joints_can_be_left_without_pulses(bench):
    only = Frame((0,) * 7 + (1500,) + (0,) * 12, (0, 0))
    bench.run(60, only)
    assert bench.issued[-1] == only.pulses
    bench.run(1, Frame((0,) * J, (0, 0)))
    assert not any(bench.issued[-1])


def test_a_low_battery_is_told_and_forgotten_only_well_above(bench):
    bench.following()
    bench.run(100, REST, mv=6990)
    assert bench.controller.faults == Faults.BATTERY_LOW
    bench.run(100, REST, mv=7050)
    assert bench.controller.faults == Faults.BATTERY_LOW
    bench.run(100, REST, mv=7150)
    assert bench.controller.faults == 0


def lamp(bench, periods, mv, levels=(0, 200)):
    """What a lamp that warns shows, period by period, while it is asked for nothing, and the sounder beside it."""
    shown = []
    for _ in range(periods):
        bench.run(1, Frame(SETTINGS.rest, levels), mv=mv)
        shown.append(tuple(bench.controller.outputs))
    return np.array(shown)


def test_a_lamp_blinks_while_the_battery_is_low_and_is_its_own_again_after(bench):
    """WCAG 2.2, 2.3.1: nothing flashes more than three times a second."""
    bench.following()
    lamp(bench, 30, 6900)
    shown = lamp(bench, 500, 6900)
    assert set(shown[:, 0]) == {0, 255}
    assert shown[:, 0].mean() == 255 / 2
    assert np.count_nonzero(np.diff(shown[:, 0])) == 20, "on and off in each of ten seconds"
    assert (shown[:, 1] == 200).all(), "what does not warn is left alone"
    bench.run(60)
    assert bench.controller.activity == Activity.QUIET
    alone = [bench.run(1, mv=6900) or bench.controller.outputs[0] for _ in range(100)]
    assert set(alone) == {0, 255}, "with no hub to ask for it"
    lamp(bench, 50, 7800)
    assert (lamp(bench, 100, 7800, (90, 0))[:, 0] == 90).all()


def test_when_the_pulses_have_ended_only_a_flash_is_left(bench):
    """A pack of lithium cells is harmed by being emptied further (common practice: not below 3 V a cell)."""
    bench.following()
    shown = lamp(bench, 600, 6400, (255, 200))
    doing = np.array(bench.activities[-600:])
    assert (shown[doing == Activity.LOWERING] == (255, 0)).all()
    after = shown[doing == Activity.ENDED]
    assert len(after) > 200
    assert not after[:, 1].any()
    assert after[:200, 0].sum() == 2 * 5 * 255, "a tenth of a second in two"
    assert np.diff(np.flatnonzero(after[:, 0])).max() == 96


def test_one_dip_is_not_a_low_battery(bench):
    bench.following()
    bench.run(1, REST, mv=5000)
    bench.run(5, REST)
    assert Faults.BATTERY_EMPTY not in bench.controller.faults
    assert bench.controller.activity == Activity.FOLLOWING


def test_an_empty_battery_lowers_the_body_then_ends_the_pulses_for_good(bench):
    bench.following()
    start = len(bench.issued)
    bench.run(600, REST, mv=6400)
    activities = bench.activities[start:]
    lowering, ended = activities.index(Activity.LOWERING), activities.index(Activity.ENDED)
    # Below for 3 s, and the average takes some periods to get there.
    assert 3.0 <= lowering * 0.02 <= 3.4
    rows = np.array(bench.issued[start:], dtype=int)
    assert np.abs(np.diff(rows[lowering - 1 : ended], axis=0)).max() <= EASE_US
    assert tuple(rows[ended - 1]) == SETTINGS.lowered
    assert not rows[ended:].any()
    # Frames and a recovered battery change nothing any more: it wants a new battery and a reset.
    bench.run(500, REST, mv=8400)
    assert not np.any(bench.issued[-500:])
    assert Faults.BATTERY_EMPTY in bench.controller.faults


def test_a_battery_that_recovers_in_time_is_not_empty(bench):
    bench.following()
    for _ in range(5):
        bench.run(120, REST, mv=6400)
        bench.run(60, REST, mv=7400)
    assert Activity.LOWERING not in bench.activities


def test_an_empty_battery_while_limp_stays_limp(bench):
    bench.run(300, Frame(None, (0, 0)), mv=6000)
    bench.run(100, REST, mv=6000)
    assert not np.any(bench.issued)
    assert bench.controller.activity == Activity.ENDED


pulse = st.integers(600, 2400)
frames = st.one_of(
    st.just(Frame(None, (0, 0))),
    st.tuples(pulse, st.integers(0, J)).map(lambda t: Frame((0,) * t[1] + (t[0],) * (J - t[1]), (1, 1))),
)
happenings = st.lists(
    st.tuples(frames | st.none(), st.integers(1, 40), st.integers(5000, 8400), st.integers(1, 300)), max_size=25
)


@given(happenings)
def test_whatever_happens_no_pulse_leaves_its_limits(happenings):
    bench = Bench()
    for frame, periods, mv, ticks in happenings:
        if frame is not None:
            bench.controller.command(frame, ticks)
        bench.run(periods, None, mv)
    for row in bench.issued:
        assert all(pulse == 0 or 600 <= pulse <= 2400 for pulse in row)
    # and never more than three joints start in one period
    for before, after in zip([(0,) * J, *bench.issued], bench.issued, strict=False):
        assert sum(a > 0 and b == 0 for b, a in zip(before, after, strict=True)) <= 3
