"""Messages and sequences for everyone who is not Python: strict TypeScript types, and a JSON schema.

Both are made from :mod:`motionhub.remote.messages` and :mod:`motionhub.motion.formats`, so that nothing is ever
described twice. After a change there, run ``python -m motionhub.remote.typescript`` in the repository; a test
fails until then.

What a browser sends may leave out what has a default; what the hub sends is always whole. So the
same ``str = ""`` is an optional property in one direction and a required one in the other.
"""

from __future__ import annotations

import ast
import inspect
import re
import types
from collections.abc import Iterable, Iterator
from enum import IntEnum
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any, Literal, Union, get_args, get_origin

import annotated_types
from pydantic import BaseModel
from pydantic.fields import FieldInfo
from pydantic_core import PydanticUndefined

from motionhub.motion import formats
from motionhub.remote import answering, asking, bringing, making, messages, parts, readying, telling

_SOURCE = Path(__file__).parents[2] / "web_remote" / "src"
TARGET = _SOURCE / "messages.gen.ts"
DOCUMENT_TARGET = _SOURCE / "author" / "document.gen.ts"

_MODULES = (parts, making, answering, bringing, readying, asking, telling, messages)
"""What makes up the messages; the first has what the others share."""

_HEAD = """\
// Made by `python -m motionhub.remote.typescript` from {}. Change that, not this.
"""
_SCALARS = {str: "string", bytes: "Uint8Array", int: "number", float: "number", bool: "boolean", types.NoneType: "null"}


def generate() -> str:
    """The whole TypeScript file, as text."""
    docs = _Docs(*map(inspect.getsource, _MODULES))
    names = _aliases(*_MODULES)
    head = _HEAD.format("what motionhub/remote/messages.py unites")
    text = [head, *_constants(docs), *_alias_types(docs, names)]
    for union in ("FromBrowser", "FromHub"):
        roots = members(getattr(messages, union))
        for model in _with_parts(roots):
            text.append(_interface(model, docs, names, whole=union == "FromHub"))
        text.append(f"export type {union} =\n" + "\n".join(f"  | {m.__name__}" for m in roots) + ";\n")
    return "\n".join(text)


def generate_document() -> str:
    """The TypeScript file of the sequence document, and the bounds of its numbers."""
    docs = _Docs(inspect.getsource(formats))
    names = _aliases(formats)
    text = [_HEAD.format("motionhub/motion/formats.py"), *_alias_types(docs, names)]
    models = _with_parts([formats.SequenceFile, formats.PoseFile])
    text += [_interface(model, docs, names, whole=False, null=False) for model in models]
    bounds = "".join(_bounds(model) for model in models)
    text.append(
        f"/** Least and most of what has bounds, ends included. */\nexport const BOUNDS = {{\n{bounds}}} as const;\n"
    )
    text.append(f"/** Of a whole sequence, in seconds. */\nexport const SHORTEST_S = {formats.SHORTEST_S:g};\n")
    text.append(f"export const LONGEST_S = {formats.LONGEST_S:g};\n")
    return "\n".join(text)


def schema() -> dict[str, Any]:
    """The JSON schema (draft 2020-12); ``FromBrowser`` and ``FromHub`` under ``$defs`` are the two directions."""
    docs = _Docs(*map(inspect.getsource, _MODULES))
    definitions: dict[str, Any] = {}
    for union, adapter, mode in (
        ("FromBrowser", messages.from_browser, "validation"),
        ("FromHub", messages.from_hub, "serialization"),
    ):
        made = adapter.json_schema(mode=mode)  # type: ignore[arg-type]
        definitions |= made.pop("$defs")
        definitions[union] = made
    for name, definition in definitions.items():
        if "description" in definition:
            definition["description"] = _plain(definition["description"])
        properties = definition.get("properties", {})
        for key, item in properties.items():
            item.pop("title", None)
            if text := docs.of(name, key):
                item["description"] = text
        if "type" in properties and "const" in properties["type"]:
            # Pydantic fills it in where it is missing; the wire needs it to tell messages apart.
            definition["required"] = sorted({"type", *definition.get("required", [])})
            properties["type"].pop("default", None)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": "Messages between a browser and the hub, MessagePack maps over a WebSocket",
        "anyOf": [{"$ref": "#/$defs/FromBrowser"}, {"$ref": "#/$defs/FromHub"}],
        "$defs": dict(sorted(definitions.items())),
    }


