"""``motionhub serve``: the hub, its remote, and what a person in front of the terminal needs to know.

The order is for a phone that is already knocking: the address is bound and files are answered before
anything heavy is imported; then the robot, the library and the show come up in a thread beside it; what
only helps, such as the name on the local network, comes last and may fail.
"""

from __future__ import annotations

import asyncio
import contextlib
import os
import re
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from motionhub.cli.common import port_option, robot_option, sequences_option
from motionhub.cli.group import COMMANDS
from motionhub.cli.leaving import on_signals
from motionhub.errors import InputError

if TYPE_CHECKING:
    from motionhub.hub.live import Show
    from motionhub.remote.announce import Announcement
    from motionhub.remote.keys import Keys
    from motionhub.remote.origin import Names
    from motionhub.remote.server import Server
    from motionhub.remote.telling import RobotInfo
    from motionhub.remote.workshop import Workshop

LISTEN = "0.0.0.0:8737"

CAUTION = (
    "Caution: the robot may move from now on. Keep hands clear, and a hardware switch in its supply within reach.\n"
    "Stop in the remote is software: it is not an emergency stop."
)

_LISTEN = re.compile(r"(?:\[(?P<six>[0-9A-Fa-f:.]+(?:%\w+)?)\]|(?P<host>[^\s:\[\]/@]*)):(?P<port>[0-9]{1,5})")


@dataclass(frozen=True)
class Options:
    """As given on the command line."""

    robot_file: Path | None
    folder: Path | None
    port: str
    host: str
    listen: int
    new_keys: bool


@click.command(help=COMMANDS["serve"] + " Runs until Ctrl-C.")
@robot_option
@sequences_option
@port_option
@click.option(
    "--listen", default=LISTEN, show_default=True, metavar="HOST:PORT",
    help="Where browsers find the hub; port 0 takes any that is free.",
)  # fmt: skip
@click.option("--new-keys", is_flag=True, help="Make new keys: every phone has to be paired again.")
def serve(robot_file: Path | None, folder: Path | None, port: str, listen: str, new_keys: bool) -> None:
    """Bind first: an address that cannot be had is known before the robot is read."""
    host, number = parse_listen(listen)
    asyncio.run(run(Options(robot_file, folder, port, host, number, new_keys)))


def parse_listen(text: str) -> tuple[str, int]:
    """Read ``HOST:PORT``; an empty host means every address of this machine.

    Raises:
        InputError: It is something else.
    """
    found = _LISTEN.fullmatch(text)
    if not found or int(found["port"]) > 65_535:
        raise InputError("--listen", "", f"expected HOST:PORT with a port of 0 to 65535, found {text!r}")
    return found["six"] or found["host"] or "0.0.0.0", int(found["port"])


async def run(options: Options) -> None:
    """Serve until a signal says to leave.

    Raises:
        InputError: Something on the command line or in a file cannot be used.
    """
    from motionhub.remote.origin import Names
    from motionhub.remote.server import Server
    from motionhub.remote.site import Site, built_remote

    leaving = asyncio.Event()
    on_signals(leaving.set)
    names = Names([options.host])
    server = Server(Site.of(built_remote()), names)
    await _bind(server, options)
    try:
        show, info, workshop = await _load(server, options)
        if not leaving.is_set():
            await _perform(server, names, show, info, workshop, options, leaving)
    finally:
        await server.close()


async def _bind(server: Server, options: Options) -> None:
    try:
        await server.start(options.host, options.listen)
    except (OSError, UnicodeError) as error:
        # asyncio puts the system's words into a sentence of its own; they say enough by themselves.
        number = getattr(error, "errno", None) or 0
        reason = os.strerror(number) if number > 0 else str(getattr(error, "strerror", None) or error)
        at = f"[{options.host}]" if ":" in options.host else options.host
        raise InputError(
            "--listen", "", f"expected a free address of this machine, found {at}:{options.listen}: {reason.lower()}"
        ) from None


