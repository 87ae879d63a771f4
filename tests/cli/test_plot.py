"""Pictures of a verdict: each kind is what its ending says, and they say in words and marks what the report says."""

import json
import subprocess
import sys
import xml.etree.ElementTree as ET
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from motionhub.check.report import Report, check
from motionhub.cli.picture import DPI, LISTED, able, describe, draw
from motionhub.cli.picture_marks import POINTS, worst_frames
from motionhub.errors import InputError
from motionhub.library.shipped import shipped_folder
from motionhub.motion import documents
from motionhub.motion.render import render
from motionhub.robot import description
from motionhub.robot.model import Robot

SVG = "{http://www.w3.org/2000/svg}"
WRONG: list[dict[str, object]] = [
    {"at_ms": 800, "body": {"z_mm": -40, "roll_deg": 14}},
    {"at_ms": 1500, "feet": {"left_front": {"z_mm": 60, "x_mm": 40}}, "joints_deg": {"head": 75}},
    {"at_ms": 1650, "joints_deg": {"head": -75}},
]


def robot(name: str) -> Robot:
    return description.load(shipped_folder() / "robots" / f"{name}.toml")


def report(on: Robot, *keyframes: dict[str, object], **changes: float) -> Report:
    on = replace(on, supply=replace(on.supply, **changes))
    text = json.dumps({"format": "motionhub-sequence/1", "name": "test", "keyframes": keyframes})
    return check(render(documents.parse(text, "test", on), on))


@pytest.fixture(scope="module")
def wrong() -> Report:
    return report(robot("tansy"), *WRONG, regulator_a=6.0)


@pytest.fixture(scope="module")
def fine() -> Report:
    return report(robot("tansy"), {"at_ms": 500, "body": {"z_mm": 5}})


@pytest.fixture(scope="module")
def wrong_svg(wrong: Report) -> bytes:
    return draw(wrong, ".svg")


def words(svg: bytes) -> list[str]:
    """The texts of an SVG, as a reader or a search finds them."""
    return ["".join(element.itertext()).strip() for element in ET.fromstring(svg).iter(f"{SVG}text")]


def test_an_svg_says_every_listed_finding_in_words(wrong: Report, wrong_svg: bytes) -> None:
    found = words(wrong_svg)
    assert {"joint-speed", "supply-current"} <= {f.rule for f in wrong.findings}
    lines = [word for word in found if any(word.startswith(f"{i}{sign} ") for i in range(1, 99) for sign in "✗!")]
    kinds = {(f.rule, f.severity, bool(f.way)) for f in wrong.findings}
    assert len(lines) == min(len(kinds), LISTED)
    told = set()
    for i, finding in enumerate(wrong.findings, 1):
        kind = finding.rule, finding.severity, bool(finding.way)
        if kind not in told and len(told) < LISTED:
            told.add(kind)
            alike = sum((f.rule, f.severity, bool(f.way)) == kind for f in wrong.findings) - 1
            more = f"; and {alike} more" if alike else ""
            assert f"{i}{'✗' if finding.severity == 'error' else '!'} {describe(finding)}{more}" in lines


def test_every_finding_with_a_panel_is_numbered_there(wrong: Report, wrong_svg: bytes) -> None:
    found = words(wrong_svg)
    joints = set(wrong.timeline.frames.robot.joint_names)
    on_panels = [
        i for i, f in enumerate(wrong.findings, 1)
        if (f.subject in joints and f.rule.split("-")[0] in ("joint", "holding"))
        or f.rule in ("stability", "tip-over", "clearance", "supply-current", "supply-voltage")
    ]  # fmt: skip
    assert len(on_panels) >= 5
    for i in on_panels:
        assert str(i) in found or wrong.findings[i - 1].subject in joints
        sign = "✗" if wrong.findings[i - 1].severity == "error" else "!"
        assert any(f" {i}{sign}" in word or word.endswith("…") for word in found)


def test_axes_have_units_and_every_joint_a_panel(wrong: Report, wrong_svg: bytes) -> None:
    found = words(wrong_svg)
    for unit in ("mm", "A", "V", "time (s)"):
        assert unit in found
    assert any("N·m" in word and "(s)" in word for word in found)
    for name in wrong.timeline.frames.robot.joint_names:
        assert any(word.split("   ")[0] == name for word in found)


def test_colour_is_not_the_only_sign_of_what_is_wrong(wrong_svg: bytes, fine: Report) -> None:
    """WCAG 2.2, 1.4.1: besides its colour, what is beyond a limit is hatched, framed and crossed."""
    bad, good = wrong_svg, draw(fine, ".svg")
    assert bad.count(b"<pattern") > 0
    assert good.count(b"<pattern") == 0
    assert any("✗" in word and "does not fit" in word for word in words(bad))
    assert not any("✗" in word for word in words(good))
    assert "nothing to mend" in words(good)


def test_a_png_is_one_and_fits_a_laptop(wrong: Report) -> None:
    """PNG: signature, then IHDR with width and height (W3C, PNG specification, 5.2 and 11.2.1)."""
    data = draw(wrong, ".png")
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    assert data[12:16] == b"IHDR"
    width, height = (int.from_bytes(data[i : i + 4], "big") for i in (16, 20))
    assert 1000 <= width <= 1366  # the width of a small laptop's screen, practice
    assert height <= 1.1 * width
    assert width == round(13.2 * DPI)


