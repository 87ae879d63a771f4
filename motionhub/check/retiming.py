"""The shortest timing in which a move fits, piece by piece between its keyframes.

In every frame each limit that time can mend says how much slower that frame has to be
(:mod:`motionhub.check.slowness`). From the worst frame of each piece follows which channels have to become slower
there, and a channel does so when the time between its two keys grows (:mod:`motionhub.motion.spans`); the shortest
lengths of all pieces that give all of them their time are found at once (:mod:`motionhub.motion.covering`). Then the
move is rendered again, and so on: what is asked of a channel only grows, so this ends. What is broken while standing
still, no timing mends.

Last, the rules themselves are asked, of the move and of stopping it: a stop runs on by the square of the speed, and
what servos do late may break a rule that is kept by what they are told. Such a piece is slowed a little further.
"""

from __future__ import annotations

from contextlib import suppress
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from motionhub.check import rules_ground, rules_joints, rules_supply
from motionhub.check.findings import Finding
from motionhub.check.handover import around
from motionhub.check.mend import Mender
from motionhub.check.slowness import MOST, slower_by
from motionhub.check.timeline import Progress, Timeline, work_out
from motionhub.errors import InputError
from motionhub.motion.covering import cover
from motionhub.motion.documents import Sequence
from motionhub.motion.formats import FASTEST_BPM, LONGEST_S
from motionhub.motion.render import render
from motionhub.motion.retime import can_be_bent, counts_beats, knots, most, stretched
from motionhub.motion.spans import Drive, drive
from motionhub.robot.limits import top_speed
from motionhub.robot.model import Robot

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.intp]

ROUNDS = 24
SPARE = 1.003
"""Slower than the frames ask for: between two frames it may be a little faster."""
SHORTEST = 5
"""Frames to which a piece is shortened at most: enough to see how fast it is."""
UNDER = 0.6
"""When a move shall be as fast as can be, each piece is first made so much shorter than its own frames allow."""
SLOWER = 1.15, 1.5
"""How much slower, at least and at most, a piece becomes in which a rule still finds something; tried so often:"""
LAST_ROUNDS = 20
HOPELESS = 12.0
"""What is wrong even when it is so many times slower is not for time to mend."""
_SHARES = 0.1, 0.25, 0.5, 0.75
"""Of the way from as quick as can be to as it was, at which a move is tried that is worse when it is so quick."""
_TIMED = (
    rules_joints.joint_speed,
    rules_joints.joint_torque,
    rules_joints.holding_torque,  # what speeding up takes heats a servo, too
    rules_supply.supply_current,
    rules_supply.supply_voltage,
)
"""Rules that time may mend, in a move and in a stop."""
_PLACED = (
    rules_ground.stability,
    rules_ground.tip_over,
    rules_ground.ground,
    rules_ground.foot_slip,
    rules_ground.clearance,
)
"""Rules that time may mend in a stop, which ends elsewhere when it comes out of a slower motion."""


@dataclass(frozen=True)
class Change:
    """One piece of the move whose length was changed."""

    from_s: float
    to_s: float
    factor: float


@dataclass(frozen=True, eq=False)
class Retimed:
    """A move with its new timing."""

    sequence: Sequence
    changes: tuple[Change, ...]
    """In the old move's time; empty when nothing had to change."""


def retime(
    sequence: Sequence,
    robot: Robot,
    rate_hz: float = 50.0,
    supply_v: float | None = None,
    fastest: bool = False,
    progress: Progress | None = None,
) -> Retimed:
    """Find the shortest timing of a move that its joints can follow and its supply can hold.

    Args:
        sequence: The move.
        robot: Whose limits.
        rate_hz: Frames a second that it is judged at.
        supply_v: The regulator's set-point, instead of the robot's own.
        fastest: Also shorten what could be quicker; pauses and walks keep their length. If not, nothing becomes
            shorter than it was, since a maker who is slow mostly means it.
        progress: Called each time that the whole move was worked out, with how often, and with how often at most.

    Returns:
        The move, which passes joint-speed, joint-torque and supply-current as far as time can make it.

    Raises:
        InputError: It cannot be rendered, or grows longer than a move may be.
    """
    robot = robot.on_supply(supply_v)
    found = _Retiming(sequence, robot, rate_hz, progress)
    if not fastest:
        return found.result(False)
    quick = found.result(True)
    if not (wrong := found.errors()):
        return quick
    # As quick as its joints can go, a move may hold a heavy pose for more of its time, or stop elsewhere.
    calm = _Retiming(sequence, robot, rate_hz, progress)
    slow = calm.result(False)
    return quick if wrong <= (left := calm.errors()) else found.held_back(calm.lengths, left) or slow


