"""Where moves are made: who has which one open, what is kept of their edits, and who is told what.

Nothing here reads a document: that is for the process beside the hub (:mod:`~motionhub.remote.worker`), and the disk
is for threads. So the tick never waits for an edit.
"""

from __future__ import annotations

import asyncio
import secrets
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np

from motionhub.errors import InputError
from motionhub.hub.errands import Errands
from motionhub.library.drafts import Drafts, StoredDraft
from motionhub.library.sounds import Sounds
from motionhub.motion.frames import Frames
from motionhub.remote import answering, making
from motionhub.remote.beside import Beside
from motionhub.remote.convert import pack
from motionhub.remote.pipe import RATE_HZ, Setup
from motionhub.remote.telling import Refused

if TYPE_CHECKING:
    from motionhub.library.store import Library
    from motionhub.remote.parts import Message
    from motionhub.robot.calibration import Calibration

Send = Callable[[bytes], None]
Publish = Callable[[str, bytes], None]


class Player(Protocol):
    """What plays; :class:`motionhub.hub.live.Show` is one."""

    def perform(self, client: str, frames: Frames) -> None:
        """Play frames that are at hand and have passed their check."""


@dataclass
class _Person:
    name: str
    send: Send
    open: dict[str, str] = field(default_factory=dict)
    """The moves that are open here, by their names in lower case."""
    sound: dict[int, bytes] = field(default_factory=dict)
    """The parts of a sound that have come."""


@dataclass
class _Keeping:
    """A draft on its way to the disk: while one is being written, only the newest of what follows waits."""

    waiting: tuple[StoredDraft, Send] | None = None
    busy: bool = False


