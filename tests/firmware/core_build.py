"""Builds the portable core for this computer: with warnings as errors, and with sanitizers."""

from __future__ import annotations

import functools
import shutil
import subprocess
from dataclasses import dataclass
from pathlib import Path

from motionhub.link.controller import Settings
from motionhub.link.firmware import Wiring, header
from motionhub.link.kept import Export, JointLine, Record, export
from motionhub.link.simulated import settings
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

CORE = Path(__file__).parents[2] / "motionhub" / "firmware" / "core"
HERE = Path(__file__).parent
# What a compiler can say without being wrong too often; the core's narrow arithmetic is why -Wconversion matters.
WARNINGS = ["-Wall", "-Wextra", "-Wpedantic", "-Wconversion", "-Wsign-conversion", "-Wshadow", "-Wold-style-cast"]
STRICT = ["-std=c++11", "-Werror", *WARNINGS]
CORE_FLAGS = ["-fno-exceptions", "-fno-rtti", *STRICT]


@dataclass(frozen=True)
class Shape:
    """What a configuration is made from."""

    export: Export
    settings: Settings

    @property
    def joints(self) -> int:
        return len(self.export.joints)

    @property
    def outputs(self) -> int:
        return len(self.settings.silenced)


def of_robot(robot: Robot, calibration: Calibration) -> Shape:
    made = export(robot, calibration)
    records = made.records(made.image)
    assert records is not None
    return Shape(made, settings(robot, made.limits(records)))


def invented(joints: int, outputs: int) -> Shape:
    """Any number of joints, each with other numbers."""
    lines = tuple(
        JointLine(
            500 + i, 2500 - i, 1500, 7 * i - 60, 300 - 13 * i, Record(i, 600 + i, 2400 - i, i - 5, i % 3 == 1, 1000 + i)
        )
        for i in range(joints)
    )
    made = Export(lines)
    records = made.records(made.image)
    assert records is not None
    limits = made.limits(records)
    return Shape(
        made,
        Settings(
            limits.low, limits.high, limits.rest, limits.lowered, 25, 150, 7000, 6600,
            tuple(i == 2 for i in range(outputs)),
            tuple(i == 1 for i in range(outputs)),
        ),
    )  # fmt: skip


def config(shape: Shape) -> str:
    """The text of config.h, as it is exported; the core reads nothing of the wiring."""
    joints, outputs = range(shape.joints), range(shape.outputs)
    wiring = Wiring(
        joint_names=[f"joint {i}" for i in joints],
        joint_pins=joints,
        output_names=[f"output {i}" for i in outputs],
        output_pins=outputs,
        uart=1,
        baud=57_600,
        battery_input=0,
        reference_mv=5000,
        divider_ohm=(10_000, 4_700),
    )
    return header(shape.export, shape.settings, wiring, "a test")


def sources() -> list[Path]:
    return sorted(CORE.glob("*.cpp"))


def build(
    folder: Path, shape: Shape, compiler: str, flags: list[str], extra: Path, target: str, link: list[str]
) -> Path:
    """Compile the core and one file beside it; the core alone stands under the strict warnings."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "config.h").write_text(config(shape))
    # One folder with all of it, as the exported one is: nothing must depend on include paths.
    for file in [*CORE.glob("*.h"), *sources()]:
        if not file.name.startswith("config"):
            shutil.copy(file, folder)
    objects = []
    for source in [*(folder / file.name for file in sources()), extra]:
        own = CORE_FLAGS if source != extra else STRICT
        out = folder / f"{source.stem}.o"
        run([compiler, *own, *flags, f"-I{folder}", "-c", str(source), "-o", str(out)])
        objects.append(str(out))
    run([compiler, *flags, *link, *objects, "-o", str(folder / target)])
    return folder / target


def run(command: list[str]) -> None:
    done = subprocess.run(command, text=True, capture_output=True)
    assert done.returncode == 0, " ".join(command) + "\n" + done.stdout + done.stderr


@functools.cache
def able(compiler: str, *flags: str) -> bool:
    """Whether this compiler is here and can make a program with these flags (sanitizers are packages of their own)."""
    if shutil.which(compiler) is None:
        return False
    program = 'extern "C" int LLVMFuzzerTestOneInput(const unsigned char*, unsigned long) { return 0; }\n'
    if not any("fuzzer" in flag for flag in flags):
        program += "int main() { return 0; }\n"
    command = [compiler, "-xc++", *flags, "-", "-o", "/dev/null"]
    return subprocess.run(command, input=program, text=True, capture_output=True).returncode == 0
