"""Numbers as people write them: ``75``, ``75 mm``, ``7.5cm``, ``1,2 kg`` is refused, ``0.3 N·m`` is understood.

A maker's ruler has centimetres and the data sheet has ounces; asking for millimetres and taking nothing
else would only move the arithmetic, and its mistakes, into the maker's head.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

UNITS: Mapping[str, Mapping[str, float]] = {
    "mm": {"mm": 1, "cm": 10, "m": 1000, "in": 25.4, "inch": 25.4},
    "g": {"g": 1, "kg": 1000, "oz": 28.349523125, "lb": 453.59237},
    "deg": {"deg": 1, "°": 1, "rad": 180 / math.pi},
    # One kgf·cm is 0.0980665 N·m (CGPM 1901); one ozf·in is 0.00706155 N·m (avoirdupois ounce, inch of 25.4 mm).
    "kgfcm": {
        "kgfcm": 1,
        "kgcm": 1,
        "nm": 1 / 0.0980665,
        "ncm": 0.01 / 0.0980665,
        "ozin": 0.0720077887,
        "ozfin": 0.0720077887,
    },
    "v": {"v": 1, "mv": 1e-3, "volts": 1},
    "a": {"a": 1, "ma": 1e-3, "amps": 1},
    "mah": {"mah": 1, "ah": 1000},
    "ohm": {"ohm": 1, "Ω": 1, "mohm": 1e-3, "mω": 1e-3},
    "s": {"s": 1, "ms": 1e-3},
    "ms": {"ms": 1, "s": 1000},
    "us": {"us": 1, "µs": 1, "ms": 1000},
    "baud": {"baud": 1, "bd": 1},
    "": {},
}
"""By the unit that is asked for: what else is understood, and how many of the asked it is."""

_WRITTEN = re.compile(r"\s*([-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?)\s*(.*?)\s*")


def number(text: str, unit: str) -> float:
    """The value of ``text`` in ``unit``.

    Raises:
        ValueError: saying in one sentence what was expected; for a decimal comma too.
    """
    match = _WRITTEN.fullmatch(text)
    wanted = f"a number of {unit}" if unit else "a number"
    if match is None:
        raise ValueError(f"expected {wanted}, found {text.strip() or 'nothing'!r}")
    value, written = float(match[1]), match[2]
    if written.startswith(","):
        raise ValueError(f"expected {wanted} with a decimal point, found {text.strip()!r}")
    name = re.sub(r"[\s.·*-]", "", written).lower()
    known = UNITS[unit]
    if name and name not in known:
        others = ", ".join(known) or "no unit"
        raise ValueError(f"expected {wanted} ({others}), found {text.strip()!r}")
    scaled = value * known.get(name, 1)
    if not math.isfinite(scaled):
        raise ValueError(f"expected {wanted}, found {text.strip()!r}")
    # 7.5 cm is 75 mm, not 75.00000000000001
    return float(f"{scaled:.12g}")


def numbers(text: str, unit: str, count: int) -> tuple[float, ...]:
    """As many values, with commas or × between them: ``250,120,46`` or ``25 x 12 x 4.6 cm``.

    A unit behind the last one goes for all that have none.

    Raises:
        ValueError: as :func:`number`, or when there are not as many.
    """
    parts = [part.strip() for part in re.split(r"[,;×x]", text) if part.strip()]
    if len(parts) != count:
        raise ValueError(
            f"expected {count} numbers of {unit or 'any kind'} with commas between, found {text.strip()!r}"
        )
    last = _WRITTEN.fullmatch(parts[-1])
    tail = last[2] if last else ""
    return tuple(number(part if re.search(r"[a-zA-Z°Ωµ]", part) else part + tail, unit) for part in parts)
