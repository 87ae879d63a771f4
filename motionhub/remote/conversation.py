"""One browser's side of the talk, without I/O: bytes in, messages and a verdict out.

The rules, in the order in which they are applied to what a browser sends::

    a text frame                          close BINARY_ONLY
    far too often                         close TOO_MANY
    not a readable message                Refused; after UNREADABLE_TOLERATED of them close UNREADABLE
    before a good Hello: anything else    close NO_HELLO
    before a good Hello: a wrong key      close UNPAIRED, or TOO_MANY from an address with too many of them
    after it: another Hello               Refused
    a watcher, anything but Stop or Ping  Refused
    too often, anything but Stop          Refused
    longer than others may be, no document  close TOO_BIG
    more bytes than a hand makes          Refused
    else                                  the message is taken

An unpaired browser is told nothing but why it is turned away. A Stop is taken from everyone who is paired,
however busy the line is, as long as there is one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import msgpack  # type: ignore[import-untyped]
import pydantic

from motionhub.errors import from_validation
from motionhub.remote.asking import Hello, Ping, Stop
from motionhub.remote.budget import Budget
from motionhub.remote.keys import Role
from motionhub.remote.making import LONG
from motionhub.remote.messages import MAX_MESSAGE_BYTES, CloseCode, from_browser
from motionhub.remote.telling import Refused

if TYPE_CHECKING:
    from motionhub.remote.messages import FromBrowser

MESSAGES_PER_SECOND = 120.0
"""A finger on glass moves the page up to 120 times a second; what is more comes from a fault or a foe."""

BURST = 240.0
"""After a phone slept or the network stuttered, this many may come at once."""

OVERDRAFT = 240.0
"""Refused ones, before the connection is closed."""

BYTES_PER_SECOND = 2e6
"""Of messages with a document: a long one, sent while a hand moves a key of it."""

BURST_BYTES = 24e6
"""A sound and a document, as fast as the network goes."""

MOST_ITEMS = 1024
"""In a list or map of a message: none that is valid has more, and what has is not unpacked."""

UNREADABLE_TOLERATED = 8
"""A remote of another version may send a few; more than that is noise."""

_LONGEST_REASON = 200


@dataclass(frozen=True)
class Closing:
    """Close the connection, with this code and reason."""

    code: CloseCode
    reason: str


@dataclass(frozen=True)
class Step:
    """What follows from one frame: at most one message to act on, an answer to send, and whether to close."""

    message: FromBrowser | None = None
    answer: Refused | None = None
    closing: Closing | None = None


class Conversation:
    """Reads what one connection sends.

    Args:
        role_of: Tells the role that a key gives, or None; called at most once.
        may_try: Whether the connection's address may try a key at all.
        now: Time of the connection, on the clock of :meth:`receive`.
    """

    def __init__(self, role_of: Callable[[str], Role | None], may_try: Callable[[], bool], now: float) -> None:
        self._role_of = role_of
        self._may_try = may_try
        self._budget = Budget(MESSAGES_PER_SECOND, BURST, now)
        self._bytes = Budget(BYTES_PER_SECOND, BURST_BYTES, now)
        self._unreadable = 0
        self.role: Role | None = None

    def receive(self, data: bytes | str, now: float) -> Step:
        """Judge one frame; never raises, whatever is in it."""
        if isinstance(data, str):
            return _close(CloseCode.BINARY_ONLY, "messages are MessagePack in binary frames")
        left = self._budget.spend(now)
        if left < -OVERDRAFT:
            return _close(CloseCode.TOO_MANY, "too many messages")
        message, error = _read(data)
        if message is None:
            if len(data) > MAX_MESSAGE_BYTES:
                return _close(CloseCode.TOO_BIG, "a long message that could not be read")
            if self.role is None:
                return _close(CloseCode.NO_HELLO, "the first message has to be a hello")
            self._unreadable += 1
            if self._unreadable > UNREADABLE_TOLERATED:
                return _close(CloseCode.UNREADABLE, "too many messages that could not be read")
            return Step(answer=Refused(to="", text=error))
        if self.role is None:
            return self._greet(message)
        if isinstance(message, Hello):
            return _refuse(message, "This connection has said hello already.")
        if isinstance(message, Stop):
            return Step(message=message)
        if left < 0:
            return _refuse(message, "Too many messages at once: this one was left out.")
        if self.role == "watcher" and not isinstance(message, Ping):
            return _refuse(message, "This device is paired to watch. Pair it with the operator's code to drive.")
        if len(data) > MAX_MESSAGE_BYTES:
            if not isinstance(message, LONG):
                return _close(CloseCode.TOO_BIG, "a message longer than it may be")
            if self._bytes.spend(now, len(data)) < 0:
                return _refuse(message, "Too much at once: this was left out.")
        return Step(message=message)

    def _greet(self, message: FromBrowser) -> Step:
        if not isinstance(message, Hello):
            return _close(CloseCode.NO_HELLO, "the first message has to be a hello")
        if not self._may_try():
            return _close(CloseCode.TOO_MANY, "too many wrong keys from this address: wait a few minutes")
        self.role = self._role_of(message.key)
        if self.role is None:
            return _close(CloseCode.UNPAIRED, "this key is not one of this hub's: pair again")
        return Step(message=message)


def _read(data: bytes) -> tuple[FromBrowser | None, str]:
    """The message in ``data``, or None and the reason in words."""
    try:
        # Sizes inside are bounded by the length of the data, and that by the server.
        found = msgpack.unpackb(data, raw=False, strict_map_key=True, max_array_len=MOST_ITEMS, max_map_len=MOST_ITEMS)
    except (ValueError, TypeError, msgpack.UnpackException, RecursionError):
        return None, "The message is not MessagePack."
    if not isinstance(found, dict):
        return None, "A message is a map with a type."
    try:
        # Strict: "0.5" is no number and 1 is no truth value. JSON would need leniency, MessagePack has the types.
        return from_browser.validate_python(found, strict=True), ""
    except pydantic.ValidationError as error:
        return None, str(from_validation("message", error))[:_LONGEST_REASON]


def _refuse(message: FromBrowser, text: str) -> Step:
    return Step(answer=Refused(to=message.type, text=text))


def _close(code: CloseCode, reason: str) -> Step:
    return Step(closing=Closing(code, reason))
