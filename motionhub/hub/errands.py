"""What runs beside the loop and is not waited for: held so that it is not lost, and ended with whoever began it."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Coroutine
from typing import Any

_log = logging.getLogger(__name__)


class Errands:
    """A few tasks of the running event loop.

    Args:
        what: What they are for, in the log's words.
    """

    def __init__(self, what: str) -> None:
        self._what = what
        self._tasks: set[asyncio.Task[None]] = set()

    def run(self, work: Coroutine[Any, Any, None]) -> asyncio.Task[None]:
        """Begin this beside everything else."""
        task = asyncio.get_running_loop().create_task(work, name=self._what)
        self._tasks.add(task)
        task.add_done_callback(self._done)
        return task

    def cancel(self) -> None:
        """Have whatever is on its way end, without waiting for that."""
        for task in tuple(self._tasks):
            task.cancel()

    async def close(self) -> None:
        """End whatever is on its way."""
        self.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)

    def _done(self, task: asyncio.Task[None]) -> None:
        self._tasks.discard(task)
        report(task)


def report(task: asyncio.Task[None]) -> None:
    """A task that ends by an exception is a fault of the program: it goes to the log, not unseen."""
    if not task.cancelled() and (error := task.exception()):
        _log.error("%s has failed", task.get_name(), exc_info=error)
