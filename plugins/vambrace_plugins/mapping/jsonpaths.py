"""Paths in JSON: where the records stand, and what the fields of a record are."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

from vambrace_plugins.mapping.records import text_of

_NUMBERED = re.compile(r"\.\d+(?=\.|$)")
MOST_DEPTH = 50


def steps_of(path: str) -> list[str]:
    """Return the steps of a path to records (`days[].samples`): the names up to each array, `` for a bare one.

    Each step ends at an array; the members of the last one are the records.
    """
    steps = [step.strip(".") for step in path.removesuffix("[]").split("[]")]
    return steps if path not in {"", "."} else [""]


def inside(value: Any, path: str) -> Any:
    """Return what stands at a path of names, or None."""
    for name in filter(None, path.split(".")):
        value = value.get(name) if isinstance(value, dict) else None
    return value


def expanded(item: Any, steps: list[str], around: tuple[Any, ...]) -> Iterator[tuple[Any, tuple[Any, ...]]]:
    """Yield the records inside a member of an array, each with what stands around it, the nearest first."""
    if not steps:
        yield item, around
        return
    found = inside(item, steps[0])
    for each in found if isinstance(found, list) else []:
        yield from expanded(each, steps[1:], (item, *around))


def leaves(value: Any, path: str = "", depth: int = 0) -> Iterator[tuple[str, str]]:
    """Yield the texts inside a record by path (`hr.value`, `rr.0`; `.` for a record that is one value itself)."""
    if depth > MOST_DEPTH:
        yield path, "(nested deeper)"
    elif isinstance(value, dict):
        for name, inner in value.items():
            if isinstance(inner, dict | list):
                yield from leaves(inner, f"{path}{name}.", depth + 1)
            else:
                yield f"{path}{name}", text_of(inner)
    elif isinstance(value, list):
        for at, inner in enumerate(value):
            if isinstance(inner, dict | list):
                yield from leaves(inner, f"{path}{at}.", depth + 1)
            else:
                yield f"{path}{at}", text_of(inner)
    else:
        yield path or ".", text_of(value)


def row_of(record: Any, known: frozenset[str], left: dict[str, int]) -> dict[str, str]:
    """Return the texts of the known fields of a record; count the values of others, with `[]` for places in arrays."""
    row = {}
    for path, text in leaves(record):
        if path in known:
            row[path] = text
        elif text:
            name = _NUMBERED.sub("[]", path)
            left[name] = left.get(name, 0) + 1
    return row


def count_others(item: Any, known: set[str], left: dict[str, int], path: str = "") -> None:
    """Count the values of a table that are in none of its known members."""
    for name, inner in item.items() if isinstance(item, dict) else ():
        if f"{path}{name}" in known:
            continue
        if isinstance(inner, dict):
            count_others(inner, known, left, f"{path}{name}.")
        else:
            counts: dict[str, int] = {}
            row_of({name: inner}, frozenset(), counts)
            for key, n in counts.items():
                left[f"{path}{key}"] = left.get(f"{path}{key}", 0) + n


def around_fields(fields: tuple[str, ...]) -> dict[str, tuple[int, str]]:
    """Return the fields that stand around a record (`../device`): how many levels up, and the path there."""
    found = {}
    for name in fields:
        up, rest = 0, name
        while rest.startswith("../"):
            up, rest = up + 1, rest.removeprefix("../")
        if up:
            found[name] = (up, rest)
    return found


def from_around(wanted: Mapping[str, tuple[int, str]], around: tuple[Any, ...]) -> dict[str, str]:
    """Return the texts of fields around a record, as far as they are there."""
    found = {}
    for name, (up, path) in wanted.items():
        value = inside(around[up - 1], path) if up <= len(around) else None
        if value is not None and not isinstance(value, dict | list):
            found[name] = text_of(value)
    return found
