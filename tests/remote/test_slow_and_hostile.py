"""Browsers that do not read, and ends of the wire that are no browsers at all."""

from __future__ import annotations

import asyncio
import dataclasses
from typing import Any

import msgpack
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from remote_talk import Running, pack, receive
from websockets.exceptions import ConnectionClosed
from websockets.frames import Frame, Opcode

from motionhub.hub.core import Hub
from motionhub.hub.events import Notice
from motionhub.remote.messages import MAX_MESSAGE_BYTES
from motionhub.remote.outbox import WAITING_AT_MOST, Outbox
from motionhub.robot.calibration import Calibration
from motionhub.robot.model import Robot

pytestmark = pytest.mark.alone

anything = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**63), 2**64 - 1) | st.floats() | st.text() | st.binary(max_size=64),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(max_size=12), inner, max_size=4),
    max_leaves=10,
)


async def test_only_the_newest_of_a_kind_waits_and_everything_else_comes_in_order() -> None:
    outbox = Outbox(pytest.fail)
    outbox.put(b"one")
    for n in range(1000):
        outbox.put_latest("state", b"state %d" % n)
        outbox.put_latest("moves", b"moves %d" % n)
    outbox.put(b"two")
    assert [await outbox.next() for _ in range(4)] == [b"one", b"two", b"state 999", b"moves 999"]
    waiting = asyncio.create_task(outbox.next())
    await asyncio.sleep(0)
    assert not waiting.done()
    outbox.put_latest("state", b"later")
    assert await waiting == b"later"


def test_an_outbox_that_nobody_empties_says_so_and_does_not_grow() -> None:
    said = []
    outbox = Outbox(lambda: said.append("overflow"))
    for n in range(WAITING_AT_MOST):
        outbox.put(b"%d" % n)
    assert not said
    for _ in range(100):
        outbox.put(b"more")
    assert said == ["overflow"] * 100
    assert len(outbox._in_order) == WAITING_AT_MOST


async def test_a_slow_browser_sees_fewer_states_not_older_ones_and_costs_the_others_nothing(
    running: Running, robot: Robot
) -> None:
    state = Hub(robot, Calibration.default(robot)).state(0.0)
    many = 20_000  # of 400 bytes: 8 MB, beyond what any buffer on the way may hold
    async with running.connect() as quick, running.connect(max_queue=1, close_timeout=0.1) as slow:
        await running.pair(quick)
        await slow.send(pack(type="hello", key=running.keys.watcher))
        while len(running.stage.people) < 2:
            await asyncio.sleep(0.001)
        seen = asyncio.create_task(_last_tick(quick, many))
        for tick in range(1, many + 1):
            running.stage.publish(dataclasses.replace(state, tick=tick))
            if tick % 20 == 0:
                await asyncio.sleep(0)
        assert await seen == many  # the quick one has the newest, while the slow one has read nothing
        boxes = list(running.desk._viewers.values())
        assert all(len(box._in_order) == 0 for box in boxes)
        waiting = [msgpack.unpackb(packed) for box in boxes for packed in box._latest.values()]
        assert [message["tick"] for message in waiting if message["type"] == "state"] == [many]
        ticks = []
        while not ticks or ticks[-1] < many:
            message = await receive(slow)
            if message["type"] == "state":
                ticks.append(message["tick"])
        assert ticks == sorted(set(ticks))
        assert len(ticks) < many / 2


async def _last_tick(connection: Any, wanted: int) -> int:
    tick = 0
    while tick < wanted:
        message = await receive(connection)
        tick = message.get("tick", tick)
    return tick


async def test_a_browser_that_never_reads_is_let_go(running: Running) -> None:
    async with running.connect() as calm, running.connect(max_queue=1, close_timeout=0.1) as deaf:
        await running.pair(calm)
        await deaf.send(pack(type="hello", key=running.keys.watcher))
        while len(running.stage.people) < 2:
            await asyncio.sleep(0.001)

        async with asyncio.timeout(30):
            while len(running.stage.people) == 2:
                running.stage.tell(Notice("info", "x" * 2000))
                assert (await receive(calm))["type"] == "notice"
        await calm.send(pack(type="ping", n=1))
        assert (await receive(calm))["type"] in ("pong", "notice")


@given(st.lists(st.binary(max_size=80) | anything.map(msgpack.packb) | st.text(max_size=20), max_size=6), st.booleans())
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
async def test_whatever_comes_over_the_socket_the_others_do_not_notice(
    running: Running, sent: list[bytes | str], paired: bool
) -> None:
    async with running.connect() as calm:
        await running.pair(calm)
        async with running.connect() as wild:
            if paired:
                await running.pair(wild)
            try:
                for frame in sent:
                    await wild.send(frame)
            except ConnectionClosed:
                pass
        await calm.send(pack(type="ping", n=5))
        assert await receive(calm) == {"type": "pong", "n": 5}


HANDSHAKE = (
    "GET /live HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n"
    "Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n\r\n"
)


async def raw(running: Running, after: bytes, *, hello: bool) -> bytes:
    """Shake hands, then send bytes that need not be frames; what came back after the handshake."""
    reader, writer = await asyncio.open_connection("127.0.0.1", running.server.port)
    writer.write(HANDSHAKE.format(port=running.server.port).encode())
    assert b" 101 " in await reader.readuntil(b"\r\n\r\n")
    if hello:
        key = pack(type="hello", key=running.keys.operator)
        writer.write(Frame(Opcode.BINARY, key).serialize(mask=True))
    writer.write(after)
    writer.write_eof()
    try:
        async with asyncio.timeout(10):
            return await reader.read()
    except ConnectionError:
        return b""
    finally:
        writer.close()


@given(st.binary(max_size=120), st.booleans())
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
async def test_bytes_that_are_no_frames_end_one_connection_only(running: Running, noise: bytes, hello: bool) -> None:
    answer = await raw(running, noise, hello=hello)
    if not hello:
        assert b"welcome" not in answer
    async with running.connect() as calm:
        await running.pair(calm)


@pytest.mark.parametrize(
    ("what", "frame"),
    [
        # RFC 6455: §5.1 a browser masks; §5.2 reserved bits and opcodes; §5.5 control frames are short and whole.
        ("unmasked", Frame(Opcode.BINARY, b"x").serialize(mask=False)),
        ("reserved bit", b"\xc2\x81\0\0\0\0x"),
        ("reserved opcode", b"\x83\x80\0\0\0\0"),
        ("a ping of 126 bytes", b"\x89\xfe\x00\x7e\0\0\0\0" + b"x" * 126),
        ("a ping in pieces", b"\x09\x80\0\0\0\0"),
        ("going on with nothing", Frame(Opcode.CONT, b"x").serialize(mask=True)),
        ("a frame of 2^63 bytes", b"\x82\xff\x7f\xff\xff\xff\xff\xff\xff\xff\0\0\0\0"),
        ("a frame one byte too long", Frame(Opcode.BINARY, b"x" * (MAX_MESSAGE_BYTES + 1)).serialize(mask=True)),
        ("a close code that is none", Frame(Opcode.CLOSE, b"\x00\x01").serialize(mask=True)),
    ],
    # The masks are random, so the bytes may not name the tests: every worker has to find the same names.
    ids=lambda value: value if isinstance(value, str) else "",
)
async def test_frames_that_break_the_protocol_are_answered_with_a_close(
    running: Running, what: str, frame: bytes
) -> None:
    answer = await raw(running, frame, hello=False)
    assert answer[:1] == b"\x88", what  # a close frame, and nothing before it
    code = int.from_bytes(answer[2:4], "big")
    assert code in (1002, 1007, 1009), what
