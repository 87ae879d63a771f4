"""The generated TypeScript and schema say what the Python models do."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path
from typing import Any, get_args

import pytest

from motionhub.remote import messages, typescript

TSC = Path(__file__).parents[2] / "web_remote" / "node_modules" / "typescript" / "bin" / "tsc"


def test_the_committed_file_is_not_stale() -> None:
    committed = typescript.TARGET.read_text(encoding="utf-8")
    assert committed == typescript.generate(), "run: python -m motionhub.remote.typescript"


def test_every_message_and_every_field_appears() -> None:
    text = typescript.generate()
    for union in (messages.FromBrowser, messages.FromHub):
        for model in get_args(get_args(union)[0]):
            body = re.search(rf"export interface {model.__name__} {{\n(.*?)^}}", text, re.S | re.M)
            assert body, model
            fields = re.findall(r"^  (\w+)\??: ", body[1], re.M)
            assert fields == list(model.model_fields)


def test_what_the_hub_sends_is_whole_and_what_a_browser_sends_may_leave_out_defaults() -> None:
    text = typescript.generate()
    browser, hub = text.split("export type FromBrowser")
    assert "  name?: string;" in browser
    assert "  reason: string;" in hub
    assert "?:" not in hub
    assert "unknown;" not in text
    assert "any;" not in text


def test_an_annotation_nobody_planned_for_is_an_error_and_not_a_guess() -> None:
    with pytest.raises(TypeError, match="no TypeScript is known"):
        typescript._type(set[int], {})


def test_a_docstring_cannot_end_the_comment_it_is_put_in() -> None:
    assert "*/" not in typescript._plain("evil */ export const x = 1")


def test_the_schema_tells_the_same_messages_apart_as_the_models() -> None:
    definitions: dict[str, Any] = typescript.schema()["$defs"]
    for union in ("FromBrowser", "FromHub"):
        for model in get_args(get_args(getattr(messages, union))[0]):
            definition = definitions[model.__name__]
            assert definition["properties"]["type"]["const"] == model.model_fields["type"].default
            assert "type" in definition["required"]
            assert definition["additionalProperties"] is False
    assert definitions["Drive"]["required"] == ["forward", "left", "turn", "type"]
    assert "role" in definitions["Welcome"]["required"]
    references = set(re.findall(r"#/\$defs/(\w+)", str(definitions)))
    assert references <= set(definitions)


@pytest.mark.skipif(not (TSC.exists() and shutil.which("node")), reason="needs the remote's node_modules")
def test_the_typescript_compiler_accepts_it_in_strict_mode() -> None:
    options = ["--strict", "--noEmit", "--target", "es2022", "--module", "esnext", "--noUncheckedIndexedAccess"]
    done = subprocess.run(
        ["node", str(TSC), *options, str(typescript.TARGET)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stdout
