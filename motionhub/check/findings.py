"""What the check has to say: findings, and gathering frames that break a limit into them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Severity = Literal["error", "warning"]

RULES = (
    "joint-range",
    "reach",
    "joint-speed",
    "joint-torque",
    "holding-torque",
    "supply-current",
    "supply-voltage",
    "stability",
    "tip-over",
    "clearance",
    "ground",
    "foot-slip",
    "link-rate",
    "charge",
)
"""Every rule there is, by the name that reports use."""

APART_S = 1.0
"""s: breaches no further apart are one finding, so that a walk has one per joint and not one per step."""


@dataclass(frozen=True)
class Finding:
    """One rule broken over one stretch of time, and what would mend it."""

    rule: str
    severity: Severity
    start_s: float
    end_s: float
    subject: str | None
    """The joint, leg or part; None for the whole robot."""
    value: float
    """The worst in the stretch, in ``unit``."""
    limit: float
    unit: str
    advice: str
    excess: float
    """How far beyond the limit, as a share of what the limit is measured in: to put the worst first."""
    way: str = ""
    """Where it is not the move itself: on which way to it, back from it, or out of it by a stop, as the advice says."""
    ask: Callable[[], str] | None = field(default=None, repr=False, compare=False)
    """Works out the advice, which may take trials; None where it is there. What is not asked for costs nothing."""


@dataclass(frozen=True)
class Stretch:
    """Frames ``first`` to ``last``, both broken, and the worst of them."""

    first: int
    last: int
    worst: int


Advise = Callable[[Stretch], str]


def stretches(broken: Flags, badness: Array, rate_hz: float) -> list[Stretch]:
    """Gather broken frames (T,) into stretches, each with its frame of greatest ``badness`` (T,)."""
    frames = np.flatnonzero(broken)
    if not frames.size:
        return []
    breaks = np.flatnonzero(np.diff(frames) > APART_S * rate_hz)
    starts, ends = np.r_[0, breaks + 1], np.r_[breaks, frames.size - 1]
    found = []
    for start, end in zip(starts, ends, strict=True):
        own = frames[start : end + 1]
        found.append(Stretch(int(own[0]), int(own[-1]), int(own[np.argmax(badness[own])])))
    return found


@dataclass(frozen=True)
class Limit:
    """A quantity of every frame against what it may be, in SI, and how a person reads it."""

    rule: str
    unit: str
    scale: float
    """From SI to ``unit``."""
    rate_hz: float
    above: bool = True
    """Whether more than the limit is wrong, or less."""
    slack: float = 0.0
    """SI: how far beyond the limit is not worth a word."""
    severity: Severity = "error"

    def findings(
        self,
        values: Array,
        limits: Array | float,
        advise: Advise,
        subject: str | None = None,
        where: Flags | None = None,
        span: float | None = None,
    ) -> list[Finding]:
        """One finding for each stretch in which ``values`` (T,) break ``limits`` (T,) or scalar.

        Args:
            values: SI.
            limits: SI.
            advise: What would mend a stretch.
            subject: The joint, leg or part.
            where: (T,) frames to look at; all when None.
            span: SI: what an excess is measured by; the limit itself when None.
        """
        wide = np.broadcast_to(np.asarray(limits, dtype=np.float64), values.shape)
        beyond = values - wide if self.above else wide - values
        broken = beyond > self.slack
        if where is not None:
            broken = broken & where
        if not broken.any():
            return []
        share = beyond / (np.maximum(np.abs(wide), 1e-9) if span is None else span)
        return [
            Finding(
                rule=self.rule,
                severity=self.severity,
                start_s=s.first / self.rate_hz,
                end_s=s.last / self.rate_hz,
                subject=subject,
                value=float(values[s.worst] * self.scale),
                limit=float(wide[s.worst] * self.scale),
                unit=self.unit,
                advice="",
                excess=float(share[s.worst]),
                ask=partial(advise, s),
            )
            for s in stretches(broken, share, self.rate_hz)
        ]


def advised(finding: Finding) -> Finding:
    """The finding with its advice worked out."""
    return finding if finding.ask is None else replace(finding, advice=finding.ask(), ask=None)


def worst_first(findings: list[Finding]) -> list[Finding]:
    """Errors before warnings, what comes first before what follows from it, and then by how far it is beyond its limit.

    A robot that falls has no other trouble, and a leg that does not reach does not do what was meant.
    """
    first = ("tip-over", "reach")

    def place(f: Finding) -> tuple[bool, int, float, float, str]:
        cause = first.index(f.rule) if f.rule in first and not f.way else len(first)
        return f.severity != "error", cause, -f.excess, f.start_s, f.subject or ""

    return sorted(findings, key=place)
