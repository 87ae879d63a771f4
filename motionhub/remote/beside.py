"""The process beside the hub that judges moves as they are edited: started when it is needed, and again if it dies."""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import os
import pickle
import sys
from collections.abc import Callable, Hashable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import msgpack  # type: ignore[import-untyped]

from motionhub.remote.pipe import Setup, framed

Answer = dict[str, Any]

PATIENCE_S = 90.0
"""The longest that a job may take; thinning an hour would be longer, and a program that hangs is ended."""
WAITING_AT_MOST = 32
"""Jobs that wait; more come from a fault or a foe."""
_PACKAGE = Path(__file__).resolve().parents[1]


@dataclass
class _Waiting:
    job: dict[str, Any]
    answer: asyncio.Future[Answer | None]


class Beside:
    """Gives jobs to a :class:`~motionhub.remote.worker.Worker` in a process of its own, one after the other.

    Args:
        setup: What it works for now. With another calibration than it was started with it is started anew.
    """

    def __init__(self, setup: Callable[[], Setup]) -> None:
        self._setup = setup
        self._started_for: Setup | None = None
        self._waiting: dict[Hashable, _Waiting] = {}
        self._came = asyncio.Event()
        self._numbers = itertools.count()
        self._process: asyncio.subprocess.Process | None = None
        self._task: asyncio.Task[None] | None = None

    async def ask(self, job: dict[str, Any], key: Hashable = None) -> Answer | None:
        """Have a job done.

        Args:
            job: See :meth:`~motionhub.remote.worker.Worker.do`.
            key: Of jobs with the same key only the newest is done, in the place of the oldest.

        Returns:
            The answer; None when a newer job of its key has taken its place.
        """
        if self._task is None:
            self._task = asyncio.create_task(self._work(), name="moves in the making")
        place = ("one of its own", next(self._numbers)) if key is None else key
        answer: asyncio.Future[Answer | None] = asyncio.get_running_loop().create_future()
        if older := self._waiting.get(place):
            _give(older.answer, None)
        elif len(self._waiting) >= WAITING_AT_MOST:
            return {"refused": "too much waits to be done: try again in a moment"}
        self._waiting[place] = _Waiting(job, answer)
        self._came.set()
        return await answer

    async def close(self) -> None:
        """End the process; what waits is not answered."""
        if self._task is not None:
            self._task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._task
            self._task = None
        await self._end()

    # ---------------------------------------------------------------- the process

    async def _work(self) -> None:
        while True:
            while not self._waiting:
                self._came.clear()
                await self._came.wait()
            place = next(iter(self._waiting))
            waiting = self._waiting.pop(place)
            if not waiting.answer.done():
                _give(waiting.answer, await self._have_done(waiting.job))

    async def _have_done(self, job: dict[str, Any]) -> Answer:
        data = msgpack.packb(job)
        for _ in range(2):  # whatever kept the process from it the first time may have been the system's doing
            try:
                async with asyncio.timeout(PATIENCE_S):
                    process = await self._running()
                    assert process.stdin is not None
                    assert process.stdout is not None
                    process.stdin.write(framed(data))
                    await process.stdin.drain()
                    head = await process.stdout.readexactly(4)
                    found = await process.stdout.readexactly(int.from_bytes(head, "big"))
                answer: Answer = msgpack.unpackb(found)
                return answer
            except (OSError, asyncio.IncompleteReadError):
                await self._end()
            except TimeoutError:
                await self._end()
                break
        return {"refused": "it could not be worked out: the process beside the hub ended"}

    async def _running(self) -> asyncio.subprocess.Process:
        setup = self._setup()
        if self._started_for is not None and self._started_for.calibration is not setup.calibration:
            await self._end()
        if self._process is not None and self._process.returncode is None:
            return self._process
        path = os.pathsep.join(filter(None, [str(_PACKAGE.parent), os.environ.get("PYTHONPATH")]))
        # One thread: on a small computer the other processor belongs to the tick.
        environment = {**os.environ, "PYTHONPATH": path, "OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}
        self._process = await asyncio.create_subprocess_exec(
            sys.executable,
            "-m",
            "motionhub.remote.worker",
            stdin=asyncio.subprocess.PIPE,
            stdout=asyncio.subprocess.PIPE,
            env=environment,
            limit=1 << 20,
        )
        self._started_for = setup
        data = pickle.dumps(setup)
        assert self._process.stdin is not None
        self._process.stdin.write(framed(data))
        return self._process

    async def _end(self) -> None:
        process, self._process = self._process, None
        if process is not None:
            with contextlib.suppress(ProcessLookupError):
                process.kill()
            await process.wait()


def _give(answer: asyncio.Future[Answer | None], what: Answer | None) -> None:
    if not answer.done():
        answer.set_result(what)
