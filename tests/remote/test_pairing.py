"""Keys, links, codes and names: how a phone finds the hub and is let in."""

from __future__ import annotations

import ipaddress
import json
import os
import stat
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
import segno
from hypothesis import given
from hypothesis import strategies as st

from motionhub.remote.announce import label
from motionhub.remote.keys import Keys, load_or_make
from motionhub.remote.pairing import QUIET_ZONE, address, is_only_here, link, own_address, qr_text


def test_a_paired_phone_stays_paired_and_new_keys_end_that(tmp_path: Path) -> None:
    path = tmp_path / "deep" / "keys.json"
    first = load_or_make(path)
    assert load_or_make(path) == first
    renewed = load_or_make(path, renew=True)
    assert {renewed.operator, renewed.watcher}.isdisjoint({first.operator, first.watcher})
    assert load_or_make(path) == renewed
    assert [file.name for file in path.parent.iterdir()] == ["keys.json"]


@pytest.mark.skipif(os.name != "posix", reason="file modes are POSIX's")
def test_only_the_owner_may_read_them(tmp_path: Path) -> None:
    before = os.umask(0)
    try:
        path = tmp_path / "keys.json"
        load_or_make(path)
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
        path.chmod(0o644)
        load_or_make(path)
        assert stat.S_IMODE(path.stat().st_mode) == 0o600
    finally:
        os.umask(before)


def test_they_are_long_differ_and_stay_out_of_logs() -> None:
    keys = Keys.make()
    assert keys.operator != keys.watcher
    assert len(keys.operator) >= 22  # 128 bits in 6-bit letters
    assert keys.operator not in repr(keys)
    assert keys.watcher not in f"{keys}"


@given(st.text(max_size=40))
def test_only_the_right_key_is_right(key: str) -> None:
    keys = Keys("o" * 22, "w" * 22)
    assert keys.role_of(key) == {"o" * 22: "operator", "w" * 22: "watcher"}.get(key)
    assert keys.role_of("o" * 22) == "operator"
    assert keys.role_of("w" * 22) == "watcher"


@pytest.mark.parametrize(
    "damaged",
    [
        "",
        "{",
        "[]",
        '{"format": "motionhub-keys/1"}',
        '{"format": "motionhub-keys/1", "operator": "", "watcher": ""}',
        json.dumps({"format": "motionhub-keys/1", "operator": "a" * 22, "watcher": "a" * 22}),
        json.dumps({"format": "motionhub-keys/2", "operator": "a" * 22, "watcher": "b" * 22}),
        json.dumps({"format": "motionhub-keys/1", "operator": "short", "watcher": "b" * 22}),
        "\udcff",
    ],
)
def test_damaged_keys_are_replaced_rather_than_trusted(tmp_path: Path, damaged: str) -> None:
    path = tmp_path / "keys.json"
    path.write_bytes(damaged.encode("utf-8", "surrogateescape"))
    keys = load_or_make(path)
    assert len(keys.operator) >= 22
    assert load_or_make(path) == keys


def test_the_key_is_in_the_part_of_the_link_that_browsers_keep_to_themselves() -> None:
    parts = urlsplit(link("192.0.2.9", 8737, "k-_9" * 6))
    assert (parts.scheme, parts.netloc, parts.path, parts.query) == ("http", "192.0.2.9:8737", "/", "")
    assert parse_qs(parts.fragment) == {"key": ["k-_9" * 6]}
    assert address("2001:db8::1", 80) == "http://[2001:db8::1]/"


@pytest.mark.parametrize("colour", [True, False])
def test_the_code_in_the_terminal_is_the_code(colour: bool) -> None:
    text = link("192.168.100.200", 54321, "A" * 22)
    lines = qr_text(text, colour=colour).split("\n")
    if colour:
        lines = [line.removeprefix("\x1b[38;5;231;48;5;16m").removesuffix("\x1b[0m") for line in lines]
    upper = {"█": (0, 0), "▀": (0, 1), "▄": (1, 0), " ": (1, 1)}
    rows = [[upper[c][half] for c in line] for line in lines for half in (0, 1)]
    expected = segno.make(text, error="m", micro=False)
    size = expected.symbol_size(border=QUIET_ZONE)[0]
    inner = [row[QUIET_ZONE : size - QUIET_ZONE] for row in rows[QUIET_ZONE : size - QUIET_ZONE]]
    assert inner == [list(row) for row in expected.matrix]
    # ISO/IEC 18004: four light modules around; and it has to fit a terminal of 80 columns and 24 lines.
    for row in [*rows[:QUIET_ZONE], *rows[size - QUIET_ZONE : size], *zip(*rows, strict=True)][: 2 * QUIET_ZONE]:
        assert not any(row)
    assert all(not any(row[:QUIET_ZONE]) and not any(row[size - QUIET_ZONE :]) for row in rows)
    assert max(map(len, lines)) <= 80
    assert len(lines) <= 24


def test_an_address_that_others_reach() -> None:
    assert own_address("192.0.2.9") == "192.0.2.9"
    for listen, kind in (("0.0.0.0", ipaddress.IPv4Address), ("::", ipaddress.IPv6Address)):
        found = ipaddress.ip_address(own_address(listen))
        assert isinstance(found, kind)
        assert not found.is_unspecified
        assert not found.is_link_local or kind is ipaddress.IPv4Address
    assert is_only_here("127.0.0.1")
    assert is_only_here("::1")
    assert not is_only_here("192.0.2.9")


@given(st.text(max_size=80))
def test_any_robots_name_makes_a_host_name(name: str) -> None:
    # RFC 1123 §2.1 and RFC 1035 §2.3.1: letters, digits, hyphens inside, at most 63 octets; room for "-9".
    made = label(name)
    assert 0 < len(made) <= 61
    assert all(c.isascii() and (c.isdigit() or c.islower() or c == "-") for c in made)
    assert made[0] != "-" != made[-1]
    assert label("Tansy") == "tansy"
