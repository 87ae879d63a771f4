"""A move with other timing: the same poses in the same order, some stretches of it longer or shorter.

Time is stretched piece by piece between *knots*, the times of keyframes. A walk is one piece from its
start to its end, with all keyframes in it, since its steps cannot be slowed apart from each other, and so are
walks that go on from one another; it keeps its path and its number of steps (as nearly as whole ticks to a
cycle let it). A move that counts in beats keeps them: its tempo is the one thing to change, so it is one piece.
"""

from __future__ import annotations

from collections.abc import Sequence as List

import numpy as np
from numpy.typing import NDArray

from motionhub.motion import jsontext
from motionhub.motion.documents import Sequence, parse
from motionhub.motion.formats import LONGEST_CYCLE_MS, LONGEST_S, SLOWEST_BPM, Cue, Keyframe, SequenceFile, WalkStretch
from motionhub.motion.gait import default_gait, gaits
from motionhub.motion.manner import manner_of
from motionhub.motion.strides import runs
from motionhub.robot.model import Robot

Array = NDArray[np.float64]

SAME_S = 1e-6


def knots(sequence: Sequence) -> Array:
    """The times (K,) in seconds between which a move is stretched piece by piece, from 0 to its end."""
    end = sequence.duration_s
    if counts_beats(sequence.document):
        return np.array([0.0, end])
    times = {0.0, end, *(sequence.seconds(keyframe) for keyframe in sequence.document.keyframes)}
    walks = sequence.document.walks
    spans = [(sequence.span(walks[run[0]])[0], sequence.span(walks[run[-1]])[1]) for run in runs(sequence)]
    times |= {time for span in spans for time in span}
    inside = {time for time in times for start, stop in spans if start + SAME_S < time < stop - SAME_S}
    return np.array(sorted(times - inside))


def can_be_bent(sequence: Sequence) -> NDArray[np.bool_]:
    """(K - 1,) which pieces between knots channels pass through from keyframe to keyframe: no walk, and no beats."""
    at = knots(sequence)
    if counts_beats(sequence.document):
        return np.zeros(len(at) - 1, dtype=bool)
    middles = (at[:-1] + at[1:]) / 2
    walks = np.zeros(len(middles), dtype=bool)
    for start, stop in (sequence.span(walk) for walk in sequence.document.walks):
        walks |= (middles > start) & (middles < stop)
    return ~walks


def most(sequence: Sequence, robot: Robot, rate_hz: float = 50.0) -> Array:
    """(K - 1,) how many times as long each piece may become so that it still is one: a tempo, or a walk's cycle."""
    at, document = knots(sequence), sequence.document
    longest = LONGEST_S / max(float(at[-1]), 1e-9)
    found = np.full(len(at) - 1, longest)
    if counts_beats(document):
        found[:] = min(longest, (document.tempo_bpm or SLOWEST_BPM) / SLOWEST_BPM)
    for walk in document.walks:
        start, stop = sequence.span(walk)
        cycle = _cycle_ms(robot, walk, 1 / rate_hz)
        inside = (at[:-1] < stop - SAME_S) & (at[1:] > start + SAME_S)
        found[inside] = np.minimum(found[inside], LONGEST_CYCLE_MS / cycle)
    return found


def counts_beats(document: SequenceFile) -> bool:
    """Whether its times are in beats."""
    return any(item.at_beat is not None for item in (*document.keyframes, *document.cues)) or any(
        walk.from_beat is not None for walk in document.walks
    )


def stretched(sequence: Sequence, robot: Robot, factors: List[float] | Array, rate_hz: float = 50.0) -> Sequence:
    """The move with each piece between its :func:`knots` that many times as long.

    Args:
        sequence: The move.
        robot: Its robot; a walk that does not say its cycle has this one's.
        factors: (K - 1,) above 0.
        rate_hz: Frames a second, in whole ones of which a cycle is walked.

    Raises:
        InputError: It becomes too long or too short, or a walk too slow or too fast to be one.
        ValueError: A factor is missing, or not above 0.
    """
    at = knots(sequence)
    scale = np.asarray(factors, dtype=np.float64)
    if scale.shape != (len(at) - 1,) or not (np.isfinite(scale) & (scale > 0)).all():
        raise ValueError(f"expected {len(at) - 1} factors above 0, found {scale}")
    document = sequence.document
    if counts_beats(document):
        assert document.tempo_bpm is not None
        changed = document.model_copy(update={"tempo_bpm": document.tempo_bpm / float(scale[0])})
    else:
        changed = _warped(sequence, robot, _Warp(at, scale), 1 / rate_hz)
    # Read again as text: what came out must be a document that could have been written by hand.
    return parse(jsontext.dump(changed), sequence.source, robot, sequence.library_poses)


