"""Making moves in a browser: pictures a second of the 3D view with the strip, edit to verdict, and what a phone loads.

The move has 200 keyframes in five minutes. Chromium runs without a screen and draws 3D on the processor (SwiftShader),
so pictures a second are those of this machine's cores, not of a graphics chip. What a graphics chip does not change is
measured apart, from Chrome's own trace: how long the page's main thread is busy for one picture with script, style,
layout and paint, in time of a processor. On the phone's screen that thread is slowed down four times, as Chrome's
developer tools do it.
"""

from __future__ import annotations

import asyncio
import gzip
import itertools
import json
import re
import shutil
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from motionhub.errors import InputError
from motionhub.remote.site import built_remote

from . import Result, percentile
from .hub_process import HubProcess
from .viewer import hear, pair, say

MOVE = "two hundred keys"
KEYS = 200
LENGTH_MS = 300_000
EDITS = {"ten seconds": 40, "five minutes": 12}
FRAME_MS = 20.0
ARGUMENTS = ["--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--no-sandbox"]
SCREENS: dict[str, tuple[dict[str, Any], int]] = {
    "laptop": ({"viewport": {"width": 1280, "height": 800}}, 1),
    "phone": (
        {"viewport": {"width": 360, "height": 740}, "has_touch": True, "is_mobile": True, "device_scale_factor": 2},
        4,
    ),
}
"""Screens, and how many times slower the main thread runs there."""
WATCHED_S = 5.0
TRACED = ["-*", "devtools.timeline", "toplevel", "blink.user_timing"]
WORK = ("FireAnimationFrame", "UpdateLayoutTree", "Layout", "PrePaint", "Paint", "Layerize", "Commit", "EventDispatch")


