"""The process in which moves that are being edited are judged: warm, so that no verdict waits for a start.

It reads jobs on its standard input and answers each on its standard output, both as a length of four bytes and a
MessagePack map. What it answers is mostly a message for the browser, packed already: the hub only passes it on.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import sys
import traceback
from collections.abc import Callable
from typing import Any

import msgpack  # type: ignore[import-untyped]
import numpy as np
from numpy.typing import NDArray

from motionhub.check.findings import Finding
from motionhub.check.remedies import Remedied, remedied, remedies
from motionhub.errors import InputError
from motionhub.hub.sources.replay import joints_of
from motionhub.library.exchange import Columns, pack_frames, read_table
from motionhub.library.shelf import read_text
from motionhub.library.sounds import Sounds
from motionhub.library.store import Library, OvertakenError, version_of
from motionhub.link.coder import frame_bytes
from motionhub.motion import documents, jsontext
from motionhub.motion.documents import Sequence
from motionhub.motion.formats import Cue
from motionhub.motion.render import render
from motionhub.motion.retime import knots, stretched
from motionhub.motion.thinning import Thinned, cues_of, thin, transcribe
from motionhub.remote import answering, making
from motionhub.remote.convert import pack
from motionhub.remote.judging import Answer, Judge
from motionhub.remote.maker import maker_info, poses_text
from motionhub.remote.pipe import RATE_HZ, Setup, framed, read

NICE = 10
"""The tick goes before; but a check of the whole library waits."""
EXPORT_BYTES = 8_000_000

Array = NDArray[np.float64]


class Worker:
    """Does the jobs, one at a time."""

    def __init__(self, setup: Setup) -> None:
        self.robot = setup.robot
        self.calibration = setup.calibration
        self.library = Library(setup.folder, setup.shipped, setup.robot)
        self.sounds = Sounds(setup.folder)
        coder = frame_bytes(setup.robot, setup.calibration, RATE_HZ)
        self.judge = Judge(setup.robot, coder, self._read)

    def do(self, job: dict[str, Any]) -> Answer:
        """Do a job: ``{"do": the type of the message that asks for it, and its fields}``.

        Returns:
            ``{"send": packed message}``, or what the hub needs to go on; ``{"refused": words}`` if it cannot be done.
        """
        try:
            return self._JOBS[job["do"]](self, job)
        except InputError as error:
            return {"refused": ": ".join(part for part in (error.place, error.expected) if part)}
        except Exception:
            traceback.print_exc()
            return {"refused": "a fault of the program kept it from being done; it is in the hub's log"}

    # ---------------------------------------------------------------- one's library

    def open(self, job: dict[str, Any]) -> Answer:
        """What a browser needs to edit a sequence, apart from drafts and people."""
        name = job["name"]
        found = self.library.move_text(name)
        if found is not None and self.library.kind(name) != "sequence":
            raise InputError(name, "", f"{name} is a routine: only sequences are edited here")
        text, shipped = found or ("", False)
        if text:
            self.library.parse_sequence(text, name)
        poses = {}
        for pose in self.library.pose_names():
            with contextlib.suppress(InputError):  # one that cannot be read is not offered
                poses[pose] = self.library.pose(pose)
        return {
            "text": text,
            "version": version_of(text),
            "shipped": shipped,
            "maker": maker_info(self.robot).model_dump(),
            "poses": poses_text(poses),
            "sounds": self.sounds.names(),
        }

    def save(self, job: dict[str, Any]) -> Answer:
        """Save a sequence over the version that its edits began from."""
        sequence = self._read(job)
        document = sequence.document.model_copy(update={"name": job["name"]})
        try:
            return {"version": self.library.save_over(document, job["name"], job["base"])}
        except OvertakenError as error:
            return {"conflict": error.text, "version": version_of(error.text)}

    def save_pose(self, job: dict[str, Any]) -> Answer:
        """Keep a pose."""
        self.library.save_pose(documents.parse_pose(job["text"], job["name"], self.robot), job["name"])
        return {}

    def versions(self, job: dict[str, Any]) -> Answer:
        """What was saved of a sequence before."""
        items = [
            answering.VersionInfo(id=v.path.stem, replaced=v.replaced.astimezone().isoformat(timespec="seconds"))
            for v in self.library.history(job["name"])
        ]
        return _send(answering.VersionList(name=job["name"], items=items))

    def look_back(self, job: dict[str, Any]) -> Answer:
        """An earlier text of a sequence."""
        for version in self.library.history(job["name"]):
            if version.path.stem == job["id"]:
                text = read_text(version.path)
                self.library.parse_sequence(text, f"{job['name']} of {version.replaced:%d %b %H:%M}")
                return _send(answering.PastVersion(name=job["name"], id=job["id"], text=text))
        raise InputError(job["name"], "", "that version is no longer kept")

    # ---------------------------------------------------------------- mends

    def mend(self, job: dict[str, Any]) -> Answer:
        """A sequence without one of its findings, if that can be had."""
        sequence = self._read(job)

        def judge(trial: Sequence) -> list[Finding]:
            return list(self.judge.check(trial).findings)

        fitting = [
            (abs(f.start_s - job["start_s"]), i, f, remedy)
            for i, f in enumerate(judge(sequence))
            if (f.rule, f.subject) == (job["rule"], job["subject"])
            for remedy in remedies(f)
            if remedy.kind == job["remedy"]
        ]
        if not fitting:
            raise InputError(job["name"], "", "this has changed meanwhile: look at the new verdict")
        _, _, finding, remedy = min(fitting, key=lambda item: item[:2])
        done: Remedied = remedied(sequence, self.robot, finding, remedy, judge)
        text = jsontext.dump(done.sequence.document)
        return _send(answering.Mended(name=job["name"], n=job["n"], text=text, words=done.words, left=done.left))

    def thin(self, job: dict[str, Any]) -> Answer:
        """A sequence with fewer keyframes."""
        sequence = self._read(job)
        before = len(sequence.document.keyframes)
        done = thin(sequence, self.robot, job["error_deg"])
        gone = before - done.keyframes
        words = f"{gone} of {before} keys left out; no joint is more than {_up(done.error_deg)} deg off"
        return _send(
            answering.Mended(
                name=job["name"],
                n=job["n"],
                text=jsontext.dump(done.sequence.document),
                words=words if gone else f"every key is needed to stay within {job['error_deg']:g} deg",
                left=False,
            )
        )

    def rehearse(self, job: dict[str, Any]) -> Answer:
        """Frames of a draft that has passed its check, slowed down."""
        sequence = self._read(job)
        if job["share"] < 1:
            sequence = stretched(sequence, self.robot, np.full(len(knots(sequence)) - 1, 1 / job["share"]))
        report = self.judge.check(sequence)
        if not report.fits:
            worst = next(f for f in report.findings if f.severity == "error")
            return {"refused": f"it does not pass its check: {worst.rule} at {worst.start_s:.1f} s: {worst.advice}"}
        frames = report.timeline.frames
        arrays = (frames.joints, frames.outputs, frames.reach_error, frames.travel)
        return {"arrays": [np.ascontiguousarray(a).tobytes() for a in arrays], "frames": len(frames)}

    # ---------------------------------------------------------------- from outside and to it

    def transcribe(self, job: dict[str, Any]) -> Answer:
        """A sequence from a recording."""
        recording = self.library.recording(job["recording"])
        rate = recording.rate_hz
        last = len(recording.pulses) if job["to_s"] is None else round(job["to_s"] * rate) + 1
        part = slice(round(job["from_s"] * rate), last)
        joints = joints_of(recording, self.robot, self.calibration)[part]
        about = f"Made of the recording {job['recording']}."
        done = transcribe(job["name"], joints, rate, self.robot, job["error_deg"], about)
        cues = cues_of(recording.outputs[part], rate, [output.name for output in self.robot.outputs])
        return self._made(job, done, cues, "")

    def read_table(self, job: dict[str, Any]) -> Answer:
        """A sequence from a table of joint angles."""
        columns = Columns(job["columns"], job["time"], job["milliseconds"])
        joints, passed = read_table(job["text"], job["name"], self.robot, columns, job["rate_hz"])
        done = transcribe(
            job["name"], joints, job["rate_hz"], self.robot, job["error_deg"], "Made of a table of angles."
        )
        more = f"; passed over: {', '.join(name or 'a column without a heading' for name in passed)}" if passed else ""
        return self._made(job, done, [], more)

    def read_document(self, job: dict[str, Any]) -> Answer:
        """A sequence from elsewhere, under the name that it is wanted by."""
        document = self._read(job).document.model_copy(update={"name": job["name"]})
        count = len(document.keyframes)
        words = f"{count} keys" + (f" and {len(document.walks)} walks" if document.walks else "")
        text = jsontext.dump(document)
        return _send(answering.Made(name=job["name"], text=text, words=words, keyframes=count, error_deg=0.0))

    def _made(self, job: dict[str, Any], done: Thinned, cues: list[Cue], more: str) -> Answer:
        document = done.sequence.document.model_copy(update={"cues": cues})
        text = jsontext.dump(document)
        self.library.parse_sequence(text, job["name"])
        if len(text) > making.DOCUMENT_CHARACTERS:
            raise InputError(job["name"], "", "expected less movement or a larger error: it takes too many keys")
        words = f"{done.keyframes} keys; no joint is more than {_up(done.error_deg)} deg off{more}"
        return _send(
            answering.Made(
                name=job["name"], text=text, words=words, keyframes=done.keyframes, error_deg=round(done.error_deg, 3)
            )
        )

    def export(self, job: dict[str, Any]) -> Answer:
        """Frames as MessagePack."""
        data = pack_frames(render(self._read(job), self.robot, job["rate_hz"]))
        if len(data) > EXPORT_BYTES:
            raise InputError(job["name"], "", "too long to be sent; motionhub frames writes it to a file")
        return _send(answering.Exported(name=job["name"], data=data))

    # ---------------------------------------------------------------- what they share

    def _read(self, job: dict[str, Any]) -> Sequence:
        return self.library.parse_sequence(job["text"], job["name"])

    _JOBS: dict[str, Callable[[Worker, dict[str, Any]], Answer]] = {  # noqa: RUF012 - never changed
        "open_move": open,
        "save_move": save,
        "save_pose": save_pose,
        "list_versions": versions,
        "look_back": look_back,
        "draft": lambda self, job: self.judge.judge(job),
        "judge_all": lambda self, job: self.judge.judge_all(job),
        "advise": lambda self, job: self.judge.advise(job),
        "forget": lambda self, job: self.judge.forget(job),
        "mend": mend,
        "thin": thin,
        "rehearse": rehearse,
        "transcribe": transcribe,
        "read_table": read_table,
        "read_document": read_document,
        "export_frames": export,
    }


def _send(message: Any) -> Answer:
    return {"send": pack(message)}


def _up(degrees: float) -> str:
    """To a tenth, never less than it is."""
    return f"{np.ceil(degrees * 10 - 1e-9) / 10:.1f}"


def main() -> None:
    """Work until the hub has gone."""
    source, target = sys.stdin.buffer, sys.stdout.buffer
    sys.stdout = sys.stderr  # nothing but answers goes there
    with contextlib.suppress(OSError, AttributeError):
        os.nice(NICE)
    first = read(source)
    if first is None:
        return
    worker = Worker(pickle.loads(first))  # the hub's own, through a pipe that nobody else holds
    while (data := read(source)) is not None:
        answer = framed(msgpack.packb(worker.do(msgpack.unpackb(data, strict_map_key=False))))
        try:
            target.write(answer)
            target.flush()
        except BrokenPipeError:
            # The hub was killed meanwhile. What is still in the buffer must not be tried once more at the exit.
            os.dup2(os.open(os.devnull, os.O_WRONLY), target.fileno())
            return


if __name__ == "__main__":
    main()
