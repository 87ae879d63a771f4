"""Rules about standing: balance, falls, and parts that touch the ground and should not."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from motionhub.check.attitude import ROLL
from motionhub.check.findings import Finding, Limit, Stretch
from motionhub.check.mend import Mender, Trial, up_to
from motionhub.check.parts import pairs, part_names
from motionhub.check.timeline import Timeline

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

    return (
        mender.least(stretch, fits, ("body",))
        or mender.least(stretch, fits, ("feet", "height"))
        or "lift fewer feet at a time, or set them further apart"
    )


def fallen(t: Timeline) -> Flags:
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
    for leg, name in enumerate(t.frames.robot.leg_names):
        own = t.travel.slip[:, leg]
        if own.max() <= SLIP:
            continue

        def advise(stretch: Stretch, own: Array = own, name: str = name) -> str:
            return f"lift {name} while it moves, or move it {up_to(float(own[stretch.worst]) * 1e3, 1):g} mm less"

        found += rule.findings(own, SLIP, advise, name, t.standing)
    return found


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
            return mender.least(stretch, fits, ("height",)) or f"keep it {deep:g} mm higher"

        found += rule.findings(own, 0.0, advise, name, t.standing, span=0.01)
    return found