class _Docs:
    """The docstrings below attributes, which Python itself throws away: by class ("" for the module) and name."""

    def __init__(self, *sources: str) -> None:
        self._texts: dict[tuple[str, str], str] = {}
        for tree in map(ast.parse, sources):
            self._read("", tree.body)
            for node in tree.body:
                if isinstance(node, ast.ClassDef):
                    self._read(node.name, node.body)

    def _read(self, owner: str, body: list[ast.stmt]) -> None:
        for node, after in pairwise(body):
            match node, after:
                case (
                    ast.AnnAssign(target=ast.Name(id=name)) | ast.Assign(targets=[ast.Name(id=name)]),
                    ast.Expr(value=ast.Constant(value=str(text))),
                ):
                    self._texts[owner, name] = _plain(text)

    def of(self, owner: str, name: str) -> str:
        return self._texts.get((owner, name), "")


def _plain(text: str) -> str:
    """Docstring to comment: no reStructuredText roles, no way out of the comment."""
    text = re.sub(r":\w+:`([^`]+)`", r"\1", inspect.cleandoc(text)).replace("``", "`")
    return text.replace("*/", "* /")


def _comment(text: str, indent: str = "") -> str:
    if not text:
        return ""
    lines = text.splitlines()
    if len(lines) == 1:
        return f"{indent}/** {lines[0]} */\n"
    return f"{indent}/**\n" + "".join(f"{indent} * {line}".rstrip() + "\n" for line in lines) + f"{indent} */\n"


def _aliases(*modules: types.ModuleType) -> dict[Any, str]:
    """Module-level names for scalar types (``Mode``, ``DocumentName``), by what they stand for."""
    found: dict[Any, str] = {}
    for module in modules:
        for name, value in vars(module).items():
            if name.startswith("_") or _is_union(value):
                continue
            if get_origin(value) in (Literal, Annotated):
                found[value] = name
    return found


def _is_union(annotation: Any) -> bool:
    if get_origin(annotation) is Annotated:
        annotation = get_args(annotation)[0]
    return get_origin(annotation) in (Union, types.UnionType)


def _constants(docs: _Docs) -> Iterator[str]:
    for name, value in {name: value for module in _MODULES for name, value in vars(module).items()}.items():
        if name.isupper() and isinstance(value, str | int):
            literal = f'"{value}"' if isinstance(value, str) else str(value)
            yield f"{_comment(docs.of('', name))}export const {name} = {literal};\n"
        elif isinstance(value, type) and issubclass(value, IntEnum) and value is not IntEnum:
            body = "".join(
                f"{_comment(docs.of(name, member.name), '  ')}  {member.name}: {member.value},\n" for member in value
            )
            yield f"{_comment(_plain(value.__doc__ or ''))}export const {name} = {{\n{body}}} as const;\n"


def _alias_types(docs: _Docs, names: dict[Any, str]) -> Iterator[str]:
    for annotation, name in names.items():
        limits, pattern = "", None
        if get_origin(annotation) is Annotated:
            metadata = _flat(get_args(annotation)[1:])
            limits, pattern = _limits(metadata), _pattern(metadata)
        text = " ".join(part for part in (docs.of("", name), limits) if part)
        yield f"{_comment(text)}export type {name} = {_type(annotation, {})};\n"
        if pattern:
            constant = re.sub(r"(?<=[a-z])(?=[A-Z])", "_", name).upper()
            body = pattern.replace("/", r"\/")
            yield f"/** What a {name} looks like. */\nexport const {constant} = /{body}/;\n"


def _annotations(model: type[BaseModel]) -> dict[str, Any]:
    """Of all its fields, inherited ones too, as they were written."""
    found: dict[str, Any] = {}
    for base in reversed(model.__mro__):
        if issubclass(base, BaseModel):
            found |= inspect.get_annotations(base, eval_str=True)
    return found


def _interface(model: type[BaseModel], docs: _Docs, names: dict[Any, str], *, whole: bool, null: bool = True) -> str:
    """A model as an interface; ``whole`` when nothing is left out, ``null`` when null stands for what is missing."""
    annotations = _annotations(model)
    body = ""
    for key, field in model.model_fields.items():
        annotation = annotations[key] if null else _present(annotations[key])
        optional = not whole and key != "type" and not field.is_required()
        notes = [docs.of(model.__name__, key)]
        if annotation not in names:
            notes.append(_limits(field.metadata))
        if optional and field.default is not PydanticUndefined and (null or field.default is not None):
            notes.append(f"Left out: {_default(field)}.")
        body += _comment(" ".join(n for n in notes if n), "  ")
        body += f"  {key}{'?' if optional else ''}: {_type(annotation, names)};\n"
    return f"{_comment(_plain(model.__doc__ or ''))}export interface {model.__name__} {{\n{body}}}\n"


