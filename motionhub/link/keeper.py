"""The robot's memory for what it keeps, without I/O: the twin of the firmware's ``kept.cpp``.

What is kept, how it comes and how it lies there: :mod:`motionhub.link.kept`.
"""

from __future__ import annotations

from enum import Enum, auto

from motionhub.link.crc import SIZE
from motionhub.link.kept import PIECE, Export, Kept, KeptState, Limits, Said, digest, pieces
from motionhub.link.wire import DamagedError, Packet

BLANK, WRITING, IN_PLACE = 0xFF, 0x00, 0xA5
LOOKED_AT_ONCE = 8
"""Places compared in one period; at most one of them is written, and a write takes the chip 3.3 ms."""
BOOTS_AT = 0
SLOTS_AT = 8


class Memory:
    """Bytes that stay when the power goes; 0xFF where nothing was ever written."""

    def __init__(self, size: int = 4096, boots: int | None = None) -> None:
        self.bytes = bytearray(b"\xff" * size)
        if boots is not None:
            self.bytes[BOOTS_AT : BOOTS_AT + 2] = (boots & 0xFFFF).to_bytes(2, "little")

    def read(self, at: int) -> int:
        """One byte."""
        return self.bytes[at]

    def write(self, at: int, value: int) -> None:
        """One byte."""
        self.bytes[at] = value

    def count_start(self) -> int:
        """One more start of the controller; how many there were, modulo 65,536."""
        boots = (self.read(BOOTS_AT) | self.read(BOOTS_AT + 1) << 8) + 1 & 0xFFFF
        # Cut off between the two, the number is some other one: it only has to differ from those of late.
        self.write(BOOTS_AT, boots & 255)
        self.write(BOOTS_AT + 1, boots >> 8)
        return boots


class _Slot(Enum):
    EMPTY = auto()
    DAMAGED = auto()
    OTHER = auto()
    GOOD = auto()


