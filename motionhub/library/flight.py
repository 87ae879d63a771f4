"""The flight recorder's disk: the last minutes of every show, and the minute before each fault.

In ``DIR/flight/``, of the library's folder::

    a.jsonl, b.jsonl       written in turn, a minute each: what is on them is the last one to two minutes
    2026-05-01 20-14-07.jsonl   what was kept of a fault, of the last :data:`KEPT` of them

Lines of JSON, each of them one of these, with the time in ``t_s`` since the hub began::

    {"format": "motionhub-flight/1", "robot": …, "joints": [names], "began": ISO 8601}
    {"t_s": …, "mode": …, "up": …, "battery_v": …, "current_a": …, "round_trip_ms": …, "lost": …, "bytes_s": …,
     "driver": …, "stick": [forward, left, turn], "joints_cdeg": [[hundredths of a degree, as commanded], …]}
    {"t_s": …, "kind": "asked" | "refused" | "told" | "mode" | "fault" | "left", "text": …}

Each line is given to the system as soon as it is made, so a hub that is killed loses none that it had written; a torn
last line is left out when it is read. Bounded: a line holds a tenth of a second, and no second has more than
:data:`TOLD_A_SECOND` of what people and the hub say.
"""

from __future__ import annotations

import contextlib
import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import IO, Any

import numpy as np
from numpy.typing import NDArray

from motionhub.errors import InputError
from motionhub.library.atomic import hold, make_folder, write_text

FORMAT = "motionhub-flight/1"
HALF_S = 60.0
"""Each of the two files in turn."""
SHOWN_S = 60.0
"""Before a fault, or before now."""
KEPT = 12
"""Faults that are kept; the oldest gives way."""
TOLD_A_SECOND = 20
TEXT_AT_MOST = 300
LONGEST = 2_000_000
"""Bytes of a file that are read; one that the hub wrote is shorter."""

KINDS = ("asked", "refused", "told", "mode", "fault", "left")
ENDED = "The hub ended without a word: it crashed, was killed, or its machine lost power"

Array = NDArray[np.float64]
Line = dict[str, Any]


@dataclass(frozen=True)
class Happening:
    """Something that happened, in words."""

    t_s: float
    kind: str
    text: str


@dataclass(frozen=True, eq=False)
class Flight:
    """What was recorded, in order of time. S samples, ten a second; T ticks, fifty a second."""

    robot: str
    joint_names: tuple[str, ...]
    began: datetime
    happenings: tuple[Happening, ...]
    times: Array
    """(S,) s."""
    curves: dict[str, Array]
    """By name with unit, each (S,); NaN where nothing was known."""
    modes: tuple[str, ...]
    """(S,)."""
    drivers: tuple[str, ...]
    """(S,) who drove; empty for nobody."""
    sticks: Array
    """(S, 3) forward, left and turn, shares."""
    joint_times: Array
    """(T,) s."""
    joints: Array
    """(T, J) deg, as commanded."""
    fault: Happening | None = field(default=None)
    """What it is about: the last fault in it."""

    @property
    def duration_s(self) -> float:
        """From the first sample to the last."""
        return float(self.times[-1] - self.times[0]) if len(self.times) else 0.0

    def clock(self, t_s: float) -> str:
        """A time as a clock on the wall had it."""
        return (self.began + timedelta(seconds=t_s)).strftime("%H:%M:%S")


CURVES = {
    "battery V": "battery_v",
    "current A": "current_a",
    "round trip ms": "round_trip_ms",
    "frames lost %": "lost",
    "radio bytes/s": "bytes_s",
}


def parse(texts: Iterable[str], source: str) -> Flight:
    """Read what the files hold, those of one show together, oldest first.

    Raises:
        InputError: if there is no header, or nothing after it. Lines that are torn or no line of ours are left out.
    """
    header: Line | None = None
    samples: list[Line] = []
    happenings: list[Happening] = []
    for text in texts:
        for line in text.splitlines():
            try:
                data = json.loads(line)
            except (ValueError, RecursionError):
                continue
            if not isinstance(data, dict):
                continue
            if data.get("format") == FORMAT:
                if header is not None and data.get("began") != header.get("began"):
                    samples, happenings = [], []  # of an earlier show
                header = data
            elif header is not None and _is_sample(data, len(header.get("joints", ()))):
                samples.append(data)
            elif header is not None and _is_happening(data):
                happenings.append(Happening(float(data["t_s"]), data["kind"], data["text"]))
    if header is None:
        raise InputError(source, "", f"expected a line with the format {FORMAT!r}, found none")
    try:
        began = datetime.fromisoformat(header["began"])
        names = tuple(str(name) for name in header["joints"])
        robot = str(header["robot"])
    except (KeyError, TypeError, ValueError):
        raise InputError(source, "line 1", "expected robot, joints and began") from None
    if not samples and not happenings:
        raise InputError(source, "", "expected what happened, found the heading alone")
    samples.sort(key=lambda s: s["t_s"])
    happenings.sort(key=lambda h: h.t_s)
    return _flight(robot, names, began, samples, tuple(happenings))


