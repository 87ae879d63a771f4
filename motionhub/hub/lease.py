"""Who drives: one at a time, by a lease that lapses when its holder goes quiet.

A lease rather than a lock, because the holder is a phone: it may be dropped, run flat or walk out of the
room, and then it cannot give anything back. Everybody else watches, and may press Stop all the same.
"""

from __future__ import annotations

from dataclasses import dataclass

QUIET_S = 2.0
"""Control lapses when its holder has said nothing for this long. A remote pings every half second or so,
so it takes several lost messages in a row; and two seconds is about as long as people wait before they
walk over to the one who should be driving."""


@dataclass
class Person:
    """Somebody at a remote. Only an ``operator`` may take control; a watcher may still press Stop."""

    id: str
    name: str
    operator: bool
    heard: float


class Lease:
    """Who is here, and which one of them holds control. Times are the caller's clock, in seconds."""

    def __init__(self) -> None:
        self.people: dict[str, Person] = {}
        self.holder: Person | None = None

    def join(self, client: str, name: str, operator: bool, now: float) -> None:
        """Somebody has come; the same ``client`` again is the same somebody under a new name."""
        known = self.people.get(client)
        if known is None:
            self.people[client] = Person(client, name, operator, now)
        else:
            known.name, known.operator, known.heard = name, operator, now
            if not operator and self.holder is known:
                self.holder = None

    def leave(self, client: str) -> bool:
        """Somebody has gone. Returns whether control went with them."""
        gone = self.people.pop(client, None)
        if gone is None or self.holder is not gone:
            return False
        self.holder = None
        return True

    def hear(self, client: str, now: float) -> Person | None:
        """Somebody said something. Returns who, or None for someone who never joined."""
        person = self.people.get(client)
        if person is not None:
            person.heard = max(person.heard, now)
        return person

    def holds(self, client: str) -> bool:
        """Whether this one is driving."""
        return self.holder is not None and self.holder.id == client

    def take(self, client: str) -> str:
        """Give control to this one, if it is free. Returns why not, or nothing."""
        person = self.people[client]
        if not person.operator:
            return "this device is paired for watching only"
        if self.holder is not None and self.holder is not person:
            return f"{self.holder.name or 'someone else'} is driving"
        self.holder = person
        return ""

    def release(self, client: str) -> bool:
        """Give control back. Returns whether this one held it."""
        if not self.holds(client):
            return False
        self.holder = None
        return True

    def lapse(self, now: float) -> Person | None:
        """End the lease of a holder who has gone quiet. Returns whose it was, if it lapsed just now."""
        holder = self.holder
        if holder is None or now - holder.heard <= QUIET_S:
            return None
        self.holder = None
        return holder
