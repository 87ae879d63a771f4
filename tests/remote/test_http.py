"""The files: what is served, what is not, and what each answer tells the browser. Raw HTTP over a real socket."""

from __future__ import annotations

import asyncio
import gzip
import json
from collections.abc import AsyncIterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from motionhub.remote import messages, server, typescript
from motionhub.remote.origin import Names, objection, parse_host
from motionhub.remote.server import CONNECTIONS_PER_ADDRESS, Server, policy
from motionhub.remote.site import Site, takes_gzip

PAGE = b"<!doctype html><title>remote</title>" + b"<p>word</p>" * 300
SCRIPT = b"export const answer = 42;\n" * 200


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A built remote, beside something that is nobody's business."""
    (tmp_path / "secret.txt").write_text("the key")
    dist = tmp_path / "dist"
    (dist / "deep").mkdir(parents=True)
    (dist / "index.html").write_bytes(PAGE)
    (dist / "main-ABCD2345.js").write_bytes(SCRIPT)
    (dist / "icon.svg").write_bytes(b"<svg/>")
    (dist / "deep" / "style.css").write_bytes(b"a{}")
    (dist / ".hidden").write_bytes(b"x")
    (dist / "main.js.map").write_bytes(b"{}")
    (dist / "out.txt").symlink_to(tmp_path / "secret.txt")
    return dist


@pytest.fixture
async def site(folder: Path) -> AsyncIterator[Server]:
    running = Server(Site.of(folder), Names(["tansy"]))
    await running.start("127.0.0.1", 0)
    yield running
    await running.close()


async def ask(port: int, request: bytes) -> tuple[int, dict[str, str], bytes]:
    """Send bytes as they are; status, headers by lower-case name, and body. Status 0: closed without an answer."""
    reader, writer = await asyncio.open_connection("127.0.0.1", port)
    writer.write(request)
    async with asyncio.timeout(10):
        try:
            answer = await reader.read()
        except ConnectionError:
            answer = b""
    writer.close()
    if not answer:
        return 0, {}, b""
    head, _, body = answer.partition(b"\r\n\r\n")
    first, *lines = head.decode("latin-1").split("\r\n")
    return int(first.split(" ")[1]), dict(_field(line) for line in lines), body


def _field(line: str) -> tuple[str, str]:
    name, _, value = line.partition(":")
    return name.lower(), value.strip()


async def get(port: int, target: str, method: str = "GET", **headers: str) -> tuple[int, dict[str, str], bytes]:
    sent = {"Host": f"127.0.0.1:{port}"} | {name.replace("_", "-"): value for name, value in headers.items()}
    fields = "".join(f"{name}: {value}\r\n" for name, value in sent.items())
    return await ask(port, f"{method} {target} HTTP/1.1\r\n{fields}\r\n".encode("latin-1"))


async def test_the_page_and_its_parts(site: Server) -> None:
    for target in ("/", "/index.html", "/?from=a-link"):
        status, headers, body = await get(site.port, target)
        assert (status, body) == (200, PAGE)
        assert headers["content-type"] == "text/html; charset=utf-8"
        assert headers["cache-control"] == "no-cache"
    status, headers, body = await get(site.port, "/main-ABCD2345.js")
    assert (status, body) == (200, SCRIPT)
    assert headers["content-type"].startswith("text/javascript")
    assert "immutable" in headers["cache-control"]
    assert (await get(site.port, "/deep/style.css"))[1]["cache-control"] == "no-cache"
    assert (await get(site.port, "/icon.svg"))[1]["content-type"] == "image/svg+xml"


async def test_every_answer_tells_the_browser_to_be_careful(site: Server) -> None:
    for target in ("/", "/main-ABCD2345.js", "/nothing", "/live"):
        _, headers, _ = await get(site.port, target)
        rules = headers["content-security-policy"].split("; ")
        assert "default-src 'self'" in rules
        assert "frame-ancestors 'none'" in rules
        assert "object-src 'none'" in rules
        assert not any("unsafe" in rule or " *" in rule for rule in rules)
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
        assert "server" not in headers


def test_the_policy_lets_the_page_reach_its_own_hub_and_nobody_else() -> None:
    assert "connect-src 'self' ws://tansy.local:8737 wss://tansy.local:8737;" in policy(["tansy.local:8737"])
    assert "connect-src 'self';" in policy(["[::1]:8737"])
    for hostile in ("a; script-src *", "a b", "a\r\nX: y", "a'b", "a,b", "", "user@a"):
        assert "connect-src 'self';" in policy([hostile])


async def test_head_is_get_without_the_body(site: Server) -> None:
    for target in ("/", "/nothing"):
        plain_status, plain, body = await get(site.port, target)
        status, headers, nothing = await get(site.port, target, "HEAD")
        assert (status, nothing) == (plain_status, b"")
        assert headers["content-length"] == plain["content-length"] == str(len(body))