def _present(annotation: Any) -> Any:
    """Without the None that stands for being left out."""
    if _is_union(annotation):
        kept = [arg for arg in get_args(annotation) if arg is not types.NoneType]
        return kept[0] if len(kept) == 1 else Union[tuple(kept)]  # noqa: UP007 - made at run time
    return annotation


def _bounds(model: type[BaseModel]) -> str:
    lines = ""
    for key, annotation in _annotations(model).items():
        held = [annotation, *get_args(annotation)] if _is_union(annotation) else [annotation]
        held += [arg for item in held if get_origin(item) is dict for arg in get_args(item)]
        metadata = [m for item in held if get_origin(item) is Annotated for m in _flat(get_args(item)[1:])]
        ends = {kind: getattr(m, kind) for m in metadata for kind in ("ge", "gt", "le") if hasattr(m, kind)}
        if "le" in ends and ("ge" in ends or "gt" in ends):
            lines += f"    {key}: [{ends.get('ge', ends.get('gt')):g}, {ends['le']:.0f}],\n"
    return f"  {model.__name__}: {{\n{lines}  }},\n" if lines else ""


def _type(annotation: Any, names: dict[Any, str]) -> str:
    """One Python annotation as TypeScript.

    Raises:
        TypeError: for an annotation that no message has used yet, rather than guessing ``unknown``.
    """
    if annotation in names:
        return names[annotation]
    origin, args = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        return _type(args[0], names)
    if origin is Literal:
        return " | ".join(f'"{value}"' for value in args)
    if origin in (Union, types.UnionType):
        return " | ".join(_type(arg, names) for arg in args)
    if origin is list:
        inner = _type(args[0], names)
        return f"({inner})[]" if " | " in inner else f"{inner}[]"
    if origin is dict:
        return f"Record<{_type(args[0], names)}, {_type(args[1], names)}>"
    if origin is tuple:
        return "[" + ", ".join(_type(arg, names) for arg in args) + "]"
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation.__name__
    if annotation in _SCALARS:
        return _SCALARS[annotation]
    raise TypeError(f"no TypeScript is known for {annotation!r}")


def _flat(metadata: Iterable[Any]) -> list[Any]:
    return [item for entry in metadata for item in (entry.metadata if isinstance(entry, FieldInfo) else [entry])]


def _pattern(metadata: Iterable[Any]) -> str | None:
    return next((p for item in metadata if isinstance(p := getattr(item, "pattern", None), str)), None)


def _limits(metadata: Iterable[Any]) -> str:
    """``From -30 to 30.`` and the like, for a comment; TypeScript has no such types."""
    low = high = longest = None
    for item in metadata:
        match item:
            case annotated_types.Ge(ge=value):
                low = value
            case annotated_types.Le(le=value):
                high = value
            case annotated_types.MaxLen(max_length=value):
                longest = value
    if low is not None and high is not None:
        return f"From {low} to {high}."
    return f"At most {longest} long." if longest is not None else ""


def _default(field: FieldInfo) -> str:
    value = field.default
    assert value is not PydanticUndefined
    if isinstance(value, dict):
        return "none"
    if isinstance(value, float):
        return f"{value:g}"
    return {True: "true", False: "false", "": "empty", None: "null"}.get(value, str(value))


def members(union: Any) -> list[type[BaseModel]]:
    """The messages of a union of messages."""
    inner = get_args(union)[0]
    return list(get_args(inner))


def _with_parts(roots: list[type[BaseModel]]) -> list[type[BaseModel]]:
    """The messages and every model inside them, each part before what uses it."""
    order: list[type[BaseModel]] = []

    def visit(annotation: Any) -> None:
        for arg in get_args(annotation):
            visit(arg)
        if isinstance(annotation, type) and issubclass(annotation, BaseModel) and annotation not in order:
            for inner in _annotations(annotation).values():
                visit(inner)
            order.append(annotation)

    for root in roots:
        visit(root)
    return order


def main() -> None:
    """Write the TypeScript files of this checkout."""
    for target, text in ((TARGET, generate()), (DOCUMENT_TARGET, generate_document())):
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(text, encoding="utf-8")
        print(target)


if __name__ == "__main__":
    main()
