"""The check frame by frame, as rows for a spreadsheet."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from motionhub.check.timeline import Timeline

Array = NDArray[np.float64]

CHUNK = 2000


def columns(t: Timeline) -> list[str]:
    """The names of the columns, each with its unit."""
    robot = t.frames.robot
    return [
        "t_s",
        *("x_mm", "y_mm", "z_mm", "roll_deg", "pitch_deg", "yaw_deg"),
        *("margin_mm", "clearance_mm", "supply_a", "supply_v"),
        *(f"{name}.torque_nm" for name in robot.joint_names),
        *(f"{name}.{what}" for name in robot.leg_names for what in ("down", "force_n")),
    ]


def table(t: Timeline, part: slice) -> Array:
    """The rows of some frames, in the order of :func:`columns`."""
    place, tilt = t.travel.place[part] * 1e3, np.rad2deg(t.tilt[part])
    legs = np.stack([t.down[part].astype(np.float64), t.forces[part]], axis=-1).reshape(len(place), -1)
    return np.column_stack(
        [
            t.frames.times[part],
            place,
            t.height[part] * 1e3,
            tilt,
            np.rad2deg(t.travel.heading[part] + t.yaw[part]),
            t.margin[part] * 1e3,
            t.clearance[part] * 1e3,
            t.rail.amps[part],
            t.rail.volts[part],
            t.torques[part],
            legs,
        ]
    )


def csv(t: Timeline) -> Iterator[str]:
    """The file, in pieces: a header, and one line per frame. Times to the microsecond, the rest to six digits."""
    yield ",".join(columns(t)) + "\n"
    for start in range(0, len(t.height), CHUNK):
        rows = table(t, slice(start, start + CHUNK)) + 0.0  # no minus in front of a zero
        yield "".join(f"{row[0]:.6f}," + ",".join(f"{v:.6g}" for v in row[1:]) + "\n" for row in rows.tolist())