def _flight(
    robot: str, names: tuple[str, ...], began: datetime, samples: list[Line], happenings: tuple[Happening, ...]
) -> Flight:
    times = np.array([s["t_s"] for s in samples], dtype=np.float64)
    curves = {
        name: np.array([np.nan if s.get(key) is None else float(s[key]) for s in samples])
        for name, key in CURVES.items()
    }
    curves["frames lost %"] = curves["frames lost %"] * 100
    joints, joint_times = [], []
    for s in samples:
        rows = s["joints_cdeg"]
        joints += rows
        joint_times += [s["t_s"] - 0.02 * (len(rows) - 1 - i) for i in range(len(rows))]
    return Flight(
        robot,
        names,
        began,
        happenings,
        times,
        curves,
        tuple(str(s["mode"]) for s in samples),
        tuple(str(s.get("driver") or "") for s in samples),
        np.array([s.get("stick") or (0, 0, 0) for s in samples], dtype=np.float64).reshape(-1, 3),
        np.array(joint_times, dtype=np.float64),
        np.array(joints, dtype=np.float64).reshape(-1, len(names)) / 100,
        next((h for h in reversed(happenings) if h.kind == "fault"), None),
    )


def _is_happening(data: Line) -> bool:
    return _number(data.get("t_s")) and data.get("kind") in KINDS and isinstance(data.get("text"), str)


def _is_sample(data: Line, joints: int) -> bool:
    rows = data.get("joints_cdeg")
    return (
        _number(data.get("t_s"))
        and isinstance(data.get("mode"), str)
        and isinstance(rows, list)
        and all(isinstance(row, list) and len(row) == joints and all(map(_number, row)) for row in rows)
        and all(data.get(key) is None or _number(data[key]) for key in CURVES.values())
    )


def _number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and bool(np.isfinite(value))


def last(flight: Flight, seconds: float = SHOWN_S) -> Flight:
    """The part before its fault, with five seconds after it; or before its end."""
    end = flight.fault.t_s + 5.0 if flight.fault else max(_end(flight), 0.0)
    start = (flight.fault.t_s if flight.fault else end) - seconds
    some = (flight.times >= start) & (flight.times <= end)
    ticks = (flight.joint_times >= start) & (flight.joint_times <= end)
    picked = np.flatnonzero(some)
    return Flight(
        flight.robot,
        flight.joint_names,
        flight.began,
        tuple(h for h in flight.happenings if start <= h.t_s <= end),
        flight.times[some],
        {name: values[some] for name, values in flight.curves.items()},
        tuple(flight.modes[i] for i in picked),
        tuple(flight.drivers[i] for i in picked),
        flight.sticks[some],
        flight.joint_times[ticks],
        flight.joints[ticks],
        flight.fault,
    )


def _end(flight: Flight) -> float:
    ends = [float(flight.times[-1])] if len(flight.times) else []
    return max([*ends, *(h.t_s for h in flight.happenings)], default=0.0)


