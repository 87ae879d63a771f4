"""The robot's program on the emulated chip, as Python sees it: bytes and volts in, edges and bytes out, in cycles.

``chip.c`` is the emulated board; :func:`able` says what is missing where it cannot be built.
"""

from __future__ import annotations

import ctypes
import functools
import shutil
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum
from pathlib import Path

import numpy as np

from motionhub.library.sketch import sketch_files
from motionhub.robot.board import baud_made
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

HERE = Path(__file__).parent
CLOCK = 16_000_000
US = CLOCK // 1_000_000
MS = CLOCK // 1_000
PERIOD = 20 * MS
# Of the ports that pins lead to, by the numbers on the board. Practice: the layout that boards with this chip share.
PORTS = (  # noqa: SIM905 - a table is read more easily than a list
    "E0 E1 E4 E5 G5 E3 H3 H4 H5 H6 B4 B5 B6 B7 J1 J0 H1 H0 D3 D2 D1 D0 A0 A1 A2 A3 A4 A5 A6 A7 "
    "C7 C6 C5 C4 C3 C2 C1 C0 D7 G2 G1 G0 L7 L6 L5 L4 L3 L2 L1 L0 B3 B2 B1 B0 "
    "F0 F1 F2 F3 F4 F5 F6 F7 K0 K1 K2 K3 K4 K5 K6 K7"
).split()

EDGE = np.dtype([("cycle", "<u8"), ("channel", "<u2"), ("high", "<u2"), ("", "V4")])
MARK = np.dtype([("cycle", "<u8"), ("now_ms", "<u4"), ("mv", "<u2"), ("loop_us", "<u2"), ("bytes", "<u2"), ("", "V6"),
                 ("doing", "<u4"), ("", "V4")])  # fmt: skip
BYTE = np.dtype([("cycle", "<u8"), ("byte", "<u4"), ("", "V4")])
WRITE = np.dtype([("cycle", "<u8"), ("place", "<u2"), ("byte", "u1"), ("", "V5")])


class Doing(IntEnum):
    """As in program.cpp."""

    STARTING = 1
    SLEEPING = 2
    TAKING = 3
    ANSWERING = 4
    TICKING = 5
    ISSUING = 6
    DONE = 7


@functools.cache
def able() -> str:
    """What is missing to emulate the chip; nothing if it can be done."""
    if shutil.which("avr-g++") is None or shutil.which("make") is None:
        return "avr-g++ or make is not on this machine (Debian: gcc-avr, avr-libc, make), so the program was not built"
    if shutil.which("gcc") is None:
        return "gcc is not on this machine, so the emulated board was not built"
    program = "#include <simavr/sim_avr.h>\n#include <libelf.h>\nint main(void) { return avr_make_mcu_by_name == 0; }\n"
    command = ["gcc", "-xc", "-", "-lsimavr", "-lelf", "-o", "/dev/null"]
    if subprocess.run(command, input=program, text=True, capture_output=True).returncode:
        return "libsimavr is not on this machine (Debian: libsimavr-dev, libelf-dev), so the chip was not emulated"
    return ""


def build_board(folder: Path) -> Path:
    """The emulated board as a library."""
    library = folder / "chip.so"
    run(["gcc", "-std=c11", "-shared", "-fPIC", "-O2", "-Wall", "-Wextra", "-Werror",
          str(HERE / "chip.c"), "-lsimavr", "-lelf", "-o", str(library)])  # fmt: skip
    return library


@dataclass(frozen=True)
class Program:
    """A robot's program, built as its README says."""

    robot: Robot
    calibration: Calibration
    elf: Path
    symbols: dict[str, tuple[int, int]]
    """Address in RAM or program memory, and size."""

    @property
    def folder(self) -> Path:
        return self.elf.parent.parent

    @property
    def byte_cycles(self) -> int:
        """Ten bits at the rate that the chip makes of the one that was asked for."""
        return round(10 * CLOCK / baud_made(self.robot.link.baud))


def build_program(folder: Path, robot: Robot, calibration: Calibration, name: str = "robot") -> Program:
    """Export the program and build it with one ``make``."""
    for path, text in sketch_files(robot, calibration, name).items():
        (folder / path).parent.mkdir(parents=True, exist_ok=True)
        (folder / path).write_text(text, encoding="utf-8")
    run(["make", "-C", str(folder)])
    return program(folder / "build" / f"{name}.elf", robot, calibration)


