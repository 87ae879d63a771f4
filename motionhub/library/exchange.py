"""What comes from other programs and goes to them: tables of joint angles, and frames as MessagePack.

A table is CSV with a line of headings, angles in degrees as ``motionhub frames`` writes them, and, if the rows are
not evenly spaced at a stated rate, a column with the time. Columns that stand for no joint are passed over; joints
that have no column stay at rest.

Frames are one MessagePack map::

    {"format": "motionhub-frames/1", "robot": str, "rate_hz": float, "joints": [str], "outputs": [str],
     "joints_deg": [[float32, …], …], "levels": [[float32, …], …]}

with one row for each frame, the first at 0 s.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass, field

import msgpack  # type: ignore[import-untyped]
import numpy as np
from numpy.typing import NDArray

from motionhub.errors import InputError, unknown
from motionhub.motion.frames import Frames
from motionhub.motion.posing import rest_joints
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

FRAMES_FORMAT = "motionhub-frames/1"
MOST_ROWS = 30_000
_SHOWN = 8


@dataclass(frozen=True)
class Columns:
    """Which column is what."""

    joints: Mapping[str, str] = field(default_factory=dict)
    """From a joint to its heading, for those whose column is not called like them."""
    time: str = ""
    """The heading of the times; empty when there are none."""
    milliseconds: bool = False


def read_table(text: str, source: str, robot: Robot, columns: Columns, rate_hz: float) -> tuple[Array, list[str]]:
    """Joint angles from a table, at an even rate.

    Args:
        text: The CSV.
        source: What its user knows it as.
        robot: Whose joints.
        columns: Which column is what.
        rate_hz: Of the rows when there is no time, and of what is returned.

    Returns:
        (T, J) rad, and the headings that were passed over.

    Raises:
        InputError: naming the line and column, and what was expected there.
    """
    rows = csv.reader(io.StringIO(text.removeprefix("\ufeff")), delimiter=_delimiter(text))
    try:
        head = [cell.strip() for cell in next(rows, [])]
        found = _columns(head, source, robot, columns)
        values = _values(rows, source, head, found, columns)
    except csv.Error as error:
        raise InputError(source, f"line {rows.line_num}", f"expected CSV, found {error}") from None
    if len(values) < 2:
        raise InputError(source, "", f"expected at least two rows of angles, found {len(values)}")
    joints = np.repeat(rest_joints(robot)[None], len(values), axis=0)
    for joint, column in found.items():
        if joint:
            joints[:, robot.joint_index[joint]] = np.deg2rad(values[:, column])
    if columns.time:
        times = values[:, found[""]] * (1e-3 if columns.milliseconds else 1.0)
        joints = _even(joints, times, source, columns, rate_hz)
    used = set(found.values())
    return joints, [name for i, name in enumerate(head) if i not in used]


def _delimiter(text: str) -> str:
    """A comma, or what else the line of headings is parted by: semicolons where a comma is the decimal point."""
    head = text.partition("\n")[0]
    return max(",;\t", key=head.count)


def _columns(head: list[str], source: str, robot: Robot, columns: Columns) -> dict[str, int]:
    if not any(head):
        raise InputError(source, "line 1", "expected a line of headings, found nothing")
    if repeated := sorted({name for name in head if name and head.count(name) > 1}):
        raise InputError(source, "line 1", f"expected each heading once, found {repeated[0]!r} twice")
    found: dict[str, int] = {}
    for joint, heading in columns.joints.items():
        if joint not in robot.joint_index:
            raise InputError(source, "columns", unknown("joint", joint, robot.joint_names))
        if heading not in head:
            raise InputError(source, "line 1", unknown("heading", heading, [name for name in head if name]))
        found[joint] = head.index(heading)
    taken = set(found.values())
    for joint in robot.joint_names:
        if joint not in found and joint in head and head.index(joint) not in taken:
            found[joint] = head.index(joint)
    if not found:
        some = ", ".join(repr(name) for name in head[:_SHOWN])
        raise InputError(
            source, "line 1", f"expected headings that are joints ({robot.joint_names[0]}, …), found {some}; map them"
        )
    if columns.time:
        if columns.time not in head:
            raise InputError(source, "line 1", unknown("heading", columns.time, [name for name in head if name]))
        found[""] = head.index(columns.time)
    return found


def _values(rows: object, source: str, head: list[str], found: Mapping[str, int], columns: Columns) -> Array:
    wanted = set(found.values())
    values: list[list[float]] = []
    for number, row in enumerate(rows, start=2):  # type: ignore[var-annotated, arg-type]
        if not any(cell.strip() for cell in row):
            continue
        if len(values) >= MOST_ROWS:
            raise InputError(source, f"line {number}", f"expected at most {MOST_ROWS} rows")
        if len(row) != len(head):
            raise InputError(source, f"line {number}", f"expected {len(head)} columns, found {len(row)}")
        line = [0.0] * len(head)
        for i in wanted:
            line[i] = _number(row[i], source, f"line {number}, {head[i]}")
        for joint, i in found.items():
            if joint and abs(line[i]) > 360:
                raise InputError(
                    source, f"line {number}, {head[i]}", f"expected degrees from -360 to 360, found {line[i]:g}"
                )
        values.append(line)
    return np.array(values, dtype=np.float64)


def _number(cell: str, source: str, place: str) -> float:
    text = cell.strip()
    try:
        # 12,5 where the columns are parted by semicolons.
        value = float(text.replace(",", ".", 1))
    except ValueError:
        value = np.nan
    if not np.isfinite(value):
        raise InputError(source, place, f"expected a number, found {text[:40]!r}")
    return float(value)


def _even(joints: Array, times: Array, source: str, columns: Columns, rate_hz: float) -> Array:
    later = np.diff(times) > 0
    if not later.all():
        line = int(np.flatnonzero(~later)[0]) + 3
        raise InputError(source, f"line {line}, {columns.time}", "expected a time later than on the line before")
    length = float(times[-1] - times[0])
    count = round(length * rate_hz) + 1
    if not 2 <= count <= MOST_ROWS:
        unit = "milliseconds" if columns.milliseconds else "seconds"
        most = (MOST_ROWS - 1) / rate_hz
        raise InputError(
            source, columns.time, f"expected up to {most:g} s in all, found {length:g} s; are these {unit}?"
        )
    at = times[0] + np.arange(count) / rate_hz
    return np.stack([np.interp(at, times, joints[:, j]) for j in range(joints.shape[1])], axis=1)


def pack_frames(frames: Frames) -> bytes:
    """Frames as MessagePack."""
    data = {
        "format": FRAMES_FORMAT,
        "robot": frames.robot.name,
        "rate_hz": float(frames.rate_hz),
        "joints": list(frames.robot.joint_names),
        "outputs": [output.name for output in frames.robot.outputs],
        "joints_deg": np.rad2deg(frames.joints).tolist(),
        "levels": frames.outputs.tolist(),
    }
    packed: bytes = msgpack.packb(data, use_single_float=True)
    return packed