@pytest.mark.parametrize("method", ["POST", "PUT", "DELETE", "OPTIONS", "TRACE", "PATCH", "CONNECT", "get", "X"])
async def test_other_methods_are_refused(site: Server, method: str) -> None:
    status, headers, body = await get(site.port, "/", method)
    assert status == 405
    assert headers["allow"] == "GET, HEAD"
    assert PAGE not in body


async def test_compressed_where_the_browser_takes_it(site: Server) -> None:
    status, headers, body = await get(site.port, "/", Accept_Encoding="br, gzip")
    assert (status, headers["content-encoding"]) == (200, "gzip")
    assert gzip.decompress(body) == PAGE
    assert headers["vary"] == "Accept-Encoding"
    for refused in ("", "br", "gzip;q=0", "identity", "gzip;q=0, *"):
        _, headers, body = await get(site.port, "/", Accept_Encoding=refused)
        assert "content-encoding" not in headers
        assert body == PAGE


def test_accept_encoding_as_the_standard_has_it() -> None:
    # RFC 9110 §12.5.3, its examples: "compress, gzip", "", "*", "compress;q=0.5, gzip;q=1.0",
    # "gzip;q=1.0, identity; q=0.5, *;q=0".
    assert [takes_gzip(h) for h in ("compress, gzip", "", "*", "compress;q=0.5, gzip;q=1.0")] == [
        True,
        False,
        True,
        True,
    ]
    assert takes_gzip("gzip;q=1.0, identity; q=0.5, *;q=0")
    assert not takes_gzip("identity; q=0.5, *;q=0")
    assert not takes_gzip("gzip; q=nonsense")


async def test_what_has_not_changed_is_not_sent_again(site: Server) -> None:
    _, headers, _ = await get(site.port, "/")
    status, again, body = await get(site.port, "/", If_None_Match=f'"other", {headers["etag"]}')
    assert (status, body) == (304, b"")
    assert again["etag"] == headers["etag"]
    assert (await get(site.port, "/", If_None_Match='"other"'))[0] == 200
    assert (await get(site.port, "/deep/style.css"))[1]["etag"] != headers["etag"]


@pytest.mark.parametrize(
    "target",
    [
        "/../secret.txt",
        "/deep/../../secret.txt",
        "/%2e%2e/secret.txt",
        "/..%2fsecret.txt",
        "/%2e%2e%2fsecret.txt",
        "/..%5csecret.txt",
        "/..\\secret.txt",
        "/....//secret.txt",
        "//secret.txt",
        "/deep//../../secret.txt",
        "/%252e%252e/secret.txt",
        "/..%c0%afsecret.txt",
        "/secret.txt%00.html",
        "secret.txt",
        "../secret.txt",
        "file:///etc/passwd",
        "http://127.0.0.1/../secret.txt",
        "*",
        "/out.txt",
        "/.hidden",
        "/main.js.map",
        "/deep",
        "/deep/",
        "/index.html/",
        "/INDEX.HTML",
    ],
)
async def test_there_is_no_way_out_of_the_folder(site: Server, target: str) -> None:
    status, _, body = await get(site.port, target)
    assert status == 404
    assert b"the key" not in body


@given(
    st.lists(st.sampled_from([*"/.\\%25eEfFcC0", "..", "secret.txt", "deep", "%2e", "%2f"]), max_size=12).map("".join)
)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_no_path_reads_what_is_not_listed(folder: Path, target: str) -> None:
    answer = Site.of(folder).answer("GET", f"/{target}", {})
    assert b"the key" not in answer.body
    assert answer.status in (200, 404)


@pytest.mark.parametrize(
    "request_",
    [
        b"\r\n\r\n",
        b"GET\r\n\r\n",
        b"GET / HTTP/2\r\n\r\n",
        b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + bytes(range(256)),
        b"GET /\xff HTTP/1.1\r\nHost: a\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nHost: 127.0.0.1\r\n\r\n",
        b"GET / HTTP/1.1\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost:\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: evil.example\r\n\r\n",
        b"GET / HTTP/1.1\r\nno colon\r\n\r\n",
        b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nContent-Length: 5\r\n\r\nhello",
        b"GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nTransfer-Encoding: chunked\r\n\r\n0\r\n\r\n",
        b"GET / HTTP/1.1\r\n" + b"A: b\r\n" * 1000 + b"\r\n",
        b"GET /" + b"a" * 20_000 + b" HTTP/1.1\r\nHost: 127.0.0.1\r\n\r\n",
        b"GET /live HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n\r\n",
        b"POST /live HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: Upgrade\r\nUpgrade: websocket\r\n"
        b"Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n\r\n",
        b"GET /live HTTP/1.1\r\nHost: 127.0.0.1\r\nOrigin: http://127.0.0.1\r\nOrigin: http://127.0.0.1\r\n"
        b"Connection: Upgrade\r\nUpgrade: websocket\r\n"
        b"Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n\r\n",
    ],
)
async def test_what_is_no_good_request_is_refused_or_dropped(site: Server, request_: bytes) -> None:
    status, _, body = await ask(site.port, request_)
    assert status == 0 or 400 <= status < 500
    assert PAGE not in body
    assert (await get(site.port, "/"))[0] == 200


