"""Serves what comes before and after a show: checks, recorded minutes, the supply's advice."""

from __future__ import annotations

import asyncio
import json
import math
import os
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from motionhub.errors import InputError
from motionhub.hub.beforehand import BeforeShow
from motionhub.hub.errands import Errands
from motionhub.library import flight
from motionhub.library.flight_words import story, summary
from motionhub.remote import readying
from motionhub.remote.convert import pack
from motionhub.remote.telling import Refused

if TYPE_CHECKING:
    from motionhub.hub.beforehand import Stage
    from motionhub.remote.parts import Message

Send = Callable[[bytes], None]
POINTS = 300
"""Of a curve: a phone is no wider."""
JOINTS = 4
LINES = 120


class Readiness:
    """Serves operators; watchers are shown nothing of it.

    Args:
        stage: The show.
    """

    def __init__(self, stage: Stage) -> None:
        self._stage = stage
        self._before = BeforeShow(stage, self._tell)
        self._people: dict[str, Send] = {}
        self._supply: list[str] | None = None
        self._sizing = False
        self._errands = Errands("before a show")

    def join(self, client: str, send: Send) -> None:
        """An operator has connected."""
        self._people[client] = send
        if self._before.items:
            send(pack(self._checked()))

    def leave(self, client: str) -> None:
        """They have gone."""
        self._people.pop(client, None)

    async def close(self) -> None:
        """End whatever is on its way."""
        await self._errands.close()
        await self._before.close()

    def take(self, client: str, message: Message) -> None:
        """Act on a message of :mod:`~motionhub.remote.readying`; returns at once."""
        send = self._people.get(client)
        if send is None:
            return
        refused = ""
        match message:
            case readying.CheckShow(routine=routine):
                if self._before.asks == "sweeping":
                    refused = "the joints are moving; wait for that, or stop it"
                else:
                    self._before.begin(routine)
                    self._tell()
            case readying.SweepJoints():
                refused = self._before.sweep(client)
                self._tell()
            case readying.SweepSeen(stuck=stuck):
                refused = self._before.seen(client, tuple(stuck))
            case readying.AskFlight(name=name, joints=joints):
                self._errands.run(self._flight(send, name, tuple(joints)))
            case readying.AskSupply():
                self._errands.run(self._advise(send))
        if refused:
            send(pack(Refused(to=message.type, text=refused)))  # type: ignore[attr-defined]

    def _tell(self) -> None:
        packed = pack(self._checked())
        for send in tuple(self._people.values()):
            send(packed)

    def _checked(self) -> readying.ShowChecked:
        before = self._before
        go, reason = before.verdict
        return readying.ShowChecked(
            running=before.running,
            routine=before.routine,
            lines=[readying.CheckLine(name=i.name, state=i.state, words=i.words) for i in before.items],
            go=go,
            reason=reason,
            asks=before.asks,
        )

    # ---------------------------------------------------------------- the flight recorder

    async def _flight(self, send: Send, name: str, joints: tuple[str, ...]) -> None:
        try:
            told = await asyncio.to_thread(recorded, self._stage.library.folder, name, joints)
        except InputError as error:
            send(pack(Refused(to="ask_flight", text=error.expected)))
        else:
            send(pack(told))

    # ---------------------------------------------------------------- the supply

    async def _advise(self, send: Send) -> None:
        if self._supply is not None:
            send(pack(readying.SupplyTold(working=False, words=self._supply)))
            return
        send(pack(readying.SupplyTold(working=True, words=[])))
        if self._sizing:
            return
        self._sizing = True
        try:
            self._supply = await _size(self._stage)
        finally:
            self._sizing = False
        for other in tuple(self._people.values()):
            other(pack(readying.SupplyTold(working=False, words=self._supply)))
        if not self._supply[0].startswith("Set "):
            self._supply = None  # moves change, and whoever asks again wants to know


def recorded(folder: Path, name: str, joints: tuple[str, ...] = ()) -> readying.FlightTold:
    """A recorded minute as a phone shows it. Reads files.

    Args:
        folder: The library's.
        name: Of a fault; the last minute when empty.
        joints: Whose curves to show; those that moved most when empty.

    Raises:
        InputError: if there is none of that name, or it cannot be read.
    """
    shelf = flight.Shelf(folder)
    found = flight.last(shelf.read(name))
    count = len(found.times)
    few = np.unique(np.linspace(0, count - 1, min(count, POINTS)).astype(np.intp))
    times = found.times[few]
    curves = [(label, values[few]) for label, values in found.curves.items()]
    if len(found.joints) and len(times):
        moved = [found.joint_names.index(each) for each in joints if each in found.joint_names]
        if not moved:
            moved = np.argsort(np.ptp(found.joints, axis=0))[::-1][:JOINTS].tolist()
        at = np.clip(np.searchsorted(found.joint_times, times), 0, len(found.joint_times) - 1)
        curves += [(f"{found.joint_names[j]} deg", found.joints[at, j]) for j in moved]
    return readying.FlightTold(
        name=name,
        kept=shelf.names(),
        summary=summary(found),
        lines=[
            readying.FlightLine(at=found.clock(h.t_s), t_s=h.t_s, kind=h.kind, text=h.text)
            for h in story(found)[-LINES:]
        ],
        t_s=[round(t, 2) for t in times.tolist()],
        curves=[
            readying.FlightCurve(
                name=label, values=[round(v, 3) if math.isfinite(v) else None for v in values.tolist()]
            )
            for label, values in curves
        ],
        joints=list(found.joint_names),
        fault_s=found.fault.t_s if found.fault else None,
    )


async def _size(stage: Stage) -> list[str]:
    """The words of ``motionhub check --size`` over the whole library, from a process of its own."""
    import motionhub

    library = stage.library
    entries = await asyncio.to_thread(library.entries)
    if not any(entry.kind == "sequence" and not entry.unreadable for entry in entries):
        return ["It follows from the moves, and this robot has none yet: make one first"]
    command = [sys.executable, "-m", "motionhub", "check", "--size", "--json"]
    command += ["--robot", str(Path(library.robot.source).absolute())]
    if library.folder.is_dir():
        command += ["--sequences", str(library.folder.absolute())]
    if nice := shutil.which("nice"):
        command = [nice, "-n", "10", *command]
    path = os.pathsep.join(filter(None, [str(Path(motionhub.__file__).parents[1]), os.environ.get("PYTHONPATH")]))
    process = await asyncio.create_subprocess_exec(
        *command,
        stdin=asyncio.subprocess.DEVNULL,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.PIPE,
        env={**os.environ, "PYTHONPATH": path, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"},
    )
    try:
        out, err = await process.communicate()
    finally:
        if process.returncode is None:
            process.kill()
    try:
        words = json.loads(out)["sizing"]["words"]
    except (ValueError, KeyError, TypeError):
        lines = err.decode("utf-8", "replace").strip().splitlines()
        return [lines[-1] if lines else "It could not be worked out"]
    return [str(word) for word in words]
