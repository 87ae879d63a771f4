"""Leaving in good order: what Ctrl-C and SIGTERM mean to a command that moves a robot."""

from __future__ import annotations

import asyncio
import contextlib
import signal
from collections.abc import Callable

_SIGNALS = (signal.SIGINT, signal.SIGTERM)


def on_signals(leave: Callable[[], None]) -> None:
    """Call ``leave`` at the first Ctrl-C or SIGTERM of the running loop; a second one is taken as meant."""
    loop = asyncio.get_running_loop()

    def first() -> None:
        leave()
        for number in _SIGNALS:
            loop.remove_signal_handler(number)

    for number in _SIGNALS:
        # Not on every system; there, Ctrl-C ends the loop by an exception, and what is open is closed all the same.
        with contextlib.suppress(NotImplementedError):
            loop.add_signal_handler(number, first)
