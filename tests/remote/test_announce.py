"""The name on the local network, with real multicast where the machine has it."""

from __future__ import annotations

import asyncio
import uuid
from typing import Any

import pytest
import zeroconf.asyncio
from zeroconf import NonUniqueNameException, ServiceInfo
from zeroconf.asyncio import AsyncZeroconf

from motionhub.remote.announce import Announcement

SERVICE = "_http._tcp.local."


async def started(announcement: Announcement) -> str:
    try:
        return await announcement.start()
    except OSError as error:
        pytest.skip(f"no multicast here: {error}")


async def test_others_find_the_hub_a_second_one_has_a_name_of_its_own_and_the_key_is_not_told() -> None:
    name = f"Tansy {uuid.uuid4().hex[:8]}"
    announcement, looking = Announcement(name, ["192.0.2.7"], 8737), AsyncZeroconf()
    second = Announcement(name, ["192.0.2.7"], 8738)  # on the same machine, which is the hard case
    try:
        host = await started(announcement)
        assert host == f"{name.lower().replace(' ', '-')}.local"
        found = await looking.async_get_service_info(SERVICE, f"{name}.{SERVICE}", timeout=10_000)
        assert found is not None
        assert (found.server, found.port, found.parsed_addresses()) == (f"{host}.", 8737, ["192.0.2.7"])
        assert found.decoded_properties == {"path": "/"}
        assert await started(second) == host.replace(".local", "-2.local")
    finally:
        await second.stop()
        await announcement.stop()
        await looking.async_close()
    await announcement.stop()  # once more does no harm


class Crowded:
    """A network on which the first so many names are taken."""

    def __init__(self, taken: int) -> None:
        self.taken = taken
        self.asked: list[str] = []
        self.closed = False

    async def async_register_service(self, service: ServiceInfo) -> asyncio.Future[None]:
        self.asked.append(service.server)
        if len(self.asked) <= self.taken:
            raise NonUniqueNameException
        done: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        done.set_result(None)
        return done

    async def async_get_service_info(self, *_: object, **__: object) -> None:
        """Nobody answers; registering finds out."""

    async def async_close(self) -> None:
        self.closed = True


async def test_a_second_hub_gets_a_name_of_its_own(monkeypatch: pytest.MonkeyPatch) -> None:
    network = Crowded(2)
    monkeypatch.setattr(zeroconf.asyncio, "AsyncZeroconf", lambda: network)
    announcement = Announcement("Tansy", ["192.0.2.7"], 8737)
    assert await announcement.start() == "tansy-3.local"
    assert network.asked == ["tansy.local.", "tansy-2.local.", "tansy-3.local."]
    await announcement.stop()
    assert network.closed


async def test_a_network_full_of_hubs_is_one_line(monkeypatch: pytest.MonkeyPatch) -> None:
    network = Crowded(1000)
    monkeypatch.setattr(zeroconf.asyncio, "AsyncZeroconf", lambda: network)
    with pytest.raises(OSError, match="hubs with this name"):
        await Announcement("Tansy", ["192.0.2.7"], 8737).start()
    assert network.closed


@pytest.mark.parametrize(
    "trouble", [OSError(19, "No such device"), RuntimeError("something odd\nin two lines"), TimeoutError()]
)
async def test_whatever_goes_wrong_is_one_line(monkeypatch: pytest.MonkeyPatch, trouble: Exception) -> None:
    def fail(*_: Any, **__: Any) -> None:
        raise trouble

    monkeypatch.setattr(zeroconf.asyncio, "AsyncZeroconf", fail)
    with pytest.raises(OSError, match=r".") as caught:
        await Announcement("Tansy", ["192.0.2.7"], 8737).start()
    assert "\n" not in str(caught.value)
