"""Rules about standing: balance, falls, and parts that touch the ground and should not."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from motionhub.check.attitude import ROLL
from motionhub.check.findings import Finding, Limit, Stretch, stretches
from motionhub.check.machine import some_of
from motionhub.check.mend import Mender, Trial, up_to
from motionhub.check.parts import pairs, part_names
from motionhub.check.standing import Standing
from motionhub.check.timeline import Timeline
from motionhub.motion.odometry import travel
from motionhub.motion.polygon import stability_margin
from motionhub.motion.support import rest_on_ground

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]

MARGIN_SLACK = 1e-5
"""m: a margin that is short by a hundredth of a millimetre is rounding of the move, not of balance."""
SLIP = 5e-3
"""m: a foot may slide by this much between being set down and lifted. A foot's sphere rolls by as much."""
CLEAR = 2e-3
"""m: what comes nearer than this touches, with the play that printed parts have."""
TOUCH = 1e-3
"""m: a part this little below the ground only brushes it."""


def stability(t: Timeline, mender: Mender) -> list[Finding]:
    """Less static stability margin than the robot file asks for."""
    wanted = t.frames.robot.walk.margin
    rule = Limit("stability", "mm", 1e3, t.frames.rate_hz, above=False, slack=MARGIN_SLACK)

    def advise(stretch: Stretch) -> str:
        return _shift(mender, stretch, wanted)

    return rule.findings(t.margin, wanted, advise, where=t.standing & ~fallen(t), span=max(wanted, 1e-3))


def _shift(mender: Mender, stretch: Stretch, wanted: float) -> str:
    def fits(trial: Trial) -> Flags:
        return np.asarray((trial.margin >= wanted + 5e-4).all(axis=1))

    found = mender.least(stretch, fits, ("body",)) or mender.least(stretch, fits, ("feet", "height", "tilt"))
    tried = "no shift and no tilt of the body mends it: " if mender.budget.left >= 0 else ""
    return found or f"{tried}lift fewer feet at a time, or set them further apart"


def fallen(t: Timeline | Standing) -> Flags:
    """(T,) frames at which the robot falls, or lies where nothing holds it."""
    return t.tipped | (t.rolled > ROLL)


def tip_over(t: Timeline, mender: Mender) -> list[Finding]:
    """Falls: the weight is over no facet of the contacts, or has left one over its edge."""
    down = fallen(t)
    if not down.any():
        return []
    # How far outside: of a frame that tips the margin; of a roll what the frame before had left is nothing.
    outside = np.where(t.tipped, np.minimum(t.margin, 0.0), 0.0)
    rule = Limit("tip-over", "mm", 1e3, t.frames.rate_hz, above=False, slack=-1.0)
    return rule.findings(
        outside,
        0.0,
        lambda stretch: _shift(mender, stretch, t.frames.robot.walk.margin),
        where=down,
        span=max(t.frames.robot.walk.margin, 1e-3),
    )


def clearance(t: Timeline, mender: Mender) -> list[Finding]:
    """Parts that knock against each other."""
    rule = Limit("clearance", "mm", 1e3, t.frames.rate_hz, above=False)
    known = pairs(t.frames.robot)
    found = []
    for k in np.unique(t.nearest[t.clearance < CLEAR]):
        one, other = known[k].names

        def advise(stretch: Stretch, one: str = one, other: str = other) -> str:
            def fits(trial: Trial) -> Flags:
                return np.asarray((trial.clearance >= CLEAR + 5e-4).all(axis=1))

            wider = mender.least(stretch, fits)
            plain = (
                f"keep {one} {up_to((CLEAR - float(t.clearance[stretch.worst])) * 1e3, 1):g} mm further from {other}"
            )
            return f"{plain}, or {wider}" if wider else plain

        found += rule.findings(t.clearance, CLEAR, advise, one, t.nearest == k, span=0.01)
    return found


def foot_slip(t: Timeline, mender: Mender) -> list[Finding]:
    """Feet that carry weight and are dragged: they move against the others that are down."""
    rule = Limit("foot-slip", "mm", 1e3, t.frames.rate_hz)
    found = []
    slip = _of_the_culprits(t)
    for leg, name in enumerate(t.frames.robot.leg_names):
        own = slip[:, leg]
        if own.max() <= SLIP:
            continue

        def advise(stretch: Stretch, own: Array = own, leg: int = leg, name: str = name) -> str:
            # Whatever part of its way a foot goes, it slides that part: so much less is no more than it may slide.
            less = f"move it {up_to(float(own[stretch.worst] - SLIP) * 1e3 + 0.1, 1):g} mm less"
            if _needed(t, stretch, leg):
                return f"{less} over the ground: the weight needs {name}, so that it cannot be lifted there"
            return f"lift {name} while it moves, or {less}"

        found += rule.findings(own, SLIP, advise, name, t.standing)
    return found


