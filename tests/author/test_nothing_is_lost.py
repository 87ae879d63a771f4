"""Drafts and saves against kill -9, lost connections, and a second editor of the same move.

The hub is a process of its own, ended as a power cut ends it. ``MOTIONHUB_KILLS`` is how often it is; 2 by default.
"""

from __future__ import annotations

import asyncio
import json
import os
import random
from pathlib import Path
from typing import Any

import pytest
from bench.hub_process import HubProcess
from websockets.exceptions import ConnectionClosed

from author.talk import editor
from motionhub.motion import documents
from motionhub.robot import description

pytestmark = pytest.mark.alone

KILLS = int(os.environ.get("MOTIONHUB_KILLS", "2"))
ROBOT = description.load(Path(__file__).parents[2] / "sequences" / "robots" / "tansy.toml")


def text(x_mm: float, name: str = "bow") -> str:
    """A small move that says by its number which edit it is."""
    keyframes = [{"at_ms": 0, "body": {"x_mm": 0}}, {"at_ms": 1500, "body": {"x_mm": x_mm}}]
    return json.dumps({"format": "motionhub-sequence/1", "name": name, "keyframes": keyframes, "end_ms": 3000})


def x_of(document: str) -> float:
    return float(json.loads(document)["keyframes"][1]["body"]["x_mm"])


async def type_until_killed(hub: HubProcess, first: int, after_s: float) -> int:
    """Send an edit every few milliseconds until the hub is killed; the last edit that it said was on the disk."""
    kept = -1
    async with editor(hub) as typist:
        opened = await typist.open("bow", "one")
        loop = asyncio.get_running_loop()

        async def type_on() -> None:
            n = first
            while True:
                n += 1
                edit: dict[str, Any] = {"hand": "one", "base": opened["version"], "n": n, "text": text(n / 1000)}
                await typist.send("draft", name="bow", **edit)
                await asyncio.sleep(0.004)

        typing = asyncio.create_task(type_on())
        loop.call_later(after_s, hub.process.kill)
        try:
            while True:
                kept = max(kept, (await typist.until("kept"))["n"])
        except ConnectionClosed:
            pass
        typing.cancel()
        await asyncio.gather(typing, return_exceptions=True)
    hub.process.wait()
    return kept


def test_killed_between_keystrokes_no_acknowledged_edit_is_lost(tmp_path: Path) -> None:
    dice = random.Random(5)
    kept = n = 0
    for kill in range(KILLS + 1):
        with HubProcess(tmp_path) as hub:
            drafts = asyncio.run(look(hub))["drafts"]
            if kill:
                (draft,) = drafts
                n = int(draft["n"])
                assert n >= kept
                assert x_of(draft["text"]) == n / 1000, "the text is that of its edit, whole"
            if kill < KILLS:
                kept = asyncio.run(type_until_killed(hub, n, dice.uniform(0.4, 1.2)))
                assert kept > n, "edits were acknowledged before it was killed"


async def look(hub: HubProcess) -> dict[str, Any]:
    """What a hub that has started anew says of the move."""
    async with editor(hub) as reader:
        return await reader.open("bow", "two")


def test_killed_after_a_save_it_is_saved(tmp_path: Path) -> None:
    async def save(hub: HubProcess) -> str:
        async with editor(hub) as one:
            opened = await one.open("bow", "one")
            await one.send("save_move", name="bow", hand="one", base=opened["version"], text=text(7))
            version = str((await one.until("saved"))["version"])
            hub.process.kill()
            hub.process.wait()
            return version

    with HubProcess(tmp_path) as hub:
        version = asyncio.run(save(hub))
    with HubProcess(tmp_path) as again:
        found = asyncio.run(look(again))
    assert (found["version"], x_of(found["text"])) == (version, 7)
    assert found["drafts"] == []
    assert x_of((tmp_path / "bow.json").read_text()) == 7


@pytest.fixture(scope="module")
def hub(tmp_path_factory: pytest.TempPathFactory) -> Any:
    with HubProcess(tmp_path_factory.mktemp("library")) as hub:
        yield hub
        assert "Traceback" not in hub.log.read_text()


