"""Tansy's fastest walks: what a driver is given, what the check calls too fast, what MuJoCo's servos keep up with.

See ``speeds.py`` for what is asked. A walk is too fast for the check where it is so for the servos or for the supply,
and so it is here: a regulator that is asked for more than it gives lets the rail go, and with it what servos can do.
"""

import pytest
from motion.walkers import TANSY

from motionhub.motion.gait import gaits
from walking import FULL
from walking.speeds import Ladder, Speeds
from walking.walks import WAYS

CYCLES = [48, 46, 44, 42, 40, 38, 36, 34, 30, 26] if FULL else [44, 40]
"""Ticks: with fewer, the lift alone takes more than the servos have; with more, the stride is the limit."""
ASKED = ["forward", "forward-left", "left", "back", "turn-left"] if FULL else ["forward"]


@pytest.fixture(scope="module", params=ASKED)
def speeds(request: pytest.FixtureRequest) -> Speeds:
    found = Ladder(TANSY, gaits(TANSY)["tripod"], WAYS[request.param]).speeds(CYCLES, halvings=6 if FULL else 4)
    print(f"{request.param}: {found}")
    return found


def test_the_check_and_the_machine_agree_on_what_is_too_fast(speeds: Speeds) -> None:
    assert 0.9 * speeds.supply[0] <= speeds.check[0] <= 1.1 * speeds.supply[0]


def test_servos_keep_up_with_what_is_allowed(speeds: Speeds) -> None:
    assert max(speeds.tool[0], speeds.check[0]) <= 1.05 * speeds.servos[0]


def test_a_driver_is_given_what_the_machine_keeps_up_with(speeds: Speeds) -> None:
    assert 0.9 * speeds.supply[0] <= speeds.tool[0] <= 1.1 * speeds.supply[0]