async def test_what_changes_while_the_hub_runs_is_made_when_it_is_asked_for(site: Server) -> None:
    sheets = iter((b"<p>before</p>", b"<p>after</p>"))
    site.site.make("/sheet.html", lambda: next(sheets))
    assert (await get(site.port, "/sheet.html"))[2] == b"<p>before</p>"
    status, headers, body = await get(site.port, "/sheet.html?again")
    assert (status, body) == (200, b"<p>after</p>")
    assert headers["content-type"].startswith("text/html")


async def test_without_a_build_the_page_says_so_and_how_to_make_one() -> None:
    running = Server(Site.of(None), Names())
    await running.start("127.0.0.1", 0)
    try:
        status, headers, body = await get(running.port, "/")
        assert status == 503
        assert headers["content-type"].startswith("text/html")
        assert b"not built" in body
        assert b"npm run build" in body
    finally:
        await running.close()


async def test_the_schema_is_published(site: Server) -> None:
    site.site.add("/schema.json", json.dumps(typescript.schema()).encode())
    status, headers, body = await get(site.port, "/schema.json")
    assert (status, headers["content-type"]) == (200, "application/json")
    assert set(json.loads(body)["$defs"]) >= {"FromBrowser", "FromHub", "Drive", "State"}


async def test_one_address_cannot_take_every_connection(site: Server) -> None:
    held = [await asyncio.open_connection("127.0.0.1", site.port) for _ in range(CONNECTIONS_PER_ADDRESS)]
    assert (await get(site.port, "/"))[0] == 0
    for _, writer in held:
        writer.close()
        await writer.wait_closed()
    async with asyncio.timeout(10):
        while (await get(site.port, "/"))[0] != 200:
            await asyncio.sleep(0.01)


def test_what_the_light_server_repeats_is_what_the_messages_say() -> None:
    assert server.LIVE_PATH == messages.LIVE_PATH
    assert server.MAX_MESSAGE_BYTES == messages.MAX_MESSAGE_BYTES


def test_hosts_as_the_standard_writes_them() -> None:
    # RFC 9110 §7.2: uri-host [ ":" port ]; RFC 3986 §3.2.2: IPv6 in brackets, names in any case.
    assert parse_host("Example.ORG:8080") is not None
    assert [(h.host, h.port) for h in map(parse_host, ["EXAMPLE.org.", "[2001:db8::1]:80", "192.0.2.1"]) if h] == [
        ("example.org", None),
        ("2001:db8::1", 80),
        ("192.0.2.1", None),
    ]
    for wrong in ("", ":80", "a:b", "a:99999", "a/b", "a?b", "a#b", "[::1", "a@b", "a b", "ä", "a:80:80"):
        assert parse_host(wrong) is None, wrong


def test_a_proxy_with_a_certificate_in_front_is_fine() -> None:
    names = Names(["tansy"])
    assert objection("tansy.local", ["https://tansy.local"], names) is None
    assert objection("tansy.local:443", ["https://tansy.local"], names) is None
    assert objection("tansy.local", ["http://tansy.local"], names) is None
    assert objection("tansy.local:8443", ["https://tansy.local"], names) is not None
    assert objection("[2001:db8::1]:8737", ["http://[2001:db8::1]:8737"], names) is None
    assert objection("TANSY.local:1", ["http://tansy.LOCAL:1"], names) is None


def test_a_routers_ending_behind_the_hubs_own_name_is_fine_and_no_other() -> None:
    """Endings of RFC 6762 (appendix G) and RFC 8375; box and dev are in the public DNS, and can be bought."""
    names = Names(["laptop"])
    for host in ("laptop", "laptop.lan", "laptop.local", "LAPTOP.home.arpa", "laptop.internal:8737"):
        assert objection(host, [f"http://{host}"], names) is None, host
    for host in ("laptop.fritz.box", "laptop.dev", "other.lan", "laptop.lan.example.org", "evil.laptop.lan", "lan"):
        assert objection(host, [f"http://{host}"], names), host


async def test_an_unknown_name_is_told_what_to_open(site: Server, monkeypatch: pytest.MonkeyPatch) -> None:
    status, headers, body = await get(site.port, "/", Host="laptop.fritz.box:8737")
    assert (status, headers["content-type"]) == (403, "text/html; charset=utf-8")
    assert b"does not go by the name laptop.fritz.box" in body
    assert b"by its IP address" in body
    assert b"127.0.0.1" not in body, "which would be of no use elsewhere"
    monkeypatch.setattr(server, "is_only_here", lambda host: False)
    _, _, body = await get(site.port, "/", Host="laptop.fritz.box")
    assert f'<a href="http://127.0.0.1:{site.port}/">'.encode() in body
    _, _, body = await get(site.port, "/", Host="x&y")
    assert b"x&amp;y" in body


@given(st.text(max_size=40), st.text(max_size=40))
def test_no_header_is_a_surprise(host: str, origin: str) -> None:
    reason = objection(host, [origin], Names(["tansy"]))
    assert reason is None or reason
    policy([host])
