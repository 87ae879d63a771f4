"""The desk where browsers are received: who is paired, what they ask of the show, what they are told.

The bytes of one connection are judged by its :class:`~motionhub.remote.conversation.Conversation`; what waits
to be sent to it is in its :class:`~motionhub.remote.outbox.Outbox`. Here the two meet the show.
"""

from __future__ import annotations

import asyncio
import contextlib
import itertools
import logging
import socket
import time
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Protocol

from websockets.asyncio.server import ServerConnection
from websockets.exceptions import ConnectionClosed

from motionhub import __version__
from motionhub.hub.events import BringupChanged, Notice, Refused
from motionhub.hub.kept import KeptView
from motionhub.hub.live import MovesChanged, RecordingsChanged
from motionhub.remote import asking, messages, telling
from motionhub.remote.bringing import Bringup
from motionhub.remote.budget import WrongKeys
from motionhub.remote.conversation import Closing, Conversation
from motionhub.remote.convert import (
    bringup,
    command,
    is_making,
    is_readying,
    moves,
    pack,
    pack_state,
    recordings,
    robot_keeps,
)
from motionhub.remote.keys import Keys, Role
from motionhub.remote.making import LONG_MESSAGE_BYTES
from motionhub.remote.messages import CloseCode
from motionhub.remote.outbox import Outbox
from motionhub.remote.server import address_of

if TYPE_CHECKING:
    from motionhub.hub.bringup.view import BringupView
    from motionhub.hub.commands import Command
    from motionhub.hub.live import MoveLine, News, RecordingLine
    from motionhub.hub.snapshot import HubState
    from motionhub.remote.readiness import Readiness
    from motionhub.remote.workshop import Workshop

_log = logging.getLogger(__name__)

HELLO_S = 5.0
"""How long a connection may stay unpaired."""

VIEWERS_AT_MOST = 32
WATCHERS_FROM_HERE_WAIT = 24
"""Paired at once: a household of phones, a class that watches. The last places are for those who drive."""

SEND_BUFFER = 32 * 1024
"""Bytes that the system may hold for a live connection: about two seconds of states, so none is older."""

GOODBYE_S = 2.0
"""How long a browser that is turned away may take to close, before it is cut off."""


class Stage(Protocol):
    """What the desk needs of the show; :class:`motionhub.hub.live.Show` is one."""

    def join(self, client: str, name: str, *, operator: bool) -> None:
        """Somebody has connected and been paired."""

    def leave(self, client: str) -> None:
        """Somebody has gone."""

    def handle(self, client: str, command: Command) -> None:
        """Take a command. What comes of it is told to those who :meth:`listen`."""

    def subscribe(self, on_state: Callable[[HubState], None]) -> Callable[[], None]:
        """Call ``on_state`` with every published state. Returns what ends it."""

    def listen(self, on_news: Callable[[News], None]) -> Callable[[], None]:
        """Call ``on_news`` with refusals, notices and changes of lists. Returns what ends it."""

    def moves(self) -> Sequence[MoveLine]:
        """What can be played."""

    def recordings(self) -> Sequence[RecordingLine]:
        """What can be replayed."""

    def bringup(self) -> BringupView | None:
        """How the bring-up stands; None until that has been worked out, which is told like any change."""


