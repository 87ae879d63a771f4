"""Recordings: what was asked and what was sent, tick by tick, in a file that can be replayed exactly.

JSON Lines, ``motionhub-recording/1``. First a header, then one line for each tick, then the count, so that
a file that was cut short tells::

    {"format": "motionhub-recording/1", "robot": "Tansy", "made": "2026-05-04T19:30:12+02:00", "rate_hz": 50,
     "joints": ["left_front.coxa", …], "outputs": ["lamp", …]}
    {"us": [1500, 1380, …], "levels": [0.5, 0]}
    {"us": [1502, 1381, …], "asked": [{"by": "c1", "command": "drive", "values": {"forward": 0.4}}]}
    {"ticks": 2}

``us`` are pulse widths in whole microseconds, one for each joint; ``levels`` the outputs, 0 to 1, left out
while they are as on the line before. ``asked`` is what people asked for since the line before.

While it is being recorded it is written once a second and flushed to the disk, under a name of its own that
no list shows; when it is finished it takes its name by a rename. After a crash :func:`rescue` keeps what there is.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray
from pydantic import BaseModel, ConfigDict, Field, ValidationError

from motionhub.errors import InputError, from_validation
from motionhub.robot.model import Robot

FORMAT = "motionhub-recording/1"
LONGEST_TICKS = 3600 * 100
"""An hour at twice the usual rate."""

Pulses = NDArray[np.int16]
Array = NDArray[np.float64]
Value = float | int | str | bool
P = TypeVar("P", bound="_Line")


class _Line(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Header(_Line):
    """The first line."""

    format: Literal["motionhub-recording/1"]
    robot: Annotated[str, Field(min_length=1, max_length=60)]
    made: Annotated[str, Field(max_length=40)]
    """Local date and time when it began, ISO 8601."""
    rate_hz: Annotated[float, Field(gt=0, le=1000, allow_inf_nan=False)]
    joints: Annotated[list[str], Field(max_length=64)]
    outputs: Annotated[list[str], Field(max_length=64)]


class AskedLine(_Line):
    """A command, as it is written."""

    by: Annotated[str, Field(max_length=64)]
    command: Annotated[str, Field(max_length=32)]
    values: dict[str, Value] = {}


class TickLine(_Line):
    """One tick, as it is written."""

    us: list[Annotated[int, Field(ge=0, le=20_000)]]
    levels: list[Annotated[float, Field(ge=0, le=1)]] | None = None
    asked: list[AskedLine] = []


class CountLine(_Line):
    """The last line."""

    ticks: Annotated[int, Field(ge=0)]


@dataclass(frozen=True)
class Asked:
    """A command that was taken: on which tick, by whom, which, and with what values."""

    tick: int
    client: str
    command: str
    values: dict[str, Value]


@dataclass(frozen=True, eq=False)
class Recording:
    """A whole recording of T ticks."""

    robot: str
    made: str
    rate_hz: float
    joint_names: tuple[str, ...]
    output_names: tuple[str, ...]
    pulses: Pulses
    """(T, J) µs."""
    outputs: Array
    """(T, O) levels 0..1."""
    asked: tuple[Asked, ...] = ()

    @property
    def duration_s(self) -> float:
        """How long it takes to give it again."""
        return len(self.pulses) / self.rate_hz


def header_of(robot: Robot, rate_hz: float, made: str) -> Header:
    """The header of a recording of this robot."""
    return Header(
        format=FORMAT,
        robot=robot.name,
        made=made,
        rate_hz=rate_hz,
        joints=list(robot.joint_names),
        outputs=[output.name for output in robot.outputs],
    )


class Lines:
    """Writes a recording out as text, line by line, leaving out levels that have not changed."""

    def __init__(self, header: Header) -> None:
        self.header = header
        self.ticks = 0
        self._levels: list[float] | None = None

    def first(self) -> str:
        """The header's line."""
        return self.header.model_dump_json() + "\n"

    def tick(self, pulses: ArrayLike, levels: ArrayLike, asked: Iterable[AskedLine] = ()) -> str:
        """A tick's line: pulses (J,) in µs, rounded to whole ones, and levels (O,)."""
        line: dict[str, Any] = {"us": [int(us) for us in np.rint(np.asarray(pulses, dtype=np.float64))]}
        now = [float(level) for level in np.asarray(levels, dtype=np.float64)]
        if len(line["us"]) != len(self.header.joints) or len(now) != len(self.header.outputs):
            raise ValueError("expected one pulse for each joint and one level for each output")
        if now != self._levels:
            line["levels"] = self._levels = now
        if said := [item.model_dump() for item in asked]:
            line["asked"] = said
        self.ticks += 1
        return json.dumps(line, separators=(",", ":"), allow_nan=False) + "\n"

    def last(self) -> str:
        """The count's line."""
        return json.dumps({"ticks": self.ticks}) + "\n"