class Shelf:
    """The folder, for reading.

    Args:
        library: The library's folder.
    """

    def __init__(self, library: Path) -> None:
        self.folder = library / "flight"
        self.halves = (self.folder / "a.jsonl", self.folder / "b.jsonl")

    def names(self) -> list[str]:
        """What was kept of faults, newest first."""
        found = [path.stem for path in self.folder.glob("*.jsonl") if path not in self.halves]
        return sorted(found, reverse=True)

    def read(self, name: str = "") -> Flight:
        """What was kept under this name; of the show that runs or ran last if none is given.

        Raises:
            InputError: if there is nothing of that name, or it cannot be read.
        """
        if name:
            if name not in self.names():
                known = ", ".join(self.names()[:3]) or "nothing"
                raise InputError(self.folder, name, f"expected what was kept of a fault, such as {known}")
            return parse([self._text(self.folder / f"{name}.jsonl")], f"{name}.jsonl")
        texts = [self._text(path) for path in sorted(self.halves, key=_changed) if path.exists()]
        return parse(texts, str(self.folder))

    @staticmethod
    def _text(path: Path) -> str:
        try:
            with path.open("rb") as file:
                return file.read(LONGEST).decode("utf-8", "replace")
        except OSError as error:
            raise InputError(path, "", f"expected a file to read, found: {(error.strerror or '').lower()}") from None


class FlightWriter:
    """Writes one show. Every call takes as long as the disk does: for a thread of its own.

    Whatever of an earlier show did not end as it should is kept first.

    Raises:
        OSError: from every method, if the disk refuses.
        InputError: if another hub is writing there.
    """

    def __init__(self, library: Path, header: Line) -> None:
        self._shelf = Shelf(library)
        make_folder(self._shelf.folder)
        self._lock = (self._shelf.folder / ".lock").open("ab")
        if not hold(self._lock, wait=False):
            raise InputError(self._shelf.folder, "", "expected one hub for this library, found another that runs")
        self._keep_unfinished()
        self._header = json.dumps(header) + "\n"
        self._file: IO[bytes] | None = None
        self._half = 0
        self._since = 0.0
        self._keep_at: float | None = None
        self._began = datetime.fromisoformat(header["began"])
        self._fault_at = 0.0
        for path in self._shelf.halves:
            path.unlink(missing_ok=True)

    def write(self, line: Line) -> None:
        """One line; after a fault, some seconds later, what led to it is kept."""
        t = float(line["t_s"])
        if self._file is None or t - self._since >= HALF_S:
            self._turn(t)
        assert self._file is not None
        self._file.write((json.dumps(line, separators=(",", ":")) + "\n").encode())
        if line.get("kind") == "fault" and self._keep_at is None:
            self._keep_at, self._fault_at = t + 5.0, t
        if self._keep_at is not None and (t >= self._keep_at or line.get("kind") == "left"):
            self._keep_at = None
            self._keep(self._fault_at)

    def close(self) -> None:
        """Nothing more comes."""
        self._end_half()
        self._lock.close()

    def _end_half(self) -> None:
        if self._file is not None:
            self._file.close()
            self._file = None

    def _turn(self, t: float) -> None:
        self._end_half()
        self._half ^= 1
        # Without a buffer: a line that was written is the system's, whatever becomes of this process.
        self._file = self._shelf.halves[self._half].open("wb", buffering=0)
        self._file.write(self._header.encode())
        self._since = t

    def _keep(self, t_s: float) -> None:
        moment = self._began + timedelta(seconds=t_s)
        _keep(self._shelf, moment, [p.read_text("utf-8", "replace") for p in self._in_order() if p.exists()])

    def _in_order(self) -> list[Path]:
        """The half that was written before, and the one that is."""
        return [self._shelf.halves[self._half ^ 1], self._shelf.halves[self._half]]

    def _keep_unfinished(self) -> None:
        try:
            flight = self._shelf.read()
        except InputError:
            return
        if any(h.kind == "left" for h in flight.happenings):
            return
        end = _end(flight)
        words = json.dumps({"t_s": round(end, 2), "kind": "fault", "text": ENDED}) + "\n"
        texts = [p.read_text("utf-8", "replace") for p in sorted(self._shelf.halves, key=_changed) if p.exists()]
        # A line that was torn in the middle must not take this one with it.
        _keep(self._shelf, flight.began + timedelta(seconds=end), [*texts, "\n" + words])


def _keep(shelf: Shelf, moment: datetime, texts: Iterable[str]) -> None:
    name = moment.strftime("%Y-%m-%d %H-%M-%S")
    while (shelf.folder / f"{name}.jsonl").exists():
        name += "+"
    write_text(shelf.folder / f"{name}.jsonl", "".join(texts))
    for old in shelf.names()[KEPT:]:
        with contextlib.suppress(OSError):
            (shelf.folder / f"{old}.jsonl").unlink()


def _changed(path: Path) -> int:
    try:
        return path.stat().st_mtime_ns
    except OSError:
        return 0
