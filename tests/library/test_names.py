"""Names: any string either stays inside its folder or is refused."""

import os
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from motionhub.errors import InputError
from motionhub.library.names import checked, is_inside, is_name, locate, stems

NASTY = [
    "..", ".", "", "/", "\\", "a/b", "../a", "a\\b", "~", "~root", "C:", "C:a", "a:b", "a\0b", "a\nb", "-a", ".a", "a.",
    "a ", " a", "con", "CON", "Nul", "com1", "LPT9", "ａ", "é", "a\u202eb", "a\u0300", "%2e%2e", "a.json", "a" * 65,
    "Ⅷ", "١", "K\u212a", "ſ",
]  # fmt: skip


@pytest.mark.parametrize("name", NASTY)
def test_what_could_lead_astray_is_refused(name, tmp_path):
    assert not is_name(name)
    with pytest.raises(InputError):
        locate(tmp_path, name, ".json")


@pytest.mark.parametrize("name", ["a", "Wave", "9 lives", "a-b_c", "A" * 64, "conx", "com", "com10"])
def test_plain_names_are_taken(name):
    assert checked(name) == name


@settings(deadline=None)
@given(st.one_of(st.text(), st.text("./\\:~ abAB\0\n-_", max_size=8), st.sampled_from(NASTY)))
@example("..\\..\\x")
def test_any_string_is_refused_or_stays_inside(tmp_path_factory, name):
    folder = tmp_path_factory.getbasetemp() / "names"
    folder.mkdir(exist_ok=True)
    try:
        path = locate(folder, name, ".json")
    except InputError:
        return
    # By the system's own idea of where that is, not by ours.
    real = os.path.realpath(path)
    assert os.path.dirname(real) == os.path.realpath(folder)
    assert os.path.basename(real) == name + ".json"


@settings(deadline=None)
@given(st.text("abAB -_09", min_size=1, max_size=70))
def test_a_name_survives_the_journey_through_a_disk(name):
    """What Windows and macOS do to names (trailing spaces and dots dropped, case and Unicode folded) changes none."""
    if is_name(name):
        assert name == name.strip() == name.rstrip(". ")
        assert name.isascii()


def test_names_that_differ_in_case_are_the_same_document(tmp_path):
    (tmp_path / "Wave.json").write_text("x")
    assert locate(tmp_path, "wave", ".json").name == "Wave.json"
    assert locate(tmp_path, "WAVE", ".json").name == "Wave.json"
    (tmp_path / "wave.json").write_text("y")  # made by hand, on a disk that tells them apart
    assert locate(tmp_path, "wave", ".json").name == "wave.json"


def test_a_link_out_of_the_folder_is_refused_and_one_inside_is_not(tmp_path):
    outside = tmp_path / "outside.json"
    outside.write_text("secret")
    folder = tmp_path / "in"
    folder.mkdir()
    (folder / "real.json").write_text("mine")
    (folder / "out.json").symlink_to(outside)
    (folder / "dangling.json").symlink_to(tmp_path / "nothing.json")
    (folder / "loop.json").symlink_to(folder / "loop.json")
    (folder / "same.json").symlink_to(folder / "real.json")
    for name in ("out", "dangling", "loop"):
        with pytest.raises(InputError, match="link"):
            locate(folder, name, ".json")
    assert locate(folder, "same", ".json").read_text() == "mine"


def test_a_folder_reached_through_a_link_is_still_its_own_inside(tmp_path):
    real = tmp_path / "real"
    real.mkdir()
    link = tmp_path / "link"
    link.symlink_to(real)
    assert is_inside(link / "a.json", link)
    assert is_inside(link / "a.json", real)
    assert not is_inside(Path("/"), link)


def test_files_that_are_none_of_ours_are_not_listed(tmp_path):
    for name in ("b.json", "A.json", "c.txt", ".hidden.json", ".x.part", "bad.name.json", "d.JSON"):
        (tmp_path / name).write_text("")
    assert list(stems(tmp_path, ".json")) == ["A", "b"]
    assert stems(tmp_path / "missing", ".json") == {}
