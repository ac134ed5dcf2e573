"""Rows of JSON and JSON Lines: records at a path, or columns that are arrays; read as streams."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from itertools import islice
from typing import Any, BinaryIO

import ijson
import numpy as np
import pyarrow as pa

from vambrace.plugin import DamagedFile, Refused, Source
from vambrace_plugins.importers.csv.blocks import Block
from vambrace_plugins.mapping.jsonoutline import Outline, outline_of
from vambrace_plugins.mapping.jsonpaths import (
    around_fields,
    count_others,
    expanded,
    from_around,
    inside,
    row_of,
    steps_of,
)
from vambrace_plugins.mapping.model import Mapping as MappingFile
from vambrace_plugins.mapping.records import ROWS, blocks_of, text_of

MOST_RECORD_BYTES = 64 << 20
_AGAIN = "Export it again; --salvage keeps what stands before the damage"


class JsonRecords:
    """The records of a JSON document, or the rows of its columns."""

    delimiter = ","

    def __init__(self, source: Source, mapping: MappingFile) -> None:
        self._source, self._mapping = source, mapping
        self.names: Sequence[str] = mapping.fields
        self.left: dict[str, int] = {}
        self.sentences: list[str] = []
        self.complete: bool | None = True
        layout = mapping.layout
        self._by_columns = bool(layout.columns)
        self._steps = steps_of(layout.columns or layout.records)
        self._around, self._known = around_fields(mapping.fields), frozenset(mapping.fields)

    def blocks(self) -> Iterator[Block]:
        """Yield the rows; raise DamagedFile behind the last one before a damage."""
        if self._by_columns and "[]" not in self._mapping.layout.columns:
            yield from self._columns()
            return
        yield from blocks_of(self._rows(), self.names, self.left)

    def _rows(self) -> Iterator[dict[str, str]]:
        prefix = ".".join(filter(None, (self._steps[0], "item")))
        outer = {path for up, path in self._around.values() if up == len(self._steps) - self._by_columns}
        outline = outline_of(self._source, prefix, outer)
        self._count(outline)
        root = _nested(outline.texts)
        found = 0
        for item in _items(self._source, prefix):
            for row in self._of_item(item, root):
                found += 1
                yield row
        if not found:
            path = self._mapping.layout.records or self._mapping.layout.columns or "[]"
            key = "columns" if self._by_columns else "records"
            what = f'there is no record at "{path}"; the document has {outline.shown()}'
            raise self._mapping.refusal("mapping-records", ("source", key), what, "Say where its records stand")

    def _of_item(self, item: Any, root: dict[str, Any]) -> Iterator[dict[str, str]]:
        if self._by_columns:
            yield from _rows_of_arrays(item, self._steps[1:], (root,), self._mapping, self.left)
            return
        for record, around in expanded(item, self._steps[1:], (root,)):
            yield row_of(record, self._known, self.left) | from_around(self._around, around)

    def _count(self, outline: Outline) -> None:
        """Count what stands around the records, by the names that fields around them have."""
        for path, n in outline.counts.items():
            name = "../" * (len(self._steps) - self._by_columns) + path
            if name not in self.names:
                self.left[name] = self.left.get(name, 0) + n

    def _columns(self) -> Iterator[Block]:
        """Yield the rows of arrays that stand beside each other, each read by a stream of its own."""
        base = self._mapping.layout.columns.strip(".")
        paths = {name: ".".join(filter(None, (base, name, "item"))) for name in self.names if name not in self._around}
        outer = {path for _, path in self._around.values()}
        outline = outline_of(self._source, "\0", outer)
        lengths = {name: outline.lengths.get(path.removesuffix(".item") + "[]", 0) for name, path in paths.items()}
        if len({*lengths.values()}) > 1 or not any(lengths.values()):
            said = ", ".join(f'"{name}" has {n:,}' for name, n in lengths.items())
            what = f"the arrays of its columns are not of one length ({said} values)"
            todo = "Say which fields are columns, or export it again"
            raise self._mapping.refusal("mapping-records", ("source", "columns"), what, todo)
        used = {path.removesuffix(".item") + "[]" for path in paths.values()} | outer
        for path, n in outline.counts.items():
            if path not in used:
                self.left[path] = n
        around = from_around(self._around, (_nested(outline.texts),))
        with ExitStack() as open_:
            streams = [_scalars(self._source, path, open_) for path in paths.values()]
            record = 1
            while any(cells := [[text_of(each) for each in islice(stream, ROWS)] for stream in streams]):
                n = len(cells[0])
                held = dict(zip(paths, cells, strict=True))
                columns = [pa.array(held.get(name, [around.get(name, "")] * n), pa.string()) for name in self.names]
                yield Block(np.arange(record, record + n), columns)
                record += n


def _nested(texts: Mapping[str, str]) -> dict[str, Any]:
    """Return values by path as the tables that they stand in."""
    root: dict[str, Any] = {}
    for path, text in texts.items():
        at = root
        *tables, name = path.split(".")
        for table in tables:
            at = at.setdefault(table, {})
        at[name] = text
    return root


def _rows_of_arrays(
    item: Any, steps: list[str], around: tuple[Any, ...], mapping: MappingFile, left: dict[str, int]
) -> Iterator[dict[str, str]]:
    """Yield the rows of the arrays that stand in a member of an array; its single values are those around them."""
    if steps and steps != [""]:
        item = inside(item, steps[0])
    wanted = around_fields(mapping.fields)
    own = from_around(wanted, (item, *around))
    columns = {path: [text_of(each) for each in value] for path, value in _arrays(item)}
    held = [columns[name] for name in mapping.fields if name in columns]
    if len({len(each) for each in held}) > 1:
        said = ", ".join(f'"{name}" has {len(columns[name]):,}' for name in mapping.fields if name in columns)
        what = f"the arrays of one record are not of one length ({said} values)"
        raise mapping.refusal("mapping-records", ("source", "columns"), what, "Export it again")
    count_others(item, {*columns, *(path for up, path in wanted.values() if up == 1)}, left)
    for name, cells in columns.items():
        if name not in mapping.fields:
            left[f"{name}[]"] = left.get(f"{name}[]", 0) + sum(cell != "" for cell in cells)
    names = [name for name in mapping.fields if name in columns]
    for at in range(max(map(len, held), default=0)):
        yield {**own, **{name: columns[name][at] for name in names}}


def _arrays(value: Any, path: str = "") -> Iterator[tuple[str, list[Any]]]:
    for name, inner in value.items() if isinstance(value, dict) else ():
        if isinstance(inner, dict):
            yield from _arrays(inner, f"{path}{name}.")
        elif isinstance(inner, list) and not any(isinstance(each, dict | list) for each in inner):
            yield f"{path}{name}", inner


def _items(source: Source, prefix: str) -> Iterator[Any]:
    """Yield the members of an array; raise DamagedFile where the document breaks off."""
    with source.open() as raw:
        counted = _Counted(_without_mark(raw))
        try:
            for item in ijson.items(counted, prefix):
                yield item
                counted.since = 0
        except ijson.JSONError as error:
            raise damage_of(error) from None


def _scalars(source: Source, prefix: str, open_: ExitStack) -> Iterator[Any]:
    raw = open_.enter_context(source.open())
    try:
        yield from ijson.items(_Counted(_without_mark(raw), limited=False), prefix)
    except ijson.JSONError as error:
        raise damage_of(error) from None


def damage_of(error: Exception) -> DamagedFile:
    """Return our own error for a document that is no JSON from some place on."""
    words = " ".join(str(error).split("\n", maxsplit=1)[0].split())[:200]
    if "NaN" in str(error) or "Infinity" in str(error):
        words += " (NaN and Infinity are no JSON)"
    return DamagedFile(f"it is no JSON from some place on: {words}", todo=_AGAIN)


class _Counted:
    """Counts the bytes that were read since the last record, and refuses a record without end."""

    def __init__(self, raw: Any, *, limited: bool = True) -> None:
        self._raw, self._limited, self.since = raw, limited, 0

    def read(self, size: int = -1) -> bytes:
        """Return the next bytes."""
        data: bytes = self._raw.read(size)
        self.since += len(data)
        if self._limited and self.since > MOST_RECORD_BYTES:
            what = f"one record is longer than {MOST_RECORD_BYTES:,} bytes"
            raise Refused("too-large", what, todo="Say a path to records that lie deeper, or split the file")
        return data


def _without_mark(raw: BinaryIO) -> Any:
    """Return a stream behind the byte order mark of UTF-8, where there is one."""
    first = raw.read(3)
    return _Joined(b"" if first == b"\xef\xbb\xbf" else first, raw)


class _Joined:
    """Bytes that were read ahead, and the stream behind them."""

    def __init__(self, first: bytes, raw: BinaryIO) -> None:
        self._first, self._raw = first, raw

    def read(self, size: int = -1) -> bytes:
        """Return the next bytes."""
        if self._first and size:
            data, self._first = self._first, b""
            return data
        return self._raw.read(size)


class JsonLines:
    """The records of JSON Lines: each line a document of its own."""

    delimiter = ","

    def __init__(self, raw: BinaryIO, mapping: MappingFile) -> None:
        self._raw, self._mapping = raw, mapping
        self.names: Sequence[str] = mapping.fields
        self.left: dict[str, int] = {}
        self.sentences: list[str] = []
        self.complete: bool | None = None
        layout = mapping.layout
        self._steps = steps_of(layout.records) if layout.records else []
        self._around, self._known = around_fields(mapping.fields), frozenset(mapping.fields)

    def blocks(self) -> Iterator[Block]:
        """Yield the rows; raise DamagedFile behind the last one before a damage."""
        yield from blocks_of(self._rows(), self.names, self.left)

    def _rows(self) -> Iterator[dict[str, str]]:
        for document in _documents(self._raw):
            if self._mapping.layout.columns:
                steps = steps_of(self._mapping.layout.columns)
                yield from _rows_of_arrays(document, steps, (), self._mapping, self.left)
                continue
            for record, around in expanded(document, self._steps, ()):
                yield row_of(record, self._known, self.left) | from_around(self._around, around)


def _documents(raw: BinaryIO) -> Iterator[Any]:
    lines: Iterable[bytes] = iter(lambda: raw.readline(MOST_RECORD_BYTES + 1), b"")
    for number, line in enumerate(lines, 1):
        if len(line) > MOST_RECORD_BYTES:
            what = f"the line is longer than {MOST_RECORD_BYTES:,} bytes"
            raise Refused("too-large", what, where=f"line {number:,}", todo="Split the file")
        text = line.removeprefix(b"\xef\xbb\xbf") if number == 1 else line
        if not text.strip():
            continue
        try:
            # Numbers stay as they are written.
            yield json.loads(text, parse_float=str, parse_int=str)
        except (ValueError, RecursionError) as error:
            what = f"it is no JSON: {' '.join(str(error).split())[:200]}"
            raise DamagedFile(what, where=f"line {number:,}", todo=_AGAIN) from None
