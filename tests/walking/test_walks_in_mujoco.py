"""Every gait of every shipped robot, walked by servos in MuJoCo on the exported URDF: it goes where the plan says.

On a floor that grips (0.8: rubber on a dry floor is 0.6 to 1, *practice*) and on one with a friction of 0.4. At the
fastest that the stepper allows and at half of that, in eight directions and on the spot, for 20 s each; and as
someone drives who tries everything, gaits, heights and attitudes too. With MOTIONHUB_WALKING=full all of it and
ten minutes of driving, else a part that takes turns through the directions.
"""

from collections.abc import Callable

import numpy as np
import pytest
from motion.walkers import ROBOTS, WALK_IDS, WALKS

from motionhub.motion.gait import Gait
from motionhub.robot.model import Robot
from walking import FULL
from walking.walks import WAYS, Outcome, Plan, Player, as_planned, driven, driven_live, steady

Driver = Callable[[Robot, np.random.Generator, float], Plan]

FLOORS = (0.8, 0.4)
EVERY = [(way, share, friction) for way in WAYS for share in (1.0, 0.5) for friction in FLOORS]


def some(walk: int) -> list[tuple[str, float, float]]:
    """What of it is walked by default: two of the fastest walks, of each walk other ones, each on one floor."""
    names = list(WAYS)
    return [(names[(3 * walk + 5 * i) % len(names)], 1.0, FLOORS[(walk + i) % 2]) for i in range(2)]


CASES = [
    pytest.param(robot, gait, *case, id="-".join(map(str, (name, *case))))
    for i, (name, (robot, gait)) in enumerate(zip(WALK_IDS, WALKS, strict=True))
    for case in (EVERY if FULL else some(i))
]


def said(o: Outcome) -> str:
    """The figures of a run, in one line."""
    return (
        f"{o.way * 1e3:.0f} mm {np.rad2deg(o.turn):.0f} deg: off by "
        f"{o.apart * 1e3:.1f} mm {np.rad2deg(o.astray):.1f} deg, "
        f"height {o.height * 1e3:.2f} mm, leant {np.rad2deg(o.lean):.1f} deg, load {o.load:.2f}, {o.amps:.1f} A, "
        f"{o.volts:.2f} V, {o.seconds:.0f} s{', FELL' if o.fell else ''}"
    )


@pytest.mark.parametrize(("robot", "gait", "way", "share", "friction"), CASES)
def test_it_walks_where_the_plan_goes(robot: Robot, gait: Gait, way: str, share: float, friction: float) -> None:
    found = Player(robot, friction).play(steady(robot, gait, WAYS[way], share))
    print(f"{robot.name} {gait.name} {way} {share} on {friction}: {said(found)}")
    assert found.way > 0.02 or abs(found.turn) > 0.1
    assert as_planned(found)


DRIVES = [
    pytest.param(robot, how, friction, id=f"{robot.name}-{how.__name__}-{friction}")
    for i, robot in enumerate(ROBOTS)
    for j, how in enumerate((driven, driven_live))
    for friction in (FLOORS if FULL else FLOORS[(i + j) % 2 :][:1])
]
SECONDS = 600.0 if FULL else 30.0


@pytest.mark.parametrize(("robot", "how", "friction"), DRIVES)
def test_it_does_not_fall_however_it_is_driven(robot: Robot, how: Driver, friction: float) -> None:
    found = Player(robot, friction).play(how(robot, np.random.default_rng(59), SECONDS))
    print(f"{robot.name} {how.__name__} on {friction}: {said(found)}")
    assert not found.fell
    assert found.seconds >= SECONDS
    if how is driven:
        assert found.height <= 5e-3
