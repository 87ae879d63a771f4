"""``motionhub serve`` as a process of its own: what it says, whom it lets in, how it leaves."""

from __future__ import annotations

import asyncio
import os
import re
import signal
import socket
import stat
import subprocess
import sys
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import IO

import msgpack
import pytest
from remote_talk import pack
from websockets.asyncio.client import connect

from motionhub.cli.serve import _announce, parse_listen
from motionhub.errors import InputError
from motionhub.remote.announce import Announcement
from motionhub.remote.origin import Names

pytestmark = pytest.mark.alone

ROBOT = Path(__file__).parents[2] / "sequences" / "robots" / "tansy.toml"
LINK = re.compile(r"(http://\S+/)#key=(\S+)")

Start = Callable[..., "subprocess.Popen[str]"]


@pytest.fixture
def start(tmp_path: Path) -> Iterator[Start]:
    """Starts hubs whose user data is in the test's own folder, and ends those that are left."""
    running: list[subprocess.Popen[str]] = []

    def go(*options: str, **environment: str) -> subprocess.Popen[str]:
        process = subprocess.Popen(
            [sys.executable, "-m", "motionhub", "serve", *options],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
            encoding="utf-8",
            env={
                **os.environ,
                "XDG_DATA_HOME": str(tmp_path / "data"),
                "XDG_CACHE_HOME": str(tmp_path / "cache"),
                "PYTHONIOENCODING": "utf-8",
            }
            | environment,
        )
        running.append(process)
        return process

    yield go
    for process in running:
        if process.poll() is None:
            process.kill()
        process.communicate()


def lines_until(stream: IO[str] | None, last: str) -> list[str]:
    """Read lines to the one that has ``last`` in it."""
    assert stream is not None
    lines = []
    for line in stream:
        lines.append(line.rstrip("\n"))
        if last in line:
            return lines
    raise AssertionError(f"ended without {last!r}: {lines}")


def refused(process: subprocess.Popen[str]) -> str:
    """The one line with which a hub that could not start says why."""
    out, error = process.communicate(timeout=60)
    assert process.returncode == 2, (out, error)
    assert error.count("\n") == 1, error
    assert "Ready" not in out
    return error


async def role_by(link: str, key: str) -> str:
    async with connect(link.replace("http", "ws", 1) + "live", compression=None) as connection:
        await connection.send(pack(type="hello", key=key))
        return str(msgpack.unpackb(await connection.recv())["role"])


def test_it_is_ready_when_it_says_so_and_leaves_when_it_is_asked_to(start: Start) -> None:
    process = start("--listen", "127.0.0.1:0")
    said = lines_until(process.stdout, "Ctrl-C")
    assert said[0].startswith("Ready: Tansy (simulated) at http://127.0.0.1:")
    page = said[0].split(" at ")[1]
    with urllib.request.urlopen(f"{page}schema.json", timeout=10) as answer:
        assert answer.status == 200
    (link, operator), (_, watcher) = LINK.findall("\n".join(said))
    assert link == page
    assert asyncio.run(role_by(link, operator)) == "operator"
    assert asyncio.run(role_by(link, watcher)) == "watcher"
    assert "not an emergency stop" in "\n".join(said)
    process.send_signal(signal.SIGINT)
    out, error = process.communicate(timeout=60)
    assert process.returncode == 0, error
    assert error == ""
    assert "rest" in out
    with socket.socket() as probe:
        assert probe.connect_ex(("127.0.0.1", int(page.rsplit(":", 1)[1].strip("/")))) != 0


def test_asked_to_end_with_a_browser_watching_it_ends_as_well(start: Start) -> None:
    process = start("--listen", "127.0.0.1:0")
    said = lines_until(process.stdout, "Ctrl-C")
    link, key = LINK.findall("\n".join(said))[0]

    async def watch() -> int:
        async with connect(link.replace("http", "ws", 1) + "live", compression=None) as connection:
            await connection.send(pack(type="hello", key=key))
            await connection.recv()
            process.send_signal(signal.SIGTERM)
            async for _ in connection:
                pass
            assert connection.close_code is not None
            return connection.close_code

    assert asyncio.run(watch()) == 1001
    _, error = process.communicate(timeout=60)
    assert (process.returncode, error) == (0, "")


