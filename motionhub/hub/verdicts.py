"""What the check says of each move: worked out in a process of its own, and remembered for as long as it holds.

A check keeps a processor busy for a second or more, and the tick must not notice. So ``motionhub check`` runs
beside the hub, at the lowest priority. What it says depends on nothing but the move, the robot, its
calibration and the program, so it is kept in the user's cache under a digest of all four.
"""

from __future__ import annotations

import asyncio
import contextlib
import hashlib
import json
import os
import shutil
import sys
from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, Literal

from motionhub import __version__
from motionhub.errors import InputError
from motionhub.library.atomic import write_text
from motionhub.library.store import Library
from motionhub.motion import documents
from motionhub.robot.calibration import Calibration

Known = Literal["fits", "warns", "fails", "unreadable"]

_PACKAGE = Path(__file__).resolve().parents[1]


@dataclass(frozen=True)
class Verdict:
    """What the check says of a move."""

    verdict: Known
    duration_s: float | None
    reason: str = ""
    """The first finding in words, or why it cannot be read; empty when there is nothing to say."""


class Verdicts:
    """Gives verdicts on the moves of a library.

    Args:
        library: Where the moves are.
        calibration: What the hub's robot has now; the radio's load depends on it.
        cache: A folder for what is known, made when needed; None to remember nothing.
    """

    def __init__(self, library: Library, calibration: Callable[[], Calibration], cache: Path | None) -> None:
        self._library = library
        self._calibration = calibration
        self._cache = cache
        self._known: dict[str, Verdict] = {}

    def digest(self, name: str) -> str:
        """Of all that the verdict on this move depends on. Reads files.

        Raises:
            InputError: if it cannot be read.
        """
        parts = [self._common, self._calibration().dump()]
        if self._library.kind(name) == "routine":
            routine = self._library.routine(name)
            parts.append(routine.model_dump_json())
            known = set(self._library.names())
            for part in sorted({step.sequence for step in routine.steps} & known):
                parts += self._texts(self._library.sequence(part))
        else:
            parts += self._texts(self._library.sequence(name))
        return hashlib.sha256("\0".join(parts).encode()).hexdigest()

    @staticmethod
    def _texts(sequence: documents.Sequence) -> list[str]:
        poses = [f"{name}={pose.model_dump_json()}" for name, pose in sorted(sequence.library_poses.items())]
        return [sequence.document.model_dump_json(), *poses]

    @cached_property
    def _common(self) -> str:
        robot = self._library.robot
        try:
            described = Path(robot.source).read_text(encoding="utf-8")
        except OSError:
            described = f"only in memory: {id(robot)} {os.getpid()}"
        # Not the version alone: whoever changes the program is to see what it says now.
        program = [(str(p.relative_to(_PACKAGE)), p.stat().st_size, p.stat().st_mtime_ns) for p in _sources()]
        return json.dumps([__version__, program, described])

    def remembered(self, digest: str) -> Verdict | None:
        """What is known already. Reads a small file the first time."""
        if digest not in self._known and self._cache is not None:
            with contextlib.suppress(OSError, ValueError, TypeError):
                self._known[digest] = Verdict(**json.loads(self._file(digest).read_text(encoding="utf-8")))
        return self._known.get(digest)

    def remember(self, digest: str, verdict: Verdict) -> None:
        """Keep what has been found out; that the disk refuses is no reason to say so."""
        self._known[digest] = verdict
        if self._cache is not None:
            with contextlib.suppress(OSError, InputError):
                self._cache.mkdir(parents=True, exist_ok=True)
                write_text(self._file(digest), json.dumps(asdict(verdict)))

    def _file(self, digest: str) -> Path:
        assert self._cache is not None
        return self._cache / f"{digest[:40]}.json"

    async def check(self, names: Sequence[str], hurry: bool = False, options: Sequence[str] = ()) -> dict[str, Verdict]:
        """Check these moves, in a process of their own; those that it did not get to are left out.

        Args:
            names: Of moves that can be read.
            hurry: Somebody is waiting: at the priority of any process.
            options: More of the command's; what is said with them is not to be remembered.
        """
        robot = Path(self._library.robot.source).absolute()
        command = [sys.executable, "-m", "motionhub", "check", "--json", "--robot", str(robot)]
        if self._library.folder.is_dir():
            command += ["--sequences", str(self._library.folder.absolute())]
        command += options
        if not hurry and (nice := shutil.which("nice")):
            command = [nice, "-n", "19", *command]
        path = os.pathsep.join(filter(None, [str(_PACKAGE.parent), os.environ.get("PYTHONPATH")]))
        # One thread: on a small computer the other processor belongs to the tick.
        environment = {**os.environ, "PYTHONPATH": path, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
        process = await asyncio.create_subprocess_exec(
            *command,
            *names,
            stdin=asyncio.subprocess.DEVNULL,
            stdout=asyncio.subprocess.PIPE,
            stderr=asyncio.subprocess.PIPE,
            env=environment,
            # No move has a name with a dot, so none is taken for a file of this folder.
            cwd=str(self._library.shipped / "robots"),
        )
        try:
            out, err = await process.communicate()
        finally:
            if process.returncode is None:  # nobody waits for the answer any more
                with contextlib.suppress(ProcessLookupError):
                    process.kill()
                await process.communicate()
        if process.returncode in (0, 1):
            with contextlib.suppress(ValueError, KeyError, TypeError):
                return {name: _said(report) for name, report in zip(names, json.loads(out), strict=True)}
        if len(names) > 1:
            return {}  # one of them is at fault, and the others are not to suffer for it
        lines = err.decode("utf-8", "replace").strip().splitlines()
        return {names[0]: Verdict("unreadable", None, lines[-1] if lines else "the check could not be run")}


def _sources() -> list[Path]:
    return sorted(p for room in ("robot", "motion", "check", "link") for p in (_PACKAGE / room).glob("*.py"))


def _said(report: dict[str, Any]) -> Verdict:
    """A report of ``check --json`` in short."""
    findings = report["findings"]
    duration = float(report["duration_s"])
    if not findings:
        return Verdict("fits", duration)
    worst = next((f for f in findings if f["severity"] == "error"), findings[0])
    where = f" ({worst['subject']})" if worst["subject"] else ""
    reason = f"{worst['rule']}{where} at {worst['start_s']:.1f} s: {worst['advice']}"
    return Verdict("warns" if report["fits"] else "fails", duration, reason)
