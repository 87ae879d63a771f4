"""A progress bar on stderr for work that takes long, where someone is looking."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

import click


@contextmanager
def bar(label: str, length: int, long: bool) -> Iterator[Callable[[int, int], None] | None]:
    """What to call with how much is done and how much it is in all; None where it is not ``long``, or nobody looks."""
    if not long or not sys.stderr.isatty():
        yield None
        return
    with click.progressbar(length=length, label=label, file=sys.stderr) as shown:

        def show(done: int, of: int) -> None:
            shown.length = of
            shown.update(done - shown.pos)

        yield show
