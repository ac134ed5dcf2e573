"""Holds the rows whose labels a file gives late: which sensor, which sport."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np

from vambrace.plugin import SourceBatch
from vambrace_plugins.importers.fit.book import Book, Ints, Mask
from vambrace_plugins.importers.fit.decode import Block
from vambrace_plugins.importers.fit.profile import CYCLING, RUNNING, SESSION, SPORT, WALKING_SPORT
from vambrace_plugins.importers.fit.scalar import present_or

MOST_ROWS = 1_000_000
"""More rows than this (eleven days at one a second) are handed over with what is known by then."""

_ONE_FOOT = "cadence: strides, one foot counted, because the file's sport is running or walking"
_UNKNOWN = "cadence: as written; the file's sport does not say whether strides, steps or revolutions are counted"


@dataclass(slots=True)
class Sports:
    """The sports of a chained file: as a sport message announces them, and as a session sums them up."""

    announced: list[tuple[int, int]] = field(default_factory=list)
    sessions: list[tuple[int, int, int]] = field(default_factory=list)

    def take(self, block: Block) -> None:
        """Take sport and session messages."""
        if block.message == SPORT:
            sports = present_or(block, 0, 0)
            self.announced += zip(block.record.tolist(), sports.tolist(), strict=True)
        elif block.message == SESSION:
            sports, starts = present_or(block, 5, 0), present_or(block, 2, -1)
            self.sessions += zip(starts.tolist(), block.time.tolist(), sports.tolist(), strict=True)

    def of(self, record: Ints, time: Ints) -> Ints:
        """Return the sport of each row: of the session that spans its time, else the last announced, else the only."""
        alone = {sport for *_, sport in self.sessions} or {sport for _, sport in self.announced}
        sport = np.full(len(record), alone.pop() if len(alone) == 1 else 0, np.int64)
        for first, announced in self.announced:
            sport[record > first] = announced
        for start, end, summed in self.sessions:
            if start >= 0 and end >= start:
                sport[(time >= start) & (time <= end)] = summed
        return sport


@dataclass(slots=True)
class Late:
    """Batches that wait for their labels; `sensor` is added to heart rate and beats, the sport to cadence."""

    book: Book
    sports: Sports = field(default_factory=Sports)
    waiting: list[tuple[SourceBatch, Ints]] = field(default_factory=list)
    rows: int = 0

    def add(self, batch: SourceBatch, seconds: Ints) -> None:
        """Keep a batch of one column, with its times in seconds of the FIT epoch."""
        self.waiting.append((batch, seconds))
        self.rows += len(batch)

    def overflow(self, sensor: str) -> Iterator[SourceBatch]:
        """Yield what waits if it is too much to keep."""
        if self.rows > MOST_ROWS:
            yield from self.release(sensor)

    def release(self, sensor: str) -> Iterator[SourceBatch]:
        """Yield what waits, with the labels known by now."""
        waiting, self.waiting, self.rows = self.waiting, [], 0
        for batch, seconds in waiting:
            (column,) = batch.columns
            if column.signal == "cadence":
                yield from self._by_sport(batch, seconds)
            else:
                yield replace(batch, columns=(replace(column, sensor=sensor),))

    def _by_sport(self, batch: SourceBatch, seconds: Ints) -> Iterator[SourceBatch]:
        sport = self.sports.of(batch.record, seconds)
        on_foot: Mask = np.isin(sport, (RUNNING, WALKING_SPORT))
        kind = np.where(on_foot, 1, np.where(sport == CYCLING, 2, 0))
        edges = [0, *(np.flatnonzero(np.diff(kind)) + 1).tolist(), len(kind)]
        for first, last in pairwise(edges):
            unit, counts, sentence = (
                ("/min", "unknown", _UNKNOWN),
                ("{strides}/min", "steps", _ONE_FOOT),
                ("/min", "revolutions", ""),
            )[int(kind[first])]
            if sentence:
                self.book.convert(batch.recording, sentence)
            part = cut(batch, slice(first, last))
            yield replace(part, columns=(replace(part.columns[0], unit=unit, counts=counts),))


def cut(batch: SourceBatch, rows: slice) -> SourceBatch:
    """Return some rows of a batch of number columns."""
    columns = tuple(
        replace(
            column,
            values=column.values[rows],
            present=None if column.present is None else column.present[rows],
        )
        for column in batch.columns
    )
    present = None if batch.time.present is None else batch.time.present[rows]
    time = replace(batch.time, values=batch.time.values[rows], present=present)
    return replace(batch, record=batch.record[rows], time=time, columns=columns)
