"""What people ask while a robot is brought up, in radians and microseconds; they are commands like all others."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from motionhub.library.notebook import StepName, Way

LegWay = Literal["up", "out", "left"]
"""Which way a leg is asked to go: its knee up, its foot out, all of it to the left seen from above."""


@dataclass(frozen=True)
class BringupBegin:
    """From limp to raw pulses; the robot is on its stand."""


@dataclass(frozen=True)
class BringupLeave:
    """No more raw pulses; limp."""


@dataclass(frozen=True)
class BringupGo:
    """Show this step and this item of it; where people are is kept."""

    step: StepName
    item: str = ""


@dataclass(frozen=True)
class BringupDone:
    """An item of a step is done, or is not after all; empty: all of them."""

    step: StepName
    item: str
    done: bool = True


@dataclass(frozen=True)
class BringupDrop:
    """End all pulses, and stay."""


@dataclass(frozen=True)
class BringupCentre:
    """These joints to the middle of their servos' travel, on the connectors that the robot file gives them."""

    joints: tuple[str, ...]


@dataclass(frozen=True)
class BringupTry:
    """A longer pulse on this joint's connector for a moment, then back: to see what moves, and which way."""

    joint: str


@dataclass(frozen=True)
class BringupSaw:
    """What moved when that connector's pulse grew longer; ``moved`` empty: nothing."""

    joint: str
    moved: str = ""
    way: Way | None = None


@dataclass(frozen=True)
class BringupPulse:
    """A joint slowly to this pulse, µs."""

    joint: str
    pulse: float


@dataclass(frozen=True)
class BringupAngle:
    """Joints slowly to these angles, rad, by what is known of them."""

    joints: tuple[str, ...]
    angles: tuple[float, ...]


@dataclass(frozen=True)
class BringupRead:
    """A protractor says that the joint stands at ``angle`` (rad) with this pulse (µs)."""

    joint: str
    pulse: float
    angle: float


@dataclass(frozen=True)
class BringupProtractor:
    """How closely angles are read from now on, rad."""

    to: float


@dataclass(frozen=True)
class BringupForget:
    """Forget what the protractor said of this joint."""

    joint: str


@dataclass(frozen=True)
class BringupTrim:
    """Set the trim, rad, whatever readings say."""

    joint: str
    trim: float


@dataclass(frozen=True)
class BringupTurn:
    """The joint's servo sits mirrored, or does not."""

    joint: str
    reversed: bool


@dataclass(frozen=True)
class BringupLimit:
    """The joint's shortest or longest pulse, µs; None: as the data sheet says."""

    joint: str
    which: Literal["low", "high"]
    pulse: float | None


@dataclass(frozen=True)
class BringupStand:
    """Stand as for measuring in this stance; the robot is on the floor."""

    stance: int


@dataclass(frozen=True)
class BringupHeights:
    """What the ruler said in this stance, m for each leg; None where nothing was read."""

    stance: int
    heights: tuple[float | None, ...]


@dataclass(frozen=True)
class BringupLevel:
    """Take the trims that the heights lead to."""


@dataclass(frozen=True)
class BringupLeg:
    """Move a leg this way and back, by what is known of it."""

    leg: str
    way: LegWay


@dataclass(frozen=True)
class BringupWent:
    """Whether it went that way; if not, the joint behind it turns the other way round from now on.

    Or another joint moved in its place, and which way: then that one's plug is where this one belongs.
    """

    leg: str
    way: LegWay
    right: bool
    moved: str | None = ""
    """Another joint; None: nothing moved; empty: the right one did."""
    moved_way: Way | None = None


@dataclass(frozen=True)
class BringupBack:
    """Take the last step back."""


Ask = (
    BringupBegin
    | BringupLeave
    | BringupGo
    | BringupDone
    | BringupDrop
    | BringupCentre
    | BringupTry
    | BringupSaw
    | BringupPulse
    | BringupAngle
    | BringupRead
    | BringupProtractor
    | BringupForget
    | BringupTrim
    | BringupTurn
    | BringupLimit
    | BringupStand
    | BringupHeights
    | BringupLevel
    | BringupLeg
    | BringupWent
    | BringupBack
)