class Keeper:
    """Reads what is kept, and keeps what the hub sends.

    Args:
        export: What the program was built with.
        memory: Where it is kept.
    """

    def __init__(self, export: Export, memory: Memory) -> None:
        self._export, self._memory = export, memory
        self._export_digest = export.digest
        self._staged = bytearray(len(export.image))
        self._length = 1 + 1 + SIZE + len(self._staged) + SIZE
        self._pieces = 0
        self._state = KeptState.MISSING
        self._staged_digest = b""
        self._slot = b""  # as it is being written, from generation to check
        self._written = 0
        self._reply_due = False
        self._asked: int | None = None
        self._in_use: int | None = None  # slot of what is in use; None: the export's
        self._other_damaged = False
        self.digest = digest(export.image)
        """Of the image in use."""
        self.kept_in_use = False
        """Whether that is the kept one, not the export's."""
        self._newest, self._generation = 1, 0
        slots = [self._look(0), self._look(1)]
        self.damaged = _Slot.DAMAGED in slots
        """Whether something kept could not be used."""
        good = [slot is _Slot.GOOD for slot in slots]
        image = export.image
        if any(good):
            generations = [self._memory.read(self._at(slot) + 1) for slot in (0, 1)]
            ahead = (generations[0] - generations[1]) & 255
            self._newest = 1 if not good[0] else 0 if not good[1] or ahead < 128 else 1
            self._generation = generations[self._newest]
            self.kept_in_use = True
            self._in_use = self._newest
            image = self._bytes(self._at(self._newest) + 5, len(image))
            self.digest = digest(image)
        else:
            # Written first is slot 0; when it is over, a damaged slot 1 has to be emptied.
            self._other_damaged = slots[1] is _Slot.DAMAGED
        records = export.records(image)
        assert records is not None, "an export's own ends lie within the servos'"
        self.limits = export.limits(records)
        """What is to be used."""

    @property
    def end(self) -> int:
        """First byte of the memory that is free."""
        return SLOTS_AT + 2 * self._length

    # -- taking -------------------------------------------------------------------------------------

    def take(self, packet: Packet) -> None:
        """Take a settings packet whose check was good.

        Raises:
            DamagedError: if it is not made like one.
        """
        body = packet.body
        if packet.low == 0:
            piece = body[2] if len(body) > 2 else 255
            wanted = len(self._staged[PIECE * piece :][:PIECE])
            if piece >= pieces(len(self._staged)) or len(body) != 3 + wanted:
                raise DamagedError("expected a piece of its own length")
            if self._state != KeptState.WRITING:  # it would be half of each
                self._staged[PIECE * piece : PIECE * piece + wanted] = body[3:]
                self._pieces |= 1 << piece
                self._state = KeptState.MISSING
        elif packet.low == 1:
            if len(body) != 2 + SIZE:
                raise DamagedError("expected a digest")
            self._reply_due = True
            self._keep(body[2:])
        elif packet.low == 2:
            if len(body) != 3 or body[2] >= pieces(len(self._staged)):
                raise DamagedError("expected one of the pieces")
            self._asked = body[2]
        else:
            raise DamagedError("expected a piece, a digest or a question")

    def reply(self) -> Kept | None:
        """How the keeping stands, if that is due, once."""
        due, self._reply_due = self._reply_due, False
        return Kept(self._state, self.digest, self._pieces) if due else None

    def say(self) -> Said | None:
        """The piece of what is in use that was asked for, once."""
        piece, self._asked = self._asked, None
        if piece is None:
            return None
        if self._in_use is None:
            data = self._export.image[PIECE * piece :][:PIECE]
        else:
            at = self._at(self._in_use) + 5 + PIECE * piece
            data = self._bytes(at, len(self._staged[PIECE * piece :][:PIECE]))
        return Said(self.digest, piece, data)

    def _keep(self, wanted: bytes) -> None:
        if self._state == KeptState.WRITING:
            return
        # Asked again how it ended. What failed is tried again when its pieces come again.
        ended = self._state in (KeptState.WAITING, KeptState.KEPT, KeptState.FAILED)
        if ended and wanted == self._staged_digest:
            return
        if self._pieces != (1 << pieces(len(self._staged))) - 1:
            self._state = KeptState.MISSING
        elif digest(self._staged) != wanted:
            # Pieces of another set among them: all of them anew.
            self._pieces = 0
            self._state = KeptState.MISSING
        elif self._export.records(self._staged) is None:
            self._state = KeptState.REFUSED
        else:
            self._staged_digest = wanted
            inner = bytes(((self._generation + 1) & 255,)) + self._export_digest + self._staged
            self._slot = inner + digest(inner)
            self._written = 0
            self._state = KeptState.WRITING

    # -- writing ------------------------------------------------------------------------------------

    def period(self) -> Limits | None:
        """Write at most one byte; returns limits that wait for a moment that suits (then call :meth:`use`)."""
        if self._state == KeptState.WAITING:
            return self._waiting
        if self._state != KeptState.WRITING:
            return None
        start = self._at(self._newest ^ 1)
        order = bytes((WRITING,)) + self._slot + bytes((IN_PLACE,))
        for _ in range(LOOKED_AT_ONCE):
            if self._written > self._length:
                self._finish()
                return None
            at = start + (0 if self._written == self._length else self._written)
            value = order[self._written]
            self._written += 1
            if self._memory.read(at) != value:
                self._memory.write(at, value)
                return None
        return None

    def use(self) -> None:
        """What waited is in use now."""
        self.limits = self._waiting
        self.digest = self._staged_digest
        self.kept_in_use = True
        self._in_use = self._newest
        self._state = KeptState.KEPT

    @property
    def _waiting(self) -> Limits:
        records = self._export.records(self._staged)
        assert records is not None, "looked at before it was written"
        return self._export.limits(records)

    def _finish(self) -> None:
        slot = self._newest ^ 1
        at = self._at(slot)
        if self._look(slot) is not _Slot.GOOD or self._bytes(at + self._length - SIZE, SIZE) != self._slot[-SIZE:]:
            self.damaged = True
            self._state = KeptState.FAILED
            return
        if self._other_damaged:
            self._memory.write(self._at(self._newest), WRITING)
            self._other_damaged = False
        self._newest, self._generation = slot, self._slot[0]
        self.damaged = False
        self._pieces = 0
        self._state = KeptState.WAITING

    # -- reading ------------------------------------------------------------------------------------

    def _at(self, slot: int) -> int:
        return SLOTS_AT + slot * self._length

    def _bytes(self, at: int, size: int) -> bytes:
        return bytes(self._memory.read(at + i) for i in range(size))

    def _look(self, slot: int) -> _Slot:
        marker, *rest = self._bytes(self._at(slot), self._length)
        if marker in (BLANK, WRITING):
            return _Slot.EMPTY
        inner, check = bytes(rest[:-SIZE]), bytes(rest[-SIZE:])
        if marker != IN_PLACE or digest(inner) != check:
            return _Slot.DAMAGED
        if inner[1:4] != self._export_digest:
            return _Slot.OTHER
        return _Slot.GOOD if self._export.records(inner[4:]) is not None else _Slot.DAMAGED
