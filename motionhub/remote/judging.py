"""Verdicts on moves that are being edited, given again and again: what is known of a draft is not worked out anew.

A verdict comes in up to three steps, each of which can be left off for a newer edit: in a long move first what the edit
has done where it was made, then all of it, and then the advice.
"""

from __future__ import annotations

import time
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from motionhub.check.findings import Finding, advised
from motionhub.check.glance import NOTHING, edited, glance
from motionhub.check.glance import put_in as with_glance
from motionhub.check.remedies import remedies
from motionhub.check.report import Report, check
from motionhub.errors import InputError
from motionhub.motion.documents import Sequence
from motionhub.motion.frames import Frames
from motionhub.motion.render import render
from motionhub.remote import answering
from motionhub.remote.convert import pack
from motionhub.remote.pipe import RATE_HZ
from motionhub.remote.preview import Rows, packed, put_in, rows_of, step_of
from motionhub.robot.model import Robot

REMEMBERED = 8
"""Drafts of which it is known what their browsers have been sent."""
PROMPT_S = 0.03
"""After so long the verdict goes out without the advice that is not worked out yet."""
LONG_FRAMES = 1_500
"""A move from half a minute on is checked in two steps: first where it was edited."""
QUIET_S = 0.2
"""And then all of it, when nothing has been done for so long: it would be in the way of the next edit."""
_BESIDE = 12
"""Frames beside an edit that it still changes: what turns and gains speed is worked out over several of them."""
WHILE_S = 0.1
"""So long at a time it is worked out afterwards."""

Array = NDArray[np.float64]
Answer = dict[str, Any]
_Key = tuple[str, str]
"""A browser, and the move that it has open."""


@dataclass(frozen=True)
class _Known:
    """What a browser has been told of a draft."""

    n: int
    frames: Frames
    rows: Rows
    findings: tuple[Finding, ...]

    @property
    def fits(self) -> bool:
        return not any(f.severity == "error" for f in self.findings)


@dataclass
class _Advising:
    """A verdict that has been given, while the advice on its findings is worked out."""

    findings: list[Finding]
    verdict: answering.Judged
    took_s: float
    at: int = 0

    def go_on(self, until: float) -> bool:
        """Ask for advice in order until it is so late, or all is there; whether it is."""
        began = time.perf_counter()
        while self.at < len(self.findings) and (self.findings[self.at].ask is None or time.perf_counter() < until):
            self.findings[self.at] = advised(self.findings[self.at])
            self.at += 1
        self.took_s += time.perf_counter() - began
        return self.at == len(self.findings)


