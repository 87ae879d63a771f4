"""The server: one port for the remote's files and for the live connection, on asyncio and ``websockets``.

It is a thin shell: whether a request may be answered is judged in :mod:`~motionhub.remote.origin`, files are
answered by :mod:`~motionhub.remote.site`, and live connections are served by the
:class:`~motionhub.remote.desk.Desk`.

It answers before there is a show: files at once, and live connections as soon as :meth:`Server.open` was
given the desk. So a page loads while the hub is still starting, and this module imports nothing heavy.
"""

from __future__ import annotations

import asyncio
import contextlib
from collections import Counter
from http import HTTPStatus
from typing import Any, Protocol

from websockets.asyncio.server import Server as Listener
from websockets.asyncio.server import ServerConnection, serve
from websockets.datastructures import Headers
from websockets.http11 import Request, Response

from motionhub.remote.origin import Names, objection, parse_host
from motionhub.remote.pairing import address, is_only_here
from motionhub.remote.site import Answer, Site, refusal

LIVE_PATH = "/live"

MAX_MESSAGE_BYTES = 4096
"""Both are in :mod:`~motionhub.remote.messages` too, which this module does not import: it would cost the
first answer a quarter of a second. A test holds them equal."""

CONNECTIONS_AT_MOST = 128
CONNECTIONS_PER_ADDRESS = 32
"""Open sockets; beyond that new ones are dropped. A browser takes six for files and one for the live
connection, and the hub needs its share of the system's file handles for itself."""

REQUEST_S = 20.0
"""How long a request and its answer may take: 300 kB of script on a poor wireless network need a while."""

LEAVING_S = 2.0
"""How long browsers may take to say goodbye when the hub leaves, before they are cut off."""

_FIXED_HEADERS = {
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}


class Live(Protocol):
    """What serves live connections; see :class:`~motionhub.remote.desk.Desk`."""

    async def attend(self, connection: ServerConnection) -> None:
        """Serve one connection until it ends."""


class Server:
    """Listens, from :meth:`start` to :meth:`close`.

    Args:
        site: The files to serve; may be exchanged while running.
        names: What the hub answers to besides IP addresses; may grow while running.
    """

    def __init__(self, site: Site, names: Names) -> None:
        self.site = site
        self.names = names
        self._live: Live | None = None
        self._opened = asyncio.Event()
        self._listener: Listener | None = None
        self._connections: set[ServerConnection] = set()
        self._by_address: Counter[str] = Counter()

    async def start(self, host: str, port: int) -> None:
        """Bind and answer.

        Args:
            host: Address to listen on, ``0.0.0.0`` or ``::`` for all.
            port: Port, 0 for any that is free.

        Raises:
            OSError: The address is in use or is not this machine's.
        """
        self._listener = await serve(
            self._attend,
            host,
            port,
            process_request=self._answer,
            process_response=_secure,
            create_connection=self._connection_class(),
            server_header=None,
            compression=None,  # a state is packed once for all viewers; compressing would be per viewer
            max_size=MAX_MESSAGE_BYTES,
            open_timeout=REQUEST_S,
            close_timeout=REQUEST_S,  # counts for the delivery of files too
            ping_interval=4,
            ping_timeout=8,
        )

    @property
    def port(self) -> int:
        """The port that is listened on."""
        assert self._listener is not None, "started"
        number: int = self._listener.sockets[0].getsockname()[1]
        return number

    def open(self, live: Live) -> None:
        """Serve live connections from now on, the ones that are waiting first."""
        self._live = live
        self._opened.set()

    async def close(self) -> None:
        """Stop listening, tell browsers that the hub leaves, and return when all connections have ended."""
        if self._listener is None:
            return
        self._opened.set()
        self._listener.close(code=1001, reason="the hub is shutting down")
        try:
            async with asyncio.timeout(LEAVING_S):
                await self._listener.wait_closed()
        except TimeoutError:
            for connection in list(self._connections):
                connection.transport.abort()
            await self._listener.wait_closed()

    async def _attend(self, connection: ServerConnection) -> None:
        await self._opened.wait()
        if self._live is not None:
            await self._live.attend(connection)
        else:
            await connection.wait_closed()  # the hub leaves before it has begun

    def _answer(self, connection: ServerConnection, request: Request) -> Response | None:
        """Answer an HTTP request; None lets the WebSocket handshake go on."""
        hosts = request.headers.get_all("Host")
        host = hosts[0] if len(hosts) == 1 else None
        if reason := objection(host, request.headers.get_all("Origin"), self.names):
            return _response(refusal(reason, _reached(connection)))
        if request.path.partition("?")[0] == LIVE_PATH:
            return None
        wanted = {name: ", ".join(request.headers.get_all(name)) for name in ("accept-encoding", "if-none-match")}
        return _response(self.site.answer(request.method, request.path, wanted))

    def _connection_class(self) -> type[ServerConnection]:
        server = self

        class Counted(ServerConnection):
            """Known to the server from its first to its last moment, so that there are never too many."""

            def connection_made(self, transport: asyncio.BaseTransport) -> None:
                super().connection_made(transport)
                self.address = address_of(self)
                server._connections.add(self)
                server._by_address[self.address] += 1
                if (
                    len(server._connections) > CONNECTIONS_AT_MOST
                    or server._by_address[self.address] > CONNECTIONS_PER_ADDRESS
                ):
                    self.transport.abort()

            def connection_lost(self, exc: Exception | None) -> None:
                server._connections.discard(self)
                server._by_address -= Counter({self.address: 1})
                super().connection_lost(exc)

        return Counted


def address_of(connection: ServerConnection) -> str:
    """The IP address at the other end; empty if it is gone already."""
    peer: Any = connection.transport.get_extra_info("peername")
    return str(peer[0]) if isinstance(peer, tuple) and peer else ""


def _reached(connection: ServerConnection) -> str:
    """The address, as one to open, by which a connection has reached this machine; empty if it came over a proxy."""
    here: Any = connection.transport.get_extra_info("sockname")
    if not isinstance(here, tuple) or is_only_here(str(here[0])):
        return ""
    return address(str(here[0]).removeprefix("::ffff:"), int(here[1]))


def _response(answer: Answer) -> Response:
    headers = Headers({"Connection": "close", **answer.headers})
    return Response(answer.status.value, answer.status.phrase, headers, answer.body)


def _secure(connection: ServerConnection, request: Request, response: Response) -> None:
    """Add what tells browsers to be careful with this page (MDN, OWASP Secure Headers)."""
    if response.status_code == HTTPStatus.SWITCHING_PROTOCOLS:
        return
    if request.method == "HEAD":
        response.body = b""
    for name, value in _FIXED_HEADERS.items():
        response.headers[name] = value
    response.headers["Content-Security-Policy"] = policy(request.headers.get_all("Host"))
    if "Cache-Control" not in response.headers:
        response.headers["Cache-Control"] = "no-store"
    with contextlib.suppress(KeyError):
        del response.headers["Date"]  # a board without a clock of its own would lie


def policy(hosts: list[str]) -> str:
    """The Content-Security-Policy: the page may load from, and talk to, nobody but this hub.

    In older browsers ``'self'`` does not stand for the WebSocket of the same host, so that is named too,
    except by an IPv6 address, for which the policy's grammar (CSP Level 3, host-source) has no form.
    """
    asked = parse_host(hosts[0]) if len(hosts) == 1 else None
    live = f" ws://{hosts[0]} wss://{hosts[0]}" if asked and ":" not in asked.host else ""
    return (
        f"default-src 'self'; connect-src 'self'{live}; img-src 'self' data: blob:; object-src 'none'; "
        "base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
    )
