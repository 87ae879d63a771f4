"""The shortest lengths of pieces in a row such that certain runs of them are long enough.

Runs are contiguous, so the matrix of this linear programme has consecutive ones, and going through the runs by
their ends and making the last piece of each as much longer as it still needs is an optimum (Fulkerson & Gross,
Pacific J. Math. 15, 1965; the greedy argument is that of stabbing intervals, in any textbook on algorithms).
Among the optima, the one that is wanted alters all pieces alike: lengths are passed on between neighbours.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

Runs = Mapping[tuple[int, int], float]
"""From the first piece and the one after the last to how long they have to be together."""

_SWEEPS = 200
_CLOSE = 1e-9


def cover(least: Array, runs: Runs) -> Array:
    """Lengths (K,) of at least ``least`` (K,) that fulfil all ``runs``, of the least sum there is.

    Args:
        least: Each piece's least length, above 0.
        runs: What has to be so long; none of them empty.
    """
    found = least.copy()
    for (first, end), length in sorted(runs.items(), key=lambda run: (run[0][1], run[0][0])):
        found[end - 1] += max(length - float(found[first:end].sum()), 0.0)
    _even_out(found, least, runs)
    return found


def _even_out(found: Array, least: Array, runs: Runs) -> None:
    """Pass length on between neighbours until they are stretched alike, as far as the runs allow; the sum stays."""
    count = len(found)
    spare = {run: float(found[run[0] : run[1]].sum()) - length for run, length in runs.items()}
    starts: list[list[tuple[int, int]]] = [[] for _ in range(count + 1)]
    ends: list[list[tuple[int, int]]] = [[] for _ in range(count + 1)]
    for run in runs:
        starts[run[0]].append(run)
        ends[run[1]].append(run)
    for _ in range(_SWEEPS):
        most = 0.0
        for k in range(count - 1):
            a, b = float(least[k]), float(least[k + 1])
            # From the right to the left piece; where that is negative, the other way
            give = (float(found[k + 1]) * a - float(found[k]) * b) / (a + b)
            loser, lost = (k + 1, starts[k + 1]) if give > 0 else (k, ends[k + 1])
            room = min([float(found[loser] - least[loser]), *(spare[run] for run in lost)])
            size = min(abs(give), max(room, 0.0))
            if size <= _CLOSE:
                continue
            step = size if give > 0 else -size
            found[k] += step
            found[k + 1] -= step
            for run in starts[k + 1]:
                spare[run] -= step
            for run in ends[k + 1]:
                spare[run] += step
            most = max(most, size)
        if most <= 1e-6 * float(found.sum()) / count:
            return
