"""``motionhub firmware``: what is refused and how, what the folder holds, and that it builds."""

from __future__ import annotations

import dataclasses
import os
import re
import subprocess
from collections.abc import Callable
from pathlib import Path

import chip
import numpy as np
import pytest
from chip import US, measured
from conftest import ROBOTS, fitted
from scripted import Hub, rest_pulses

from motionhub.cli.group import main
from motionhub.library.sketch import sketch_files, write_sketch
from motionhub.link.firmware import config_header
from motionhub.robot.board import DIMMED, baud_made, misfit
from motionhub.robot.calibration import Calibration
from motionhub.robot.description import load

ROOT = Path(__file__).parents[2]
TANSY = (ROBOTS / "tansy.toml").read_text(encoding="utf-8")


Run = Callable[..., tuple[int, str, str]]


@pytest.fixture
def command(capsys: pytest.CaptureFixture[str]) -> Run:
    """The command as a shell would see it: exit code, stdout, stderr."""

    def run(*arguments: str | Path) -> tuple[int, str, str]:
        with pytest.raises(SystemExit) as ended:
            main(["firmware", *map(str, arguments)])
        return int(ended.value.code or 0), *capsys.readouterr()

    return run


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("pin = 40\n", "pin = 70\n", "pin of head: expected a pin of the board, 0 to 53 or 54 to 69"),
        ("pin = 40\n", "pin = 41\n", "joints[1].pin: expected a pin of its own for tail, found pin 41, which is"),
        ("pin = 45\n", "pin = 22\n", "found pin 22, which is left_front.coxa's"),
        ("pin = 40\n", "pin = 19\n", "pin of head: expected a pin of its own, found pin 19, which is what receives"),
        ("coxa = 22,", "coxa = 18,", "pin of left_front.coxa: expected a pin of its own, found pin 18, which is what"),
        ("pin = 41\n", "pin = 1\n", "pin of tail: expected a pin of its own, found pin 1, which is what sends"),
        ("pin = 45\n", "pin = 54\n", "pin of sounder: expected a pin of its own, found pin 54, which is the"),
        ("baud = 57600", "baud = 128000", "link.baud: expected at most 115200"),
        ("baud = 57600", "baud = 114300", "link.baud: expected a rate that a 16 MHz board makes"),
        ("ms = 3000", "ms = 3000\ndivider_ohm = [1000, 4700]", "controller.divider_ohm: expected a divider that"),
        ("cut_off_ms = 3000", "cut_off_ms = 3000\nuart = 4", "controller.uart: expected"),
    ],
)  # fmt: skip
def test_what_the_board_cannot_do_is_refused_by_name_and_nothing_is_written(
    tmp_path: Path, command: Run, old: str, new: str, said: str
) -> None:
    assert old in TANSY
    (tmp_path / "robot.toml").write_text(TANSY.replace(old, new), encoding="utf-8")
    out = tmp_path / "walker"
    code, told, refused = command("--robot", tmp_path / "robot.toml", "--sequences", tmp_path, "--out", out)
    assert (code, told, len(refused.splitlines())) == (2, "", 1)
    assert said in refused
    assert not out.exists()


def test_the_folder_is_written_whole_again_and_again_but_not_over_anything_else(tmp_path: Path, command: Run) -> None:
    out = tmp_path / "walker"
    code, told, refused = command("--sequences", tmp_path, "--out", out)
    assert (code, refused) == (0, "")
    assert "Tansy, 20 servos" in told
    # Practice: the editor opens a folder by the main file that has its name, and compiles src/ with it.
    assert {path.name for path in out.iterdir()} == {"walker.ino", "src", "Makefile", "README.md"}
    readme = (out / "README.md").read_text(encoding="utf-8")
    for word in ("avrdude", "make", "stand", "horns", "switch", "| 22 | servo of left_front.coxa |", "57600 baud"):
        assert word in readme
    assert not re.search(r"\{\w+\}", readme)
    (out / "src" / "of-an-older-version.cpp").write_text("old")
    (out / "build").mkdir()
    assert command("--sequences", tmp_path, "--out", out)[0] == 0
    assert not (out / "src" / "of-an-older-version.cpp").exists()
    assert sorted(p.name for p in tmp_path.iterdir()) == ["walker"]

    (out / "notes.txt").write_text("mine")
    code, _, refused = command("--sequences", tmp_path, "--out", out)
    assert code == 2
    assert "expected a new folder, an empty one or an earlier export" in refused
    assert (out / "notes.txt").read_text() == "mine"
    for name in ("my walker", ".walker", "x" * 64):
        assert command("--sequences", tmp_path, "--out", tmp_path / name)[0] == 2
    (tmp_path / "file").write_text("mine")
    assert command("--sequences", tmp_path, "--out", tmp_path / "file")[0] == 2
    assert (tmp_path / "file").read_text() == "mine"


