"""Between joint angles and pulses: what was learnt about each servo of this one machine.

Horns go on with the servo at mid-travel, and no servo lands exactly on centre, so each joint has a trim;
some servos sit mirrored; and each has ends that its pulses must never pass. The robot file says what a
person designed; this says what came out, is written by the tool, and lives in a file of its own::

    {
      "format": "motionhub-calibration/1",
      "robot": "Tansy",
      "battery_scale": 1.04,
      "joints": {"left_front.coxa": {"trim_deg": 1.5, "reversed": false, "low_us": 620, "high_us": 2380}}
    }

A joint that the file does not mention is as its data sheet says: no trim, not reversed, full travel. One whose servo
turns less or more for a pulse than its data sheet says has a ``scale`` besides, and one whose plug sits on another
joint's pin has that joint's name as its ``connector``.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Annotated, Literal, Self

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import BaseModel, ConfigDict, Field, StrictBool, model_validator

from motionhub.errors import InputError, unknown
from motionhub.robot import toolfile
from motionhub.robot.model import Robot
from motionhub.robot.robotfile import Number, PulseWidth

Array = NDArray[np.float64]

FORMAT = "motionhub-calibration/1"
SCALES = 0.5, 1.99
"""A servo that is further from its data sheet is another servo."""

BATTERY_SCALE = (0.8, 1.25)
"""What resistors of 5 % and a reference that is off as much come to is 0.86 to 1.16; beyond these the divider is not
the one that the robot file has."""


class JointEntry(BaseModel):
    """One joint of the file; keys that are left out keep their default."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    trim_deg: Annotated[Number, Field(ge=-45, le=45)] = 0.0
    """Degrees added to every angle before it becomes a pulse: 2 where the joint stands 2 too low."""
    reversed: StrictBool = False
    """True where a longer pulse turns the joint in its negative direction."""
    low_us: PulseWidth | None = None
    """No pulse is shorter, in microseconds; the servo's own end when not given."""
    high_us: PulseWidth | None = None
    """No pulse is longer, in microseconds."""
    scale: Annotated[Number, Field(ge=SCALES[0], le=SCALES[1])] = 1.0
    """Microseconds that the servo takes for a degree, over what its data sheet says."""
    connector: str | None = None
    """The joint on whose pin, by the robot file, the servo is really plugged in; its own when not given."""

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        if self.low_us is not None and self.high_us is not None and self.low_us >= self.high_us:
            raise ValueError(f"expected low_us below high_us, found {self.low_us:g} and {self.high_us:g}")
        return self