def test_for_a_phone_there_is_a_code_and_a_paired_one_stays_paired(start: Start, tmp_path: Path) -> None:
    found = []
    for more in ([], [], ["--new-keys"]):
        process = start("--listen", "0.0.0.0:0", *more)
        said = "\n".join(lines_until(process.stdout, "Ctrl-C"))
        found.append([key for _, key in LINK.findall(said)])
        if not said.startswith("Ready: Tansy (simulated) at http://127."):  # a machine without any network
            assert "▀" in said
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=60)
        assert process.returncode == 0
    assert found[0] == found[1]
    assert set(found[1]).isdisjoint(found[2])
    kept = tmp_path / "data" / "motionhub" / "keys.json"
    assert stat.S_IMODE(kept.stat().st_mode) == 0o600


def test_a_terminal_that_cannot_show_the_code_gets_the_link(start: Start) -> None:
    process = start("--listen", "0.0.0.0:0", PYTHONIOENCODING="ascii", PYTHONUTF8="0")
    said = "\n".join(lines_until(process.stdout, "Ctrl-C"))
    assert LINK.search(said)
    process.send_signal(signal.SIGINT)
    _, error = process.communicate(timeout=60)
    assert (process.returncode, error) == (0, "")


def test_where_keys_cannot_be_kept_it_says_so_and_goes_on(start: Start, tmp_path: Path) -> None:
    blocked = tmp_path / "blocked"
    blocked.write_text("a file, where a folder is needed")
    process = start("--listen", "127.0.0.1:0", XDG_DATA_HOME=str(blocked))
    lines_until(process.stdout, "Ctrl-C")
    process.send_signal(signal.SIGINT)
    _, error = process.communicate(timeout=60)
    assert process.returncode == 0
    assert "cannot be kept" in error
    assert error.count("\n") == 1


def test_an_address_in_use(start: Start) -> None:
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        at = f"127.0.0.1:{taken.getsockname()[1]}"
        line = refused(start("--listen", at))
    assert line.startswith("--listen: ")
    assert at in line
    assert "in use" in line


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--listen", "127.0.0.1"], ["--listen", "HOST:PORT"]),
        (["--listen", "127.0.0.1:99999"], ["--listen", "65535"]),
        (["--listen", "192.0.2.1:8000"], ["--listen", "192.0.2.1:8000"]),  # RFC 5737: nobody's
        (["--listen", "no.such.host.invalid:8000"], ["--listen"]),  # RFC 6761 §6.4
        (["--port", "/dev/no-such-device"], ["/dev/no-such-device"]),
        (["--port", "tcp://nowhere"], ["tcp://HOST:PORT"]),
        (["--port", ""], ["--port"]),
        (["--robot", "no-such-robot.toml"], ["no-such-robot.toml"]),
        (["--sequences", "no-such-folder"], ["no-such-folder"]),
        (["--sequences", str(ROBOT)], ["expected a folder"]),
        (["--colour", "red"], ["--colour"]),
        (["surplus"], ["surplus"]),
    ],
)
def test_what_cannot_be_used_is_one_line(start: Start, options: list[str], words: list[str]) -> None:
    listen = [] if "--listen" in options else ["--listen", "127.0.0.1:0"]
    line = refused(start(*options, *listen))
    assert all(word in line for word in words), line


def test_a_broken_robot_file_is_one_line(start: Start, tmp_path: Path) -> None:
    broken = tmp_path / "robot.toml"
    broken.write_text(ROBOT.read_text().replace("height_mm = ", "heigth_mm = ", 1))
    line = refused(start("--listen", "127.0.0.1:0", "--robot", str(broken)))
    assert str(broken) in line
    assert "heigth_mm" in line


async def test_a_network_that_takes_no_names_is_a_note_and_no_more(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    async def fail(self: Announcement) -> str:
        raise OSError("no network is connected")

    monkeypatch.setattr(Announcement, "start", fail)
    names = Names()
    await _announce(Announcement("Tansy", [], 8737), names, "192.0.2.7", 8737)
    assert capsys.readouterr().out == "No name on the local network: no network is connected.\n"
    assert "tansy.local" not in names


def test_addresses_to_listen_on() -> None:
    assert parse_listen("192.0.2.1:80") == ("192.0.2.1", 80)
    assert parse_listen(":0") == ("0.0.0.0", 0)
    assert parse_listen("[::]:8737") == ("::", 8737)
    assert parse_listen("localhost:1") == ("localhost", 1)
    for wrong in (
        "",
        "8737",
        "a",
        "a:",
        "a:b",
        "::1:80",
        "[::1]",
        "a b:1",
        "http://a:1",
        "a:-1",
        "a:1:2",
        "a:65536",
        "a:８０",
    ):
        with pytest.raises(InputError):
            parse_listen(wrong)
