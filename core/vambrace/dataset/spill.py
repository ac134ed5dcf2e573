"""Rows brought into order with flat memory: sorted in memory, spilled as sorted runs, merged on the way out.

Rows belong to groups (recording and signal). They leave group by group, inside a group by `major`, then `minor`, then
the order of arrival. Every batch handed in has these two int64 columns, and no dictionary column.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, TypeAlias

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from vambrace.dataset.files import FileOps, create_temporary, remove_quietly

BUDGET_ROWS = 400_000
BUDGET_BYTES = 64 << 20
CHUNK_ROWS = 16_384
"""Rows that merging holds of each stretch of runs that follow one another in time: one for a file in order."""

MOST_STRETCHES = 32
"""Stretches that are merged at once; more are merged in several passes: a file with its newest row first has many."""

Group: TypeAlias = tuple[str, str]
"""Recording and signal."""


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a chunk of rows stands in the spill file."""

    offset: int
    size: int


_Chunk: TypeAlias = "pa.RecordBatch | _Place"
_Ends: TypeAlias = tuple[tuple[int, int], tuple[int, int]]
"""Major and minor of the first and the last row."""
_Run: TypeAlias = dict[Group, tuple[list[_Chunk], _Ends]]


class Sorter:
    """Takes rows in any order and gives them back in order; what exceeds `budget` rows waits in a file."""

    def __init__(self, ops: FileOps, folder: Path, schema: pa.Schema, budget: int = BUDGET_ROWS) -> None:
        """Begin without a file; one is created in the folder when the budget is first exceeded."""
        self._ops, self._folder, self._schema, self._budget = ops, folder, schema, budget
        self._pending: dict[Group, list[pa.RecordBatch]] = {}
        self._rows = self._bytes = 0
        self._runs: list[_Run] = []
        self._path: Path | None = None
        self._stream: BinaryIO | None = None
        self._end = 0

    def add(self, group: Group, rows: pa.RecordBatch) -> None:
        """Take rows of one group."""
        self._pending.setdefault(group, []).append(rows)
        self._rows += rows.num_rows
        self._bytes += rows.nbytes
        if self._rows > self._budget or self._bytes > BUDGET_BYTES:
            self._spill()

    def groups(self) -> list[Group]:
        """Return the groups of all rows taken, sorted."""
        return sorted({*self._pending, *(group for run in self._runs for group in run)})

    def blocks(self) -> Iterator[tuple[Group, pa.RecordBatch]]:
        """Yield all rows in order, in blocks of one group each; to be called once."""
        groups = self.groups()
        memory: _Run = {group: (list(_chunks(rows)), _ends(rows)) for group, rows in self._sorted_groups()}
        runs = [*self._runs, memory]
        for group in groups:
            stretches = self._fewer(_stretches([run[group] for run in runs if group in run]))
            for block in _merged([self._load(chunks) for chunks in stretches]):
                yield group, block

    def _fewer(self, stretches: list[list[_Chunk]]) -> list[list[_Chunk]]:
        """Merge stretches with their neighbours into longer ones in the file, until all that are left can be held."""
        while len(stretches) > MOST_STRETCHES:
            parts = [stretches[at : at + MOST_STRETCHES] for at in range(0, len(stretches), MOST_STRETCHES)]
            stretches = [self._as_one(part) for part in parts]
        return stretches

    def _as_one(self, stretches: list[list[_Chunk]]) -> list[_Chunk]:
        if len(stretches) == 1:
            return stretches[0]
        stream, blocks = self._file(), _merged([self._load(chunks) for chunks in stretches])
        return [self._write(stream, chunk) for block in _filled(blocks) for chunk in _chunks(block)]

    def close(self) -> None:
        """Forget all rows and remove the spill file."""
        self._pending, self._runs = {}, []
        if self._stream is not None and self._path is not None:
            self._stream.close()
            remove_quietly(self._ops, self._path)
            self._stream = None

    def _sorted_groups(self) -> Iterator[tuple[Group, pa.RecordBatch]]:
        """Yield what is in memory, a group at a time and each in order, and forget it."""
        for group in sorted(self._pending):
            yield group, _in_order(pa.concat_batches(self._pending.pop(group)))
        self._rows = self._bytes = 0

    def _spill(self) -> None:
        stream = self._file()
        run: _Run = {}
        for group, rows in self._sorted_groups():
            run[group] = [self._write(stream, chunk) for chunk in _chunks(rows)], _ends(rows)
        self._runs.append(run)

    def _file(self) -> BinaryIO:
        if self._stream is None:
            self._path, self._stream = create_temporary(self._ops, self._folder)
        return self._stream

    def _write(self, stream: BinaryIO, rows: pa.RecordBatch) -> _Place:
        data = rows.serialize()
        stream.seek(self._end)
        stream.write(data)
        place = _Place(self._end, data.size)
        self._end += data.size
        return place

    def _load(self, chunks: Sequence[_Chunk]) -> Iterator[pa.RecordBatch]:
        """Yield the rows of a run's chunks, from memory or from the spill file."""
        for chunk in chunks:
            if isinstance(chunk, _Place) and self._stream is not None:
                self._stream.seek(chunk.offset)
                yield pa.ipc.read_record_batch(pa.py_buffer(self._stream.read(chunk.size)), self._schema)
            else:
                yield chunk