class _Warp:
    """From old times to new, in milliseconds."""

    def __init__(self, at: Array, scale: Array) -> None:
        self.at = at
        self.to = np.concatenate([[0.0], np.cumsum(np.diff(at) * scale)])
        self.scale = scale

    def ms(self, ms: float) -> float:
        """When what was at ``ms`` is now; beyond the last knot nothing is stretched. To the microsecond."""
        seconds = ms / 1000
        beyond = max(seconds - float(self.at[-1]), 0.0)
        return round((float(np.interp(seconds, self.at, self.to)) + beyond) * 1000, 3)

    def length(self, from_ms: float, length_ms: float) -> float:
        """How long what began at ``from_ms`` and took ``length_ms`` now takes."""
        return round(self.ms(from_ms + length_ms) - self.ms(from_ms), 3)

    def factor(self, seconds: float) -> float:
        """By how much the piece that ``seconds`` is in is stretched."""
        piece = int(np.clip(np.searchsorted(self.at, seconds, side="right") - 1, 0, len(self.scale) - 1))
        return float(self.scale[piece])


def _cycle_ms(robot: Robot, walk: WalkStretch, dt: float, factor: float = 1.0) -> float:
    """A walk's cycle in ms as its robot walks it, on ticks of ``dt`` s; or so many times that, or a little less.

    Not more: in a longer cycle than it is slower it would take longer strides, and might not have them.
    """
    gait = default_gait(robot) if walk.gait is None else gaits(robot)[walk.gait]
    asked = None if walk.cycle_ms is None else walk.cycle_ms / 1000
    lift = None if walk.lift_mm is None else walk.lift_mm / 1000
    most = wanted = manner_of(robot, gait, dt, asked, lift).timing.cycle * factor
    while (ticks := gait.timing(wanted * dt, dt).cycle) > most + SAME_S and wanted > 2:
        wanted -= 1
    return round(ticks * dt * 1000, 3)


def _warped(sequence: Sequence, robot: Robot, warp: _Warp, dt: float) -> SequenceFile:
    def keyframe(item: Keyframe) -> Keyframe:
        assert item.at_ms is not None
        return item.model_copy(update={"at_ms": warp.ms(item.at_ms)})

    def cue(item: Cue) -> Cue:
        assert item.at_ms is not None
        update: dict[str, float] = {"at_ms": warp.ms(item.at_ms), "fade_ms": warp.length(item.at_ms, item.fade_ms)}
        if item.for_ms is not None:
            update["for_ms"] = warp.length(item.at_ms, item.for_ms)
        return item.model_copy(update=update)

    def walk(item: WalkStretch) -> WalkStretch:
        assert item.from_ms is not None
        assert item.to_ms is not None
        factor = warp.factor((item.from_ms + item.to_ms) / 2000)
        update: dict[str, float] = {"from_ms": warp.ms(item.from_ms), "to_ms": warp.ms(item.to_ms)}
        if factor != 1:
            update["cycle_ms"] = _cycle_ms(robot, item, dt, factor)
            for name in ("forward_mm_s", "left_mm_s", "turn_deg_s"):
                update[name] = getattr(item, name) / factor
        return item.model_copy(update=update)

    document = sequence.document
    update: dict[str, object] = {
        "keyframes": [keyframe(item) for item in document.keyframes],
        "walks": [walk(item) for item in document.walks],
        "cues": [cue(item) for item in document.cues],
    }
    if document.end_ms is not None:
        update["end_ms"] = warp.ms(document.end_ms)
    return document.model_copy(update=update)
