"""Recovery, as link/wire.py states it: whatever was lost, repeated or swapped before, the first packet that arrives
whole and newer than all before it is taken. What the radio lost costs no packet besides.
"""

import dataclasses

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from motionhub.link.session import LinkSession
from motionhub.link.simulated import SimulatedRobot
from motionhub.link.wire import TICK_S

TICKS = 160
fates = st.lists(st.sampled_from(["goes", "goes", "goes", "lost", "twice", "late"]), min_size=4, max_size=40)
spells = st.lists(st.tuples(st.integers(0, TICKS), st.integers(1, 36)), max_size=3)


@given(
    out=fates,
    back=fates,
    silences=spells,
    delay=st.integers(0, 5),
    baud=st.sampled_from([4800, 9600, 57_600]),
    seed=st.integers(0, 2**16),
)
@settings(max_examples=25)
def test_the_first_packet_that_arrives_is_taken(tansy, calibration, rest, out, back, silences, delay, baud, seed):
    robot = dataclasses.replace(tansy, link=dataclasses.replace(tansy.link, baud=baud))
    hub, there = LinkSession(robot, 7), SimulatedRobot(robot, calibration)
    rng = np.random.default_rng(seed)
    pulses = rest.copy()
    flying, returning = [], []
    newest = 0
    for tick in range(TICKS):
        now = tick * TICK_S
        pulses = np.clip(pulses + rng.integers(-9, 10, len(rest)), rest - 150, rest + 150)
        hub.tick(now)
        data = hub.send_frame(pulses, (0.0, 0.0), now)
        silent = any(first <= tick < first + length for first, length in silences)
        if data:
            fate = "lost" if silent else out[tick % len(out)] if hub.up and hub.number else "goes"
            copies = {"goes": [0], "lost": [], "twice": [0, 1], "late": [3]}[fate]
            flying += [(tick + delay + more, hub.number, hub.up, data) for more in copies]
        arriving = sorted((each for each in flying if each[0] <= tick), key=lambda each: each[0])
        flying = [each for each in flying if each[0] > tick]
        for _, number, frames, packet in arriving:
            before = len(there.decoded)
            answer = there.receive(packet, now)
            taken = list(there.decoded)[before:]
            if frames:
                assert bool(taken) == (number > newest), f"packet {number} after {newest}"
                newest = max(newest, number)
            returning += answers(answer, back[tick % len(back)], tick + delay, silent)
        returning += answers(there.advance(now), back[tick % len(back)], tick + delay, silent)
        for _, answer in sorted((each for each in returning if each[0] <= tick), key=lambda each: each[0]):
            was = hub.up
            hub.receive(answer, now)
            if hub.up and not was:
                newest = 0
                flying = [each for each in flying if not each[2]]  # of a session that is over
        returning = [each for each in returning if each[0] > tick]


def answers(data, fate, at, silent):
    if not data or silent or fate == "lost":
        return []
    return [(at + (3 if fate == "late" else 0), data)] * (2 if fate == "twice" else 1)


@pytest.mark.parametrize("baud", [9600, 57_600])
def test_after_a_silence_shorter_than_the_link_dies_of_the_first_packet_is_enough(tansy, calibration, rest, baud):
    """Silences up to where the hub gives the session up, close together where frames get too old to lean on."""
    robot = dataclasses.replace(tansy, link=dataclasses.replace(tansy.link, baud=baud))
    for silence in (1, 2, 5, 12, 17, 18, 19, 20, 21, 30, 36):
        hub, there = LinkSession(robot, 7), SimulatedRobot(robot, calibration)
        pulses, first = rest.copy(), None
        for tick in range(120):
            now = tick * TICK_S
            pulses = rest + 80 * np.sin(tick / 6 + np.arange(len(rest)))
            hub.tick(now)
            data = hub.send_frame(pulses, (0.0, 0.0), now)
            if not 60 <= tick < 60 + silence and data:
                before = len(there.decoded)
                hub.receive(there.receive(data, now), now)
                if tick >= 60 + silence and first is None:
                    first = len(there.decoded) - before
            hub.receive(there.advance(now), now)
        assert first, f"{silence} ticks of silence"