_State = tuple[Sequence, Array, dict[tuple[int, int], float], Array]


class _Retiming:
    def __init__(self, sequence: Sequence, robot: Robot, rate_hz: float, progress: Progress | None) -> None:
        self.sequence, self.robot, self.rate, self.progress, self.rounds = sequence, robot, rate_hz, progress, 0
        self.at = knots(sequence)
        self.original = np.diff(self.at)
        self.free = can_be_bent(sequence)
        """(K,) pieces that channels pass through; the others, walks and moves in beats, change as a whole."""
        self.order = np.concatenate([[0], np.cumsum(self.free)])
        """(K + 1,) how many of those lie before each knot."""
        self.most = np.minimum(most(sequence, robot, rate_hz) * 0.999, MOST) * self.original
        """(K,) s, what is beyond all sense, or beyond what may be written."""
        self.least = self.original.copy()
        self.runs: dict[tuple[int, int], float] = {}
        """Free pieces that have to be so long together, in s."""
        self.whole = self.original.copy()
        """(K,) s, what a piece that changes as a whole needs."""
        self.lengths = self.original.copy()
        self.now = sequence
        self.trying = False

    def result(self, fastest: bool) -> Retimed:
        if fastest:
            self._shorten()
        self._fit()
        self._settle()
        return self._retimed()

    def errors(self) -> set[tuple[str, str | None]]:
        """What any rule finds wrong with it as it is, by rule and subject."""
        t = self._timeline()
        quiet, rules = Mender(t), (*_TIMED, *_PLACED)
        own = [finding for rule in rules for finding in rule(t, quiet)]
        return {(f.rule, f.subject) for f in [*own, *around(t, rules, own)] if f.severity == "error"}

    def held_back(self, calm: Array, allowed: set[tuple[str, str | None]]) -> Retimed | None:
        """As quick as it may be with no errors but those allowed, on the way to ``calm`` (K,) s; None if it may not."""
        quick = self.lengths
        for share in _SHARES:
            self.lengths = quick + share * (np.maximum(calm, quick) - quick)
            self.now = stretched(self.sequence, self.robot, self.lengths / self.original, self.rate)
            if self.errors() <= allowed:
                return self._retimed()
        return None

    def _retimed(self) -> Retimed:
        factors = self.lengths / self.original
        changed = np.flatnonzero(np.abs(factors - 1) > 1e-6)
        changes = [Change(float(self.at[i]), float(self.at[i + 1]), float(factors[i])) for i in changed]
        return Retimed(self.now if changes else self.sequence, tuple(changes))

    # -------------------------------------------------------------- rounds

    def _timeline(self) -> Timeline:
        found = work_out(render(self.now, self.robot, self.rate))
        self.rounds += 1
        if self.progress is not None:
            # Once to shorten it, to see what is left and what stays so; and fitting again after each last round.
            most = ROUNDS + 3 + LAST_ROUNDS * (1 + ROUNDS)
            self.progress(min(self.rounds, most), most)
        return found

    def _shorten(self) -> None:
        """Begin with less than can be done: each piece as short as its own frames allow, and shorter."""
        t = self._timeline()
        piece = self._pieces(t)
        need = np.zeros(len(self.least))
        np.maximum.at(need, piece, slower_by(t)[0])
        moves = np.zeros(len(self.least), dtype=bool)
        np.logical_or.at(moves, piece, (np.abs(t.speeds) > 1e-6).any(axis=1))
        short = np.maximum(UNDER * need * self.original, np.minimum(SHORTEST / self.rate, self.original))
        least = np.where(moves & self.free, np.minimum(short, self.original), self.original)
        if counts_beats(self.sequence.document):
            tempo = self.sequence.document.tempo_bpm or 0.0
            least = self.original * max(float(need.max()) * SPARE, tempo / (0.999 * FASTEST_BPM))
        self.least, self.whole = least, np.where(self.free, self.whole, least)
        self._stretch()

    def _fit(self) -> None:
        for i in range(ROUNDS):
            good = self._state()
            try:
                if i:
                    self._stretch()
                t = self._timeline()
            except InputError:
                # Longer than a move may be, or its tempo slower: then as it was.
                if i == 0:
                    raise
                self._back_to(good)
                return
            need, joint = slower_by(t)
            if not self._ask(t, need, joint):
                return

    def _state(self) -> _State:
        return self.now, self.lengths, self.runs.copy(), self.whole.copy()

    def _back_to(self, state: _State) -> None:
        self.now, self.lengths, self.runs, self.whole = state

    def _settle(self) -> None:
        """Ask the rules themselves, of the move and of stopping it, and slow down where time mends what is left."""
        t = self._timeline()
        if not (wrong := self._wrong(t)):
            return
        # First much too slow: what is wrong even then is not for time to mend.
        kept, hopeless = self._state(), set()
        self.trying = True
        with suppress(InputError):
            self._ask(t, self._slower(t, wrong, HOPELESS), np.full(len(t.frames), -1))
            self._stretch()
            hopeless = {(finding.rule, finding.subject) for finding in self._wrong(self._timeline())}
        self.trying = False
        self._back_to(kept)
        for _ in range(LAST_ROUNDS):
            t = self._timeline()
            wrong = [finding for finding in self._wrong(t) if (finding.rule, finding.subject) not in hopeless]
            if not wrong or not self._ask(t, self._slower(t, wrong), np.full(len(t.frames), -1)):
                return
            kept = self._state()
            try:
                self._stretch()
                self._fit()
            except InputError:
                self._back_to(kept)
                return

    def _wrong(self, t: Timeline) -> list[Finding]:
        """What the rules still find that time might mend."""
        quiet = Mender(t)
        own = [finding for rule in _TIMED for finding in rule(t, quiet)]
        known = own + [finding for rule in _PLACED for finding in rule(t, quiet)]
        stops = [finding for finding in around(t, (*_TIMED, *_PLACED), known) if finding.way.startswith("stopping")]
        return [finding for finding in own + stops if finding.severity == "error"]

    def _slower(self, t: Timeline, wrong: list[Finding], by: float | None = None) -> Array:
        """By how much (T,) the frames of these findings are to be slower: by that factor, or a little."""
        need = np.ones(len(t.frames))
        share = (np.abs(t.speeds) / top_speed(t.frames.robot, t.set_v)).max(axis=1)
        for finding in wrong:
            first, last = (round(at * self.rate) for at in (finding.start_s, finding.end_s))
            here = slice(max(first, 1), max(last, 1) + 1)
            # How far a stop runs on, and what comes of that, goes with the square of the speed, or nearly.
            slower = float(np.sqrt(finding.value / finding.limit)) if finding.rule == "foot-slip" else 1.0
            slower = min(max(slower, SLOWER[0]), SLOWER[1]) if by is None else by
            quick = share[here] >= 0.8 * share[here].max()
            need[here] = np.maximum(need[here], np.where(quick, slower, 1.0))
        return need

    def _stretch(self) -> None:
        free = np.flatnonzero(self.free)
        self.lengths = self.whole.copy()
        if free.size:
            self.lengths[free] = cover(self.least[free], self.runs)
        grown = float((self.lengths - self.original).sum())
        room = max(LONGEST_S * 0.999 - float(self.original.sum()), 0.0)
        if self.trying and grown > room:
            self.lengths = self.original + (self.lengths - self.original) * (room / grown)
        self.now = stretched(self.sequence, self.robot, self.lengths / self.original, self.rate)

    # -------------------------------------------------------------- what has to be longer

    def _pieces(self, t: Timeline) -> Indices:
        """(T,) the piece of each frame. Its speed is that of the way to it, so a frame on a knot ends its piece."""
        middles = np.maximum(t.frames.times - 0.5 / self.rate, 0.0)
        found: Indices = np.clip(np.searchsorted(self._knots(), middles, "right") - 1, 0, len(self.lengths) - 1)
        return found

    def _knots(self) -> Array:
        return np.concatenate([[0.0], np.cumsum(self.lengths)])

    def _ask(self, t: Timeline, need: Array, joint: Indices) -> bool:
        """Take down what the worst frame of each piece asks for; whether any does that can be given it."""
        piece = self._pieces(t)
        worst = np.lexsort((-need, piece))
        worst = worst[np.unique(piece[worst], return_index=True)[1]]
        worst = worst[need[worst] > 1 + 1e-6]
        drives = drive(self.now, self.robot, t.frames.times[worst], 1 / self.rate)
        asked = False
        for n, frame in enumerate(worst):
            asked |= self._ask_for(drives, n, int(piece[frame]), float(need[frame]), int(joint[frame]), t.speeds[frame])
        return asked

    def _ask_for(self, drives: Drive, n: int, piece: int, need: float, joint: int, speeds: Array) -> bool:
        if not self.free[piece]:
            return self._ask_whole(piece, need)
        ratio, chosen = _share(drives.moved[n], speeds / self.rate, joint, need, drives.stop[n] > drives.start[n])
        asked = False
        for channel in chosen:
            asked |= self._ask_run(float(drives.start[n, channel]), float(drives.stop[n, channel]), ratio)
        return asked

    def _ask_whole(self, piece: int, need: float) -> bool:
        length = self._allowed(float(self.lengths[piece]) * need * SPARE, float(self.most[piece]))
        if length is None:
            return False
        self.whole[piece] = max(length, float(self.whole[piece]))
        return True

    def _allowed(self, length: float, most: float) -> float | None:
        """So long, if that is no more than the most; while trying, as long as may be."""
        if length > most:
            return most if self.trying else None
        return length

    def _ask_run(self, start: float, stop: float, ratio: float) -> bool:
        """Have the time between two keys of a channel grow by a factor; that of walks in it stays."""
        at = self._knots()
        first, end = np.searchsorted(at, [start - 1e-5, stop + 1e-5])
        end -= 1
        run = int(self.order[first]), int(self.order[end])
        inside = float(self.lengths[first:end][self.free[first:end]].sum())
        longest = float(self.most[first:end][self.free[first:end]].sum())
        length = self._allowed(inside + (stop - start) * (ratio * SPARE - 1), longest)
        if run[0] >= run[1] or length is None:
            return False
        self.runs[run] = max(length, self.runs.get(run, 0.0))
        return True


def _share(moved: Array, turned: Array, joint: int, need: float, bends: Flags) -> tuple[float, list[int]]:
    """Which channels (of those that ``bends`` (C,) says can) become slower so that a joint does, and by how much.

    Those that move it most, if that is enough; the same joint is often moved a little by something slow
    that would cost much time.

    Args:
        moved: (C, J) rad by which each channel turns each joint.
        turned: (J,) rad by which each turns in all.
        joint: Which one has to be slower, or -1 for all.
        need: By what factor.
        bends: (C,).
    """
    shares = np.abs(moved).sum(axis=1) if joint < 0 else moved[:, joint] * np.sign(turned[joint])
    shares = np.where(bends, shares, 0.0)
    if not len(shares) or shares.max() <= 1e-9:
        return need, []
    total = float(np.abs(turned).sum()) if joint < 0 else float(abs(turned[joint]))
    strong = shares >= shares.max() / 2
    main = float(shares[strong].sum())
    rest = total - main
    if joint < 0:
        rest = max(rest, 0.0)  # channels that work against each other move less together than each
    left = total / need - rest
    if left < main / (1.5 * need):
        strong, left, main = shares > shares.max() / 50, 1.0, need
    return main / left, [int(i) for i in np.flatnonzero(strong)]