async def _load(server: Server, options: Options) -> tuple[Show, RobotInfo, Workshop]:
    """Everything heavy, in a thread: the imports alone would keep browsers waiting."""

    def load() -> tuple[Show, RobotInfo, Workshop, bytes]:
        import json

        from motionhub.cli.common import load_robot, open_library
        from motionhub.hub.live import Show
        from motionhub.link.ports import open_port
        from motionhub.remote import desk, readiness, typescript  # noqa: F401
        from motionhub.remote.convert import robot_info
        from motionhub.remote.workshop import Workshop

        robot = load_robot(options.robot_file)
        library = open_library(options.folder, robot)
        calibration = library.calibration()
        port = open_port(options.port, robot, calibration)
        schema = json.dumps(typescript.schema(), indent=1).encode()
        show = Show(robot, calibration, library, port)
        if options.port != "simulated" and not options.port.startswith("tcp:") and not library.calibrated:
            show.hub.stay_limp("Nothing is known of this machine's servos yet. Bring it up, or stand it up as it is.")
        workshop = Workshop(library, lambda: show.hub.calibration, show, lambda path, body: server.site.add(path, body))
        return show, robot_info(robot, show.hub.height_range, show.hub.lean_range), workshop, schema

    show, info, workshop, schema = await asyncio.to_thread(load)
    from motionhub.robot import wiring_sheet

    server.site.add("/schema.json", schema)
    server.site.add("/wiring-sheet.css", wiring_sheet.STYLE.encode())

    def sheet() -> bytes:
        return wiring_sheet.page(show.hub.robot, show.hub.calibration, "/wiring-sheet.css").encode()

    server.site.make("/wiring-sheet.html", sheet)
    return show, info, workshop


async def _perform(
    server: Server,
    names: Names,
    show: Show,
    info: RobotInfo,
    workshop: Workshop,
    options: Options,
    leaving: asyncio.Event,
) -> None:
    from motionhub.remote.announce import Announcement, label
    from motionhub.remote.desk import Desk
    from motionhub.remote.pairing import own_address
    from motionhub.remote.readiness import Readiness

    keys = _keys(options.new_keys)
    names.add(label(info.name))
    host = own_address(options.host)
    await show.start()
    try:
        readiness = Readiness(show)
        desk = Desk(show, info, keys, workshop, readiness)
        server.open(desk)
        _welcome(info.name, options.port, host, server.port, keys)
        announcement = Announcement(info.name, [] if options.host == "0.0.0.0" else [host], server.port)
        announcing = asyncio.create_task(_announce(announcement, names, host, server.port))
        broken = asyncio.create_task(show.broken())
        left = asyncio.create_task(leaving.wait())
        await asyncio.wait([broken, left], return_when=asyncio.FIRST_COMPLETED)
        if not leaving.is_set():
            click.echo("A fault of the program has ended the show: the robot eases to rest by itself.", err=True)
            raise click.exceptions.Exit(1)
        broken.cancel()
        click.echo("Leaving: the robot is brought to rest.")
        announcing.cancel()
        with contextlib.suppress(asyncio.CancelledError):
            await announcing
    finally:
        await show.stop()
    await readiness.close()
    await workshop.close()
    desk.close()
    await announcement.stop()


def _keys(renew: bool) -> Keys:
    """The kept keys, or ones for this run only where they cannot be kept."""
    import platformdirs

    from motionhub.remote.keys import Keys, load_or_make

    path = Path(platformdirs.user_data_dir("motionhub", appauthor=False)) / "keys.json"
    try:
        return load_or_make(path, renew=renew)
    except OSError as error:
        reason = (error.strerror or str(error)).lower()
        click.echo(f"The keys cannot be kept in {path} ({reason}): phones have to be paired again next time.", err=True)
        return Keys.make()


def _welcome(name: str, port: str, host: str, number: int, keys: Keys) -> None:
    """Say that the hub is ready, and how to pair; called when it is true."""
    from motionhub.remote.pairing import address, is_only_here, link, qr_text

    click.echo(f"Ready: {name} ({port}) at {address(host, number)}")
    if is_only_here(host):
        click.echo(f"To drive, open  {link(host, number, keys.operator)}")
        click.echo(f"To watch, open  {link(host, number, keys.watcher)}")
        click.echo("Only this machine reaches that address.")
    else:
        drive = link(host, number, keys.operator)
        code = qr_text(drive, colour=sys.stdout.isatty())
        if _can_print(code):
            click.echo(f"\n{code}\n")
        click.echo(f"To drive, scan the code or open  {drive}")
        click.echo(f"To watch only, open              {link(host, number, keys.watcher)}")
    click.echo(f"\n{CAUTION}\nCtrl-C leaves.", nl=True)
    sys.stdout.flush()


def _can_print(text: str) -> bool:
    try:
        text.encode(sys.stdout.encoding or "ascii")
    except UnicodeError:
        return False
    return True


async def _announce(announcement: Announcement, names: Names, host: str, number: int) -> None:
    """Get a name on the local network; that it failed is a note and no more."""
    from motionhub.remote.pairing import address, is_only_here

    if is_only_here(host):
        return
    try:
        name = await announcement.start()
    except OSError as error:
        click.echo(f"No name on the local network: {error}.")
    else:
        names.add(name)
        click.echo(f"On this network also at {address(name, number)}")
    sys.stdout.flush()
