"""How a phone gets its key: an address with the key in its fragment, as a link and as a QR code.

What follows ``#`` stays in the browser (RFC 3986 §3.5; RFC 9110 §7.1 has no fragment in a request's target): so the
key is in no request, no log and no ``Referer``, and reaches the hub only inside the first message.
"""

from __future__ import annotations

import contextlib
import socket
from collections.abc import Iterable
from urllib.parse import quote

QUIET_ZONE = 4
"""Modules of margin around the code that ISO/IEC 18004 asks for; some cameras need it."""


def link(host: str, port: int, key: str) -> str:
    """The address to open, which pairs the browser that opens it."""
    return f"{address(host, port)}#key={quote(key, safe='')}"


def address(host: str, port: int) -> str:
    """The address to open, without a key: for a browser that is paired already."""
    bracketed = f"[{host}]" if ":" in host else host
    return f"http://{bracketed}{'' if port == 80 else f':{port}'}/"


def own_address(listen: str) -> str:
    """The address at which other machines reach this one, when it listens on ``listen``.

    For ``0.0.0.0`` and ``::``, which stand for every address of their kind, asks the system which one it would send
    from. Nothing is sent: connecting a UDP socket only looks up the route. The first target is reserved for
    documentation (RFC 5737, RFC 3849) and stands for "somewhere else"; the other is the group that local names are
    announced in (RFC 6762 §3), for a network that leads nowhere else.
    """
    match listen:
        case "0.0.0.0":
            return _sends_from(socket.AF_INET, ("192.0.2.1", "224.0.0.251")) or "127.0.0.1"
        case "::":
            return _sends_from(socket.AF_INET6, ("2001:db8::1", "ff02::fb")) or "::1"
    return listen


def _sends_from(family: socket.AddressFamily, targets: Iterable[str]) -> str | None:
    for target in targets:
        with contextlib.suppress(OSError), socket.socket(family, socket.SOCK_DGRAM) as probe:
            probe.connect((target, 9))
            found = str(probe.getsockname()[0])
            # A link-local IPv6 address needs a zone, which no link can carry (RFC 6874 was never taken up).
            if found not in ("0.0.0.0", "::") and not found.startswith("fe80"):
                return found
    return None


def is_only_here(host: str) -> bool:
    """Whether an address is this machine's own loopback, where no phone can reach it."""
    return host == "localhost" or host == "::1" or host.startswith("127.")


def qr_text(text: str, *, colour: bool) -> str:
    """``text`` as a QR code of half blocks, two rows of modules to a line.

    Args:
        text: What the code says.
        colour: Whether the terminal takes colours. Then the code is black on white whatever the terminal's own are;
            without, light modules are drawn, which is right on a dark terminal and inverted on a light one.
    """
    import segno

    rows = [list(row) for row in segno.make(text, error="m", micro=False).matrix_iter(border=QUIET_ZONE)]
    if len(rows) % 2:
        rows.append([0] * len(rows[0]))
    start, end = ("\x1b[38;5;231;48;5;16m", "\x1b[0m") if colour else ("", "")
    lines = []
    for upper, lower in zip(rows[::2], rows[1::2], strict=True):
        blocks = "".join(_BLOCK[not u, not v] for u, v in zip(upper, lower, strict=True))
        lines.append(f"{start}{blocks}{end}")
    return "\n".join(lines)


_BLOCK = {(True, True): "█", (True, False): "▀", (False, True): "▄", (False, False): " "}
"""By whether the upper and the lower module are light."""
