"""The folder with the robot's program: its sources, made for one robot, and what is needed to build them.

The hobby-board editor opens a folder whose main file has the folder's own name, and builds what lies in it and
in its ``src/``; ``make`` builds the same.
"""

from __future__ import annotations

import re
import secrets
import shutil
from pathlib import Path

from motionhub.errors import InputError
from motionhub.link.firmware import MARK, config_header
from motionhub.robot.board import DIMMED, UARTS
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

_FIRMWARE = Path(__file__).resolve().parent.parent / "firmware"
NAME = re.compile(r"[A-Za-z0-9_][A-Za-z0-9_.-]{0,62}")
"""Names of folders that the editor opens (practice: letters, digits, and _ . - but not first; at most 63)."""


def sketch_files(robot: Robot, calibration: Calibration, name: str) -> dict[str, str]:
    """Every file of the folder ``name``, by its path in it.

    Raises:
        InputError: naming what the robot's board does not have or cannot do.
    """
    config = config_header(robot, calibration)
    files = {
        f"src/{source.name}": source.read_text(encoding="utf-8")
        for room in ("core", "board")
        for source in sorted((_FIRMWARE / room).iterdir())
        if source.suffix in (".h", ".cpp") and source.name != "config.example.h"
    }
    files["src/config.h"] = config
    for source, path in (("sketch.ino", f"{name}.ino"), ("Makefile", "Makefile"), ("README.md", "README.md")):
        files[path] = _filled((_FIRMWARE / "sketch" / source).read_text(encoding="utf-8"), robot, name)
    return files


def write_sketch(folder: Path, files: dict[str, str]) -> None:
    """Make ``folder`` hold exactly these files, whole or not at all.

    Raises:
        InputError: if something is there that no earlier export wrote, or it cannot be written.
    """
    name = folder.name
    if not NAME.fullmatch(name):
        raise InputError(
            "--out",
            str(folder),
            "expected a folder name that the hobby-board editor takes: letters, digits, _ and, not first, . and -",
        )
    if folder.exists() and not _ours(folder):
        raise InputError(
            "--out", str(folder), "expected a new folder, an empty one or an earlier export, found something else"
        )
    fresh, old = (folder.with_name(f".{name[:40]}.{secrets.token_hex(6)}.{part}") for part in ("part", "old"))
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        try:
            for path, text in files.items():
                (fresh / path).parent.mkdir(parents=True, exist_ok=True)
                # Nothing here is lost that could not be exported again, so nothing waits for the disk.
                (fresh / path).write_text(text, encoding="utf-8", newline="\n")
            if folder.exists():
                folder.rename(old)
            fresh.rename(folder)
        finally:
            if old.exists() and not folder.exists():
                old.rename(folder)
            for left in (fresh, old):
                shutil.rmtree(left, ignore_errors=True)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        raise InputError("--out", str(folder), f"expected a place to write to, found: {reason}") from None


def _ours(folder: Path) -> bool:
    """Whether nothing would be lost that a person made: it is empty, or what is in it was exported or built."""
    if not folder.is_dir() or folder.is_symlink():
        return False
    inside = {path.name for path in folder.iterdir()}
    if not inside:
        return True
    config = folder / "src" / "config.h"
    return (
        inside <= {f"{folder.name}.ino", "Makefile", "README.md", "src", "build"}
        and config.is_file()
        and MARK in config.read_text(encoding="utf-8", errors="replace")[:300]
    )


def wiring(robot: Robot) -> str:
    """A table of what goes to which pin, for people."""
    receives, sends = UARTS[robot.controller.uart]
    top, bottom = (f"{ohm / 1000:g} kΩ" for ohm in robot.controller.divider_ohm)
    rows = [(str(pin), f"servo of {name}") for name, pin in zip(robot.joint_names, robot.pins, strict=True)]
    for output in robot.outputs:
        how = (
            "on at any level"
            if output.kind == "sounder"
            else "dimmed"
            if output.pin in DIMMED
            else "on from half level"
        )
        rows.append((str(output.pin), f"{output.kind} {output.name} ({how})"))
    rows.append((str(receives), "what the radio sends"))
    rows.append((str(sends), "what the radio receives"))
    rows.append((f"A{robot.controller.battery_input}", f"battery through {top}, and {bottom} from the pin to ground"))
    return "\n".join(["| pin | what |", "| --- | --- |", *(f"| {pin} | {what} |" for pin, what in rows)])


def _filled(text: str, robot: Robot, name: str) -> str:
    plain = "".join(c for c in robot.name if c.isprintable())
    values = {"name": plain, "sketch": name, "wiring": wiring(robot), "baud": str(robot.link.baud)}
    for key, value in values.items():
        text = text.replace(f"{{{key}}}", value)
    return text
