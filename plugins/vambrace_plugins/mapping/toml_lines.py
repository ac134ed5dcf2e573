"""Finds the line on which each table and key of a TOML text stands; the parser of the standard library does not say."""

from __future__ import annotations

import re
from collections.abc import Iterator

from vambrace_plugins.mapping.model import Place

_PART = r"""(?:"(?:[^"\\]|\\.)*"|'[^']*'|[A-Za-z0-9_-]+)"""
_PATH = rf"{_PART}(?:\s*\.\s*{_PART})*"
_TABLE = re.compile(rf"^\s*(\[\[?)\s*({_PATH})\s*\]")
_KEY = re.compile(rf"^\s*({_PATH})\s*=(.*)$")
_INNER = re.compile(rf"[{{,]\s*({_PATH})\s*=")


def lines_of(text: str) -> dict[Place, int]:
    """Return the line of each table and key, counted from 1; members of an array of tables are numbered from 0."""
    found: dict[Place, int] = {}
    counts: dict[Place, int] = {}
    table: Place = ()
    for number, line in _outside_long_texts(text):
        if header := _TABLE.match(line):
            name, table = _parts(header[2]), ()
            for part in name:
                # A table inside a member of an array of tables belongs to the last one.
                table = (*table, part)
                if table in counts and table != name:
                    table = (*table, counts[table])
            if header[1] == "[[":
                counts[table] = counts.get(table, -1) + 1
                found.setdefault(table, number)
                table = (*table, counts[table])
            found.setdefault(table, number)
        elif key := _KEY.match(line):
            place = (*table, *_parts(key[1]))
            found.setdefault(place, number)
            for inner in _INNER.finditer(key[2]):
                found.setdefault((*place, *_parts(inner[1])), number)
    return found


def _outside_long_texts(text: str) -> Iterator[tuple[int, str]]:
    """Yield the lines that are not inside a text of several lines, with their numbers."""
    inside = ""
    for number, line in enumerate(text.splitlines(), 1):
        if not inside:
            yield number, line
        for mark in ('"""', "'''"):
            if line.count(mark) % 2 and inside in {"", mark}:
                inside = "" if inside else mark


def _parts(path: str) -> Place:
    return tuple(part.strip("\"'") for part in re.findall(_PART, path))