def program(elf: Path, robot: Robot, calibration: Calibration) -> Program:
    listed = subprocess.run(["avr-nm", "-S", "-C", str(elf)], text=True, capture_output=True, check=True).stdout
    symbols = {}
    for line in listed.splitlines():
        parts = line.split(maxsplit=3)
        if len(parts) == 4 and len(parts[1]) == 8:
            symbols[parts[3]] = int(parts[0], 16) & 0xFFFF, int(parts[1], 16)
        elif len(parts) >= 3:
            symbols[line.split(maxsplit=2)[2]] = int(parts[0], 16) & 0xFFFF, 0
    return Program(robot, calibration, elf, symbols)


def run(command: list[str]) -> str:
    done = subprocess.run(command, text=True, capture_output=True)
    assert done.returncode == 0, " ".join(command) + "\n" + done.stdout + done.stderr
    return done.stdout


class CrashedError(Exception):
    """The program left its memory, or met an instruction that there is none of."""


class Chip:
    """One board with a program in it, just switched on. Time is in cycles since then."""

    def __init__(self, library: Path, program: Program, mv: int | None = None, eeprom: bytes | None = None) -> None:
        self.program, self.robot = program, program.robot
        self._c = c = ctypes.CDLL(str(library))
        for name in ("new", "data"):
            getattr(c, f"chip_{name}").restype = ctypes.c_void_p
        lists = ("edges", "marks", "said", "issues", "heard", "written")
        for name in ("cycle", "feed", "slept", "rx_worst", "overruns", "held", *lists):
            getattr(c, f"chip_{name}").restype = ctypes.c_uint64
        c.chip_writes.restype = ctypes.c_long
        uart = self.robot.controller.uart
        inside = "motionhub::(anonymous namespace)::"
        places = (*program.symbols[f"{inside}given"], *program.symbols[f"{inside}survivor"])
        pace = ctypes.c_uint32(program.byte_cycles)
        made = c.chip_new(str(program.elf).encode(), uart, pace, (ctypes.c_uint16 * 4)(*places))
        assert made, "the emulator has no such chip, or the program is none"
        self._chip = ctypes.c_void_p(made)
        for pin in (*self.robot.pins, *(output.pin for output in self.robot.outputs)):
            c.chip_watch(self._chip, ctypes.c_char(PORTS[pin][0].encode()), int(PORTS[pin][1]))
        if eeprom is not None:
            c.chip_eeprom_set(self._chip, ctypes.create_string_buffer(eeprom, len(eeprom)))
        self.cause(1)
        self.battery(round(self.robot.supply.battery_full_v * 1000) if mv is None else mv)
        self.off = False

    def close(self) -> None:
        self._c.chip_free(self._chip)

    @property
    def cycle(self) -> int:
        return self._c.chip_cycle(self._chip)

    def run(self, until: int) -> None:
        """Let time pass to that cycle, or to where the power goes."""
        state = self._c.chip_run(self._chip, ctypes.c_uint64(until))
        if state == 2:
            raise CrashedError(f"at cycle {self.cycle}")
        self.off = state == 1

    def run_ms(self, ms: float) -> None:
        self.run(self.cycle + round(ms * MS))

    def feed(self, data: bytes, at: int = 0) -> int:
        """Put bytes on the wire, from that cycle on or as soon as it is free; when the last one is over."""
        return self._c.chip_feed(self._chip, data, ctypes.c_size_t(len(data)), ctypes.c_uint64(at))

    def battery(self, mv: int) -> None:
        """Set the battery's voltage."""
        top, bottom = self.robot.controller.divider_ohm
        at_pin = round(mv * bottom / (top + bottom))
        self._c.chip_volts(self._chip, self.robot.controller.battery_input, ctypes.c_uint32(at_pin))

    def cause(self, flags: int) -> None:
        """What the chip's register of reset causes holds when the program starts."""
        self._c.chip_cause(self._chip, ctypes.c_uint8(flags))

    def jam(self, interrupts: bool) -> None:
        """The program hangs from now on; its interrupts go on, or they do not."""
        self._c.chip_jam(self._chip, int(interrupts))

    def cut(self, writes: int, torn: int) -> None:
        """The power goes in the middle of an EEPROM write, after so many from now; what that byte then holds."""
        self._c.chip_cut(self._chip, ctypes.c_long(writes), ctypes.c_uint8(torn))

    def record(self, edges: bool, marks: bool) -> None:
        self._c.chip_record(self._chip, int(edges), int(marks))

    @property
    def writes(self) -> int:
        return self._c.chip_writes(self._chip)

    @property
    def eeprom(self) -> bytes:
        into = ctypes.create_string_buffer(4096)
        self._c.chip_eeprom_get(self._chip, into)
        return into.raw

    def _taken(self, which: str, kind: np.dtype) -> np.ndarray:
        number = ("edges", "marks", "said", "issues", "heard", "written").index(which)
        found = np.zeros(self._c.chip_held(self._chip, number), dtype=kind)
        count = getattr(self._c, f"chip_{which}")(
            self._chip, found.ctypes.data_as(ctypes.c_void_p), ctypes.c_size_t(len(found))
        )
        assert count == len(found)
        return found

    def edges(self) -> np.ndarray:
        """Edges since this was last asked: cycle, channel (joints, then outputs), high."""
        return self._taken("edges", EDGE)

    def marks(self) -> np.ndarray:
        return self._taken("marks", MARK)

    def said(self) -> np.ndarray:
        return self._taken("said", BYTE)

    def issues(self) -> np.ndarray:
        """What the program handed to its pulse interrupt, tick by tick: cycle, pulses (J), activity."""
        joints = self.robot.joints
        raw = self._taken("issues", np.dtype([("cycle", "<u8"), ("survivor", "u1", 104)]))
        found = np.zeros(len(raw), dtype=[("cycle", "<i8"), ("pulses", "<i4", joints), ("activity", "<i4")])
        found["cycle"] = raw["cycle"]
        found["pulses"] = np.ascontiguousarray(raw["survivor"][:, : 2 * joints]).view("<u2")
        found["activity"] = raw["survivor"][:, 2 * joints]
        return found

    def heard(self) -> bytes:
        """Bytes that the receiver has got since this was last asked: not those that came while it was off."""
        return self._taken("heard", np.dtype("u1")).tobytes()

    def written(self) -> np.ndarray:
        """Writes to EEPROM since this was last asked, each with its place and what it was to hold."""
        return self._taken("written", WRITE)

    def said_bytes(self) -> bytes:
        return bytes(self.said()["byte"].astype(np.uint8))

    def ram(self, at: int, size: int) -> bytes:
        return ctypes.string_at(self._c.chip_data(self._chip) + at, size)

    def symbol(self, name: str) -> bytes:
        return self.ram(*self.program.symbols[name])

    @property
    def load(self) -> float:
        """Share of the time since power-up in which the chip did not sleep."""
        return 1 - self._c.chip_slept(self._chip) / self.cycle

    @property
    def rx_worst_us(self) -> float:
        """Longest that a byte which had come waited for its interrupt."""
        return self._c.chip_rx_worst(self._chip) / US

    @property
    def overruns(self) -> int:
        """Bytes that the receiver lost because the program did not fetch those before them."""
        return self._c.chip_overruns(self._chip)

    @property
    def stack_used(self) -> int:
        """Bytes that the stack has ever reached down to, by the paint that is left."""
        low, high = self.program.symbols["_end"][0], self._c.chip_ramend(self._chip)
        free = self.ram(low, high - low + 1)
        untouched = next((i for i, byte in enumerate(free) if byte != 0xC5), len(free))
        return len(free) - untouched


