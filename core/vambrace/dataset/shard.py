"""Writes the rows of one source: its shard of samples, and beside it the rows set aside."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import pyarrow as pa

from vambrace.batch import Batch
from vambrace.dataset.columns import (
    ROW_GROUP_ROWS,
    WAITING,
    WAITING_ASIDE,
    aside_rows,
    cut,
    samples_rows,
    suspects,
    waiting,
    waiting_aside,
)
from vambrace.dataset.files import FileOps, RealFiles, create_temporary, remove_quietly
from vambrace.dataset.layout import ASIDE, SAMPLES
from vambrace.dataset.parquet import TableFile
from vambrace.dataset.records import Stamp
from vambrace.dataset.schemas import TABLES, samples_schema
from vambrace.dataset.spill import BUDGET_ROWS, Group, Sorter
from vambrace.dataset.stats import ChannelStats, Tally
from vambrace.errors import Rejected
from vambrace.rules import InTimeOrder


@dataclass(frozen=True, slots=True)
class Finished:
    """Files that wait under temporary names for their commit, and what they hold; None where there is no row.

    `stats` has an entry for each recording and signal with rows.
    """

    samples: Path | None
    samples_stamp: Stamp | None
    aside: Path | None
    aside_stamp: Stamp | None
    stats: dict[Group, ChannelStats] = field(default_factory=dict)


class ShardWriter:
    """Takes the rows of one source in file order and writes them sorted by recording, signal, time and record.

    Memory stays flat. Use it in a `with` block: what was not finished when the block ends is discarded.
    """

    def __init__(self, dataset: Path, ops: FileOps | None = None, budget: int = BUDGET_ROWS) -> None:
        """Begin, without a file yet; `budget` is how many rows stay in memory before they wait in a file."""
        self._ops = ops or RealFiles()
        self._dataset = dataset
        for name in (SAMPLES, ASIDE):
            self._ops.make_folder(dataset / name)
        self._rows = Sorter(self._ops, dataset / SAMPLES, WAITING, budget)
        self._aside = Sorter(self._ops, dataset / ASIDE, WAITING_ASIDE, budget)
        self._written: list[Path] = []
        self._finished = False

    def __enter__(self) -> ShardWriter:
        return self

    def __exit__(self, kind: object, error: object, trace: object) -> None:
        if not self._finished:
            self.discard()

    def add(self, batch: Batch, recording_id: str) -> None:
        """Take rows of one channel."""
        if len(batch):
            self._rows.add((recording_id, batch.signal), waiting(batch))

    def set_aside(self, recording_id: str, rejected: Sequence[Rejected]) -> None:
        """Take rows that are set aside, of any signals."""
        by_signal: dict[str, list[Rejected]] = {}
        for row in rejected:
            by_signal.setdefault(row.signal, []).append(row)
        for signal, rows in by_signal.items():
            self._aside.add((recording_id, signal), waiting_aside(rows))

    def finish(self, tell: InTimeOrder | None = None) -> Finished:
        """Write what was taken under temporary names, bring it to the disk, and return what waits for its commit.

        `tell` is told the rows of each channel in the order in which they are written.
        """
        try:
            tallies = {group: Tally() for group in self._rows.groups()}
            schema = samples_schema(signal for _, signal in tallies)
            samples, samples_stamp = self._write(SAMPLES, schema, _counted(self._rows, tallies, tell))
            aside, aside_stamp = self._write(ASIDE, TABLES["set_aside"], _set_aside(self._aside))
        except BaseException:
            self.discard()
            raise
        self._rows.close()
        self._aside.close()
        self._finished = True
        stats = {group: tally.stats() for group, tally in tallies.items()}
        return Finished(samples, samples_stamp, aside, aside_stamp, stats)

    def discard(self) -> None:
        """Remove everything that was written and is not committed."""
        self._rows.close()
        self._aside.close()
        for path in self._written:
            remove_quietly(self._ops, path)
        self._written = []

    def _write(self, folder: str, schema: pa.Schema, tables: Iterator[pa.Table]) -> tuple[Path | None, Stamp | None]:
        """Write row groups into a temporary file; none where there is no row."""
        table = next(tables, None)
        if table is None:
            return None, None
        path, stream = create_temporary(self._ops, self._dataset / folder)
        self._written.append(path)
        with stream, TableFile(stream, schema) as file:
            while table is not None:
                file.write(table)
                # One row group at a time stays in memory.
                del table
                table = next(tables, None)
            stamp = file.close()
            self._ops.fsync_file(stream)
        return path, stamp


def _counted(rows: Sorter, tallies: dict[Group, Tally], tell: InTimeOrder | None) -> Iterator[pa.Table]:
    """Yield the row groups of `samples`, and count each channel on the way."""
    for blocks in cut(rows.blocks(), ROW_GROUP_ROWS):
        for group, block in blocks:
            time, time_end = block.column("major").to_numpy(), block.column("time_end").to_numpy()
            tallies[group].add(time, time_end, suspects(block))
            if tell is not None:
                tell(group, time, time_end, block.column("value").to_numpy(), block.column("minor").to_numpy())
        yield samples_rows(blocks)


def _set_aside(rows: Sorter) -> Iterator[pa.Table]:
    return (aside_rows(blocks) for blocks in cut(rows.blocks(), ROW_GROUP_ROWS))
