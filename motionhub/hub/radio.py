"""What a slow radio costs the show, in words, and not again and again."""

from __future__ import annotations

from motionhub.hub.snapshot import LinkView

QUIET_S = 60.0
"""Frames that are left out are told again only when all were sent for this long: a walk that comes and goes is
one piece of news."""
THINNED = (
    "The radio cannot carry this motion whole: every second frame is left out, and the robot goes evenly "
    "from one to the next. A faster radio would carry all"
)
_COUNT = {2: "two", 3: "three"}


def shared(together: int, period_s: float) -> str:
    """Words for frames that share packets."""
    late = round((together - 1) * period_s * 1000)
    frames = _COUNT.get(together, str(together))
    return f"The radio is slow: {frames} frames share a packet, and the robot follows {late} ms later for that"


class Radio:
    """Follows the link's state, and says what is new in how it carries the frames.

    Args:
        period_s: From one frame to the next.
    """

    def __init__(self, period_s: float) -> None:
        self._period_s = period_s
        self._most = 1
        self._thinned_at: float | None = None

    def hear(self, link: LinkView, now: float) -> list[tuple[str, bool]]:
        """How the link is doing; returns what to tell people, and whether it takes something from the show."""
        if not link.up:
            self._most = 1
            return []
        if link.thinned:
            before, self._thinned_at = self._thinned_at, now
            return [(THINNED, True)] if before is None or now - before >= QUIET_S else []
        if link.together > self._most:
            self._most = link.together
            return [(shared(link.together, self._period_s), False)]
        return []
