"""Which pages may talk to the hub: the Host and Origin checks of every request.

A browser lets any page open a WebSocket to any address, and tells which page it was in ``Origin``. So
the hub asks that the page came from the hub itself (RFC 6455 §10.2; OWASP ASVS 5.0, 4.4.2): Origin's
host and port must be the Host that was asked for. A page can also make its own name resolve to the
hub's address (DNS rebinding), and then the two agree; so Host must be an IP address, which cannot be
rebound, or one of the names that the hub knows itself by. Those are its own with nothing behind them, or with an
ending that home routers add and that nobody can buy a name under: a page from the internet cannot have such a name.

A program that is no browser sends no Origin and is let through: it can send whatever Origin it likes,
and what stops it is the key.
"""

from __future__ import annotations

import ipaddress
import socket
from collections.abc import Iterable
from dataclasses import dataclass
from urllib.parse import urlsplit

PRIVATE = ("local", "lan", "home", "internal", "intranet", "private", "corp", "home.arpa")
"""Endings that are not in the public DNS: RFC 6762 (local, and appendix G), RFC 8375 (home.arpa); ICANN keeps internal
for this (2024) and has put home and corp off for good (2018)."""

_DEFAULT_PORTS = {"http": 80, "https": 443}


@dataclass(frozen=True)
class HostPort:
    """A host in lower case without a trailing dot, and a port; None is the scheme's own."""

    host: str
    port: int | None


def parse_host(header: str) -> HostPort | None:
    """Read a ``Host`` header (RFC 9110 §7.2), or None when it is not one."""
    try:
        parts = urlsplit(f"//{header}")
        host, port = parts.hostname, parts.port
    except ValueError:
        return None
    if not host or parts.netloc != header or parts.username is not None or parts.password is not None:
        return None
    if any(not ("!" < letter < "\x7f") or letter in "\\\"'<>^`{|};," for letter in header):
        return None  # it is put into a response header, so nothing of it may mean anything there
    return HostPort(host.rstrip("."), port)


class Names:
    """The names that the hub answers to, besides IP addresses."""

    def __init__(self, extra: Iterable[str] = ()) -> None:
        self._names = {"localhost"}
        machine = socket.gethostname()
        for name in (machine, machine.split(".")[0], *extra):
            self.add(name)

    def add(self, name: str) -> None:
        """Answer to ``name`` too and, if it has no dot in it, to it with every :data:`PRIVATE` ending."""
        plain = name.lower().rstrip(".")
        if plain:
            self._names.add(plain)
            if "." not in plain:
                self._names.update(f"{plain}.{ending}" for ending in PRIVATE)

    def __contains__(self, host: str) -> bool:
        return host in self._names or _is_address(host)


def _is_address(host: str) -> bool:
    try:
        ipaddress.ip_address(host)
    except ValueError:
        return False
    return True


def objection(host: str | None, origins: list[str], names: Names) -> str | None:
    """Why a request may not be answered, or None when it may.

    Args:
        host: The ``Host`` header; None if it is missing or was sent more than once.
        origins: Every ``Origin`` header of the request.
        names: What the hub answers to.
    """
    asked = parse_host(host) if host is not None else None
    if asked is None:
        return "The request does not say which host it is for."
    if asked.host not in names:
        return f"This hub does not go by the name {asked.host}."
    if not origins:
        return None
    if len(origins) > 1 or not _same(origins[0], asked):
        return "Pages from elsewhere may not talk to this hub."
    return None


def _same(origin: str, asked: HostPort) -> bool:
    try:
        parts = urlsplit(origin)
        host, port = parts.hostname, parts.port
    except ValueError:
        return False
    default = _DEFAULT_PORTS.get(parts.scheme)
    if default is None or not host or origin != f"{parts.scheme}://{parts.netloc}":
        return False
    # A TLS proxy in front of the hub passes Host on without a port, and then https's own is meant.
    return host.rstrip(".") == asked.host and (port or default) == (asked.port or default)
