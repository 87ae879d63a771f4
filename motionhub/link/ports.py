"""Ports: where the bytes go. A serial device, a TCP address, or the simulated robot, all used alike.

A port never raises once it is open. Unplugging shows as ``connected`` going false; it then tries again by
itself until it is closed. Writing never waits: what cannot go out at once queues for a few ticks, then the
oldest is dropped, because a late frame is worth less than the next one.
"""

from __future__ import annotations

import os
import re
import socket
import stat
from collections.abc import Callable
from typing import Protocol

from serial.tools import list_ports

from motionhub.errors import InputError
from motionhub.link.channels import SerialChannel, SocketChannel
from motionhub.link.reconnecting import ReconnectingPort
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

CONNECT_S = 3.0
"""How long a TCP connection may take to come about."""


class Port(Protocol):
    """What the hub's loop uses. Every method returns at once except :meth:`close`, which waits for its threads."""

    @property
    def name(self) -> str:
        """As its user wrote it."""

    @property
    def connected(self) -> bool:
        """Whether bytes can flow; says nothing of whether a robot is there."""

    def open(self, on_change: Callable[[], None] | None = None) -> None:
        """Start. ``on_change`` is called from another thread when bytes came or ``connected`` changed."""

    def write(self, data: bytes) -> None:
        """Send one packet, or drop the oldest that waits."""

    def read(self) -> bytes:
        """Everything that came since the last call; empty when nothing did."""

    def close(self) -> None:
        """Stop, for good."""


SIMULATED = "simulated"
_TCP = re.compile(r"tcp://(\[[0-9A-Fa-f:.]+\]|[^\[\]/:@?#\s]+):([0-9]{1,5})")


def open_port(spec: str, robot: Robot, calibration: Calibration) -> Port:
    """Make the port that ``spec`` means; call its ``open`` to start it.

    Args:
        spec: ``simulated``, ``tcp://HOST:PORT``, or a serial device.
        robot: Says the radio's speed, and what to simulate.
        calibration: Of the simulated robot.

    Raises:
        InputError: naming the port and, for a device that is not there, the devices that are.
    """
    if spec == SIMULATED:
        from motionhub.link.simulated_port import SimulatedPort

        return SimulatedPort(robot, calibration)
    if spec.startswith("tcp:"):
        return tcp_port(spec)
    return serial_port(spec, robot.link.baud)


def tcp_port(spec: str) -> ReconnectingPort:
    """A port to ``tcp://HOST:PORT``. Nobody answering there yet is no error: it keeps trying."""
    found = _TCP.fullmatch(spec)
    if not found or not 0 < int(found[2]) < 65_536:
        raise InputError("--port", "", f"expected tcp://HOST:PORT with a port of 1 to 65535, found {spec!r}")
    address = found[1].strip("[]"), int(found[2])
    return ReconnectingPort(spec, lambda: SocketChannel(socket.create_connection(address, timeout=CONNECT_S)))


def serial_port(device: str, baud: int) -> ReconnectingPort:
    """A port to a serial device, which must be there to begin with and may come and go afterwards."""
    present = sorted(port.device for port in list_ports.comports())
    if os.name == "posix":
        _require_device(device, present)
    elif device.upper() not in (name.upper() for name in present):
        raise InputError("--port", "", f"expected a serial device, found no {device!r}; {_listed(present)}")
    return ReconnectingPort(device, lambda: SerialChannel(device, baud))


def _require_device(device: str, present: list[str]) -> None:
    try:
        kind = os.stat(device).st_mode
    except (OSError, ValueError):
        raise InputError("--port", "", f"expected a serial device, found no {device!r}; {_listed(present)}") from None
    if not stat.S_ISCHR(kind):
        raise InputError("--port", "", f"expected a serial device, found that {device!r} is none; {_listed(present)}")
    if not os.access(device, os.R_OK | os.W_OK):
        raise InputError(
            "--port", "", f"expected leave to use {device!r}; on most systems its group has it (see ls -l {device})"
        )


def _listed(present: list[str]) -> str:
    return f"there is {', '.join(present)}" if present else "there is none; 'simulated' needs none"
