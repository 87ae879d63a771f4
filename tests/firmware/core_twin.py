"""The core of the robot's program as Python sees it, and the same robot simulated beside it."""

from __future__ import annotations

import ctypes
from pathlib import Path
from types import SimpleNamespace

import numpy as np

from motionhub.link.keeper import Memory
from motionhub.link.kept import Limits
from motionhub.link.simulated import SimulatedRobot
from motionhub.link.wire import Activity, ResetCause


class PowerCutError(Exception):
    """The power went in the middle of a write."""


class CutMemory(Memory):
    """A memory whose power goes in the middle of a write."""

    def __init__(self) -> None:
        super().__init__()
        self.writes_left, self.torn = -1, 0

    def write(self, at: int, value: int) -> None:
        if self.writes_left == 0:
            self.bytes[at] = self.torn
            raise PowerCutError
        self.writes_left -= self.writes_left > 0
        super().write(at, value)


class Core:
    """One machine in the library; the same calls as :class:`SimulatedRobot`, with the battery given."""

    def __init__(self, library: Path, joints: int, outputs: int) -> None:
        self._c = c = ctypes.CDLL(str(library))
        self.joints, self.outputs_n = joints, outputs
        for name in ("new", "pulses", "outputs", "limits", "eeprom", "survivor"):
            getattr(c, f"machine_{name}").restype = ctypes.c_void_p
        self._m = ctypes.c_void_p(c.machine_new())
        self._out = ctypes.create_string_buffer(65536)
        self.begin(ResetCause.POWER)

    def close(self) -> None:
        self._c.machine_free(self._m)

    def begin(self, cause: ResetCause) -> None:
        self._c.machine_begin(self._m, int(cause))

    def _said(self) -> bytes:
        size = self._c.machine_out(self._m, self._out, len(self._out))
        assert size <= len(self._out)
        return self._out.raw[:size]

    def receive(self, data: bytes, now_ms: int) -> bytes:
        self._c.machine_bytes(self._m, data, len(data), ctypes.c_uint32(now_ms))
        return self._said()

    def tick(self, mv: int) -> None:
        self._c.machine_tick(self._m, ctypes.c_uint16(mv))

    def answer(self, now_ms: int) -> bytes:
        self._c.machine_answer(self._m, ctypes.c_uint32(now_ms))
        return self._said()

    def note_loop(self, us: int) -> None:
        self._c.machine_note_loop(self._m, ctypes.c_uint16(us))

    def cut(self, writes: int, torn: int) -> None:
        self._c.machine_cut(self._m, ctypes.c_long(writes), ctypes.c_uint8(torn))

    @property
    def off(self) -> bool:
        return bool(self._c.machine_off(self._m))

    @property
    def writes(self) -> int:
        return self._c.machine_writes(self._m)

    @property
    def pulses(self) -> tuple[int, ...]:
        return tuple((ctypes.c_uint16 * self.joints).from_address(self._c.machine_pulses(self._m)))

    @property
    def outputs(self) -> tuple[int, ...]:
        return tuple((ctypes.c_uint8 * self.outputs_n).from_address(self._c.machine_outputs(self._m)))

    @property
    def activity(self) -> Activity:
        return Activity(self._c.machine_activity(self._m))

    @property
    def limits(self) -> Limits:
        n = self.joints
        flat = tuple((ctypes.c_uint16 * (4 * n)).from_address(self._c.machine_limits(self._m)))
        return Limits(flat[:n], flat[n : 2 * n], flat[2 * n : 3 * n], flat[3 * n :])

    @property
    def eeprom(self) -> ctypes.Array:
        return (ctypes.c_uint8 * 4096).from_address(self._c.machine_eeprom(self._m))

    @property
    def survivor(self) -> ctypes.Array:
        size = self._c.machine_survivor_size()
        return (ctypes.c_uint8 * size).from_address(self._c.machine_survivor(self._m))


class Pair:
    """The core and the simulated robot, given the same; every call asserts that they do and say the same."""

    def __init__(self, library: Path, robot, calibration) -> None:
        self.core = Core(library, robot.joints, len(robot.outputs))
        self.twin = SimulatedRobot(robot, calibration, memory=CutMemory())
        self.twin.plant = SimpleNamespace(
            battery=SimpleNamespace(volts=robot.supply.battery_full_v),
            joints=np.zeros(robot.joints),
            step=lambda *_: None,
        )
        self.twin.advance(0.0)
        self.core.tick(self.mv)
        self.core.answer(0)
        self.ms = 0
        self.same()

    def close(self) -> None:
        self.core.close()

    @property
    def mv(self) -> int:
        return round(self.twin.plant.battery.volts * 1000)

    @mv.setter
    def mv(self, value: int) -> None:
        self.twin.plant.battery.volts = value / 1000

    def receive(self, data: bytes) -> bytes:
        said = self.twin.receive(data, self.ms / 1000)
        assert self.core.receive(data, self.ms) == said
        self.same()
        return said

    def pass_time(self, ms: int) -> bytes:
        """Let time pass; as many servo periods as fit happen at its end, as after a pause of the loop."""
        self.ms += ms
        before = len(self.twin.issued)
        said = self.twin.advance(self.ms / 1000)
        issued = list(self.twin.issued)[before:]
        for period in issued:
            self.core.tick(self.mv)
            assert self.core.pulses == period.pulses
            assert self.core.activity == period.activity
        assert self.core.answer(self.ms) == said
        self.same()
        return said

    def note_loop(self, us: int) -> None:
        self.twin.note_loop(us / 1e6)
        self.core.note_loop(us)

    def reset(self, cause: ResetCause) -> None:
        self.twin.reset(cause)
        self.core.begin(cause)
        self.twin.advance(self.ms / 1000)
        self.core.tick(self.mv)
        self.core.answer(self.ms)
        self.same()

    def same(self) -> None:
        assert self.core.pulses == tuple(self.twin.controller.pulses)
        assert self.core.outputs == tuple(self.twin.controller.outputs)
        assert self.core.activity == self.twin.controller.activity
        assert self.core.limits == self.twin.keeper.limits
        assert bytes(self.core.eeprom) == bytes(self.twin.memory.bytes)