def dump(recording: Recording) -> str:
    """The whole recording as text; :func:`parse` of it gives the same."""
    header = Header(
        format=FORMAT,
        robot=recording.robot,
        made=recording.made,
        rate_hz=recording.rate_hz,
        joints=list(recording.joint_names),
        outputs=list(recording.output_names),
    )
    lines = Lines(header)
    said: dict[int, list[AskedLine]] = {}
    for item in recording.asked:
        # What was asked after the last tick has no line to stand on; it changed nothing that was sent.
        said.setdefault(item.tick, []).append(AskedLine(by=item.client, command=item.command, values=item.values))
    text = [lines.first()]
    for i, (pulses, levels) in enumerate(zip(recording.pulses, recording.outputs, strict=True)):
        text.append(lines.tick(pulses, levels, said.get(i, ())))
    return "".join(text) + lines.last()


def read_header(path: Path) -> Header:
    """The header of a recording's file, without reading the rest.

    Raises:
        InputError: if there is none.
    """
    try:
        with path.open("rb") as file:
            line = file.readline(100_000)
    except OSError as error:
        raise unreadable(path, error) from None
    return _line(Header, line, path, 1)


def read_ticks(path: Path) -> int:
    """The count at the end of a recording's file, without reading the rest.

    Raises:
        InputError: if it was cut short.
    """
    try:
        with path.open("rb") as file:
            size = file.seek(0, os.SEEK_END)
            file.seek(max(0, size - 100))
            tail = file.read()
    except OSError as error:
        raise unreadable(path, error) from None
    lines = tail.splitlines()
    try:
        return CountLine.model_validate_json(lines[-1]).ticks
    except (ValidationError, IndexError):
        raise InputError(path, "the end", "expected the count of ticks, found a recording that was cut short") from None


def parse(text: str, source: str | Path, robot: Robot | None = None) -> Recording:
    """Read a recording.

    Args:
        text: The whole file.
        source: What its user knows it as.
        robot: If given, the recording has to be of a robot with these joints and outputs.

    Raises:
        InputError: naming the line and what was expected there.
    """
    lines = text.split("\n")
    header = _line(Header, lines[0].encode(), source, 1)
    if robot is not None:
        _check_robot(header, robot, source)
    if len(lines) < 2 or lines[-1] != "":
        raise InputError(source, f"line {len(lines)}", "expected a whole line, found a recording that was cut short")
    body = lines[1:-1]
    if len(body) > LONGEST_TICKS + 1:
        raise InputError(source, "", f"expected at most {LONGEST_TICKS} ticks, found {len(body) - 1}")
    if not body:
        raise InputError(source, "the end", "expected the count of ticks, found a recording that was cut short")
    count = _line(CountLine, body[-1].encode(), source, len(lines) - 1)
    if count.ticks != len(body) - 1:
        raise InputError(source, "the end", f"expected {count.ticks} ticks, found {len(body) - 1}")
    pulses = np.empty((count.ticks, len(header.joints)), dtype=np.int16)
    outputs = np.empty((count.ticks, len(header.outputs)))
    asked: list[Asked] = []
    levels: list[float] | None = None
    for i, line in enumerate(body[:-1]):
        tick = _line(TickLine, line.encode(), source, i + 2)
        levels = tick.levels if tick.levels is not None else levels
        if len(tick.us) != len(header.joints):
            raise InputError(source, f"line {i + 2}", f"expected {len(header.joints)} pulses, found {len(tick.us)}")
        if levels is None or len(levels) != len(header.outputs):
            raise InputError(source, f"line {i + 2}", f"expected {len(header.outputs)} levels")
        pulses[i], outputs[i] = tick.us, levels
        asked.extend(Asked(i, item.by, item.command, item.values) for item in tick.asked)
    return Recording(
        header.robot, header.made, header.rate_hz, tuple(header.joints), tuple(header.outputs), pulses, outputs,
        tuple(asked),
    )  # fmt: skip


def rescue(text: str) -> str | None:
    """What a crash left of a recording, made whole again by dropping a torn line and adding the count.

    ``None`` if there is not a single tick in it.
    """
    lines = text.split("\n")[:-1]  # after the last line end there is nothing, or a torn line
    if lines and lines[-1].startswith('{"ticks"'):
        lines.pop()
    if len(lines) < 2:
        return None
    return "\n".join(lines) + "\n" + json.dumps({"ticks": len(lines) - 1}) + "\n"


def _line(model: type[P], line: bytes, source: str | Path, number: int) -> P:
    try:
        return model.model_validate_json(line)
    except ValidationError as error:
        found = from_validation(source, error)
        place = f"line {number}" + (f", {found.place}" if found.place else "")
        raise InputError(source, place, found.expected) from None


def _check_robot(header: Header, robot: Robot, source: str | Path) -> None:
    if header.joints != list(robot.joint_names):
        raise InputError(source, "line 1, joints", f"expected the joints of {robot.name}, found {header.robot}'s")
    if header.outputs != [output.name for output in robot.outputs]:
        raise InputError(source, "line 1, outputs", f"expected the outputs of {robot.name}, found {header.robot}'s")


def unreadable(path: Path, error: Exception) -> InputError:
    """A file that the system does not let us read, as a refusal."""
    reason = (getattr(error, "strerror", None) or str(error)).lower()
    return InputError(path, "", f"expected a file that can be read, found: {reason}")