class Desk:
    """Serves live connections.

    Args:
        stage: The show.
        info: What a browser needs to draw the robot.
        keys: What pairs a browser.
        workshop: Where moves are made; None where there is none.
        readiness: What comes before and after a show; None where there is none.
        hello_s: How long a connection may stay unpaired, in seconds.
    """

    def __init__(
        self,
        stage: Stage,
        info: telling.RobotInfo,
        keys: Keys,
        workshop: Workshop | None = None,
        readiness: Readiness | None = None,
        *,
        hello_s: float = HELLO_S,
    ) -> None:
        self._stage = stage
        self._info = info
        self._keys = keys
        self._workshop = workshop
        self._readiness = readiness
        self._hello_s = hello_s
        self._wrong = WrongKeys()
        self._viewers: dict[str, Outbox] = {}
        self._kept = KeptView()
        self._ids = itertools.count(1)
        self._ends = [stage.subscribe(self._show_state), stage.listen(self._tell)]

    def close(self) -> None:
        """Hear nothing more from the show."""
        while self._ends:
            self._ends.pop()()

    async def attend(self, connection: ServerConnection) -> None:
        """Serve one connection until it ends."""
        address = address_of(connection)
        conversation = Conversation(
            self._keys.role_of, lambda: not self._wrong.exhausted(address, time.monotonic()), time.monotonic()
        )
        try:
            async with asyncio.timeout(self._hello_s):
                data = await connection.recv()
        except TimeoutError:
            await _turn_away(connection, Closing(CloseCode.NO_HELLO, "no hello came in time"))
            return
        except ConnectionClosed:
            return
        step = conversation.receive(data, time.monotonic())
        closing = step.closing
        if closing and closing.code == CloseCode.UNPAIRED:
            self._wrong.count(address, time.monotonic())
            _log.info("a wrong key from %s", address)
        places = VIEWERS_AT_MOST if conversation.role == "operator" else WATCHERS_FROM_HERE_WAIT
        if closing is None and len(self._viewers) >= places:
            closing = Closing(CloseCode.FULL, "as many browsers are connected as the hub takes")
        if closing or not isinstance(step.message, asking.Hello) or conversation.role is None:
            await _turn_away(connection, closing or Closing(CloseCode.NO_HELLO, "the first message has to be a hello"))
            return
        await self._serve(connection, conversation, step.message, conversation.role)

    async def _serve(
        self, connection: ServerConnection, conversation: Conversation, hello: asking.Hello, role: Role
    ) -> None:
        number = next(self._ids)
        # Its buffers are full when it has fallen too far behind, so a goodbye would be stuck in them as well.
        client, outbox = f"b{number}", Outbox(connection.transport.abort)
        name = "".join(c for c in hello.name if c.isprintable()).strip() or f"device {number}"
        _keep_fresh(connection)
        self._stage.join(client, name, operator=role == "operator")
        if self._workshop is not None and role == "operator":
            connection.protocol.max_message_size = LONG_MESSAGE_BYTES
            self._workshop.join(client, name, outbox.put)
        self._viewers[client] = outbox
        outbox.put(pack(telling.Welcome(role=role, you=client, hub_version=__version__, robot=self._info)))
        outbox.put_latest("moves", pack(moves(self._stage.moves())))
        outbox.put_latest("recordings", pack(recordings(self._stage.recordings())))
        outbox.put_latest("robot_keeps", pack(robot_keeps(self._kept)))
        if shown := self._stage.bringup():
            outbox.put_latest("bringup", pack(bringup(shown)))
        if self._readiness is not None and role == "operator":
            self._readiness.join(client, outbox.put)
        sender = asyncio.create_task(_send(connection, outbox))
        try:
            closing = await self._listen(connection, conversation, client, outbox)
        finally:
            del self._viewers[client]
            if self._workshop is not None:
                self._workshop.leave(client)
            if self._readiness is not None:
                self._readiness.leave(client)
            self._stage.leave(client)
            sender.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await sender
        if closing is not None:
            await _turn_away(connection, closing)

    async def _listen(
        self, connection: ServerConnection, conversation: Conversation, client: str, outbox: Outbox
    ) -> Closing | None:
        """Act on what a paired browser sends; None when it has left, else why it is turned away."""
        while True:
            try:
                data = await connection.recv()
            except ConnectionClosed:
                return None
            step = conversation.receive(data, time.monotonic())
            if step.closing is not None:
                return step.closing
            if step.answer is not None:
                outbox.put(pack(step.answer))
            if step.message is not None:
                self._act(client, outbox, step.message)

    def _act(self, client: str, outbox: Outbox, message: messages.FromBrowser) -> None:
        if is_making(message):
            if self._workshop is None:
                outbox.put(pack(telling.Refused(to=message.type, text="no moves are made on this hub")))
            else:
                self._workshop.take(client, message)
            return
        if is_readying(message):
            if self._readiness is None:
                outbox.put(pack(telling.Refused(to=message.type, text="that is not to be had on this hub")))
            else:
                self._readiness.take(client, message)
            return
        if isinstance(message, asking.Ping):
            outbox.put(pack(telling.Pong(n=message.n)))
        self._stage.handle(client, command(message))

    def _show_state(self, state: HubState) -> None:
        if not self._viewers:
            return
        if state.kept != self._kept:
            self._kept = state.kept
            self._put_latest(robot_keeps(state.kept))
        packed = pack_state(state)
        for outbox in self._viewers.values():
            outbox.put_latest("state", packed)

    def _tell(self, news: News) -> None:
        match news:
            case Refused(client=client, to=to, text=text):
                if outbox := self._viewers.get(client):
                    outbox.put(pack(telling.Refused(to=to, text=text)))
            case Notice(level=level, text=text):
                packed = pack(telling.Notice(level=level, text=text))
                for outbox in self._viewers.values():
                    outbox.put(packed)
            case MovesChanged() if self._viewers:
                self._put_latest(moves(self._stage.moves()))
            case RecordingsChanged() if self._viewers:
                self._put_latest(recordings(self._stage.recordings()))
            case BringupChanged() if self._viewers and (shown := self._stage.bringup()):
                self._put_latest(bringup(shown))

    def _put_latest(self, listing: telling.Moves | telling.Recordings | telling.RobotKeeps | Bringup) -> None:
        packed = pack(listing)
        for outbox in self._viewers.values():
            outbox.put_latest(listing.type, packed)


async def _send(connection: ServerConnection, outbox: Outbox) -> None:
    """Send what waits, as fast as the browser takes it."""
    with contextlib.suppress(ConnectionClosed):
        while True:
            await connection.send(await outbox.next())


def _keep_fresh(connection: ServerConnection) -> None:
    """Let little wait inside the system: what a slow browser gets should be new."""
    handle = connection.transport.get_extra_info("socket")
    if handle is not None:
        with contextlib.suppress(OSError):
            handle.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, SEND_BUFFER)


async def _turn_away(connection: ServerConnection, closing: Closing) -> None:
    """Close, without waiting long for the other side to agree."""
    try:
        async with asyncio.timeout(GOODBYE_S):
            await connection.close(closing.code, closing.reason)
    except TimeoutError:
        connection.transport.abort()
