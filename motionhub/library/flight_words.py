"""A recorded minute in words: what a person asks after a fault, in the order in which it is asked."""

from __future__ import annotations

import numpy as np

from motionhub.library.flight import Flight, Happening

ASKED = {
    "drive": "walked",
    "stop": "pressed Stop",
    "resume": "lifted the stop",
    "limp": "let it go limp",
    "take": "took control",
    "release": "gave control back",
}
STILL = 0.02
"""Of a stick: nobody holds it."""


def summary(flight: Flight) -> list[str]:
    """Some lines that say it all: what happened, the figures of the minute, and who drove."""
    lines = []
    if flight.fault:
        lines.append(f"{flight.clock(flight.fault.t_s)}: {flight.fault.text}")
    else:
        lines.append(f"No fault in these {flight.duration_s:.0f} s")
    battery = _known(flight, "battery V")
    if battery.size:
        lines.append(
            f"Battery {battery[0]:.2f} V at first, {battery.min():.2f} V at the lowest, {battery[-1]:.2f} V last"
        )
    amps = _known(flight, "current A")
    if amps.size:
        lines.append(f"Current, as predicted: {amps.mean():.1f} A on the whole, {amps.max():.1f} A at most")
    lost, trip = _known(flight, "frames lost %"), _known(flight, "round trip ms")
    if trip.size:
        lines.append(
            f"Radio: {trip.max():.0f} ms there and back at the worst, {lost.max():.0f} % of frames lost at the worst"
        )
    elif len(flight.times):
        lines.append("Radio: no answer from the robot in all that time")
    if len(flight.joints) > 1:
        step = np.abs(np.diff(flight.joints, axis=0))
        close = np.diff(flight.joint_times) < 0.03
        if close.any():
            speed = step[close].max(axis=0) / 0.02
            j = int(np.argmax(speed))
            moved = speed[j] >= 0.5
            fastest = f"Fastest as commanded: {flight.joint_names[j]}, {speed[j]:.0f} deg/s"
            lines.append(fastest if moved else "No joint was moved")
    drove = list(dict.fromkeys(name for name in flight.drivers if name))
    lines.append(f"Driving: {', then '.join(drove)}" if drove else "Nobody was driving")
    return lines


def _known(flight: Flight, curve: str) -> np.ndarray:
    values = flight.curves[curve]
    found: np.ndarray = values[np.isfinite(values)]
    return found


def story(flight: Flight) -> list[Happening]:
    """What happened, in order, walks in one line each: from when to when, and how fast at most."""
    return sorted([*flight.happenings, *_walks(flight)], key=lambda h: h.t_s)


def _walks(flight: Flight) -> list[Happening]:
    held = np.abs(flight.sticks).max(axis=1) > STILL if len(flight.sticks) else np.zeros(0, dtype=bool)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], held.astype(np.int8), [0]])))
    found = []
    for start, end in edges.reshape(-1, 2).tolist():
        part = flight.sticks[start:end]
        ways = []
        for i, (plus, minus) in enumerate((("ahead", "back"), ("to the left", "to the right"))):
            most = part[np.argmax(np.abs(part[:, i])), i]
            if abs(most) > STILL:
                ways.append(f"{abs(most):.0%} {plus if most > 0 else minus}")
        turn = part[np.argmax(np.abs(part[:, 2])), 2]
        if abs(turn) > STILL:
            ways.append(f"turning {'left' if turn > 0 else 'right'} {abs(turn):.0%}")
        who = flight.drivers[start] or "someone"
        seconds = flight.times[end - 1] - flight.times[start] + 0.1
        found.append(Happening(float(flight.times[start]), "asked", f"{who} drove {', '.join(ways)}, {seconds:.1f} s"))
    return found
