"""The built remote's files, answered from memory.

The folder is read once, and a request only looks a path up among what was read. So no path that a
browser can write reaches the file system, whatever dots, slashes or percent signs are in it, and the
live loop never waits for a disk.
"""

from __future__ import annotations

import gzip
import hashlib
import mimetypes
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from html import escape
from http import HTTPStatus
from importlib import resources
from pathlib import Path

_TYPES = {
    # What a system's own table says may differ, and modules are refused with a wrong type.
    ".html": "text/html; charset=utf-8",
    ".js": "text/javascript; charset=utf-8",
    ".css": "text/css; charset=utf-8",
    ".json": "application/json",
    ".svg": "image/svg+xml",
    ".webmanifest": "application/manifest+json",
    ".woff2": "font/woff2",
    ".wasm": "application/wasm",
    ".txt": "text/plain; charset=utf-8",
}
_WORTH_COMPRESSING = {".html", ".js", ".css", ".json", ".svg", ".webmanifest", ".wasm", ".txt"}
_HASHED = re.compile(r"-[A-Z0-9]{8}\.\w+$")
"""As the bundler names what never changes under its name."""

METHODS = ("GET", "HEAD")

_NOT_BUILT = """<!doctype html>
<html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>The remote is not built</title>
<h1>The remote is not built</h1>
<p>The hub runs, but this copy of it carries no remote. In a checkout, build it once:</p>
<pre>cd web_remote
npm ci
npm run build</pre>
<p>and load this page again. An installation with pip brings the remote along.</p>
</html>
"""


@dataclass(frozen=True)
class Answer:
    """A response to an HTTP request, before it is written in any library's own shape."""

    status: HTTPStatus
    headers: dict[str, str]
    body: bytes = field(default=b"", repr=False)


@dataclass(frozen=True)
class _File:
    type: str
    body: bytes = field(repr=False)
    zipped: bytes | None = field(repr=False)
    etag: str
    immutable: bool


class Site:
    """What is served under which path."""

    def __init__(self) -> None:
        self._files: dict[str, _File] = {}
        self._made: dict[str, Callable[[], bytes]] = {}
        self.built = False
        self._files["/"] = self._files["/index.html"] = _file("index.html", _NOT_BUILT.encode())

    @classmethod
    def of(cls, folder: Path | None) -> Site:
        """Read a folder with an ``index.html``; without one, the site says that the remote is not built."""
        site = cls()
        if folder is None:
            return site
        root = folder.resolve()
        for path in sorted(root.rglob("*")):
            # A link out of the folder would publish what it points at.
            if not path.is_file() or not path.resolve().is_relative_to(root) or path.suffix in (".gz", ".map"):
                continue
            name = path.relative_to(root).as_posix()
            if any(part.startswith(".") for part in name.split("/")):
                continue
            packed = path.with_name(path.name + ".gz")
            site._files[f"/{name}"] = _file(name, path.read_bytes(), packed.read_bytes() if packed.is_file() else None)
            if name == "index.html":
                site._files["/"] = site._files["/index.html"]
                site.built = True
        return site

    def add(self, path: str, body: bytes) -> None:
        """Serve ``body`` under ``path`` as well."""
        self._files[path] = _file(path, body)

    def make(self, path: str, body: Callable[[], bytes]) -> None:
        """Serve what ``body`` says when it is asked for: it changes while the hub runs."""
        self._made[path] = body

    def answer(self, method: str, target: str, headers: Mapping[str, str]) -> Answer:
        """Answer a request.

        Args:
            method: The request's method.
            target: The request's target as sent; what follows ``?`` is ignored.
            headers: ``accept-encoding`` and ``if-none-match``, by lower-case name, as far as they were sent.
        """
        if method not in METHODS:
            return _words(
                HTTPStatus.METHOD_NOT_ALLOWED, "Only GET and HEAD are answered here.", allow=", ".join(METHODS)
            )
        path = target.partition("?")[0]
        file = _file(path, self._made[path]()) if path in self._made else self._files.get(path)
        if file is None:
            return _words(HTTPStatus.NOT_FOUND, "There is nothing here. The remote is at /.")
        is_page = target.partition("?")[0] in ("/", "/index.html")
        status = HTTPStatus.OK if self.built or not is_page else HTTPStatus.SERVICE_UNAVAILABLE
        fields = {
            "ETag": file.etag,
            "Cache-Control": "public, max-age=31536000, immutable" if file.immutable else "no-cache",
            "Vary": "Accept-Encoding",
        }
        if status is HTTPStatus.OK and _matches(headers.get("if-none-match", ""), file.etag):
            return Answer(HTTPStatus.NOT_MODIFIED, fields)
        fields["Content-Type"] = file.type
        body = file.body
        if file.zipped is not None and takes_gzip(headers.get("accept-encoding", "")):
            body = file.zipped
            fields["Content-Encoding"] = "gzip"
        fields["Content-Length"] = str(len(body))
        return Answer(status, fields, b"" if method == "HEAD" else body)


