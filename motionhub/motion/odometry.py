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
    p = feet[..., 0] + 1j * feet[..., 1]
    stays = down[1:] & down[:-1]
    weight = np.where(stays, forces[1:] + forces[:-1] + 1e-6, 0.0)
    total = np.maximum(weight.sum(axis=1, keepdims=True), 1e-12)
    mean_0 = (weight * p[:-1]).sum(axis=1, keepdims=True) / total
    mean_1 = (weight * p[1:]).sum(axis=1, keepdims=True) / total
    cross = (weight * np.conj(p[1:] - mean_1) * (p[:-1] - mean_0)).sum(axis=1)
    # A foot alone, or none, says nothing of turning.
    angle = np.where(stays.sum(axis=1) >= 2, np.angle(cross), 0.0)
    turn = np.exp(1j * angle)[:, None]
    step = mean_0 - turn * mean_1
    heading = np.concatenate([[0.0], np.cumsum(angle)])
    facing = np.exp(1j * heading)
    place = np.concatenate([[0j], np.cumsum(facing[:-1] * step[:, 0])])
    slide = np.where(stays, facing[:-1, None] * (step + turn * p[1:] - p[:-1]), 0.0)
    return Travel(np.stack([place.real, place.imag], axis=-1), heading, np.abs(_since_set_down(slide, down)))


def _since_set_down(slide: Complex, down: Flags) -> Complex:
    """Running sum (T, L) of ``slide`` (T - 1, L), from zero again whenever a foot has been in the air."""
    total = np.concatenate([np.zeros((1, down.shape[1])), np.cumsum(slide, axis=0)])
    landed = down.copy()
    landed[1:] &= ~down[:-1]
    # The frame at which each foot was last set down
    frames = np.where(landed, np.arange(len(down))[:, None], 0)
    np.maximum.accumulate(frames, axis=0, out=frames)
    found: Complex = np.where(down, total - np.take_along_axis(total, frames, axis=0), 0.0)
    return found
