"""A recorded minute as a drawing: one strip for each curve, one for the joints that moved most, marks for faults."""

from __future__ import annotations

from html import escape

import numpy as np
from numpy.typing import NDArray

from motionhub.library.flight import Flight

Array = NDArray[np.float64]

WIDE, STRIP, LEFT, TOP = 900, 86, 150, 40
JOINTS = 4
"""Drawn of those that moved, the ones that moved most."""
DASHES = ("", "7 3", "2 3", "9 3 2 3")


def svg(flight: Flight) -> str:
    """The drawing, for a screen or a printer."""
    start = float(flight.times[0]) if len(flight.times) else 0.0
    end = max(float(flight.times[-1]) if len(flight.times) else 1.0, start + 1.0)
    strips: list[tuple[str, list[tuple[str, Array, Array]]]] = [
        (name, [("", flight.times, values)]) for name, values in flight.curves.items()
    ]
    if len(flight.joints):
        moved = np.argsort(np.ptp(flight.joints, axis=0))[::-1][:JOINTS]
        strips.append(("joints deg", [(flight.joint_names[j], flight.joint_times, flight.joints[:, j]) for j in moved]))
    tall = TOP + STRIP * len(strips) + 40
    title = f"{flight.robot}, {flight.clock(start)} to {flight.clock(end)}"
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDE} {tall}" font-family="sans-serif" font-size="12">',
        f'<rect width="{WIDE}" height="{tall}" fill="#fff"/>',
        f'<text x="12" y="24" font-size="15">{escape(title)}</text>',
    ]

    def x(t: float) -> float:
        return LEFT + (WIDE - LEFT - 16) * (t - start) / (end - start)

    for i, (name, curves) in enumerate(strips):
        parts += _strip(name, curves, TOP + i * STRIP, x)
    for h in flight.happenings:
        if h.kind == "fault":
            at = f"{x(h.t_s):.1f}"
            parts.append(f'<path d="M{at} {TOP}V{tall - 34}" stroke="#a11" stroke-width="1.5" stroke-dasharray="4 3"/>')
            parts.append(f'<text x="{at}" y="{tall - 22}" text-anchor="end" fill="#a11">{escape(h.text[:90])}</text>')
    for t in np.arange(np.ceil(start / 10) * 10, end, 10.0).tolist():
        parts.append(f'<text x="{x(t):.1f}" y="{tall - 6}" text-anchor="middle">{flight.clock(t)}</text>')
    return "\n".join([*parts, "</svg>"]) + "\n"


def _strip(name: str, curves: list[tuple[str, Array, Array]], top: float, x: object) -> list[str]:
    assert callable(x)
    known = np.concatenate([v[np.isfinite(v)] for _, _, v in curves])
    low, high = (float(known.min()), float(known.max())) if known.size else (0.0, 1.0)
    span = max(high - low, 1e-6)
    base = top + STRIP - 14
    parts = [
        f'<path d="M{LEFT} {base}H{WIDE - 16}" stroke="#bbb"/>',
        f'<text x="12" y="{top + 20}">{escape(name)}</text>',
        f'<text x="{LEFT - 6}" y="{top + 12}" text-anchor="end">{high:.4g}</text>',
        f'<text x="{LEFT - 6}" y="{base}" text-anchor="end">{low:.4g}</text>',
    ]
    for k, (label, times, values) in enumerate(curves):
        dash = f' stroke-dasharray="{DASHES[k]}"' if DASHES[k] else ""
        path, pen = [], "M"
        for t, v in zip(times.tolist(), values.tolist(), strict=True):
            if np.isfinite(v):
                path.append(f"{pen}{x(t):.1f} {base - (STRIP - 24) * (v - low) / span:.1f}")
                pen = "L"
            else:
                pen = "M"
        parts.append(f'<path d="{"".join(path)}" fill="none" stroke="#222" stroke-width="1.2"{dash}/>')
        if label:
            parts.append(f'<path d="M14 {top + 33 + 13 * k}h22" stroke="#222" stroke-width="1.2"{dash}/>')
            parts.append(f'<text x="42" y="{top + 37 + 13 * k}" font-size="10">{escape(label)}</text>')
    return parts
