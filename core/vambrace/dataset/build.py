"""Builds the derived tables from the commit records: streamed, so that memory does not grow with their rows."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from pathlib import Path

import pyarrow as pa

from vambrace.dataset.files import FileOps, placing
from vambrace.dataset.index import Index
from vambrace.dataset.ledger import lines, place_order, same_path_findings
from vambrace.dataset.parquet import TableFile, read_batches, read_schema
from vambrace.dataset.records import Record
from vambrace.dataset.schemas import DERIVED, METADATA_KEY, TABLES
from vambrace.dataset.tables import (
    Row,
    channels_rows,
    events_rows,
    files_row,
    findings_rows,
    recordings_rows,
    table_of,
)
from vambrace.errors import VambraceError

BLOCK_ROWS = 20_000

ReadRecord = Callable[[str], Record]
AsidePaths = Callable[[str], tuple[Path, Path]]
"""Where the rows set aside of a key stand, and where they stand once they are superseded."""


class Builder:
    """Walks the records in the order of places, then in the order of recordings, and gives rows table by table."""

    def __init__(self, ops: FileOps, index: Index, read: ReadRecord, aside: AsidePaths) -> None:
        """Hold what is needed to read records and rows set aside by key."""
        self._ops, self._index, self._read, self._aside = ops, index, read, aside

    def tables(self, names: tuple[str, ...] = DERIVED) -> Iterator[tuple[str, pa.Table]]:
        """Yield blocks of the named tables; blocks of one table come in its order."""
        waiting: dict[str, list[Row]] = {name: [] for name in names}
        for name, rows in self._rows(names):
            if name not in waiting:
                continue
            waiting[name].extend(rows)
            if len(waiting[name]) >= BLOCK_ROWS:
                yield name, table_of(name, waiting[name])
                waiting[name] = []
        for name, rows in waiting.items():
            if rows:
                yield name, table_of(name, rows)
        if "set_aside" in names:
            yield from (("set_aside", table) for table in self._set_aside())

    def _rows(self, names: tuple[str, ...]) -> Iterator[tuple[str, list[Row]]]:
        if {"files", "findings"} & {*names}:
            yield from self._by_place()
        if {"recordings", "channels", "events"} & {*names}:
            yield from self._by_recording()

    def _by_place(self) -> Iterator[tuple[str, list[Row]]]:
        rows = lines(list(self._index.current.values()), list(self._index.superseded.values()))
        same_path = same_path_findings(rows)
        for at, line in enumerate(rows):
            record = self._read(line.key)
            yield "files", [files_row(line, record)]
            if at in same_path:
                yield "findings", findings_rows([same_path[at]], line.place)
            if line.place == line.first and not line.superseded:
                yield "findings", findings_rows(record.findings, line.place)

    def _by_recording(self) -> Iterator[tuple[str, list[Row]]]:
        for known in self._index.ordered():
            record = self._read(known.key)
            first = min(record.occurrences, key=place_order)
            yield "recordings", recordings_rows(record, first)
            yield "channels", channels_rows(record)
            yield "events", events_rows(record)

    def _set_aside(self) -> Iterator[pa.Table]:
        """Yield the rows set aside, whose files stand ready; small ones are joined."""
        held: list[pa.RecordBatch] = []
        for known in self._index.ordered():
            if known.aside is None:
                continue
            path, moved = self._aside(known.key)
            for batch in read_batches(self._ops, path, moved=moved, stamp=known.aside):
                held.append(batch)
                if sum(each.num_rows for each in held) >= BLOCK_ROWS:
                    yield pa.Table.from_batches(held).combine_chunks()
                    held = []
        if held:
            yield pa.Table.from_batches(held).combine_chunks()


def write_tables(ops: FileOps, folder: Path, builder: Builder, state: str) -> None:
    """Write all derived tables, each stamped with the state of the records that it was built from."""
    with contextlib.ExitStack() as stack:
        files = {}
        for name in DERIVED:
            stream = stack.enter_context(placing(ops, folder / f"{name}.parquet"))
            files[name] = stack.enter_context(TableFile(stream, stamped(name, state)))
        for name, table in builder.tables():
            files[name].write(table)
        for file in files.values():
            file.close()


def is_stamped(ops: FileOps, path: Path, state: str) -> bool:
    """Tell whether a derived table is there and was built from this state of the records."""
    try:
        metadata = read_schema(ops, path).metadata or {}
    except VambraceError:
        return False
    return bool(metadata.get(METADATA_KEY) == state.encode())


def stamped(name: str, state: str) -> pa.Schema:
    """Return the schema of a derived table with the state of the records in its metadata."""
    return TABLES[name].with_metadata({METADATA_KEY: state.encode()})