def pulses_of(edges: np.ndarray, channel: int) -> tuple[np.ndarray, np.ndarray]:
    """Starts and widths in cycles of the whole pulses of one channel."""
    own = edges[edges["channel"] == channel]
    high = own["high"].astype(bool)
    assert (high[1:] != high[:-1]).all()
    if len(own) and not high[0]:
        own = own[1:]
    starts, ends = own["cycle"][0::2], own["cycle"][1::2]
    starts = starts[: len(ends)]
    return starts.astype(np.int64), (ends - starts).astype(np.int64)


def measured(edges: np.ndarray, issues: np.ndarray, joints: int) -> tuple[np.ndarray, np.ndarray]:
    """Starts and widths (T, J) in cycles of the pulses that came of each issue; -1 and 0 where there was none.

    Issue t is in force from the start of the next period: its pulses begin 7 to 33 ms after the moment in the middle
    of a period at which its tick became due.
    """
    grid = issues["cycle"] - PERIOD * np.arange(len(issues))
    # Ticks may come late, never early; so the earliest shows where the grid lies. The period begins 10 ms later.
    first = int(grid.min()) + PERIOD // 2 - MS
    starts, widths = np.full((len(issues), joints), -1, np.int64), np.zeros((len(issues), joints), np.int64)
    for joint in range(joints):
        start, width = pulses_of(edges, joint)
        place = (start - first) // PERIOD
        inside = (place >= 0) & (place < len(issues))
        assert len(np.unique(place[inside])) == inside.sum(), "two pulses in one period"
        starts[place[inside], joint], widths[place[inside], joint] = start[inside], width[inside]
    return starts, widths


def shown(figures: Sequence[tuple[str, str]]) -> None:
    """Figures for whoever runs pytest with -s."""
    width = max(len(name) for name, _ in figures)
    print()
    for name, value in figures:
        print(f"  {name:<{width}}  {value}")