async def test_two_editors_are_told_and_neither_overwrites_the_other(hub: HubProcess) -> None:
    async with editor(hub, "Ann") as ann, editor(hub, "Kim") as kim:
        first = await ann.open("duet", "ann")
        second = await kim.open("duet", "kim")
        assert second["others"] == ["Ann"]
        assert (await ann.until("editing", others=["Kim"]))["name"] == "duet"
        for who, hand, x in ((ann, "ann", 1.0), (kim, "kim", 2.0)):
            await who.send("draft", name="duet", hand=hand, base="", n=1, text=text(x, "duet"))
            await who.until("kept", n=1)
        await ann.send("save_move", name="duet", hand="ann", base=first["version"], text=text(1, "duet"))
        saved = await ann.until("saved")
        assert "Ann" in (await kim.until("changed", version=saved["version"]))["words"]
        await kim.send("save_move", name="duet", hand="kim", base=second["version"], text=text(2, "duet"))
        conflict = await kim.until("conflict", "saved")
        assert conflict["type"] == "conflict"
        assert (x_of(conflict["text"]), conflict["version"]) == (1, saved["version"])
        assert "Ann" in conflict["words"]
        # Nobody's work is gone: Ann's is saved, Kim's is kept; knowing of Ann's, Kim may save over it.
        again = await kim.open("duet", "kim")
        assert x_of(again["text"]) == 1
        assert [(d["hand"], x_of(d["text"])) for d in again["drafts"]] == [("kim", 2)]
        await kim.send("save_move", name="duet", hand="kim", base=conflict["version"], text=text(2, "duet"))
        await kim.until("saved")
        await ann.send("list_versions", name="duet")
        (version,) = (await ann.until("version_list"))["items"]
        await ann.send("look_back", name="duet", id=version["id"])
        assert x_of((await ann.until("past_version"))["text"]) == 1


async def test_a_save_whose_answer_was_lost_can_be_sent_again(hub: HubProcess) -> None:
    async with editor(hub) as one:
        opened = await one.open("twice", "one")
        for _ in range(2):
            await one.send("save_move", name="twice", hand="one", base=opened["version"], text=text(3, "twice"))
            assert (await one.until("saved", "conflict"))["type"] == "saved"


async def test_whoever_comes_back_finds_the_draft(hub: HubProcess) -> None:
    async with editor(hub) as one:
        await one.open("back", "one")
        await one.send("draft", name="back", hand="one", base="", n=5, text=text(5, "back"))
        await one.until("kept", n=5)
    async with editor(hub) as one:
        (draft,) = (await one.open("back", "one"))["drafts"]
        assert (draft["n"], x_of(draft["text"])) == (5, 5)
        await one.send("drop_draft", name="back", hand="one")
        while (await one.open("back", "one"))["drafts"]:
            await asyncio.sleep(0.05)


async def test_what_is_saved_is_what_was_edited(hub: HubProcess) -> None:
    wave = (Path(__file__).parents[2] / "sequences" / "wave.json").read_text()
    async with editor(hub) as one:
        opened = await one.open("wave", "one")
        assert opened["shipped"]
        assert json.loads(opened["text"]) == json.loads(wave)
        changed = json.loads(wave)
        changed["keyframes"][1]["joints_deg"]["head"] = 17
        await one.send("save_move", name="wave", hand="one", base=opened["version"], text=json.dumps(changed))
        saved = await one.until("saved")
        again = await one.open("wave", "one")
        assert (again["version"], again["shipped"]) == (saved["version"], False)
        source, found = (documents.parse(t, "wave", ROBOT, {}) for t in (json.dumps(changed), again["text"]))
        assert found.document == source.document


async def test_a_document_that_cannot_be_is_refused_in_words_and_changes_nothing(hub: HubProcess) -> None:
    async with editor(hub) as one:
        opened = await one.open("bad", "one")
        bad = text(1, "bad").replace("x_mm", "x_cm")
        await one.send("draft", name="bad", hand="one", base="", n=1, text=bad, keep=False)
        judged = await one.until("judged")
        assert judged["preview"] is None
        assert "x_cm" in judged["place"]
        await one.send("save_move", name="bad", hand="one", base=opened["version"], text=bad)
        assert "x_cm" in (await one.until("refused", to="save_move"))["text"]
        assert (await one.open("bad", "one"))["text"] == ""


async def test_a_draft_is_not_played_for_whoever_does_not_hold_control(hub: HubProcess) -> None:
    async with editor(hub) as one:
        await one.send("rehearse", name="bow", text=text(5), share=0.5)
        assert "control" in (await one.until("refused"))["text"]
