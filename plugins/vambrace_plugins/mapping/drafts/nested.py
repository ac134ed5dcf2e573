"""Looks at JSON and JSON Lines: which array holds the records, or which object the columns."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Any

import ijson
from ijson.common import ObjectBuilder

from vambrace.plugin import Refused, Source
from vambrace_plugins.mapping.drafts.looked import MOST_ROWS, Looked, is_time, thinned
from vambrace_plugins.mapping.drafts.page import Entry, shown
from vambrace_plugins.mapping.jsonpaths import expanded, leaves, steps_of
from vambrace_plugins.mapping.records import text_of

_HEAD = 4 << 20
_FIRST = 1 << 20
_PLACES, _PIECE = 20, 1 << 15
_MOST_DEPTH = 12
_MOST_NAMES = 4


@dataclass(slots=True)
class _Place:
    """Where rows may stand: the path of an array (or object of arrays), their number, and the first of them."""

    path: str
    columns: bool
    n: int
    rows: list[dict[str, str]]

    @property
    def rank(self) -> tuple[bool, int, int, int]:
        """Return how well it fits: rows with a time, and many of them."""
        names = dict.fromkeys(name for row in self.rows[:50] for name in row)
        timed = any(is_time(name, [row.get(name, "") for row in self.rows[:50]]) for name in names)
        return timed and len(names) > 1, self.n, len(names), len(self.path)


def look(source: Source, head: bytes) -> Looked | None:
    """Return what is seen of a document or of lines of them, None where the text is no JSON."""
    if head.lstrip()[:1] not in {b"{", b"["}:
        return None
    lines = _lines(source)
    if len(lines) > 1:
        return _looked(source, lines, head, lines=True)
    document = _beginning(source)
    return None if document is None else _looked(source, [document], head, lines=False)


def _lines(source: Source) -> list[Any]:
    """Return the documents of the first lines; none where a line is no document of its own."""
    found: list[Any] = []
    with source.open() as raw:
        for line in islice(iter(lambda: raw.readline(_HEAD), b""), MOST_ROWS):
            try:
                document = json.loads(line.removeprefix(b"\xef\xbb\xbf"), parse_float=str) if line.strip() else None
            except (ValueError, RecursionError):
                return found if len(found) > 1 else []
            if isinstance(document, dict | list):
                found.append(document)
    return found


def _beginning(source: Source) -> Any:
    """Return the beginning of a document, as far as it was read."""
    builder = ObjectBuilder()
    with source.open() as raw:
        text = raw.read(_HEAD).removeprefix(b"\xef\xbb\xbf")
    try:
        for event, value in ijson.basic_parse(text):
            builder.event(event, value)
    except ijson.JSONError:
        pass
    return getattr(builder, "value", None)


def _looked(source: Source, documents: Sequence[Any], head: bytes, *, lines: bool) -> Looked:
    places = [place for place in _merged(documents, lines=lines) if place.n]
    if not places:
        what = "there is no array of records in it, and no object whose members are columns"
        raise Refused("mapping-records", what, todo="Write an importer for it: vambrace new-importer NAME")
    best = max(places, key=lambda place: place.rank)
    others = [place.path or "the outermost array" for place in places if place is not best and place.n > 1]
    key = "columns" if best.columns else "records"
    settings = [Entry(key, best.path, f"likely: {best.n:,} rows were seen there")] if best.path else []
    notes = [f"Rows may stand elsewhere too: {shown(others)}"] if others else []
    names = dict.fromkeys([*re.split(r"[.\[\]]+", best.path), *(name for row in best.rows[:3] for name in row)])
    text = head.decode("utf-8", "ignore")
    header = [name for name in names if name and re.search(rf'"{re.escape(name)}"\s*:', text)][:_MOST_NAMES]
    read = f"the first {min(_HEAD, source.size):,} of {source.size:,} bytes"
    rest = [] if best.columns else _elsewhere(source, best.rows, _FIRST if lines else _HEAD)
    if lines:
        read = f"the first {len(documents):,} lines"
    read += f", and pieces from {_PLACES} places behind" if rest else ""
    return Looked("jsonl" if lines else "json", [*best.rows, *thinned(rest)], settings, header, notes, read)


def _elsewhere(source: Source, rows: Sequence[dict[str, str]], begin: int) -> list[dict[str, str]]:
    """Return records from places in the rest of the document: objects that have the names of those before."""
    known = {name for row in rows[:50] for name in row if not name.startswith("../")}
    found: list[dict[str, str]] = []
    with source.open() as raw:
        if not raw.seekable() or source.size <= begin or not known:
            return []
        for n in range(_PLACES):
            raw.seek(begin + max(0, source.size - begin - _PIECE) * n // (_PLACES - 1))
            found += _objects(raw.read(_PIECE).decode("utf-8", "replace"), known)
    return found


def _objects(text: str, known: set[str]) -> Iterator[dict[str, str]]:
    decode = json.JSONDecoder(parse_float=str).raw_decode
    at = text.find("{")
    while at >= 0:
        try:
            record, end = decode(text, at)
        except (ValueError, RecursionError):
            record, end = None, at + 1
        row = _row(record, ()) if isinstance(record, dict) else {}
        if 2 * len(known & row.keys()) >= max(1, len(row)):
            yield row
            at = text.find("{", end)
        else:
            at = text.find("{", at + 1)


def _merged(documents: Sequence[Any], *, lines: bool) -> list[_Place]:
    """Return every place where rows may stand; that of several documents is one."""
    paths: dict[tuple[str, bool], None] = {}
    for document in documents[:50]:
        paths.update(dict.fromkeys(_places(document, "", 0)))
    found = []
    if lines and all(isinstance(document, dict) for document in documents):
        found.append(_Place("", False, len(documents), [_row(each, ()) for each in documents[:MOST_ROWS]]))
    for path, columns in paths:
        rows: list[dict[str, str]] = []
        n = 0
        for document in documents:
            every = _rows_of_columns(document, path) if columns else _rows_of_records(document, path)
            for row in every:
                n += 1
                if len(rows) < MOST_ROWS:
                    rows.append(row)
        found.append(_Place(path, columns, n, rows))
    return found


def _places(value: Any, path: str, depth: int) -> Iterator[tuple[str, bool]]:
    """Yield the paths of arrays that may hold records, and of objects that may hold columns (True)."""
    if depth > _MOST_DEPTH:
        return
    if isinstance(value, list):
        if any(isinstance(each, dict | list) for each in value[:50]):
            yield path, False
        for each in value[:50]:
            if isinstance(each, dict):
                yield from _places(each, f"{path}[]", depth + 1)
        return
    if not isinstance(value, dict):
        return
    lengths = [n for _, n in _arrays(value)]
    if len(lengths) > 1 and lengths[0] > 1 and len({*lengths}) == 1:
        yield path or ".", True
    for name, inner in value.items():
        if "." not in name and "[" not in name:
            yield from _places(inner, f"{path}.{name}".lstrip("."), depth + 1)


def _arrays(value: Any, path: str = "") -> Iterator[tuple[str, int]]:
    for name, inner in value.items() if isinstance(value, dict) else ():
        if isinstance(inner, dict):
            yield from _arrays(inner, f"{path}{name}.")
        elif isinstance(inner, list) and not any(isinstance(each, dict | list) for each in inner[:50]):
            yield f"{path}{name}", len(inner)


def _rows_of_records(document: Any, path: str) -> Iterator[dict[str, str]]:
    for record, around in expanded(document, steps_of(path), ()):
        yield _row(record, around)


def _row(record: Any, around: Sequence[Any]) -> dict[str, str]:
    row = dict(leaves(_without_records(record)))
    for up, outer in enumerate(around, 1):
        row.update((f"{'../' * up}{name}", text) for name, text in _scalars(outer))
    return row


def _without_records(record: Any) -> Any:
    """Return a record without the arrays of records inside it, which are rows of their own."""
    if isinstance(record, dict):
        return {name: _without_records(inner) for name, inner in record.items() if not _holds_records(inner)}
    return record


def _holds_records(value: Any) -> bool:
    return isinstance(value, list) and any(isinstance(each, dict | list) for each in value[:50])


def _scalars(value: Any, path: str = "") -> Iterator[tuple[str, str]]:
    for name, inner in value.items() if isinstance(value, dict) else ():
        if isinstance(inner, dict):
            yield from _scalars(inner, f"{path}{name}.")
        elif not isinstance(inner, list):
            yield f"{path}{name}", text_of(inner)


def _rows_of_columns(document: Any, path: str) -> Iterator[dict[str, str]]:
    *outer, last = steps_of(path)
    holders = [(document, ())] if not outer else list(expanded(document, outer, ()))
    for holder, _ in holders:
        value = holder
        for name in filter(None, last.split(".")):
            value = value.get(name) if isinstance(value, dict) else None
        columns = {name: _at(value, name) for name, _ in _arrays(value)}
        for cells in zip(*columns.values(), strict=False):
            yield dict(zip(columns, map(text_of, cells), strict=True))


def _at(value: Any, path: str) -> list[Any]:
    for name in path.split("."):
        value = value[name]
    return list(value)
