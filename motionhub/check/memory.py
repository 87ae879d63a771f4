"""What was worked out for the same rows before: whoever edits a move has it checked again and again, and most of it is
as it was.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable
from itertools import islice

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Indices = NDArray[np.intp]


class Memory:
    """Answers to rows of numbers, of which the last ones asked for are kept.

    Rows are the same when all their bits are, so an answer is what would be worked out anew; only what is beside them
    in the same arrays differs, and with it rounding.

    Args:
        most: Rows that are kept.
    """

    def __init__(self, most: int) -> None:
        self.most = most
        self.known: dict[Hashable, Array] = {}

    def of(self, about: Hashable, rows: Array, work_out: Callable[[Indices], Array]) -> Array:
        """The answers (N, …) to rows (N, W).

        Args:
            about: What else they hang on.
            rows: All that they hang on besides.
            work_out: From the numbers (n,) of rows that are not known to the answers to them, (n, …).
        """
        keys: list[Hashable] = [(about, row.tobytes()) for row in np.ascontiguousarray(rows)]
        # Kept aside: what is asked elsewhere at the same time may make the memory forget it.
        known = {key: answer for key in keys if (answer := self.known.get(key)) is not None}
        fresh = [i for i, key in enumerate(keys) if key not in known]
        if fresh:
            known.update(zip((keys[i] for i in fresh), work_out(np.array(fresh, dtype=np.intp)), strict=True))
        found: Array = np.array([known[key] for key in keys])
        # What was asked for last is kept longest.
        for key in keys:
            self.known.pop(key, None)
            self.known[key] = known[key]
        for key in list(islice(self.known, max(len(self.known) - self.most, 0))):
            self.known.pop(key, None)
        return found
