"""What a bad radio does to bytes, on purpose: for rehearsing and for tests. The same seed does the same."""

from __future__ import annotations

import random
from dataclasses import dataclass, field


@dataclass
class Trouble:
    """One direction of a radio. Change the shares while it runs; all zero is a perfect radio.

    Args:
        lost: Share of the chunks given to :meth:`pass_on` (a packet, when the sender writes it at once) that vanish.
        repeated: Share of the chunks that come twice.
        flipped: Share of the bits that turn over.
        cut: Share of the chunks that lose their end.
        seed: Of what happens.
    """

    lost: float = 0.0
    repeated: float = 0.0
    flipped: float = 0.0
    cut: float = 0.0
    seed: int = 0
    _random: random.Random = field(init=False, repr=False)

    def __post_init__(self) -> None:
        self._random = random.Random(self.seed)

    def pass_on(self, chunk: bytes) -> bytes:
        """What arrives of ``chunk``."""
        if not (self.lost or self.repeated or self.flipped or self.cut):
            return chunk
        chance = self._random.random
        if not chunk or chance() < self.lost:
            return b""
        if chance() < self.cut:
            chunk = chunk[: self._random.randrange(len(chunk))]
        if chance() < self.repeated:
            chunk += chunk
        if self.flipped:
            out = bytearray(chunk)
            for bit in range(8 * len(out)):
                if chance() < self.flipped:
                    out[bit // 8] ^= 1 << bit % 8
            chunk = bytes(out)
        return chunk
