"""The hub's name on the local network, so that a phone finds it as ``http://tansy.local:8737/``.

Multicast DNS (RFC 6762) and service discovery (RFC 6763). Many networks do not carry it, so it is a
convenience: whatever goes wrong here is a note, and the hub goes on without.
"""

from __future__ import annotations

import asyncio
import contextlib
import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from zeroconf.asyncio import AsyncZeroconf

_SERVICE = "_http._tcp.local."
_TRIES = 9
_PATIENCE_S = 5.0
_ASKED_MS = 1500
"""How long another hub may take to say that a name is its own. RFC 6762 §8.1 waits three quarters of a second for that,
and §6 lets an answer to everybody come a second late where it has just been given."""


def label(name: str) -> str:
    """A robot's name as a host name: letters, digits and hyphens, at most 63 of them (RFC 1123 §2.1)."""
    plain = re.sub(r"[^a-z0-9]+", "-", name.lower()).strip("-")[:48].strip("-")
    return plain or "motionhub"


class Announcement:
    """Announces the hub, from :meth:`start` to :meth:`stop`. The key is never part of it.

    Args:
        name: The robot's name.
        addresses: The IP addresses to announce; empty for all of this machine's.
        port: Where the hub listens.
    """

    def __init__(self, name: str, addresses: list[str], port: int) -> None:
        self._name = name
        self._addresses = addresses
        self._port = port
        self._zeroconf: AsyncZeroconf | None = None

    async def start(self) -> str:
        """Announce the hub and return the host name that it can be reached by, as ``tansy.local``.

        When another hub on this network has that name already, a number is added.

        Raises:
            OSError: The network does not take announcements; the reason in words.
        """
        try:
            return await self._register()
        except Exception as error:
            # Whatever a network may do to it, a missing name is no reason for the hub to end.
            await self.stop()
            reason = getattr(error, "strerror", None) or str(error) or "the network did not answer"
            raise OSError(" ".join(str(reason).split())) from error

    async def _register(self) -> str:
        # Importing takes longer than the live loop may wait.
        await asyncio.to_thread(_load)
        from zeroconf import DNSQuestionType, NonUniqueNameException, ServiceInfo
        from zeroconf.asyncio import AsyncZeroconf

        addresses = self._addresses or await asyncio.to_thread(_own_addresses)
        if not addresses:
            raise OSError("no network is connected")
        self._zeroconf = AsyncZeroconf()
        for number in range(1, _TRIES + 1):
            suffix = "" if number == 1 else f"-{number}"
            host = f"{label(self._name)}{suffix}.local"
            service = ServiceInfo(
                _SERVICE,
                f"{self._name}{suffix}.{_SERVICE}",
                parsed_addresses=addresses,
                port=self._port,
                server=f"{host}.",
                properties={"path": "/"},
            )
            # Registering asks too, but for an answer to one socket alone; of two hubs on one machine, which share the
            # port, that may be the other's. This asks for an answer that everybody hears.
            taken = await self._zeroconf.async_get_service_info(
                _SERVICE, service.name, _ASKED_MS, question_type=DNSQuestionType.QM
            )
            if taken is not None:
                continue
            try:
                async with asyncio.timeout(_PATIENCE_S):
                    # Registering asks first whether the name is taken, for three quarters of a second.
                    await (await self._zeroconf.async_register_service(service))
            except NonUniqueNameException:
                continue
            return host
        raise OSError(f"{_TRIES} hubs with this name are on the network")

    async def stop(self) -> None:
        """Take the name back, so that it does not linger in phones' caches."""
        if self._zeroconf is not None:
            zeroconf, self._zeroconf = self._zeroconf, None
            with contextlib.suppress(Exception):
                async with asyncio.timeout(_PATIENCE_S):
                    await zeroconf.async_close()


def _load() -> None:
    import zeroconf.asyncio  # noqa: F401


def _own_addresses() -> list[str]:
    """The machine's IPv4 addresses on networks, without its loopback."""
    import ifaddr  # zeroconf's own way of listing them

    found = [ip.ip for adapter in ifaddr.get_adapters() for ip in adapter.ips if ip.is_IPv4]
    return [ip for ip in found if isinstance(ip, str) and not ip.startswith("127.")]
