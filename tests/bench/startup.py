"""From starting `motionhub serve` to its first answer over HTTP, and the memory it then holds."""

from __future__ import annotations

import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from . import Result
from .hub_process import HubProcess

RUNS = 5


def measure(say: Callable[[str], None]) -> Result:
    """Median of five cold processes; beside it, a bare interpreter that imports numpy and pydantic."""
    answers, readies, memory = [], [], 0.0
    with tempfile.TemporaryDirectory() as folder:
        for i in range(RUNS):
            say(f"start {i + 1} of {RUNS}")
            with HubProcess(Path(folder)) as hub:
                answers.append(hub.answered_s)
                readies.append(hub.ready_s)
                time.sleep(3.0)  # until what starts behind the first answer has started
                memory = max(memory, hub.resident_mb())
    bare = []
    for _ in range(RUNS):
        began = time.perf_counter()
        subprocess.run([sys.executable, "-c", "import numpy, pydantic"], check=True)
        bare.append(time.perf_counter() - began)
    answers.sort()
    readies.sort()
    bare.sort()
    reference = bare[RUNS // 2]
    return Result(
        "startup",
        {
            "to first HTTP answer": (answers[RUNS // 2], "s"),
            "to first HTTP answer, worst": (answers[-1], "s"),
            "to the ready line": (readies[RUNS // 2], "s"),
            "resident memory": (memory, "MB"),
        },
        ("an interpreter that imports numpy and pydantic", reference, "s"),
        answers[RUNS // 2] / reference,
        {"to first HTTP answer": 1.0, "resident memory": 120.0},
    )
