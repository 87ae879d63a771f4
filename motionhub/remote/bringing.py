"""Messages for bring-up: pulses one joint at a time, what was seen and read, and what follows from it.

Only whoever holds control may send these. What they mean is said where the hub takes them
(:mod:`motionhub.hub.bringup.asks`); here are their units: degrees, millimetres and microseconds.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from motionhub.remote.parts import Message

StepName = Literal["ready", "centre", "look", "angles", "ends", "level", "legs", "floor"]
"""ready: the cautions. centre: horns go on at mid-travel. look: what moves on which connector, and which way.
angles: trims and µs per degree. ends: how far each servo may go. level: hips by a ruler. legs: each leg, each way,
on the stand. floor: walking slowly."""
Way = Literal["more", "less"]
"""Whether a joint's angle grows: a coxa's to the left seen from above, a femur's and a tibia's up."""
LegWay = Literal["up", "out", "left"]
Name = Annotated[str, Field(min_length=1, max_length=64)]
Item = Annotated[str, Field(max_length=64)]
PulseUs = Annotated[float, Field(ge=300, le=3000, allow_inf_nan=False)]
AngleDeg = Annotated[float, Field(ge=-200, le=200, allow_inf_nan=False)]
Joints = Annotated[list[Name], Field(min_length=1, max_length=48)]

# ---------------------------------------------------------------- from the browser


class BringupBegin(Message):
    """From limp to raw pulses; the robot is on its stand."""

    type: Literal["bringup_begin"] = "bringup_begin"


class BringupLeave(Message):
    """No more raw pulses; limp."""

    type: Literal["bringup_leave"] = "bringup_leave"


class BringupGo(Message):
    """Look at this step and this item of it; kept, so that it can be taken up again. Ends pulses."""

    type: Literal["bringup_go"] = "bringup_go"
    step: StepName
    item: Item = ""


class BringupDone(Message):
    """An item of a step is done, or is not after all; empty: all of them."""

    type: Literal["bringup_done"] = "bringup_done"
    step: StepName
    item: Item
    done: bool = True


class BringupDrop(Message):
    """End all pulses, and stay."""

    type: Literal["bringup_drop"] = "bringup_drop"


class BringupCentre(Message):
    """These joints to the middle of their servos' travel."""

    type: Literal["bringup_centre"] = "bringup_centre"
    joints: Joints


class BringupTry(Message):
    """A longer pulse on this joint's connector, and back, twice, to see what moves and which way."""

    type: Literal["bringup_try"] = "bringup_try"
    joint: Name


class BringupSaw(Message):
    """What moved when that connector's pulse grew longer; ``moved`` empty: nothing."""

    type: Literal["bringup_saw"] = "bringup_saw"
    joint: Name
    moved: Item = ""
    way: Way | None = None


class BringupPulse(Message):
    """A joint slowly to this pulse."""

    type: Literal["bringup_pulse"] = "bringup_pulse"
    joint: Name
    pulse_us: PulseUs


class BringupAngle(Message):
    """Joints slowly to these angles, by what is known of them; they follow when their trim changes."""

    type: Literal["bringup_angle"] = "bringup_angle"
    joints: Joints
    angles_deg: Annotated[list[AngleDeg], Field(min_length=1, max_length=48)]


class BringupRead(Message):
    """A protractor says that the joint stands at this angle with this pulse."""

    type: Literal["bringup_read"] = "bringup_read"
    joint: Name
    pulse_us: PulseUs
    angle_deg: AngleDeg


class BringupProtractor(Message):
    """How closely angles are read from now on; each reading keeps how closely it was read."""

    type: Literal["bringup_protractor"] = "bringup_protractor"
    read_to_deg: Annotated[float, Field(ge=0.1, le=5, allow_inf_nan=False)]


class BringupForget(Message):
    """Forget what the protractor said of this joint."""

    type: Literal["bringup_forget"] = "bringup_forget"
    joint: Name


class BringupTrim(Message):
    """The joint's trim, whatever readings say."""

    type: Literal["bringup_trim"] = "bringup_trim"
    joint: Name
    trim_deg: Annotated[float, Field(ge=-45, le=45, allow_inf_nan=False)]


class BringupTurn(Message):
    """The joint's servo sits mirrored, or does not."""

    type: Literal["bringup_turn"] = "bringup_turn"
    joint: Name
    reversed: bool


