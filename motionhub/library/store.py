"""The library: every named move, pose, routine, recording and calibration, over the moves that are shipped.

On disk, in a folder of the user's::

    DIR/<name>.json               sequences and routines, told apart by their "format"
    DIR/poses/<name>.json
    DIR/recordings/<name>.jsonl
    DIR/calibration/<robot>.json
    DIR/bringup/<robot>.json      how far its bring-up has come
    DIR/sounds/<name>.<kind>
    DIR/.history/…                earlier versions
    DIR/.drafts/…                 moves that are being edited, see :mod:`~motionhub.library.drafts`

The shipped moves lie under it, read-only: a user's document of the same name covers the shipped one, and
saving never touches those. Whatever cannot be read is listed as such; one bad file does not hide the others.
"""

from __future__ import annotations

import time
from collections.abc import Iterator
from dataclasses import dataclass
from hashlib import sha256
from pathlib import Path
from typing import Literal

from motionhub.errors import InputError, unknown
from motionhub.library import recording as recordings_format
from motionhub.library.atomic import sweep
from motionhub.library.names import checked, is_name, stems
from motionhub.library.notebook import Notebook
from motionhub.library.recorder import RecordingWriter, rescue_all
from motionhub.library.recording import Recording
from motionhub.library.shelf import KEEP, Shelf, Version, read_text
from motionhub.motion import documents, jsontext
from motionhub.motion.documents import Sequence
from motionhub.motion.formats import ROUTINE_FORMAT, SEQUENCE_FORMAT, Pose, PoseFile, RoutineFile, SequenceFile
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

MoveKind = Literal["sequence", "routine"]


class OvertakenError(Exception):
    """A document was not saved, for it is no longer what the edits began from. Holds its present text."""

    def __init__(self, text: str) -> None:
        super().__init__("something else has been saved under this name meanwhile")
        self.text = text


def version_of(text: str) -> str:
    """Tells one text of a document from another; empty for none."""
    return sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:24] if text else ""


@dataclass(frozen=True)
class Entry:
    """A line of the list of moves."""

    name: str
    kind: MoveKind
    """``sequence`` when it is unreadable and does not say."""
    shipped: bool
    unreadable: str = ""
    """Why it cannot be read; empty when it can."""


@dataclass(frozen=True)
class RecordingEntry:
    """A line of the list of recordings."""

    name: str
    duration_s: float
    made: str
    """Local date and time, ISO 8601; empty when it is unreadable."""
    unreadable: str = ""


