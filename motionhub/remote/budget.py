"""How often is too often: limits that keep one noisy or hostile browser from costing the others.

No clock in here: ``now`` is any clock that only goes forward, in seconds.
"""

from __future__ import annotations

import ipaddress
from collections import OrderedDict


class Budget:
    """A token bucket that may be overdrawn, so that "too often" and "far too often" can be told apart."""

    def __init__(self, per_second: float, burst: float, now: float) -> None:
        self._rate = per_second
        self._burst = burst
        self._left = burst
        self._at = now

    def spend(self, now: float, amount: float = 1.0) -> float:
        """Take ``amount`` out and return what is left: below 0 is too often."""
        self._left = self.left(now) - amount
        self._at = max(self._at, now)
        return self._left

    def left(self, now: float) -> float:
        """What is left at ``now``, without taking anything."""
        return min(self._burst, self._left + self._rate * max(0.0, now - self._at))


class WrongKeys:
    """Counts wrong keys by the address they came from.

    The keys are too long to be guessed; this keeps whoever tries from costing time, and makes the log
    worth reading. Connections that are already paired are not touched by it.
    """

    TRIES = 10
    """Wrong keys in a row from one address: more than a person with an old bookmark needs."""

    SECONDS_PER_TRY = 20.0
    """How long until one more is allowed."""

    KEPT = 1024
    """Addresses remembered; beyond that the one quiet for longest is forgotten. Bounds the memory."""

    def __init__(self) -> None:
        self._budgets: OrderedDict[str, Budget] = OrderedDict()

    def count(self, address: str, now: float) -> None:
        """Note a wrong key from ``address``."""
        name = network_of(address)
        budget = self._budgets.pop(name, None) or Budget(1 / self.SECONDS_PER_TRY, self.TRIES, now)
        budget.spend(now)
        self._budgets[name] = budget
        if len(self._budgets) > self.KEPT:
            self._budgets.popitem(last=False)

    def exhausted(self, address: str, now: float) -> bool:
        """Whether ``address`` has to wait before it may try a key again."""
        budget = self._budgets.get(network_of(address))
        return budget is not None and budget.left(now) < 1


def network_of(address: str) -> str:
    """What one device can vary at will, taken off: an IPv6 host has its whole /64 to itself (RFC 4291 §2.5.4)."""
    try:
        ip = ipaddress.ip_address(address.split("%")[0])
    except ValueError:
        return address
    if isinstance(ip, ipaddress.IPv6Address):
        if ip.ipv4_mapped:
            return str(ip.ipv4_mapped)
        return str(ipaddress.ip_network((ip, 64), strict=False))
    return str(ip)