def test_the_calibration_of_the_library_is_built_in(tmp_path: Path, command: Run) -> None:
    robot = load(ROBOTS / "tansy.toml")
    (tmp_path / "calibration").mkdir()
    (tmp_path / "calibration" / "tansy.json").write_text(fitted(robot).dump(), encoding="utf-8")
    assert command("--sequences", tmp_path, "--out", tmp_path / "walker")[0] == 0
    written = (tmp_path / "walker" / "src" / "config.h").read_text(encoding="utf-8")
    read_again = Calibration.parse(fitted(robot).dump(), "", robot)
    assert written == config_header(robot, read_again)
    assert written != config_header(robot, Calibration.default(robot))


def test_a_name_that_a_person_wrote_cannot_end_its_comment() -> None:
    robot = dataclasses.replace(load(ROBOTS / "tansy.toml"), name="Tansy\n#error \\")
    first = config_header(robot, Calibration.default(robot)).splitlines()
    assert first[0].startswith("// Tansy?#error ?: ")
    assert first[1] == "#pragma once"


def test_rates_that_the_clock_can_be_divided_to() -> None:
    """Errors at 16 MHz: ATmega2560 data sheet, table "Examples of UBRRn settings" (*memory*; see references)."""
    for baud, percent in ((9600, 0.2), (19200, 0.2), (38400, 0.2), (57600, -0.8), (115_200, 2.1)):
        assert 100 * (baud_made(baud) / baud - 1) == pytest.approx(percent, abs=0.06)


@pytest.mark.parametrize("name", ["tansy", "harrow", "trestle"])
def test_every_shipped_robot_can_be_built(name: str) -> None:
    assert misfit(load(ROBOTS / f"{name}.toml")) is None


# What the hobby-board editor brings with it, in the same form: an archive whose main() sets timers up and calls
# setup(), a timer interrupt for its own time, and interrupts of the UART for its own serial port.
CORE = {
    "main.cpp": "extern void setup(); extern void loop(); void init();\n"
    "int main() { init(); setup(); for (;;) loop(); }\n",
    "wiring.cpp": "#include <avr/io.h>\n#include <avr/interrupt.h>\nvolatile unsigned long overflows;\n"
    "ISR(TIMER0_OVF_vect) { for (volatile unsigned char i = 0; i < 30; ++i) ++overflows; }\n"
    "void init() { sei(); TCCR0A = 3; TCCR0B = 3; TIMSK0 = 1; TCCR1B = 3; TCCR1A = 1; TCCR5A = 1; TCCR5B = 3;\n"
    "  ADCSRA = 0x87; UCSR0B = 0; }\n",
    "serial.cpp": "#include <avr/io.h>\n#include <avr/interrupt.h>\nunsigned char last;\n"
    + "".join(
        f"ISR(USART{n}_RX_vect) {{ last = UDR{n}; }}\nISR(USART{n}_UDRE_vect) {{ UCSR{n}B = 0; }}\n" for n in range(4)
    ),
}  # fmt: skip


PLUS = ["-std=gnu++11", "-fpermissive", "-fno-exceptions", "-fno-threadsafe-statics"]


def archive(folder: Path, flags: list[str]) -> tuple[Path, list[str], list[str]]:
    """What stands in for the editor's archive, or the real one; with flags and lines that the main file needs for it.

    The real one is a folder with ``cores/NAME/main.cpp`` and ``variants/mega``, as the editor and the packages of
    distributions have it (Debian's is free software), named by MOTIONHUB_EDITOR_CORE.
    """
    folder.mkdir()
    given = os.environ.get("MOTIONHUB_EDITOR_CORE")
    if given is None:
        for name, text in CORE.items():
            (folder / name).write_text(text)
        sources, includes, header = [folder / name for name in CORE], [], []
    else:
        core = next(Path(given).glob("cores/*/main.cpp")).parent
        includes = [f"-I{core}", f"-I{Path(given) / 'variants' / 'mega'}"]
        sources = [path for path in core.iterdir() if path.suffix in (".c", ".cpp")]
        header = re.findall(r"^#include <\w+\.h>$", (core / "main.cpp").read_text(encoding="utf-8"), re.M)[:1]
    for source in sources:
        compiler = ["avr-g++", *PLUS] if source.suffix == ".cpp" else ["avr-gcc", "-std=gnu11"]
        command = [*compiler, *flags, *includes, "-c", str(source), "-o", str(folder / source.name) + ".o"]
        if given is None:
            chip.run(command)
        else:
            # Some of it is for other compilers than Debian's; what the program needs of it, the linker misses.
            subprocess.run(command, capture_output=True)
    chip.run(["avr-gcc-ar", "rcs", str(folder / "core.a"), *map(str, sorted(folder.glob("*.o")))])
    return folder / "core.a", includes, header