class CalibrationFile(BaseModel):
    """The whole calibration file."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    format: Literal["motionhub-calibration/1"]
    robot: Annotated[str, Field(min_length=1, max_length=60)]
    battery_scale: Annotated[Number, Field(ge=BATTERY_SCALE[0], le=BATTERY_SCALE[1])] = 1.0
    """Volts at the battery, as a meter shows them, for each volt that the robot reports."""
    joints: dict[str, JointEntry]


@dataclass(frozen=True, eq=False)
class Calibration:
    """Trim, direction and pulse ends of every joint, in the order of ``Robot.joint_names``; arrays are read-only.

    Raises:
        ValueError: if the arrays are not one finite value for each joint, a direction is not 1 or -1,
            an end is not below the other, or a scale is not between :data:`SCALES`.
    """

    robot: str
    """Name of the robot it belongs to."""
    joint_names: tuple[str, ...]
    trim_rad: Array
    """(J,) rad, added to every angle before it becomes a pulse."""
    direction: Array
    """(J,) 1, or -1 where a longer pulse turns the joint in its negative direction."""
    low_us: Array
    """(J,) µs: no pulse is shorter."""
    high_us: Array
    """(J,) µs: no pulse is longer."""
    scale: Array = field(default_factory=lambda: np.ones(()))
    """(J,) µs that each servo takes for a turn over its data sheet's; one number is for all, 1 if not given."""
    battery_scale: float = 1.0
    """V at the battery for each volt that the robot reports."""
    connector: tuple[int, ...] = ()
    """(J,) for each joint the connector that its servo is plugged into, numbered as the joints whose pins the robot
    file says they are; each on its own when not given. Pulses on the wire are in the order of the connectors."""

    def __post_init__(self) -> None:
        if np.ndim(self.scale) == 0:
            object.__setattr__(self, "scale", np.full(len(self.joint_names), self.scale))
        for name in ("trim_rad", "direction", "low_us", "high_us", "scale"):
            array = np.array(getattr(self, name), dtype=np.float64)
            if array.shape != (len(self.joint_names),) or not np.isfinite(array).all():
                raise ValueError(f"expected one finite {name} for each of {len(self.joint_names)} joints")
            array.flags.writeable = False
            object.__setattr__(self, name, array)
        if not (np.abs(self.direction) == 1).all():
            raise ValueError("expected a direction of 1 or -1 for each joint")
        if not (self.low_us < self.high_us).all():
            raise ValueError("expected low_us below high_us for each joint")
        if not BATTERY_SCALE[0] <= self.battery_scale <= BATTERY_SCALE[1]:
            raise ValueError(f"expected a battery_scale from {BATTERY_SCALE[0]:g} to {BATTERY_SCALE[1]:g}")
        if not ((SCALES[0] <= self.scale) & (self.scale <= SCALES[1])).all():
            raise ValueError(f"expected a scale of {SCALES[0]} to {SCALES[1]} for each joint")
        own = tuple(range(len(self.joint_names)))
        object.__setattr__(self, "connector", tuple(self.connector) or own)
        if tuple(sorted(self.connector)) != own:
            raise ValueError("expected a connector of its own for each joint")

    @classmethod
    def default(cls, robot: Robot) -> Calibration:
        """As the data sheets say: no trim, no servo mirrored, the whole travel."""
        none = np.zeros(robot.joints)
        low = np.array([servo.pulse_us[0] for servo in robot.servos])
        high = np.array([servo.pulse_us[1] for servo in robot.servos])
        return cls(robot.name, robot.joint_names, none, none + 1, low, high)

    @cached_property
    def joint_at(self) -> tuple[int, ...]:
        """(J,) for each connector the joint whose servo is plugged into it."""
        found = [0] * len(self.connector)
        for joint, connector in enumerate(self.connector):
            found[connector] = joint
        return tuple(found)

    @cached_property
    def as_drawn(self) -> bool:
        """Whether every servo is plugged in where the robot file says."""
        return self.connector == tuple(range(len(self.connector)))

    def by_connector(self, values: Array) -> Array:
        """Values (…, J) of joints in the order of the connectors."""
        return values if self.as_drawn else values[..., self.joint_at]

    def by_joint(self, values: Array) -> Array:
        """Values (…, J) of connectors in the order of the joints."""
        return values if self.as_drawn else values[..., self.connector]

    def pulses(self, robot: Robot, joints: ArrayLike) -> Array:
        """Pulse widths in µs, (…, J), for joint angles (…, J) rad; held at the ends, never beyond them.

        Angles are in the order of the joints, pulses in that of the connectors, as they go over the wire.
        """
        # In place: an hour's joints are many.
        found: Array = np.asarray(joints, dtype=np.float64) - robot.mid
        found += self.trim_rad
        found *= self.direction * self.scale * robot.us_per_rad
        found += robot.mid_us
        np.maximum(found, self.low_us, out=found)
        return self.by_connector(np.minimum(found, self.high_us, out=found))

    def angles(self, robot: Robot, pulses: ArrayLike) -> Array:
        """Joint angles in rad, (…, J), that pulse widths (…, J) µs ask for: the inverse of :meth:`pulses`."""
        per_rad = self.direction * self.scale * robot.us_per_rad
        away = (self.by_joint(np.asarray(pulses, dtype=np.float64)) - robot.mid_us) / per_rad
        found: Array = away + robot.mid - self.trim_rad
        return found

    @classmethod
    def parse(cls, text: str, source: str | Path, robot: Robot) -> Calibration:
        """Read a calibration file for ``robot``.

        Raises:
            InputError: naming the place in the file and what was expected there.
        """
        file = toolfile.read(CalibrationFile, text, source, robot, FORMAT, "calibration")
        return cls._from_file(file, source, robot)

    @classmethod
    def _from_file(cls, file: CalibrationFile, source: str | Path, robot: Robot) -> Calibration:
        for name in file.joints:
            if name not in robot.joint_index:
                raise InputError(source, "joints", unknown("joint", name, robot.joint_names))
        default = cls.default(robot)
        low, high = default.low_us.copy(), default.high_us.copy()
        trim, direction, scale = default.trim_rad.copy(), default.direction.copy(), default.scale.copy()
        connector = list(range(robot.joints))
        for name, entry in file.joints.items():
            i = robot.joint_index[name]
            if entry.connector is not None:
                if entry.connector not in robot.joint_index:
                    place = f"joints.{name}.connector"
                    raise InputError(source, place, unknown("joint", entry.connector, robot.joint_names))
                connector[i] = robot.joint_index[entry.connector]
            trim[i] = np.deg2rad(entry.trim_deg)
            direction[i] = -1 if entry.reversed else 1
            scale[i] = entry.scale
            low[i] = low[i] if entry.low_us is None else entry.low_us
            high[i] = high[i] if entry.high_us is None else entry.high_us
            if low[i] >= high[i]:
                place = f"joints.{name}"
                raise InputError(source, place, f"expected low_us below high_us, found {low[i]:g} and {high[i]:g}")
        for i, other in enumerate(connector):
            if connector.count(other) > 1:
                two = " and ".join(robot.joint_names[j] for j, each in enumerate(connector) if each == other)
                place = f"joints.{robot.joint_names[i]}.connector"
                raise InputError(source, place, f"expected a connector for each joint, found one for {two}")
        return cls(
            robot.name, robot.joint_names, trim, direction, low, high, scale, file.battery_scale, tuple(connector)
        )

    def dump(self) -> str:
        """The text of its file; :meth:`parse` of it gives the same calibration (trims to a millionth of a degree)."""
        joints = {
            name: {
                "trim_deg": round(float(np.rad2deg(self.trim_rad[i])), 6) + 0.0,
                "reversed": bool(self.direction[i] < 0),
                "low_us": float(self.low_us[i]),
                "high_us": float(self.high_us[i]),
                **({"scale": float(self.scale[i])} if self.scale[i] != 1 else {}),
                **({"connector": self.joint_names[self.connector[i]]} if self.connector[i] != i else {}),
            }
            for i, name in enumerate(self.joint_names)
        }
        battery = {"battery_scale": round(self.battery_scale, 6)}
        return json.dumps({"format": FORMAT, "robot": self.robot, **battery, "joints": joints}, indent=2) + "\n"
