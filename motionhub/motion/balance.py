"""Whether a foot may be lifted: the others have to carry the weight, with the stated margin, until it is down again.

In a steady walk they do, or the manner would not allow it. In between, after a change of gait or a sudden
stop, feet stand where no steady walk has them, and a gait's turn alone says nothing of the weight.
"""

from __future__ import annotations

from motionhub.motion.foot import Foot
from motionhub.motion.manner import Manner
from motionhub.motion.planar import Pose, Twist, compose, displacement, inward, outward
from motionhub.motion.polygon import inside

Point = tuple[float, float]


def spares(
    manner: Manner, feet: list[Foot], leg: int, pose: Pose, offset: Point, tick: int, twist: Twist, shift: Point
) -> bool:
    """Whether foot ``leg`` may be lifted now.

    Args:
        manner: How the robot walks.
        feet: All of them, in the ground frame.
        leg: The one to lift; those that are in the air do not carry either.
        pose: Of the body without its sway, in the ground frame.
        offset: m, the sway now.
        tick: Of the gait's cycle.
        twist: How the body will move.
        shift: m, how far the centre of mass is aside since the body is carried otherwise than at rest.
    """
    others = [(foot.x, foot.y) for i, foot in enumerate(feet) if i != leg and not foot.air]
    if len(others) < 3:
        return False
    now = compose(pose, (*offset, 0.0))
    weight = _weight(manner, feet, now, shift)
    ticks = manner.timing.swing - 1
    sway = manner.sway[(tick + ticks) % manner.timing.cycle] if manner.sway else offset
    later = compose(compose(pose, displacement(twist, ticks * manner.dt)), (*sway, 0.0))
    return all(inside(others, outward(at, *weight)) >= manner.least_margin for at in (now, later))


def _weight(manner: Manner, feet: list[Foot], stance: Pose, shift: Point) -> Point:
    """The centre of mass in the stance frame, with the legs where they are."""
    x, y = manner.weight[0] + shift[0], manner.weight[1] + shift[1]
    for foot, rest, (a, b, c, d) in zip(feet, manner.rest, manner.follows, strict=True):
        at = inward(stance, foot.x, foot.y)
        dx, dy = at[0] - rest[0], at[1] - rest[1]
        x += a * dx + b * dy
        y += c * dx + d * dy
    return x, y