@pytest.mark.parametrize("link_time", [True, False])
def test_it_builds_and_runs_as_the_hobby_board_editor_builds_it(boards, tmp_path: Path, link_time: bool) -> None:
    """Main file as C++ with a header before it, its flags, its archive (practice); without a clash of names."""
    base = boards.program("tansy")
    write_sketch(tmp_path / "walker", sketch_files(base.robot, base.calibration, "walker"))
    out = tmp_path / "out"
    out.mkdir()
    flags = ["-mmcu=atmega2560", "-DF_CPU=16000000L", "-g", "-Os", "-w", "-ffunction-sections", "-fdata-sections"]
    flags += ["-flto", "-ffat-lto-objects"] if link_time else []
    core, includes, header = archive(tmp_path / "core", flags)
    text = "\n".join([*header, "void setup();", "void loop();", ""])
    text += (tmp_path / "walker" / "walker.ino").read_text(encoding="utf-8")
    (tmp_path / "walker" / "walker.ino.cpp").write_text(text, encoding="utf-8")
    sources = [tmp_path / "walker" / "walker.ino.cpp", *sorted((tmp_path / "walker" / "src").glob("*.cpp"))]
    chip.run(["avr-g++", *PLUS, *flags, *includes, "-fuse-linker-plugin",
              "-Wl,--gc-sections", "-o", str(out / "walker.elf"), *map(str, sources), str(core), "-lm"])  # fmt: skip
    made = boards.switch_on(chip.program(out / "walker.elf", base.robot, base.calibration))
    hub, rest = Hub(made), rest_pulses(made)
    for _ in range(180):
        hub.tick(rest)
    starts, widths = measured(made.edges(), made.issues(), base.robot.joints)
    assert (starts[-20:-2] >= 0).all()
    assert (np.abs(widths[-20:-2] - np.array(rest) * US) < 2 * US).all()
    assert made.load < 0.4, "the editor's own timer does not run"
    assert made.overruns == 0


def test_pins_are_numbered_as_the_editor_numbers_them() -> None:
    """The board's own table of ports and bits, and which pins a timer can dim, where the editor's files are here."""
    given = os.environ.get("MOTIONHUB_EDITOR_CORE")
    if given is None:
        pytest.skip("the editor's table of pins is not on this machine; MOTIONHUB_EDITOR_CORE names its folder")
    text = (next(Path(given).glob("variants/mega/pins_*.h"))).read_text(encoding="utf-8")
    tables = dict(re.findall(r"digital_pin_to_(\w+)_PGM\[\] = \{(.*?)\};", text, re.S))
    ports = re.findall(r"^\s*P([A-L])\s*,", tables["port"], re.M)
    bits = re.findall(r"_BV\(\s*(\d)\s*\)", tables["bit_mask"])
    assert [f"{port}{bit}" for port, bit in zip(ports, bits, strict=True)] == list(chip.PORTS)
    timers = re.findall(r"^\s*(NOT_ON_TIMER|TIMER\d)", tables["timer"], re.M)
    # Timer 1 is the pulses', timer 0 the editor's.
    dimmed = {pin for pin, timer in enumerate(timers) if timer not in ("NOT_ON_TIMER", "TIMER0", "TIMER1")}
    assert dimmed == set(DIMMED)


def test_the_wheel_has_the_program_s_sources(tmp_path: Path) -> None:
    """What pip installs is what is exported from; the remote is not built for this."""
    from hatchling.builders.wheel import WheelBuilder

    builder = WheelBuilder(str(ROOT))
    names = {file.distribution_path for file in builder.recurse_included_files()}
    for path in (ROOT / "motionhub" / "firmware").rglob("*"):
        if path.is_file():
            assert f"motionhub/firmware/{path.relative_to(ROOT / 'motionhub' / 'firmware').as_posix()}" in names
