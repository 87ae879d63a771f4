"""One foot of a walking robot, in the ground frame: where it stands, or how it is on its way to where it will.

A foot in the air follows the polynomial of fifth degree from how it moves now to rest at its landing place,
found anew on every tick. As long as the place stays, that is one and the same curve (minimum-jerk from
rest to rest, Flash & Hogan 1985); when the place moves, position, speed and acceleration stay continuous.
"""

from __future__ import annotations

from math import hypot


class Foot:
    """One foot, in the ground frame: where it is, and how it moves while in the air."""

    __slots__ = ("air", "ax", "ay", "frozen", "left", "rise", "span", "tx", "ty", "vx", "vy", "x", "y")

    def __init__(self, x: float, y: float) -> None:
        self.x, self.y = x, y
        self.vx = self.vy = self.ax = self.ay = 0.0
        self.tx, self.ty = x, y
        self.air = self.frozen = False
        self.span = self.left = 0
        """Ticks that it is in the air altogether, and from now on."""
        self.rise = 0.0
        """Height in m to which it is lifted."""

    def stand(self, x: float, y: float) -> None:
        """Stand there."""
        self.x, self.y = x, y
        self.air = False

    def lift(self, ticks: int, rise: float) -> None:
        """Let go of the ground, to land in so many ticks."""
        self.air, self.frozen = True, False
        self.span = self.left = ticks
        self.rise = rise

    @property
    def height(self) -> float:
        """Above where it stands, m: as :func:`motionhub.motion.steady.swing_height` has it."""
        share = self.left / self.span
        return self.rise * 64 * (share * (1 - share)) ** 3

    def aim(self, x: float, y: float, most: float) -> None:
        """Move the landing place towards a point, by at most so many metres."""
        dx, dy = x - self.tx, y - self.ty
        way = hypot(dx, dy)
        if way > most:
            x, y = self.tx + dx * most / way, self.ty + dy * most / way
        self.tx, self.ty = x, y

    def advance(self, dt: float) -> None:
        """One tick along the quintic that lands at the target, at rest, when the time is up."""
        ticks = self.left
        self.left -= 1
        if ticks == 1:
            self.x, self.y = self.tx, self.ty
            self.vx = self.vy = self.ax = self.ay = 0.0
            self.air = False
            return
        s = 1 / ticks
        span = ticks * dt
        self.x, self.vx, self.ax = _quintic(self.x - self.tx, self.vx, self.ax, s, span, self.tx)
        self.y, self.vy, self.ay = _quintic(self.y - self.ty, self.vy, self.ay, s, span, self.ty)


def _quintic(p: float, v: float, a: float, s: float, span: float, target: float) -> tuple[float, float, float]:
    """Position, velocity and acceleration a share ``s`` along the quintic from p, v, a to rest at 0 in ``span``."""
    v *= span
    a *= span * span / 2
    c3 = -10 * p - 6 * v - 3 * a
    c4 = 15 * p + 8 * v + 3 * a
    c5 = -6 * p - 3 * v - a
    return (
        target + p + s * (v + s * (a + s * (c3 + s * (c4 + s * c5)))),
        (v + s * (2 * a + s * (3 * c3 + s * (4 * c4 + s * 5 * c5)))) / span,
        (2 * a + s * (6 * c3 + s * (12 * c4 + s * 20 * c5))) / (span * span),
    )