class Library:
    """A folder of documents for one robot.

    Args:
        folder: The user's own; made when something is saved.
        shipped: What comes with the program, see :func:`motionhub.library.shipped.shipped_folder`.
        robot: Whose joints, legs and outputs the documents may name.
    """

    def __init__(self, folder: Path, shipped: Path, robot: Robot) -> None:
        self.folder = Path(folder)
        self.shipped = Path(shipped)
        self.robot = robot
        self._moves = self._shelf("", "moves")
        self._poses = self._shelf("poses", "poses")
        self._recordings = self._shelf("recordings", "recordings", ".jsonl", keep=3)
        self._calibrations = self._shelf("calibration", "calibration")
        self._notebooks = self._shelf("bringup", "bringup", keep=3)

    def _shelf(self, folder: str, past: str, suffix: str = ".json", keep: int = KEEP) -> Shelf:
        return Shelf(self.folder, self.folder / folder, self.folder / ".history" / past, suffix, keep)

    # ------------------------------------------------------------------ moves

    def names(self) -> list[str]:
        """Names of all sequences and routines, one's own and shipped, readable or not."""
        return list(self._move_files())

    def entries(self) -> list[Entry]:
        """The list of moves, by name. Reads every one; none that fails hides another."""
        found = []
        for name, (_, shipped) in self._move_files().items():
            kind: MoveKind = "sequence"
            try:
                kind = self.kind(name)
                if kind == "sequence":
                    self.sequence(name)
                else:
                    self.routine(name)
            except InputError as error:
                found.append(Entry(name, kind, shipped, str(error)))
            else:
                found.append(Entry(name, kind, shipped))
        return found

    def kind(self, name: str) -> MoveKind:
        """Whether a move is a sequence or a routine.

        Raises:
            InputError: if there is no such move, or it does not say.
        """
        path, text = self._move(name)
        said = jsontext.load(text, path).get("format")
        kinds: dict[object, MoveKind] = {SEQUENCE_FORMAT: "sequence", ROUTINE_FORMAT: "routine"}
        if isinstance(said, str) and said in kinds:
            return kinds[said]
        shown = "nothing" if said is None else repr(said)[:60]
        raise InputError(path, "format", f"expected {SEQUENCE_FORMAT!r} or {ROUTINE_FORMAT!r}, found {shown}")

    def sequence(self, name: str) -> Sequence:
        """A sequence, with the library's poses that it names.

        Raises:
            InputError: if there is none of that name, or it does not make sense for this robot.
        """
        path, text = self._move(name)
        return self.parse_sequence(text, path)

    def parse_sequence(self, text: str, source: str | Path) -> Sequence:
        """Read the text of a sequence from anywhere, with this library's poses at hand.

        Raises:
            InputError: naming the place and what was expected there.
        """
        poses: dict[str, Pose] = {}
        broken: dict[str, InputError] = {}
        for pose in self.pose_names():
            try:
                poses[pose] = self.pose(pose)
            except InputError as error:
                broken[pose] = error
        try:
            return documents.parse(text, source, self.robot, poses)
        except InputError as error:
            # A pose that is there but cannot be read is not an unknown one: say what is wrong with it.
            for pose, reason in broken.items():
                if error.place.endswith(".pose") and f"found {pose!r}" in error.expected:
                    raise reason from None
            raise

    def routine(self, name: str) -> RoutineFile:
        """A routine. Whether its sequences can be read is asked when they are.

        Raises:
            InputError: if there is none of that name, or it does not make sense.
        """
        path, text = self._move(name)
        return documents.parse_routine(text, path)

    def save_sequence(self, sequence: Sequence | SequenceFile, name: str | None = None) -> Path:
        """Save a sequence under a name, its own when not given.

        Raises:
            InputError: if it could not be saved, or not read back; then all is as it was.
        """
        document = sequence.document if isinstance(sequence, Sequence) else sequence
        text, name = jsontext.dump(document), checked(document.name if name is None else name)
        self.parse_sequence(text, name)
        return self._moves.write(name, text)

    def move_text(self, name: str) -> tuple[str, bool] | None:
        """The text of a sequence or routine as it is, and whether it is a shipped one; None if there is none.

        Raises:
            InputError: if that is no name, or it cannot be read.
        """
        own = self._moves.read(name)
        if own is not None:
            return own[1], False
        for path in self._shipped_files(""):
            if path.stem.lower() == name.lower():
                return read_text(path), True
        return None

    def save_over(self, sequence: Sequence | SequenceFile, name: str, base: str) -> str:
        """Save a sequence if what is there now has the version ``base``, see :func:`version_of`.

        Returns:
            Its version.

        Raises:
            OvertakenError: if something else is there.
            InputError: if it could not be saved, or not read back; then all is as it was.
        """
        document = sequence.document if isinstance(sequence, Sequence) else sequence
        text = jsontext.dump(document)
        self.parse_sequence(text, checked(name))

        def may() -> None:
            present, _ = self.move_text(name) or ("", False)
            if version_of(present) not in (base, version_of(text)):
                raise OvertakenError(present)

        self._moves.write(name, text, may)
        return version_of(text)

    def save_routine(self, routine: RoutineFile, name: str | None = None) -> Path:
        """Save a routine under a name, its own when not given.

        Raises:
            InputError: if it could not be saved; then all is as it was.
        """
        text, name = jsontext.dump(routine), checked(routine.name if name is None else name)
        documents.parse_routine(text, name)
        return self._moves.write(name, text)

    def remove(self, name: str) -> bool:
        """Take one's own sequence or routine away, its last text kept as a version; the shipped one shows again.

        Raises:
            InputError: if that is no name, or it could not be removed.
        """
        return self._moves.remove(name)

    def history(self, name: str) -> list[Version]:
        """Earlier versions of one's own sequence or routine, newest first.

        Raises:
            InputError: if that is no name.
        """
        return self._moves.history(name)

    def restore(self, name: str, version: Version) -> Path:
        """Make an earlier version the present one; what was present becomes a version.

        Raises:
            InputError: if it cannot be read or saved.
        """
        if version.path not in [known.path for known in self.history(name)]:
            raise InputError(name, "", "expected one of its own versions")
        return self._moves.write(name, read_text(version.path))

    def stamp(self) -> tuple[object, ...]:
        """Changes whenever a file of a move or pose is saved, added or removed: for noticing, by asking again."""
        files = [path for path, _ in self._move_files().values()] + list(self._pose_files().values())
        return tuple((str(path), *_mark(path)) for path in files)

    def _move_files(self) -> dict[str, tuple[Path, bool]]:
        layers = [(path, True) for path in self._shipped_files("")]
        layers += [(path, False) for path in self._moves.names().values()]
        found = {path.stem.lower(): (path, shipped) for path, shipped in layers}
        return {path.stem: (path, shipped) for _, (path, shipped) in sorted(found.items())}

    def _move(self, name: str) -> tuple[Path, str]:
        own = self._moves.read(name)
        if own is not None:
            return own
        for path, _ in self._move_files().values():
            if path.stem.lower() == name.lower():
                return path, read_text(path)
        raise InputError("library", "", unknown("sequence or routine", name, self.names()))

    def _shipped_files(self, folder: str) -> Iterator[Path]:
        yield from stems(self.shipped / folder, ".json").values()

    # ------------------------------------------------------------------ poses

    def pose_names(self) -> list[str]:
        """Names of all poses, one's own and shipped, readable or not."""
        return list(self._pose_files())

    def pose(self, name: str) -> PoseFile:
        """A pose.

        Raises:
            InputError: if there is none of that name, or it does not make sense for this robot.
        """
        own = self._poses.read(name)
        if own is not None:
            return documents.parse_pose(own[1], own[0], self.robot)
        for stem, path in self._pose_files().items():
            if stem.lower() == name.lower():
                return documents.parse_pose(read_text(path), path, self.robot)
        raise InputError("library", "", unknown("pose", name, self.pose_names()))

    def save_pose(self, pose: PoseFile, name: str | None = None) -> Path:
        """Save a pose under a name, its own when not given.

        Raises:
            InputError: if it does not suit the robot or could not be saved; then all is as it was.
        """
        text, name = jsontext.dump(pose), checked(pose.name if name is None else name)
        documents.parse_pose(text, name, self.robot)
        return self._poses.write(name, text)

    def _pose_files(self) -> dict[str, Path]:
        layers = [*self._shipped_files("poses"), *self._poses.names().values()]
        found = {path.stem.lower(): path for path in layers}
        return {path.stem: path for _, path in sorted(found.items())}

    # ------------------------------------------------------------------ recordings

    def recordings(self) -> list[RecordingEntry]:
        """All recordings, newest first; those that cannot be read last."""
        found = []
        for name, path in self._recordings.names().items():
            try:
                self._recordings.path(name)
                header = recordings_format.read_header(path)
                ticks = recordings_format.read_ticks(path)
            except InputError as error:
                found.append(RecordingEntry(name, 0.0, "", str(error)))
            else:
                found.append(RecordingEntry(name, ticks / header.rate_hz, header.made))
        return sorted(found, key=lambda entry: (entry.made, entry.name), reverse=True)

    def recording(self, name: str) -> Recording:
        """A recording.

        Raises:
            InputError: if there is none of that name, it was cut short, or it is of a robot with other joints.
        """
        own = self._recordings.read(name)
        if own is None:
            raise InputError("library", "", unknown("recording", name, list(self._recordings.names())))
        return recordings_format.parse(own[1], own[0], self.robot)

    def save_recording(self, name: str, recording: Recording) -> Path:
        """Save a whole recording.

        Raises:
            InputError: if it could not be saved; then all is as it was.
        """
        return self._recordings.write(name, recordings_format.dump(recording))

    def rescue(self) -> list[str]:
        """Make recordings of what a crash left unfinished, and remove other half-written files; the new names."""
        now = time.time()
        for folder in (self.folder, self.folder / "poses", self.folder / "calibration", self.folder / "bringup"):
            sweep(folder, older_than_s=3600, now=now)
        return rescue_all(self._recordings)

    def record(self, rate_hz: float) -> RecordingWriter:
        """Begin a recording that is on the disk as it grows.

        Raises:
            InputError: if there is nowhere to write.
        """
        return RecordingWriter(self._recordings, self.robot, rate_hz)

    # ------------------------------------------------------------------ calibration

    def calibration(self) -> Calibration:
        """The robot's calibration; as the data sheets say when there is none yet.

        Raises:
            InputError: if there is one that cannot be read: guessing a trim is worse than refusing.
        """
        own = self._calibrations.read(self._slug())
        return Calibration.default(self.robot) if own is None else Calibration.parse(own[1], own[0], self.robot)

    @property
    def calibrated(self) -> bool:
        """Whether anything was ever found out about this machine."""
        return self._calibrations.read(self._slug()) is not None

    def save_calibration(self, calibration: Calibration) -> Path:
        """Save the robot's calibration.

        Raises:
            InputError: if it is another robot's or could not be saved; then all is as it was.
        """
        text = calibration.dump()
        Calibration.parse(text, "calibration", self.robot)
        return self._calibrations.write(self._slug(), text)

    def notebook(self) -> Notebook | None:
        """How far the robot's bring-up has come; None when none was begun.

        Raises:
            InputError: if there is one that cannot be read.
        """
        own = self._notebooks.read(self._slug())
        return None if own is None else Notebook.parse(own[1], own[0], self.robot)

    def save_notebook(self, notebook: Notebook) -> Path:
        """Save how far the robot's bring-up has come.

        Raises:
            InputError: if it could not be saved; then all is as it was.
        """
        return self._notebooks.write(self._slug(), notebook.dump())

    def _slug(self) -> str:
        return file_name_of(self.robot.name)


def file_name_of(title: str) -> str:
    """A name that a document may have, for any title: the same for the same title, another for another.

    Titles that differ only in case share one, as names do. What a name cannot hold becomes ``_``, and a
    digest of the title then keeps two such titles apart.
    """
    if is_name(title):
        return title.lower()
    plain = "".join(c if c.isascii() and (c.isalnum() or c in " _-") else "_" for c in title).lower()
    return f"robot {plain[:40]}".rstrip() + "-" + sha256(title.encode("utf-8", "surrogatepass")).hexdigest()[:8]


def _mark(path: Path) -> tuple[int, int, int]:
    try:
        status = path.stat()
    except OSError:
        return (0, 0, 0)
    return (status.st_mtime_ns, status.st_size, status.st_ino)
