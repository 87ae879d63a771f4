"""A phone in one hand: what a person does with the remote, by touch, and what they read on it."""

from __future__ import annotations

from types import TracebackType
from typing import Self

from bench.hub_process import HubProcess
from playwright.sync_api import Browser, Locator, expect

ARGUMENTS = [
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--no-sandbox",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
NARROW = {"width": 360, "height": 740}
"""CSS pixels of a small phone."""


class Phone:
    """One browser with touch. Use it as a context manager; ``faults`` holds what its console complained of."""

    def __init__(self, browser: Browser, hub: HubProcess) -> None:
        self._browser, self.hub = browser, hub
        self.faults: list[str] = []

    def __enter__(self) -> Self:
        self.context = self._browser.new_context(
            viewport=NARROW, has_touch=True, is_mobile=True, device_scale_factor=2, reduced_motion="reduce"
        )
        self.page = self.context.new_page()
        self.page.set_default_timeout(10_000)
        self.page.on("pageerror", lambda error: self.faults.append(str(error)))
        self._touch = self.context.new_cdp_session(self.page)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.context.close()

    def vanish(self) -> None:
        """The battery of the phone is dead: no goodbye to anybody, in the middle of whatever it did."""
        self.context.close()

    # ------------------------------------------------------------------ reading

    @property
    def stop(self) -> Locator:
        """The one control that is always there."""
        return self.page.locator("footer button")

    def until_mode(self, words: str, seconds: float = 20) -> None:
        """Wait until the card says so of the robot."""
        expect(self.page.get_by_test_id("mode")).to_contain_text(words, timeout=seconds * 1e3)

    # ------------------------------------------------------------------ doing

    def pair(self) -> None:
        """Open the address that the code holds."""
        self.page.goto(self.hub.pair_url)
        expect(self.page.get_by_test_id("link")).to_contain_text("Linked", timeout=20_000)

    def take_control(self) -> None:
        self.page.get_by_role("button", name="Take control", exact=True).tap()
        expect(self.page.get_by_test_id("driver")).to_contain_text("You")

    def card(self, name: str) -> None:
        self.page.get_by_role("tab", name=name).tap()

    def press(self, target: Locator, x: float = 0.0, y: float = 0.0, finger: int = 1) -> tuple[float, float]:
        """Put a finger down on a control and leave it there; x right and y down from its middle, as shares of half."""
        box = target.bounding_box()
        assert box is not None
        at = (box["x"] + box["width"] * (0.5 + x / 2), box["y"] + box["height"] * (0.5 + y / 2))
        self._send("touchStart", [(*at, finger)])
        return at

    def slide(self, target: Locator, x: float, y: float, finger: int = 1) -> None:
        """Move the finger that is down."""
        box = target.bounding_box()
        assert box is not None
        at = (box["x"] + box["width"] * (0.5 + x / 2), box["y"] + box["height"] * (0.5 + y / 2))
        self._send("touchMove", [(*at, finger)])

    def lift(self) -> None:
        """Take all fingers off."""
        self._send("touchEnd", [])

    def hold(self, target: Locator, seconds: float) -> None:
        self.press(target)
        self.page.wait_for_timeout(seconds * 1e3)
        self.lift()

    def fingers(self, kind: str, *touches: tuple[Locator, float, float, int]) -> None:
        """Several fingers, each on a control of its own: control, x and y as for :meth:`press`, and its number.

        ``touchStart`` and ``touchMove`` take all that are down after it, ``touchEnd`` those that are lifted.
        """
        points = []
        for target, x, y, finger in touches:
            box = target.bounding_box()
            assert box is not None
            points.append((box["x"] + box["width"] * (0.5 + x / 2), box["y"] + box["height"] * (0.5 + y / 2), finger))
        self._send(kind, points)

    def _send(self, kind: str, points: list[tuple[float, float, int]]) -> None:
        touches = [{"x": x, "y": y, "id": finger} for x, y, finger in points]
        self._touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": touches})