class Judge:
    """Judges drafts.

    Args:
        robot: Whose moves.
        frame_bytes: What frames weigh on the wire; see :func:`~motionhub.check.report.check`.
        read: A draft's sequence; raises InputError.
    """

    def __init__(
        self, robot: Robot, frame_bytes: Callable[[Array], Array], read: Callable[[dict[str, Any]], Sequence]
    ) -> None:
        self._robot = robot
        self._coder = frame_bytes
        self._read = read
        self._known: OrderedDict[_Key, _Known] = OrderedDict()
        self._advising: OrderedDict[_Key, _Advising] = OrderedDict()
        self._unchecked: OrderedDict[_Key, tuple[int, Frames]] = OrderedDict()
        """Drafts of which only the edited stretch has been looked at."""

    def check(self, sequence: Sequence, advise: bool = True) -> Report:
        """The check of what the robot would be sent."""
        return self._check(render(sequence, self._robot, RATE_HZ), advise)

    def _check(self, frames: Frames, advise: bool) -> Report:
        return check(frames, frame_bytes=self._coder, advise=advise)

    def judge(self, job: dict[str, Any]) -> Answer:
        """The verdict on a draft, with how it goes; of a long move first on the stretch that was edited."""
        began = time.perf_counter()
        name, n, key = job["name"], job["n"], (job["client"], job["name"])
        self._advising.pop(key, None)
        half = self._unchecked.pop(key, None) is not None
        try:
            frames = render(self._read(job), self._robot, RATE_HZ)
            known = None if job["whole"] else self._known.get(key)
            stretch = known and edited(frames, known.frames)
            if known and stretch == NOTHING and not half:
                # As when a key is set where it changes nothing: what was found stands.
                verdict = _verdict(name, n).model_copy(update={"fits": known.fits, "duration_s": frames.duration_s})
                self._remember(key, _Known(n, frames, known.rows, known.findings))
                took = time.perf_counter() - began
                preview = packed(known.rows, known.rows, known.n)
                return self._advise(key, _Advising(list(known.findings), verdict, took), PROMPT_S - took, preview)
            if known and stretch and _is_short(stretch, frames):
                return self._glance(key, n, frames, known, stretch, began)
            return self._judge(key, n, frames, known, began)
        except InputError as error:
            verdict = _verdict(name, n).model_copy(update={"place": error.place, "problem": error.expected})
            return send(verdict.model_copy(update={"took_ms": _ms(began)}))

    def _judge(self, key: _Key, n: int, frames: Frames, known: _Known | None, began: float) -> Answer:
        """The verdict on all of it."""
        report = self._check(frames, advise=False)
        rows = rows_of(report.timeline, step_of(len(frames)))
        preview = packed(rows, known.rows, known.n) if known else packed(rows, None, -1)
        self._remember(key, _Known(n, frames, rows, report.findings))
        told = {"fits": report.fits, "duration_s": report.duration_s}
        verdict = _verdict(key[1], n).model_copy(update=told)
        took = time.perf_counter() - began
        return self._advise(key, _Advising(list(report.findings), verdict, took), PROMPT_S - took, preview)

    def _glance(
        self, key: _Key, n: int, frames: Frames, known: _Known, stretch: tuple[int, int], began: float
    ) -> Answer:
        """What the edit has done where it was made; all of it is checked when no other has come for a moment."""
        rows, findings = known.rows, known.findings
        if stretch != NOTHING:
            first, last = stretch
            step = step_of(len(frames))
            # From where whole rows begin, so that they fall on the same moments.
            looked = glance(frames, first, last, step)
            at = looked.start // step
            near = max(at, (first - _BESIDE) // step), min((last + _BESIDE) // step, (looked.end - 1) // step)
            rows = put_in(rows, rows_of(looked.timeline, step), at, *near)
            findings = with_glance(findings, looked, first / RATE_HZ, last / RATE_HZ)
        preview = packed(rows, known.rows, known.n)
        now = _Known(n, frames, rows, findings)
        self._remember(key, now)
        self._unchecked[key] = n, frames
        while len(self._unchecked) > REMEMBERED:
            self._unchecked.popitem(last=False)
        update = {
            "fits": now.fits,
            "duration_s": float(frames.duration_s),
            "findings": [_finding(f) for f in findings],
            "preview": preview,
            "advising": True,
            "partly": True,
            "took_ms": _ms(began),
        }
        more = {"do": "judge_all", "client": key[0], "name": key[1], "n": n, "after_s": QUIET_S}
        return send(_verdict(key[1], n).model_copy(update=update)) | {"more": more}

    def judge_all(self, job: dict[str, Any]) -> Answer:
        """The verdict on all of a draft of which a stretch has been looked at."""
        key = job["client"], job["name"]
        n, frames = self._unchecked.get(key, (-1, None))
        if frames is None or n != job["n"]:
            return {}  # an edit has come meanwhile
        del self._unchecked[key]
        return self._judge(key, n, frames, self._known.get(key), time.perf_counter())

    def _remember(self, key: _Key, known: _Known) -> None:
        self._known[key] = known
        self._known.move_to_end(key)
        while len(self._known) > REMEMBERED:
            self._known.popitem(last=False)

    def advise(self, job: dict[str, Any]) -> Answer:
        """Go on with the advice on a draft, a little at a time, so that the next edit does not wait for it."""
        key = job["client"], job["name"]
        advising = self._advising.get(key)
        if advising is None or advising.verdict.n != job["n"]:
            return {}  # an edit has come meanwhile
        return self._advise(key, advising, WHILE_S)

    def _advise(
        self, key: _Key, advising: _Advising, seconds: float, preview: answering.PreviewInfo | None = None
    ) -> Answer:
        """Ask for advice for so long: the verdict, if all is there or a preview has to go; and what is to be asked."""
        until = time.perf_counter() + seconds
        done = advising.go_on(until)
        self._advising.pop(key, None)
        answer: Answer = {}
        if not done:
            self._advising[key] = advising
            while len(self._advising) > REMEMBERED:
                self._advising.popitem(last=False)
            answer = {"more": {"do": "advise", "client": key[0], "name": key[1], "n": advising.verdict.n}}
        if done or preview is not None:
            update = {
                "findings": [_finding(f) for f in advising.findings],
                "preview": preview,
                "advising": not done,
                "took_ms": round(advising.took_s * 1e3, 1),
            }
            answer |= send(advising.verdict.model_copy(update=update))
        return answer

    def forget(self, job: dict[str, Any]) -> Answer:
        """A browser has closed a move, or gone."""
        for key in [key for key in self._known if key[0] == job["client"] and job.get("name") in (None, key[1])]:
            del self._known[key]
            self._advising.pop(key, None)
            self._unchecked.pop(key, None)
        return {}


def _verdict(name: str, n: int) -> answering.Judged:
    """One that says nothing yet."""
    return answering.Judged(
        name=name,
        n=n,
        place="",
        problem="",
        fits=False,
        duration_s=0.0,
        findings=[],
        preview=None,
        advising=False,
        partly=False,
        took_ms=0.0,
    )


def _is_short(stretch: tuple[int, int], frames: Frames) -> bool:
    """Whether looking at an edited stretch is much less than looking at all of it."""
    return len(frames) >= LONG_FRAMES and stretch[1] - stretch[0] < len(frames) / 4


def _finding(f: Finding) -> answering.FindingInfo:
    return answering.FindingInfo(
        rule=f.rule,
        severity=f.severity,
        start_s=f.start_s,
        end_s=f.end_s,
        subject=f.subject,
        value=f.value,
        limit=f.limit,
        unit=f.unit,
        advice=f.advice,
        remedies=[answering.Remedy(kind=r.kind, words=r.words) for r in remedies(f)],
    )


def send(message: answering.Judged) -> Answer:
    """An answer that the hub passes on to the browser."""
    return {"send": pack(message)}


def _ms(began: float) -> float:
    return round((time.perf_counter() - began) * 1e3, 1)
