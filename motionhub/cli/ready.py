"""``motionhub ready``: asks the hub that runs whether the show may begin, and says go or no-go with the reason."""

from __future__ import annotations

import asyncio
import json
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from motionhub.cli.group import COMMANDS
from motionhub.errors import InputError

if TYPE_CHECKING:
    from motionhub.remote.caller import Caller

HUB = "127.0.0.1:8737"
MARKS = {"good": "ok", "care": "!", "bad": "x", "open": "?"}
CAUTION = "Every joint moves, one leg after another. Fingers, hair and children away, a hand at the switch. Move them?"
STUCK = "Joints that did not move, by name; none: press Enter"
PATIENCE_S = 120.0
"""Longer than a check of a long routine, and a sweep of eight legs, take."""

_HUB = re.compile(
    r"(?:https?://)?(?P<at>\[[0-9A-Fa-f:.]+\]:\d{1,5}|[^\s/#:@]+(?::\d{1,5})?)/?(?:#key=(?P<key>[\w-]+))?"
)


@click.command(help=COMMANDS["ready"] + " Exit status 0: go, 1: no-go, or not known yet, 2: no hub could be asked.")
@click.argument("routine", required=False, default="", metavar="[ROUTINE]")
@click.option(
    "--hub", default=HUB, show_default=True, metavar="HOST:PORT",
    help="Where the hub is; or the whole address that it shows for pairing, key and all.",
)  # fmt: skip
@click.option("--sweep", is_flag=True, help="Let every joint move slowly too, and ask what was seen; asks first.")
@click.option("--json", "as_json", is_flag=True, help="Print what was found as JSON.")
@click.pass_context
def ready(context: click.Context, routine: str, hub: str, sweep: bool, as_json: bool) -> None:
    """Nothing moves unless --sweep is given."""
    at, key = _where(hub)
    found = asyncio.run(_ask(at, key, routine, sweep))
    if as_json:
        click.echo(json.dumps({name: found[name] for name in ("routine", "go", "reason", "lines")}, ensure_ascii=False))
    else:
        click.echo(_text(found))
    context.exit(0 if found["go"] else 1)


def _where(text: str) -> tuple[str, str]:
    """Address and key; the key of this machine's own hub where none is in it."""
    found = _HUB.fullmatch(text)
    if not found:
        raise InputError("--hub", "", f"expected HOST:PORT or the address that the hub shows, found {text!r}")
    if found["key"]:
        return found["at"], found["key"]
    import platformdirs

    from motionhub.remote.keys import kept

    path = Path(platformdirs.user_data_dir("motionhub", appauthor=False)) / "keys.json"
    keys = kept(path)
    if keys is None:
        raise InputError("--hub", "", f"expected the address with its key, since none is kept in {path}")
    return found["at"], keys.operator


async def _ask(at: str, key: str, routine: str, sweep: bool) -> dict[str, Any]:
    from motionhub.remote.caller import Caller

    async with Caller(at, key, "terminal", PATIENCE_S) as caller:
        await caller.send("check_show", routine=routine)
        found = await caller.until("show_checked", lambda told: bool(told["running"]))
        found = await caller.until("show_checked", lambda told: not told["running"])
        return await _sweep(caller, found) if sweep else found


async def _sweep(caller: Caller, found: dict[str, Any]) -> dict[str, Any]:
    from motionhub.remote.caller import RefusedError

    if not await caller.meanwhile(lambda: click.confirm(CAUTION, default=False, err=True)):
        return found
    await caller.send("take")
    await caller.until("state", lambda told: (told["driver"] or {}).get("id") == caller.me)
    await caller.send("sweep_joints")
    await caller.until("show_checked", lambda told: told["asks"] == "sweeping")
    found = await caller.until("show_checked", lambda told: told["asks"] != "sweeping")
    if found["asks"] != "seen":
        return found
    while True:
        stuck: str = await caller.meanwhile(lambda: click.prompt(STUCK, default="", show_default=False, err=True))
        await caller.send("sweep_seen", stuck=stuck.replace(",", " ").split())
        try:
            return await caller.until("show_checked", lambda told: told["asks"] != "seen")
        except RefusedError as refused:
            click.echo(f"{refused.expected}; there are: {', '.join(caller.joints)}", err=True)


def _text(found: dict[str, Any]) -> str:
    width = max(len(line["name"]) for line in found["lines"])
    lines = [f"{MARKS[line['state']]:>2}  {line['name']:<{width}}  {line['words']}" for line in found["lines"]]
    heading = {True: "Go", False: "No-go", None: "Not known yet"}[found["go"]]
    return "\n".join([*lines, "", f"{heading}: {found['reason']}"])
