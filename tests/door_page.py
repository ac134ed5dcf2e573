"""The page of the door: its sections, and the signatures that they must show, made from the code itself."""

from __future__ import annotations

import dataclasses
import inspect
import re
from enum import Enum
from pathlib import Path
from typing import Any

from vambrace import plugin
from vambrace.schema import Signal

PAGE = Path(__file__).parents[1] / "docs" / "plugin-door.md"
_SECTION = re.compile(r"^### `(\w+)`\n(.*?)(?=^##|\Z)", re.DOTALL | re.MULTILINE)
_SIGNATURE = re.compile(r"^```text\n(.*?)^```$", re.DOTALL | re.MULTILINE)
_CODE = re.compile(r"^```python\n(.*?)^```$", re.DOTALL | re.MULTILINE)


def sections(text: str) -> list[tuple[str, str]]:
    """Return the page's sections of a name each: the name and what stands below it."""
    return _SECTION.findall(text)


def signature_in(section: str) -> str:
    """Return the signature that a section shows."""
    found = _SIGNATURE.search(section)
    return found[1] if found else ""


def code_in(section: str) -> list[str]:
    """Return the examples of a section."""
    return _CODE.findall(section)


def signature(name: str) -> str:
    """Return the lines that a section of the page shows: how a name is called, its attributes and its methods."""
    item = getattr(plugin, name)
    if item is plugin.SIGNALS:
        return (
            "\n".join(["SIGNALS: Mapping[str, Signal]", "", *_broken(f"Signal{_called(Signal)}"), *_members(Signal)])
            + "\n"
        )
    if item is plugin.hookimpl:
        # A decorator of the library that finds plugins; what else it takes is of no use here.
        return "@hookimpl\n"
    if issubclass(item, Enum):
        lines = [f"{name}.{member.name}" for member in item]
    elif getattr(item, "_is_protocol", False):
        lines = [f"class {name}:", *(f"    {key}: {kind}" for key, kind in item.__annotations__.items())]
    else:
        lines = _broken(f"{name}{_called(item)}")
    return "\n".join([*lines, *_members(item)]) + "\n"


def _members(item: type) -> list[str]:
    """Return the public methods and properties of a class that are its own."""
    fields = {each.name for each in dataclasses.fields(item)} if dataclasses.is_dataclass(item) else set()
    lines = []
    for key, value in vars(item).items():
        if key.startswith("_") or key in fields:
            continue
        if isinstance(value, property):
            lines.append(f"    .{key} -> {inspect.signature(value.fget).return_annotation}")  # type: ignore[arg-type]
        elif inspect.isfunction(value) or isinstance(value, staticmethod):
            lines += _broken(f"    .{key}{_called(getattr(item, key))}", "        ")
    return lines


def _called(item: Any) -> str:
    of = inspect.signature(item)
    parts = [_parameter(each) for each in of.parameters.values() if each.name != "self"]
    keyword = [each.kind is each.KEYWORD_ONLY for each in of.parameters.values() if each.name != "self"]
    if True in keyword:
        parts.insert(keyword.index(True), "*")
    returns = "" if inspect.isclass(item) or of.return_annotation is of.empty else f" -> {of.return_annotation}"
    return f"({', '.join(parts)}){returns}"


def _parameter(each: inspect.Parameter) -> str:
    said = f"{each.name}: {each.annotation}" if each.annotation is not each.empty else each.name
    if each.default is each.empty:
        return said
    default = "..." if each.default is dataclasses._HAS_DEFAULT_FACTORY else repr(each.default)  # type: ignore[attr-defined]
    return f"{said} = {default}"


def _broken(line: str, indent: str = "    ", width: int = 100) -> list[str]:
    """Return a call as lines: on one where it fits, else each argument on its own."""
    if len(line) <= width:
        return [line]
    head, _, rest = line.partition("(")
    inner, _, tail = rest.rpartition(")")
    parts = re.split(r", (?=\w+: |\*)", inner)
    return [f"{head}(", *(f"{indent}{part}," for part in parts), f"{indent[4:]}){tail}"]