def _needed(t: Timeline, stretch: Stretch, leg: int) -> bool:
    """Whether the robot would stand less steady than it should if this foot were lifted where it slides."""
    robot = t.frames.robot
    rows = some_of(stretch.first, stretch.last, stretch.worst)
    rows = rows[t.down[rows, leg]]
    if not rows.size:
        return False
    support = rest_on_ground(robot, t.frames.joints[rows])
    others = support.down.T.copy()
    others[leg] = False
    level = support.contacts[:, : robot.legs].transpose(2, 1, 0)
    margin = stability_margin(level, others, support.com.T)
    return bool((margin < robot.walk.margin).any())


def _of_the_culprits(t: Timeline) -> Array:
    """(T, L) m by which feet have slid, but only those that drag the others.

    One foot that is pulled over the ground pulls the body along, and with it the feet that stand still in the move as
    it was made: the way that fits all of them best passes the slide on. But feet that stand still keep their distances
    from each other, however the body moves. So the foot whose distances have changed most is left out of that way
    for as long as it stands, and what the others still slide then is theirs; and so on with the next. What a foot
    slides that was left out is what it moves against the ground on the way of those that were not.
    """
    slip, down = t.travel.slip, t.down.copy()
    dragged: list[tuple[int, slice]] = []
    for _ in range(t.frames.robot.legs - 2):
        over = np.where(t.standing[:, None] & down, slip, 0.0).max(axis=1)
        if not (over > SLIP).any():
            break
        for stretch in stretches(over > SLIP, over, t.frames.rate_hz):
            leg = _parted(t.feet, down, stretch.worst)
            stands = _run(t.down[:, leg], stretch.worst)
            down[stands, leg] = False
            dragged.append((leg, stands))
        slip = travel(t.feet, down, t.forces).slip
    if not dragged:
        return slip
    path, slip = travel(t.feet, down, t.forces), slip.copy()
    for leg, stands in dragged:
        turn, feet = np.exp(1j * path.heading[stands]), t.feet[stands, leg]
        place = path.place[stands]
        ground = place[:, 0] + 1j * place[:, 1] + turn * (feet[:, 0] + 1j * feet[:, 1])
        slip[stands, leg] = np.abs(ground - ground[0])
    return slip


def _parted(feet: Array, down: Flags, at: int) -> int:
    """Of the feet that stand at a frame, the one whose distances from the others have changed most since they stood."""
    legs = np.flatnonzero(down[at])
    since = np.array([_run(down[:, leg], at).start for leg in legs])
    first = np.maximum(since[:, None], since[None, :])
    then = feet[first, legs[:, None]] - feet[first, legs[None, :]]
    now = feet[at, legs][:, None] - feet[at, legs][None, :]
    changed = np.abs(np.hypot(*np.moveaxis(now, -1, 0)) - np.hypot(*np.moveaxis(then, -1, 0)))
    return int(legs[changed.sum(axis=1).argmax()])


def _run(flags: Flags, at: int) -> slice:
    """The run of flags that are set around one of them."""
    off = np.flatnonzero(~flags)
    i = int(np.searchsorted(off, at))
    return slice(int(off[i - 1]) + 1 if i else 0, int(off[i]) if i < len(off) else len(flags))


def ground(t: Timeline, mender: Mender) -> list[Finding]:
    """Knees, head or tail that would be below the ground that the robot rests on."""
    rule = Limit("ground", "mm", 1e3, t.frames.rate_hz, above=False, slack=TOUCH)
    found = []
    for k, name in enumerate(part_names(t.frames.robot)):
        own = t.parts[:, k]
        if own.min() >= -TOUCH:
            continue

        def advise(stretch: Stretch, k: int = k, own: Array = own) -> str:
            def fits(trial: Trial) -> Flags:
                return np.asarray((trial.parts[..., k] >= 0).all(axis=1))

            deep = up_to(-float(own[stretch.worst]) * 1e3, 1)
            return mender.least(stretch, fits, ("height", "tilt")) or f"keep it {deep:g} mm higher"

        found += rule.findings(own, 0.0, advise, name, t.standing, span=0.01)
    return found