class Workshop:
    """Serves those who make moves.

    Args:
        library: Where moves are.
        calibration: What the hub's robot has now: the radio's load depends on it, and what a recording shows.
        player: What plays a draft on the robot.
        publish: Serves a file under a path of the hub's address.
    """

    def __init__(
        self, library: Library, calibration: Callable[[], Calibration], player: Player, publish: Publish
    ) -> None:
        self._robot = library.robot
        folder, shipped = Path(library.folder), Path(library.shipped)
        self._drafts = Drafts(library.folder)
        self._sounds = Sounds(library.folder)
        self._beside = Beside(lambda: Setup(library.robot, calibration(), folder, shipped))
        self._player = player
        self._publish = publish
        self._sound_path = f"/sounds-{secrets.token_urlsafe(16)}"
        self._people: dict[str, _Person] = {}
        self._keeping: dict[tuple[str, str], _Keeping] = {}
        self._saved_by: dict[str, tuple[str, str]] = {}
        """For each version that was saved here: by whom, and when."""
        self._errands = Errands("a move in the making")

    # ---------------------------------------------------------------- people

    def join(self, client: str, name: str, send: Send) -> None:
        """An operator has connected."""
        self._people[client] = _Person(name, send)

    def leave(self, client: str) -> None:
        """They have gone."""
        person = self._people.pop(client, None)
        if person is None:
            return
        for name in person.open.values():
            self._tell_who(name)
        if person.open:
            self._errands.run(self._forget(client, None))

    async def close(self) -> None:
        """Finish writing drafts, and end."""
        while any(keeping.busy for keeping in self._keeping.values()):
            await asyncio.sleep(0.01)
        await self._errands.close()
        await self._beside.close()

    def take(self, client: str, message: Message) -> None:
        """Act on a message of :mod:`~motionhub.remote.making`; returns at once."""
        person = self._people.get(client)
        if person is not None:
            self._errands.run(self._served(client, person, message))

    async def _served(self, client: str, person: _Person, message: Any) -> None:
        try:
            refused = await self._serve(client, person, message)
        except InputError as error:
            refused = error.expected
        if refused:
            person.send(pack(Refused(to=message.type, text=refused)))

    async def _serve(self, client: str, person: _Person, message: Any) -> str:
        """Returns why it is refused, or nothing."""
        match message:
            case making.OpenMove():
                return await self._open(client, person, message)
            case making.CloseMove(name=name):
                person.open.pop(name.lower(), None)
                self._tell_who(name)
                await self._forget(client, name)
            case making.Draft():
                if message.keep:
                    self._keep(person, message)
                return await self._judged(client, person, message)
            case making.DropDraft(name=name, hand=hand):
                await asyncio.to_thread(self._drafts.drop, name, hand)
            case making.SaveMove():
                return await self._save(client, person, message)
            case making.Rehearse():
                return await self._rehearse(client, message)
            case making.KeepSound():
                await self._keep_sound(person, message)
            case _:
                return await self._passed_on(client, person, message)
        return ""

    async def _judged(self, client: str, person: _Person, message: making.Draft) -> str:
        """The verdict at once, and what would mend it when that has been found, unless another edit comes first."""
        job, key = self._job(client, message), (client, message.name, "draft")
        while True:
            answer = await self._beside.ask(job, key)
            if answer is None:
                return ""
            if "send" in answer:
                person.send(answer["send"])
            if "more" not in answer or client not in self._people:
                return str(answer.get("refused", ""))
            # Another key: a newer edit takes the place of an older one, and not of its advice, nor the other way round.
            job, key = answer["more"], (client, message.name, "advice")
            await asyncio.sleep(job.pop("after_s", 0.0))

    async def _passed_on(self, client: str, person: _Person, message: Any, key: object = None) -> str:
        """Have it done beside the hub, and send on what comes of it."""
        answer = await self._beside.ask(self._job(client, message), key)
        if answer is None:
            return ""
        if "send" in answer:
            person.send(answer["send"])
        return str(answer.get("refused", ""))

    @staticmethod
    def _job(client: str, message: Any) -> dict[str, Any]:
        return {"do": message.type, "client": client, **message.model_dump(exclude={"type"})}

    async def _forget(self, client: str, name: str | None) -> None:
        await self._beside.ask({"do": "forget", "client": client, "name": name})

    # ---------------------------------------------------------------- opening, and who else

    async def _open(self, client: str, person: _Person, message: making.OpenMove) -> str:
        name = message.name
        asked = self._beside.ask(self._job(client, message))
        kept, answer = await asyncio.gather(asyncio.to_thread(self._drafts.of, name), asked)
        if answer is None or "refused" in answer:
            return str((answer or {}).get("refused", "it could not be opened"))
        person.open[name.lower()] = name
        drafts = [
            answering.KeptDraft(hand=d.hand, text=d.text, base=d.base, n=d.n, by=d.by, made=d.made) for d in kept[:4]
        ]
        person.send(
            pack(
                answering.Opened(
                    name=name,
                    others=self._others(name, client),
                    drafts=drafts,
                    sound_path=self._sound_path,
                    **{key: answer[key] for key in ("text", "version", "shipped", "maker", "poses", "sounds")},
                )
            )
        )
        self._tell_who(name)
        for sound in answer["sounds"]:
            self._publish_soon(sound)
        return ""

    def _others(self, name: str, client: str) -> list[str]:
        return [p.name for other, p in self._people.items() if other != client and name.lower() in p.open]

    def _tell_who(self, name: str) -> None:
        """Tell all who have a move open who else has."""
        for client, person in self._people.items():
            if own := person.open.get(name.lower()):
                person.send(pack(answering.Editing(name=own, others=self._others(name, client))))

    # ---------------------------------------------------------------- drafts

    def _keep(self, person: _Person, message: making.Draft) -> None:
        """Put a draft on the disk; when it is there, say so."""
        made = datetime.now().astimezone().isoformat(timespec="seconds")
        draft = StoredDraft(message.hand, message.base, message.n, person.name, made, message.text)
        keeping = self._keeping.setdefault((message.name.lower(), message.hand), _Keeping())
        keeping.waiting = draft, person.send
        if not keeping.busy:
            keeping.busy = True
            self._errands.run(self._keep_on(message.name, keeping))

    async def _keep_on(self, name: str, keeping: _Keeping) -> None:
        try:
            while keeping.waiting is not None:
                (draft, send), keeping.waiting = keeping.waiting, None
                try:
                    await asyncio.to_thread(self._drafts.keep, name, draft)
                except InputError as error:
                    send(pack(Refused(to="draft", text=f"it could not be kept: {error.expected}")))
                else:
                    send(pack(answering.Kept(name=name, n=draft.n)))
        finally:
            keeping.busy = False

    # ---------------------------------------------------------------- saving

    async def _save(self, client: str, person: _Person, message: making.SaveMove) -> str:
        name = message.name
        answer = await self._beside.ask(self._job(client, message))
        if answer is None or "refused" in answer:
            return str((answer or {}).get("refused", "it could not be saved"))
        if "conflict" in answer:
            words = self._who_saved(name, answer["version"])
            version, text = answer["version"], answer["conflict"]
            person.send(pack(answering.Conflict(name=name, version=version, text=text, words=words)))
            return ""
        self._saved_by[answer["version"]] = person.name, datetime.now().strftime("%H:%M")
        await asyncio.to_thread(self._drafts.drop, name, message.hand)
        person.send(pack(answering.Saved(name=name, version=answer["version"])))
        words = self._who_saved(name, answer["version"])
        for other, watching in self._people.items():
            if other != client and (own := watching.open.get(name.lower())):
                watching.send(pack(answering.Changed(name=own, version=answer["version"], words=words)))
        return ""

    def _who_saved(self, name: str, version: str) -> str:
        if not version:
            return f"{name} has been removed meanwhile"
        if version in self._saved_by:
            who, when = self._saved_by[version]
            return f"{who} saved {name} at {when}"
        return f"{name} has been changed outside this remote"

    # ---------------------------------------------------------------- on the robot

    async def _rehearse(self, client: str, message: making.Rehearse) -> str:
        answer = await self._beside.ask(self._job(client, message), (client, "rehearse"))
        if answer is None or "refused" in answer:
            return str((answer or {}).get("refused", ""))
        count = answer["frames"]
        joints, outputs, missed, travel = (np.frombuffer(a, dtype=np.float64) for a in answer["arrays"])
        frames = Frames(
            self._robot,
            message.name,
            RATE_HZ,
            joints.reshape(count, -1),
            outputs.reshape(count, len(self._robot.outputs)),
            missed.reshape(count, -1),
            travel.reshape(count, 3),
        )
        if client in self._people:  # whoever has gone meanwhile does not see what the robot does
            self._player.perform(client, frames)
        return ""

    # ---------------------------------------------------------------- sounds

    async def _keep_sound(self, person: _Person, message: making.KeepSound) -> None:
        if message.part == 0:
            person.sound.clear()
        person.sound[message.part] = message.data
        if len(person.sound) < message.parts or message.part + 1 < message.parts:
            return
        parts = [person.sound.get(i, b"") for i in range(message.parts)]
        person.sound.clear()
        await asyncio.to_thread(self._sounds.save, message.name, b"".join(parts))
        self._publish(f"{self._sound_path}/{message.name}", b"".join(parts))
        person.send(pack(answering.SoundKept(name=message.name)))

    def _publish_soon(self, name: str) -> None:
        async def publish() -> None:
            data = await asyncio.to_thread(self._sounds.read, name)
            self._publish(f"{self._sound_path}/{name}", data)

        self._errands.run(publish())