class BringupLimit(Message):
    """The joint's shortest or longest pulse; None: as the data sheet says."""

    type: Literal["bringup_limit"] = "bringup_limit"
    joint: Name
    which: Literal["low", "high"]
    pulse_us: PulseUs | None = None


class BringupStand(Message):
    """Stand as for measuring in this stance; the robot is on the floor."""

    type: Literal["bringup_stand"] = "bringup_stand"
    stance: Annotated[int, Field(ge=0, le=99)]


class BringupHeights(Message):
    """What the ruler said in this stance, from table to hip, for each leg; None where nothing was read."""

    type: Literal["bringup_heights"] = "bringup_heights"
    stance: Annotated[int, Field(ge=0, le=99)]
    heights_mm: Annotated[
        list[Annotated[float, Field(ge=0, le=2000, allow_inf_nan=False)] | None], Field(min_length=1, max_length=8)
    ]


class BringupLevel(Message):
    """Take the trims that the heights lead to."""

    type: Literal["bringup_level"] = "bringup_level"


class BringupLeg(Message):
    """Move a leg this way and back, twice, by what is known of it."""

    type: Literal["bringup_leg"] = "bringup_leg"
    leg: Name
    way: LegWay


class BringupWent(Message):
    """Whether it went that way; if not, the joint behind it turns the other way round from now on.

    Or another joint moved in its place, and which way: then that one's plug is where this one belongs.
    """

    type: Literal["bringup_went"] = "bringup_went"
    leg: Name
    way: LegWay
    right: bool
    moved: Item | None = ""
    """Another joint; null: nothing moved; empty: the right one did."""
    moved_way: Way | None = None


class BringupBack(Message):
    """Take the last step back."""

    type: Literal["bringup_back"] = "bringup_back"


# ---------------------------------------------------------------- from the hub


class BringupReading(Message):
    """A protractor's reading."""

    pulse_us: float
    angle_deg: float
    off_deg: float | None
    """How far it is from what the others say, when it was misread; None: they agree."""


class BringupJoint(Message):
    """What is known of a joint, and what its readings say."""

    name: str
    pin: int
    """Where the robot file has it."""
    connector: str
    """The joint on whose pin it is really plugged in."""
    plugged_pin: int
    trim_deg: float
    reversed: bool
    us_per_deg: float
    sheet_us_per_deg: float
    low_us: float
    high_us: float
    sheet_us: tuple[float, float]
    """The servo's own ends."""
    mid_us: float
    mid_deg: float
    range_deg: tuple[float, float]
    readings: list[BringupReading]
    places_us: tuple[float, float]
    """The two pulses at which to read the protractor."""
    next_us: float | None
    """Where to read it next; None: there are enough readings."""
    spread_deg: float | None
    """How well it is known, one standard deviation; None without readings."""


class BringupHeld(Message):
    """A joint that has a pulse, and where that is going."""

    joint: str
    pulse_us: float


class BringupOdd(Message):
    """A height that does not fit the others."""

    stance: int
    leg: str
    off_mm: float


class BringupAgainst(Message):
    """A joint of which ruler and protractor say different things."""

    joint: str
    off_deg: float


class BringupLevelled(Message):
    """What the heights say."""

    residual_mm: float
    """What they are still off by after the trims, root mean square."""
    trims_deg: list[float]
    """By how much each joint's trim will change."""
    odd: list[BringupOdd]
    against: list[BringupAgainst]


class BringupStep(Message):
    """A step: its items, and those that are done."""

    name: StepName
    items: list[str]
    done: list[str]
    minutes: float
    """How long what is left of it takes, by practice."""


class BringupNext(Message):
    """What is not done yet."""

    step: StepName
    item: str


class Bringup(Message):
    """How the bring-up stands, sent after Welcome and whenever it changes."""

    type: Literal["bringup"] = "bringup"
    step: StepName
    item: str
    next: BringupNext | None
    steps: list[BringupStep]
    joints: list[BringupJoint]
    held: list[BringupHeld]
    still: bool
    """Whether nothing is on its way."""
    at_once: int
    """So many joints may have pulses at a time."""
    found: list[str]
    """What has been found out, in words."""
    problems: list[str]
    """What has to be looked at again, in words."""
    stances: list[list[str]]
    """The legs that stand in each stance for measuring."""
    told: list[int]
    """The stances whose heights wait to be used."""
    read_to_deg: float
    """How closely people read their protractor."""
    level: BringupLevelled | None
    back: str
    """What would be taken back; empty: nothing."""
    saved: bool
    """Whether all of it is on the disk."""