def _filled(blocks: Iterator[pa.RecordBatch]) -> Iterator[pa.RecordBatch]:
    """Join blocks to such as are worth a chunk."""
    held: list[pa.RecordBatch] = []
    rows = 0
    for block in blocks:
        held.append(block)
        rows += block.num_rows
        if rows >= CHUNK_ROWS:
            yield pa.concat_batches(held)
            held, rows = [], 0
    if held:
        yield pa.concat_batches(held)


def _chunks(rows: pa.RecordBatch) -> Iterator[pa.RecordBatch]:
    return (rows.slice(start, CHUNK_ROWS) for start in range(0, rows.num_rows, CHUNK_ROWS))


def _ends(rows: pa.RecordBatch) -> _Ends:
    major, minor = _keys(rows)
    return (int(major[0]), int(minor[0])), (int(major[-1]), int(minor[-1]))


def _stretches(runs: Sequence[tuple[list[_Chunk], _Ends]]) -> list[list[_Chunk]]:
    """Join runs to the one right before them where none of their rows precedes its last; ties keep their order."""
    joined: list[list[_Chunk]] = []
    last: tuple[int, int] | None = None
    for chunks, (begin, end) in runs:
        if last is not None and begin >= last:
            joined[-1].extend(chunks)
        else:
            joined.append(list(chunks))
        last = end
    return joined


def _keys(rows: pa.RecordBatch) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    return rows.column("major").to_numpy(), rows.column("minor").to_numpy()


def _in_order(rows: pa.RecordBatch) -> pa.RecordBatch:
    """Return rows sorted by major and minor; equal ones keep their order."""
    major, minor = _keys(rows)
    rising = major[1:] > major[:-1]
    if bool(np.all(rising | ((major[1:] == major[:-1]) & (minor[1:] >= minor[:-1])))):
        return rows
    return rows.take(pa.array(np.lexsort((minor, major))))


def _merged(runs: Sequence[Iterator[pa.RecordBatch]]) -> Iterator[pa.RecordBatch]:
    """Yield the rows of sorted runs in one order; equal ones in the order of the runs.

    One chunk of each run is held. What may leave is what no later chunk can precede: all up to the smallest last
    row held, where of equal rows the earlier run's counts as smaller.
    """
    held = {number: rows for number, run in enumerate(runs) if (rows := next(run, None)) is not None}
    while len(held) > 1:
        bound = min((*_last(rows), number) for number, rows in held.items())
        parts = []
        for number in sorted(held):
            count = _count_upto(held[number], bound, number)
            parts.append(held[number].slice(0, count))
            rest = held[number].slice(count) if count < held[number].num_rows else next(runs[number], None)
            if rest is None:
                del held[number]
            else:
                held[number] = rest
        yield _in_order(pa.concat_batches(parts))
    for number, rows in held.items():
        yield rows
        yield from runs[number]


def _last(rows: pa.RecordBatch) -> tuple[int, int]:
    major, minor = _keys(rows)
    return int(major[-1]), int(minor[-1])


def _count_upto(rows: pa.RecordBatch, bound: tuple[int, int, int], run: int) -> int:
    """Return how many of the sorted rows of a run are not after the bound."""
    major, minor = _keys(rows)
    low = int(np.searchsorted(major, bound[0], side="left"))
    high = int(np.searchsorted(major, bound[0], side="right"))
    side = "right" if run <= bound[2] else "left"
    return low + int(np.searchsorted(minor[low:high], bound[1], side=side))  # type: ignore[call-overload]