def built_remote() -> Path | None:
    """The remote as installed, or as built in this checkout; None if neither is there."""
    package = Path(str(resources.files("motionhub")))
    for folder in (package / "_remote", package.parent / "web_remote" / "dist"):
        if (folder / "index.html").is_file():
            return folder
    return None


def takes_gzip(header: str) -> bool:
    """Whether an ``Accept-Encoding`` allows gzip (RFC 9110 §12.5.3)."""
    weights: dict[str, float] = {}
    for item in header.lower().split(","):
        coding, _, parameters = item.partition(";")
        weight = 1.0
        if (value := parameters.strip()).startswith("q="):
            try:
                weight = float(value[2:])
            except ValueError:
                weight = 0.0
        weights[coding.strip()] = weight
    return weights.get("gzip", weights.get("*", 0.0)) > 0


def _file(name: str, body: bytes, zipped: bytes | None = None) -> _File:
    suffix = Path(name).suffix.lower()
    kind = _TYPES.get(suffix) or mimetypes.guess_type(name)[0] or "application/octet-stream"
    if zipped is None and suffix in _WORTH_COMPRESSING and len(body) > 1024:
        packed = gzip.compress(body, 6, mtime=0)
        zipped = packed if len(packed) < 0.9 * len(body) else None
    # Weak: the same tag stands for the plain and for the compressed form (RFC 9110 §8.8.3.3).
    etag = f'W/"{hashlib.sha256(body).hexdigest()[:24]}"'
    return _File(kind, body, zipped, etag, immutable=_HASHED.search(name) is not None)


def _matches(header: str, etag: str) -> bool:
    return header.strip() == "*" or etag in [tag.strip() for tag in header.split(",")]


_NOT_ANSWERED = """<!doctype html>
<html lang="en"><meta charset="utf-8"><meta name="viewport" content="width=device-width">
<title>Not answered here</title>
<h1>Not answered here</h1>
<p>{reason}</p>
<p>Open {instead} instead: by its number a hub is always answered, and by the name that it shows where it was
started. Under a name that it does not know it answers nothing, for that page could be somebody else's.</p>
</html>
"""


def refusal(reason: str, instead: str) -> Answer:
    """What a browser is told that came by a name which the hub does not answer to.

    Args:
        reason: Why, in a sentence.
        instead: The address that is answered; empty when it is not known.
    """
    link = f'<a href="{escape(instead)}">{escape(instead)}</a>' if instead else "it by its IP address"
    body = _NOT_ANSWERED.format(reason=escape(reason), instead=link).encode()
    fields = {"Content-Type": "text/html; charset=utf-8", "Content-Length": str(len(body)), "Cache-Control": "no-store"}
    return Answer(HTTPStatus.FORBIDDEN, fields, body)


def _words(status: HTTPStatus, text: str, **headers: str) -> Answer:
    body = f"{text}\n".encode()
    fields = {
        "Content-Type": "text/plain; charset=utf-8",
        "Content-Length": str(len(body)),
        "Cache-Control": "no-store",
    }
    return Answer(status, fields | {name.title(): value for name, value in headers.items()}, body)
