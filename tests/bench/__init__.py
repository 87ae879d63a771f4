"""Benchmarks: what `motionhub bench` runs. Nothing here is a test, and no test is timed.

Each benchmark is one module with a ``measure(say) -> Result`` function; ``say`` takes a line of progress. Where a
reference exists it is measured in the same run, and the ratio is ours over the reference's: below 1 is
ahead. To add one: a module here, and its name in :data:`NAMES`.
"""

from __future__ import annotations

import importlib
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

NAMES = ("startup", "tick", "touch-to-wire", "wire-bytes", "check", "driving", "editor")
"""In the order in which they run."""


@dataclass
class Result:
    """One benchmark's figures: ``figures[label] = (value, unit)``, and what they are held against."""

    name: str
    figures: dict[str, tuple[float, str]] = field(default_factory=dict)
    reference: tuple[str, float, str] | None = None
    ratio: float | None = None
    aims: dict[str, float] = field(default_factory=dict)
    """Per label, the value that it should stay at or below."""

    def to_json(self) -> dict[str, Any]:
        """The object that ``bench --json`` prints."""
        reference = self.reference
        return {
            "name": self.name,
            "figures": {label: {"value": value, "unit": unit} for label, (value, unit) in self.figures.items()},
            "reference": reference and {"name": reference[0], "value": reference[1], "unit": reference[2]},
            "ratio": self.ratio,
        }


def run(name: str, say: Callable[[str], None] = lambda line: None) -> Result:
    """Run the benchmark of that name."""
    module = importlib.import_module(f"{__name__}.{name.replace('-', '_')}")
    result = module.measure(say)
    assert isinstance(result, Result)
    return result


def percentile(values: list[float], share: float) -> float:
    """The value that ``share`` of the values do not exceed (nearest rank)."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]