def document() -> dict[str, Any]:
    """Five minutes that the demo robot can do: it sways, looks about, and lifts one leg after another."""
    legs = ("left_front", "right_rear", "left_middle", "right_front", "left_rear", "right_middle")
    keys: list[dict[str, Any]] = []
    for i in range(KEYS):
        key: dict[str, Any] = {"at_ms": round(i * LENGTH_MS / (KEYS - 1))}
        if i % 2 == 0 or i == KEYS - 1:
            key["body"] = {"y_mm": (i // 2 % 3 - 1) * 8, "roll_deg": (i // 2 % 2) * 2, "z_mm": 0}
        if i % 3 == 1:
            key["joints_deg"] = {"head": (i % 5 - 2) * 6}
        if 0 < i < KEYS - 1:
            key["feet"] = {legs[i // 2 % 6]: {"x_mm": 0, "y_mm": 0, "z_mm": 25 if i % 2 else 0}}
        keys.append(key)
    keys[0]["body"] = keys[-1]["body"] = {"y_mm": 0, "roll_deg": 0, "z_mm": 0}
    return {"format": "motionhub-sequence/1", "name": MOVE, "keyframes": keys, "end_ms": LENGTH_MS}


def sizes() -> dict[str, tuple[float, str]]:
    """What is fetched, in kB as gzip sends it: everything, and what there is before the 3D view can show."""
    folder = built_remote()
    if folder is None:
        raise InputError(
            "motionhub bench", "editor", "expected a built remote (cd web_remote && npm ci && npm run build)"
        )
    size = {
        path.name: len(gzip.compress(path.read_bytes(), 9)) / 1e3 for path in sorted(folder.iterdir()) if path.is_file()
    }
    first = set(re.findall(r'(?:href|src)="([^"/:]+\.(?:js|css))"', (folder / "index.html").read_text()))
    waiting = list(first)
    while waiting:
        text = (folder / waiting.pop()).read_text()
        for name in re.findall(r'(?:from|import)\s*"\./([^"]+\.js)"', text):
            if name not in first:
                first.add(name)
                waiting.append(name)
    return {
        "size, everything": (sum(size.values()), "kB gzip"),
        "size, before the 3D view": (size["index.html"] + sum(size[name] for name in first), "kB gzip"),
    }


async def _edits(hub: HubProcess, name: str, text: str, count: int) -> tuple[list[float], list[float]]:
    """From an edit's being sent to its verdict's arrival, ms: of the edited stretch, and of all of the move.

    Of a short move that is one verdict. Of a long one the rest is checked when nothing has been done for a moment, so
    the second is the longer by that.
    """
    times, whole = [], []
    async with await pair(hub.address, hub.key, "bench") as connection:
        await say(connection, type="open_move", name=name, hand="bench1")
        while (opened := await hear(connection))["type"] != "opened":
            if opened["type"] == "refused":
                raise RuntimeError(f"expected to open {name}, found {opened}")
        doc = json.loads(text)
        for n in range(1, count + 2):
            _sway(doc, n)
            sent = json.dumps(doc)
            began = time.perf_counter()
            draft = {
                "hand": "bench1",
                "base": opened["version"],
                "n": n,
                "text": sent,
                "keep": False,
                "whole": n == 1,
            }
            await say(connection, type="draft", name=name, **draft)
            partly = True
            while partly:
                message = await hear(connection)
                if message["type"] == "refused":
                    raise RuntimeError(f"expected a verdict, found {message}")
                if message["type"] != "judged" or message["n"] != n:
                    continue
                if message["problem"]:
                    raise RuntimeError(f"expected a move that can be done, found {message['problem']}")
                if len(times) < n:
                    times.append((time.perf_counter() - began) * 1e3)
                partly = message["partly"]
            whole.append((time.perf_counter() - began) * 1e3)
    return times[1:], whole[1:]  # the first is of the whole move, as when it is opened


def _sway(doc: dict[str, Any], n: int) -> None:
    keys = [key for key in doc["keyframes"] if key.get("body")]
    keys[(n * 7) % len(keys)]["body"]["z_mm"] = n % 5 - 2


def busy(trace: bytes) -> list[float]:
    """For every picture, how long the page's main thread worked for it, ms of a processor (Chrome's ``tdur``).

    What the thread waited for, as for the drawing of the picture before or for a processor, does not count.

    Args:
        trace: As Chrome writes it: JSON, times in µs.
    """
    events = json.loads(trace)["traceEvents"]
    begun = [e for e in events if e.get("name") == "FireAnimationFrame" and e.get("ph") == "X"]
    if not begun:
        raise RuntimeError("expected pictures in Chrome's trace, found none")
    threads = [(e["pid"], e["tid"]) for e in begun]
    main = max(set(threads), key=threads.count)
    work = sorted(
        (e["ts"], e["ts"] + e["dur"], e.get("tdur", e["dur"]))  # the shortest have no time of a processor
        for e in events
        if e.get("ph") == "X" and e.get("name") in WORK and (e["pid"], e["tid"]) == main
    )
    starts = sorted({e["ts"] for e in begun if (e["pid"], e["tid"]) == main})
    # Callbacks of one picture follow one another at once: a new picture begins 4 ms later at least.
    pictures = [start for i, start in enumerate(starts) if i == 0 or start - starts[i - 1] > 4000]
    found = []
    for start, end in itertools.pairwise(pictures):
        total, reached = 0.0, start
        for since, until, worked in work:
            if reached <= since < end:  # what lies within another piece of work is part of that
                total += worked
                reached = until
        found.append(total / 1e3)
    return found


def _screen(browser: Any, hub: HubProcess, name: str, figures: dict[str, tuple[float, str]]) -> None:
    options, slower = SCREENS[name]
    context = browser.new_context(**options)
    page = context.new_page()
    page.set_default_timeout(60_000)
    page.goto(hub.pair_url)
    page.get_by_role("tab", name="Moves").click()
    page.get_by_role("button", name=f"Change {MOVE}").click()
    page.get_by_test_id("verdict-line").filter(has_not_text="Being checked").wait_for()
    page.wait_for_timeout(1500)
    devtools = context.new_cdp_session(page)
    devtools.send("Emulation.setCPUThrottlingRate", {"rate": slower})

    def watched(what: str, act: Callable[[], None]) -> None:
        browser.start_tracing(page=page, categories=TRACED)
        page.evaluate(
            """() => { window.pictures = []; window.watching = true;
            const next = (t) => { window.pictures.push(t); if (window.watching) requestAnimationFrame(next); };
            requestAnimationFrame(next); }"""
        )
        act()
        times = page.evaluate("() => { window.watching = false; return window.pictures; }")
        costs = busy(browser.stop_tracing())
        gaps = sorted(b - a for a, b in itertools.pairwise(times))
        figures[f"{name}, {what}: pictures"] = ((len(times) - 1) / (times[-1] - times[0]) * 1e3, "a second")
        figures[f"{name}, {what}: between pictures, p95"] = (percentile(gaps, 0.95), "ms")
        figures[f"{name}, {what}: work for a picture, median"] = (percentile(costs, 0.5), "ms")
        figures[f"{name}, {what}: work for a picture, p95"] = (percentile(costs, 0.95), "ms")

    def play() -> None:
        page.get_by_role("button", name="Play", exact=True).click()
        page.wait_for_timeout(WATCHED_S * 1e3)
        page.get_by_role("button", name="Hold", exact=True).click()

    box = page.get_by_test_id("strip-picture").bounding_box()

    def drag() -> None:
        # A key in the middle of the whole move: all 200 are in the picture.
        y = box["y"] + 26 + 22 + 13
        x = box["x"] + box["width"] * 0.55
        page.mouse.move(x, y)
        page.mouse.down()
        began = time.monotonic()
        step = 0
        while time.monotonic() - began < WATCHED_S:
            step += 1
            page.mouse.move(x + (step % 60) - 30, y)
            page.wait_for_timeout(8)
        page.mouse.up()

    def zoom() -> None:
        x, y = box["x"] + box["width"] * 0.6, box["y"] + 30
        page.mouse.move(x, y)
        began = time.monotonic()
        step = 0
        while time.monotonic() - began < WATCHED_S:
            step += 1
            devtools.send(
                "Input.dispatchMouseEvent",
                {
                    "type": "mouseWheel",
                    "x": x,
                    "y": y,
                    "deltaX": 0,
                    "deltaY": -40 if step // 40 % 2 == 0 else 40,
                    "modifiers": 2,
                },
            )

    watched("playing", play)
    watched("dragging a key", drag)
    watched("zooming", zoom)
    context.close()


def measure(say_line: Callable[[str], None]) -> Result:
    """The reference is one of the robot's fifty frames a second: a picture should be ready within it.

    Raises:
        InputError: if Chromium or the built remote is not on this machine.
    """
    from playwright.sync_api import sync_playwright

    chromium = shutil.which("chromium") or shutil.which("chromium-browser")
    if chromium is None:
        raise InputError("motionhub bench", "editor", "expected Chromium on this machine, found none")
    figures = sizes()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / f"{MOVE}.json").write_text(json.dumps(document()))
        with HubProcess(folder) as hub:
            say_line("edit to verdict")
            wave = json.dumps({**document(), "name": "ten seconds", "keyframes": _ten(), "end_ms": 10_000})
            for label, move, text in (
                ("ten seconds", "ten seconds", wave),
                ("five minutes", MOVE, json.dumps(document())),
            ):
                times, whole = asyncio.run(_edits(hub, move, text, EDITS[label]))
                figures[f"edit to verdict, {label}, median"] = (percentile(times, 0.5), "ms")
                figures[f"edit to verdict, {label}, p95"] = (percentile(times, 0.95), "ms")
                figures[f"edit to verdict on all of it, {label}, median"] = (percentile(whole, 0.5), "ms")
            with sync_playwright() as playwright:
                browser = playwright.chromium.launch(executable_path=chromium, args=ARGUMENTS)
                for screen in SCREENS:
                    say_line(screen)
                    _screen(browser, hub, screen, figures)
                browser.close()
    worst = max(value for label, (value, _) in figures.items() if label.endswith("work for a picture, p95"))
    aims = {label: FRAME_MS for label in figures if label.endswith("p95") and "picture" in label}
    aims |= {label: 100.0 for label in figures if label.startswith("edit to verdict") and label.endswith("p95")}
    aims |= {"size, everything": 350.0, "size, before the 3D view": 120.0}
    return Result("editor", figures, ("one frame of 50 a second", FRAME_MS, "ms"), worst / FRAME_MS, aims)


def _ten() -> list[dict[str, Any]]:
    """The first keys of the long move, which end at rest."""
    keys = [key for key in document()["keyframes"] if key["at_ms"] < 9000]
    return [*keys, {"at_ms": 9000, "body": {"y_mm": 0, "roll_deg": 0, "z_mm": 0}}]
