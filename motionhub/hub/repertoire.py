"""What can be played, and how good it is: the list of moves with verdicts, kept up to date, and frames on demand."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

from motionhub.errors import InputError
from motionhub.hub.verdicts import Known, Verdict, Verdicts
from motionhub.library.store import Library
from motionhub.motion.frames import Frames
from motionhub.motion.render import render
from motionhub.motion.routine import render_routine

LOOK_EVERY_S = 2.0
"""How often the library is asked whether it has changed."""
SETTLE_S = 3.0
"""Nothing is checked before this: starting up comes first."""
AT_ONCE = 3
"""Moves checked in one process: starting one takes as long as two or three checks, and people watch the list fill."""


@dataclass(frozen=True)
class MoveLine:
    """A line of the list of moves."""

    name: str
    kind: Literal["sequence", "routine"]
    duration_s: float | None
    verdict: Known | Literal["checking"]
    reason: str
    """The first finding in words, or why it cannot be read; empty when there is nothing to say."""
    shipped: bool


class Repertoire:
    """The moves of a library.

    Args:
        library: Where they are.
        verdicts: What the check says of them.
        changed: Called when the list has changed.
    """

    def __init__(self, library: Library, verdicts: Verdicts, changed: Callable[[], None]) -> None:
        self._library = library
        self._verdicts = verdicts
        self._changed = changed
        self._stamp: object = None
        self._lines: dict[str, MoveLine] = {}
        self._digests: dict[str, str] = {}

    def lines(self) -> list[MoveLine]:
        """The list, as far as it is known."""
        return list(self._lines.values())

    async def refresh(self) -> None:
        """Look whether the library has changed, and read it anew if it has."""
        stamp = await asyncio.to_thread(self._library.stamp)
        if stamp == self._stamp:
            return
        lines, digests = await asyncio.to_thread(self._read)
        self._stamp, self._lines, self._digests = stamp, lines, digests
        self._changed()

    def _read(self) -> tuple[dict[str, MoveLine], dict[str, str]]:
        lines: dict[str, MoveLine] = {}
        digests: dict[str, str] = {}
        for entry in self._library.entries():
            line = MoveLine(entry.name, entry.kind, None, "checking", "", entry.shipped)
            try:
                digest = digests[entry.name] = self._verdicts.digest(entry.name)
                known = self._verdicts.remembered(digest)
                if known is None and entry.kind == "sequence":
                    line = replace(line, duration_s=self._library.sequence(entry.name).duration_s)
            except InputError as error:
                known = Verdict("unreadable", None, str(error))
            lines[entry.name] = _judged(line, known) if known else line
        return lines, digests

    async def keep_up(self) -> None:
        """Keep the list up to date, and check what has no verdict yet, a few at a time; for as long as it runs."""
        await self.refresh()
        await asyncio.sleep(SETTLE_S)
        while True:
            await self.refresh()
            waiting = [line.name for line in self._lines.values() if line.verdict == "checking"]
            if not waiting:
                await asyncio.sleep(LOOK_EVERY_S)
                continue
            names = waiting[:AT_ONCE]
            digests = {name: self._digests[name] for name in names}
            found = await self._verdicts.check(names)
            for name in names if not found else ():
                found |= await self._verdicts.check([name])
            await asyncio.to_thread(self._keep, digests, found)
            self._changed()

    def _keep(self, digests: dict[str, str], found: dict[str, Verdict]) -> None:
        for name, verdict in found.items():
            self._verdicts.remember(digests[name], verdict)
            # What has been saved anew meanwhile is still to be checked.
            if self._digests.get(name) == digests[name]:
                self._lines[name] = _judged(self._lines[name], verdict)

    async def frames(self, name: str, rate_hz: float) -> Frames | str:
        """The frames of a move that has passed its check, or in words why there are none."""
        try:
            digest = await asyncio.to_thread(self._verdicts.digest, name)
            verdict = await asyncio.to_thread(self._verdicts.remembered, digest)
            if verdict is None:
                verdict = (await self._verdicts.check([name], hurry=True))[name]
                await asyncio.to_thread(self._keep, {name: digest}, {name: verdict})
                self._changed()
            if verdict.verdict == "fails":
                return f"{name} does not pass its check: {verdict.reason}"
            if verdict.verdict == "unreadable":
                return verdict.reason
            return await asyncio.to_thread(self._render, name, rate_hz)
        except InputError as error:
            return str(error)

    def _render(self, name: str, rate_hz: float) -> Frames:
        library = self._library
        if library.kind(name) == "sequence":
            return render(library.sequence(name), library.robot, rate_hz).renamed(name)
        routine = library.routine(name)
        known = {step.sequence for step in routine.steps} & set(library.names())
        parts = {part: library.sequence(part) for part in sorted(known)}
        return render_routine(routine, name, parts, library.robot, rate_hz).renamed(name)


def _judged(line: MoveLine, verdict: Verdict) -> MoveLine:
    duration = verdict.duration_s if verdict.duration_s is not None else line.duration_s
    return replace(line, verdict=verdict.verdict, reason=verdict.reason, duration_s=duration)
