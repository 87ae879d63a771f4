"""Where the robot goes, from the feet that stay on the ground; and how far those feet disagree about it.

From one frame to the next the body moves, over the feet that are down in both, by the rigid motion of
the plane that fits them best: the least squares of their sliding, each weighted by the force on it, since
friction holds a foot in proportion. With the feet as complex numbers p = x + iy in the level frame,
and means and sums weighted,

    turn = arg Σ conj(p₁ - mean p₁)·(p₀ - mean p₀),    step = mean p₀ - turn·mean p₁

(the plane case of Procrustes' problem: Umeyama, IEEE PAMI 13(4), 1991). What a foot is then off by, it slides.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Complex = NDArray[np.complex128]
Flags = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Travel:
    """Where the body is over the ground, and how its feet slide."""

    place: Array
    """(T, 2) m: the body's reference point, from where it was in the first frame, x along its heading then."""
    heading: Array
    """(T,) rad of the level frame, from that of the first frame; not wrapped."""
    slip: Array
    """(T, L) m: how far each foot has slid since it was set down; 0 in the air."""


def travel(feet: Array, down: Flags, forces: Array) -> Travel:
    """Follow the body over the feet.

    Args:
        feet: (T, L, 2) m, foot centres in the level frame, seen from above.
        down: (T, L) which are on the ground.
        forces: (T, L) N on each.
    """
    return Odometer().follow(feet, down, forces)


class Odometer:
    """Follows a long move block by block: each block begins with a frame that the one before has had."""

    def __init__(self) -> None:
        self._place = 0j
        self._heading = 0.0
        self._slid: Complex | None = None

    def follow(self, feet: Array, down: Flags, forces: Array, carry: int = -1) -> Travel:
        """Follow the body over the feet of one block, arrays as for :func:`travel`.

        Args:
            feet: (T, L, 2) m.
            down: (T, L).
            forces: (T, L) N.
            carry: The frame of this block that the next one begins with; the last when not given.
        """
        # Time inside: one long row for each foot
        p = np.ascontiguousarray(feet[..., 0].T + 1j * feet[..., 1].T)
        on, force = np.ascontiguousarray(down.T), np.ascontiguousarray(forces.T)
        stays = on[:, 1:] & on[:, :-1]
        weight = (force[:, 1:] + force[:, :-1] + 1e-6) * stays
        weight /= np.maximum(weight.sum(axis=0), 1e-12)
        p_0, p_1 = p[:, :-1], p[:, 1:]
        mean_0, mean_1 = (weight * p_0).sum(axis=0), (weight * p_1).sum(axis=0)
        cross = (weight * np.conj(p_1 - mean_1) * (p_0 - mean_0)).sum(axis=0)
        # A foot alone, or none, says nothing of turning.
        angle = np.where(stays.sum(axis=0) >= 2, np.angle(cross), 0.0)
        turn = np.exp(1j * angle)
        step = mean_0 - turn * mean_1
        heading = self._heading + np.concatenate([[0.0], np.cumsum(angle)])
        facing = np.exp(1j * heading)
        place = self._place + np.concatenate([[0j], np.cumsum(facing[:-1] * step)])
        slide = (step + turn * p_1 - p_0) * facing[:-1]
        slid = self._since_set_down(slide * stays, on)
        self._place, self._heading, self._slid = complex(place[carry]), float(heading[carry]), slid[:, carry]
        return Travel(np.stack([place.real, place.imag], axis=-1), heading, np.abs(slid).T)

    def _since_set_down(self, slide: Complex, down: Flags) -> Complex:
        """Running sum (L, T) of ``slide`` (L, T - 1), from zero again whenever a foot has been in the air."""
        before = np.zeros(len(down), dtype=np.complex128) if self._slid is None else self._slid
        total = np.cumsum(np.concatenate([before[:, None], slide], axis=1), axis=1)
        landed = down.copy()
        landed[:, 1:] &= ~down[:, :-1]
        landed[:, 0] = False  # down already: what it has slid so far goes on
        # The frame of this block at which each foot was last set down, -1 before any
        frames = np.where(landed, np.arange(down.shape[1]), -1)
        np.maximum.accumulate(frames, axis=1, out=frames)
        start = np.take_along_axis(total, np.maximum(frames, 0), axis=1)
        found: Complex = np.where(down, total - np.where(frames >= 0, start, 0.0), 0.0)
        return found