class Page(HTMLParser):
    """Collects the elements and the texts of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.texts.append(data.strip())


def test_a_page_holds_picture_and_words_and_fetches_nothing(wrong: Report) -> None:
    text = draw(wrong, ".html").decode()
    assert text.startswith("<!DOCTYPE html>")
    page = Page()
    page.feed(text)
    tags = [tag for tag, _ in page.elements]
    assert tags.count("svg") == 1
    assert ("html", {"lang": "en"}) in page.elements
    assert tags.count("tr") == 1 + len(wrong.findings)
    # A finding that is about no one part has its columns too.
    assert tags.count("td") == tags.count("th") * len(wrong.findings)
    assert any(finding.subject is None for finding in wrong.findings)
    for finding in wrong.findings:
        assert finding.advice in page.texts
    for _, attributes in page.elements:
        for key in ("src", "href", "xlink:href"):
            assert (attributes.get(key) or "#").startswith("#")
    assert "<script" not in text


def test_a_page_escapes_what_names_hold(wrong: Report) -> None:
    named = replace(wrong, sequence="a <b> & $x$ $\\frac$")
    text = draw(named, ".html").decode()
    assert "a &lt;b&gt; &amp; $x$" in text
    assert "<b>" not in text


def test_the_same_verdict_gives_the_same_file(wrong: Report, wrong_svg: bytes) -> None:
    assert draw(wrong, ".svg") == wrong_svg


@pytest.mark.parametrize("name", ["harrow"])
def test_any_number_of_legs_has_its_panels(name: str) -> None:
    made = report(robot(name), {"at_ms": 600, "body": {"z_mm": 8}})
    found = words(draw(made, ".svg"))
    for joint in made.timeline.frames.robot.joint_names:
        assert any(word.split("   ")[0] == joint for word in found)


def test_a_move_of_one_frame_has_a_picture() -> None:
    made = report(robot("tansy"), {"at_ms": 500, "body": {"z_mm": 5}})
    frames = made.timeline.frames
    single = replace(
        frames, joints=frames.joints[:1], outputs=frames.outputs[:1], reach_error=frames.reach_error[:1],
        travel=frames.travel[:1],
    )  # fmt: skip
    assert words(draw(check(single), ".svg"))


@given(count=st.integers(1, 5000), seed=st.integers(0, 2**32 - 1), points=st.integers(3, 900))
def test_a_long_curve_keeps_its_worst_moment(count: int, seed: int, points: int) -> None:
    badness = np.random.default_rng(seed).normal(size=count)
    kept = worst_frames(badness, points)
    assert kept.size <= max(points, 3)
    assert (np.diff(kept) > 0).all()
    assert kept[0] == 0
    assert kept[-1] == count - 1
    assert badness[kept].max() == badness.max()


def test_a_long_curve_passes_over_what_is_not_known() -> None:
    badness = np.full(10 * POINTS, np.nan)
    badness[1234] = 1.0
    assert 1234 in worst_frames(badness)


@pytest.mark.parametrize("name", ["verdict.gif", "verdict", "verdict.svg.txt"])
def test_an_unknown_ending_is_refused_before_anything_is_checked(name: str) -> None:
    with pytest.raises(InputError, match=r"--plot: .*\.svg, \.png or \.html"):
        able(Path(name))


# ------------------------------------------------------------------ through the command


def run(*arguments: object, without: str | None = None) -> subprocess.CompletedProcess[str]:
    """The command, if asked with a library that Python does not find."""
    hide = f"sys.modules[{without!r}] = None" if without else ""
    code = f"import sys; {hide}\nfrom motionhub.cli import main; main({[str(a) for a in arguments]!r})"
    return subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=120, stdin=subprocess.DEVNULL
    )


def test_without_the_library_one_line_says_how_to_get_it(tmp_path: Path) -> None:
    done = run("check", "wave", "--plot", tmp_path / "wave.svg", without="matplotlib")
    assert done.returncode == 2
    assert done.stdout == ""
    assert len(done.stderr.splitlines()) == 1
    assert "motionhub[plot]" in done.stderr
    assert not list(tmp_path.iterdir())
    # and only pictures need it
    assert run("check", "wave", without="matplotlib").returncode == 0


@pytest.mark.parametrize(
    ("arguments", "expected"),
    [
        (("wave", "--plot", "wave.gif"), "wave.gif"),
        (("wave", "bow", "--plot", "both.svg"), "expected one move"),
        (("wave", "--plot", "no/such/folder/wave.svg"), "no/such/folder/wave.svg"),
    ],
)
def test_bad_input_is_one_line(arguments: tuple[str, ...], expected: str) -> None:
    done = run("check", *arguments)
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert expected in done.stderr


def test_a_picture_is_written_beside_the_verdict(tmp_path: Path) -> None:
    done = run("check", "wave", "--plot", tmp_path / "WAVE.SVG", "--json")
    assert done.returncode == 0, done.stderr
    assert json.loads(done.stdout)[0]["sequence"] == "wave"
    assert words((tmp_path / "WAVE.SVG").read_bytes())
