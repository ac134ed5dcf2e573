"""Reads a table through the CSV importer alone, from memory and in pieces of any size."""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from itertools import cycle
from typing import Any

import numpy as np

from vambrace.errors import SourceError
from vambrace.plugin import Recording, Rejected, Source, SourceBatch, Times
from vambrace_plugins.importers.csv import CsvImporter, Options


@dataclass
class ReadTable:
    """What the importer handed over, and what it raised."""

    batches: list[SourceBatch] = field(default_factory=list)
    rejected: list[Rejected] = field(default_factory=list)
    recordings: dict[int, Recording] = field(default_factory=dict)
    notes: dict[tuple[str, str, str], int] = field(default_factory=dict)
    error: SourceError | None = None

    def of(self, recording: int = 1) -> list[SourceBatch]:
        return [batch for batch in self.batches if batch.recording == recording]

    def record(self, recording: int = 1) -> list[int]:
        return [int(number) for batch in self.of(recording) for number in batch.record]

    def times(self, recording: int = 1) -> list[str]:
        return [text for batch in self.of(recording) for text in texts(batch.time.values)]

    def ends(self, recording: int = 1) -> list[str]:
        return [text for batch in self.of(recording) if batch.time_end for text in texts(batch.time_end.values)]

    def values(self, signal: str, recording: int = 1) -> list[str]:
        return [text for batch in self.of(recording) for text in texts(cells_of(column_of(batch, signal)))]

    def conversions(self, recording: int = 1) -> tuple[str, ...]:
        return self.recordings[recording].conversions

    def rules(self) -> list[tuple[str, str]]:
        return [(rule, severity) for rule, severity, _ in self.notes]

    def seen(self) -> dict[int, Any]:
        """All rows of each recording, whatever batches they came in."""
        return {
            number: (
                self.record(number),
                self.times(number),
                self.ends(number),
                {
                    each.signal: (each.unit, each.field, each.counting, self.values(each.signal, number))
                    for each in held
                },
            )
            for number in sorted({batch.recording for batch in self.batches})
            for held in [self.of(number)[0].columns]
        }


def texts(values: Any) -> list[str]:
    return [str(value) for value in (values.to_pylist() if hasattr(values, "to_pylist") else values)]


def cells_of(column: Any) -> Any:
    """Return the cells of a column as the core reads them, as texts: plain numbers are handed over as numbers."""
    return column.written if isinstance(column.values, np.ndarray) else column.values


def column_of(batch: SourceBatch, signal: str) -> Any:
    (column,) = [column for column in batch.columns if column.signal == signal]
    return column


class Slow(io.RawIOBase):
    """A stream that gives as many bytes at a time as the sizes say."""

    def __init__(self, data: bytes, sizes: Iterable[int]) -> None:
        super().__init__()
        self._inner, self._sizes = io.BytesIO(data), cycle(sizes)

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        piece = self._inner.read(min(len(buffer), next(self._sizes)))
        buffer[: len(piece)] = piece
        return len(piece)


def read(data: bytes | str, pieces: Iterable[int] = (), **options: Any) -> ReadTable:
    """Read all of a table; the stream must be closed afterwards, whatever happened."""
    content = data.encode() if isinstance(data, str) else data
    opened: list[Any] = []

    def opener() -> Any:
        opened.append(Slow(content, pieces) if pieces else io.BytesIO(content))
        return opened[-1]

    source = Source("table.csv", len(content), opener, Options(**options))
    result = ReadTable(notes=source.notes)
    try:
        for item in CsvImporter().read(source):
            _take(result, item)
    except SourceError as error:
        result.error = error
    assert [stream.closed for stream in opened] == [True] * len(opened)
    return result


def _take(result: ReadTable, item: SourceBatch | Rejected | Recording) -> None:
    if isinstance(item, SourceBatch):
        _check(item, result.batches)
        result.batches.append(item)
    elif isinstance(item, Rejected):
        result.rejected.append(item)
    else:
        result.recordings[item.recording] = item


def _check(batch: SourceBatch, before: list[SourceBatch]) -> None:
    """What the core asks of every batch."""
    n = len(batch.record)
    lengths = {len(batch.time), *(len(column.values) for column in batch.columns)}
    assert lengths | ({len(batch.time_end)} if isinstance(batch.time_end, Times) else set()) == {n}
    signals = [column.signal for column in batch.columns]
    assert len(set(signals)) == len(signals)
    # Record numbers rise in each channel; rows that name their signal come signal by signal.
    own = [
        one for one in before if one.recording == batch.recording and {each.signal for each in one.columns} & {*signals}
    ]
    last = max((int(one.record[-1]) for one in own), default=-1)
    assert batch.record.dtype == np.int64
    assert (np.diff(np.concatenate(([last], batch.record))) > 0).all()


def ok(data: bytes | str, **options: Any) -> ReadTable:
    """Read a table that must not be refused."""
    result = read(data, **options)
    assert result.error is None, str(result.error)
    return result


def cells(data: str, delimiter: str = ",") -> Iterator[list[str]]:
    """The rows as Python's csv module reads them."""
    import csv

    yield from csv.reader(io.StringIO(data, newline=""), delimiter=delimiter)
