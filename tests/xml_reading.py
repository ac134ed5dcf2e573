"""What an XML importer hands over for a document, flattened so that tests can compare it."""

from __future__ import annotations

import io
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from vambrace.plugin import Column, Event, Importer, Recording, Source, SourceBatch


@dataclass
class Read:
    """One reading: rows by record number, each a recording, a time text and texts by signal; and all that was said."""

    rows: dict[int, tuple[int, str | None, dict[str, str | None]]] = field(default_factory=dict)
    columns: dict[str, list[Column]] = field(default_factory=dict)
    batches: list[SourceBatch] = field(default_factory=list)
    events: list[tuple[int, str, str | None, str]] = field(default_factory=list)
    about: dict[int, Recording] = field(default_factory=dict)
    notes: dict[tuple[str, str, str], int] = field(default_factory=dict)
    error: Exception | None = None

    def values(self, signal: str) -> list[str | None]:
        """Return the texts of a signal, row by row, of the rows that have a column for it."""
        return [values[signal] for _, _, values in self.rows.values() if signal in values]

    @property
    def times(self) -> list[str | None]:
        """Return the time texts, row by row."""
        return [time for _, time, _ in self.rows.values()]

    @property
    def comparable(self) -> tuple[Any, ...]:
        """Return all that must not depend on how the document was cut into pieces."""
        described = {
            signal: {(each.unit, each.field, each.counting, each.counts, each.sensor) for each in columns}
            for signal, columns in self.columns.items()
        }
        flags = [
            (signal, list(each.flags)) if each.flags and any(each.flags) else ()
            for signal, columns in self.columns.items()
            for each in columns
        ]
        flat = [flag for entry in flags if entry for flag in entry[1] if flag]
        error = None if self.error is None else (type(self.error), str(self.error))
        return self.rows, described, flat, self.events, self.about, self.notes, error


def source_of(importer: Importer, data: bytes, name: str = "walk.xml", piece: int = 0) -> Source:
    """Return a source of the bytes; with `piece`, its stream gives at most so many bytes at a time."""
    return Source(name, len(data), lambda: Pieces(data, piece) if piece else io.BytesIO(data), importer.Options())


class Pieces(io.BytesIO):
    """A stream that gives little at a time."""

    def __init__(self, data: bytes, piece: int) -> None:
        super().__init__(data)
        self.piece = piece

    def read(self, size: int | None = -1, /) -> bytes:
        return super().read(self.piece)


def read(importer: Importer, data: bytes | str, piece: int = 0) -> Read:
    """Read a document to its end or its error; other errors than the project's own are raised."""
    from vambrace.errors import SourceError

    data = data.encode() if isinstance(data, str) else data
    source = source_of(importer, data, piece=piece)
    result = Read(notes=source.notes)
    try:
        for item in importer.read(source):
            _take(result, item)
    except SourceError as error:
        result.error = error
    return result


def _take(result: Read, item: Any) -> None:
    if isinstance(item, SourceBatch):
        result.batches.append(item)
        for row in _rows(item):
            assert row[0] not in result.rows, "a record number came twice"
            result.rows[row[0]] = row[1:]
        for column in item.columns:
            result.columns.setdefault(column.signal, []).append(column)
    elif isinstance(item, Event):
        for time, text in zip(item.time.values, item.texts, strict=True):
            result.events.append((item.recording, item.kind, time, text))
    else:
        assert isinstance(item, Recording)
        before = result.about.get(item.recording, Recording(item.recording))
        result.about[item.recording] = Recording(
            item.recording,
            item.manufacturer or before.manufacturer,
            item.product or before.product,
            item.serial or before.serial,
            item.firmware or before.firmware,
            before.complete if item.complete is None else item.complete,
            {**before.not_carried, **item.not_carried},
            tuple(dict.fromkeys((*before.conversions, *item.conversions))),
        )


def _rows(batch: SourceBatch) -> Iterator[tuple[int, int, str | None, dict[str, str | None]]]:
    n = len(batch.record)
    assert len(batch.time) == n
    assert all(len(column.values) == n for column in batch.columns)
    names = [column.signal for column in batch.columns]
    assert len(set(names)) == len(names), "two columns of one batch hold the same signal"
    assert (batch.record[1:] > batch.record[:-1]).all()
    for at, record in enumerate(batch.record.tolist()):
        values = {column.signal: column.values[at] for column in batch.columns}
        yield record, batch.recording, batch.time.values[at], values
