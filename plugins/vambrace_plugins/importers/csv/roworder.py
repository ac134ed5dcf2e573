"""The hour that a clock shows twice at the end of summer time, told apart by the order of the rows."""

from __future__ import annotations

import contextlib
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from vambrace.plugin import Recording, Rejected, Source, SourceBatch, Times

Key = tuple[int, tuple[str, ...], bool]
_SECOND = 1_000_000
_SHOWN = 3


@dataclass(slots=True)
class Stretch:
    """Rows in a row whose clock times come twice: their record numbers, times and falls, and what stands around.

    `low` and `high` bound the instants of the first pass, `shift_us` is by how much the clock is set back.
    """

    first: int
    last: int
    n: int
    low: int
    high: int
    latest: int
    shift_us: int
    before: int | None
    after: int | None = None
    fall_us: int = 0
    falls: list[int] = field(default_factory=list)

    @property
    def doubt(self) -> str:
        """Return why the order of the rows tells nothing, "" where it tells both passes apart."""
        if not self.falls:
            return "the clock does not fall back between them, so that they may be in either pass"
        if len(self.falls) > 1 or self.high - self.low >= self.shift_us:
            return "the clock falls back more than once"
        if 2 * self.fall_us <= self.shift_us:
            return "the clock falls back by so little that they may be out of order"
        early = self.before is not None and self.before > self.low
        if early or (self.after is not None and self.after < self.latest + self.shift_us):
            return "the rows around them are not in the order of time"
        return ""


@dataclass(slots=True)
class RowOrder:
    """What the order of the rows says of repeated hours, found in a pass of its own before the rows are read.

    Each recording and signal has its own order; the ends of intervals have theirs.
    """

    source: Source
    stretches: dict[Key, list[Stretch]] = field(default_factory=dict)
    last: dict[Key, int] = field(default_factory=dict)
    open: dict[Key, bool] = field(default_factory=dict)

    def survey(self, batch: SourceBatch) -> None:
        """Look at the times of a batch."""
        for times, key in _each(batch):
            first, second = self.source.in_both_passes(times)
            known = np.flatnonzero((first.fault == 0) & (second.fault == 0))
            if len(known):
                self._look(key, batch.record[known], first.us[known], second.us[known])

    def _look(self, key: Key, record: NDArray[np.int64], first: NDArray[np.int64], second: NDArray[np.int64]) -> None:
        twice = first != second
        edges = [0, *(np.flatnonzero(np.diff(twice)) + 1).tolist(), len(twice)]
        for begin, end in pairwise(edges):
            piece = slice(begin, end)
            if twice[begin]:
                self._extend(key, record[piece], first[piece], int(second[begin] - first[begin]))
                continue
            if self.open.get(key):
                self.stretches[key][-1].after = int(first[begin])
            self.open[key], self.last[key] = False, int(first[end - 1])

    def _extend(self, key: Key, record: NDArray[np.int64], us: NDArray[np.int64], shift_us: int) -> None:
        found = self.stretches.setdefault(key, [])
        if not self.open.get(key):
            start = int(us[0])
            found.append(Stretch(int(record[0]), 0, 0, start, start, start, shift_us, self.last.get(key)))
            self.open[key] = True
        held = found[-1]
        steps = np.diff(np.concatenate(([held.latest], us)))
        falls = np.flatnonzero(steps < 0)
        held.fall_us = max(held.fall_us, -int(steps.min()))
        held.falls += record[falls][: max(0, 2 - len(held.falls))].tolist()
        held.low, held.high = min(held.low, int(us.min())), max(held.high, int(us.max()))
        held.last, held.latest, held.n = int(record[-1]), int(us[-1]), held.n + len(us)

    def told(self, batch: SourceBatch) -> SourceBatch:
        """Return a batch with the pass of each row whose clock time comes twice, as far as the order tells it."""
        (time, key), *ends = _each(batch)
        end = self._passed(*ends[0], batch.record) if ends else None
        return replace(batch, time=self._passed(time, key, batch.record), time_end=end)

    def _passed(self, times: Times, key: Key, record: NDArray[np.int64]) -> Times:
        passes = np.zeros(len(record), np.uint8)
        for held in self.stretches.get(key, []):
            if not held.doubt:
                inside = (record >= held.first) & (record <= held.last)
                passes[inside] = np.where(record[inside] < held.falls[0], 1, 2)
        return replace(times, passes=passes) if passes.any() else times

    def recorded(self, item: Recording) -> Recording:
        """Return what is known of a recording, with the hours that were told apart."""
        found = [held for key, held in self._all() if key[0] == item.recording and not held.doubt]
        sentences = dict.fromkeys(_sentence(held) for held in found[:_SHOWN])
        return replace(item, conversions=(*item.conversions, *sentences)) if found else item

    def note(self) -> None:
        """Note the rows that stay in doubt."""
        for what in dict.fromkeys(_doubt(held) for _, held in self._all() if held.doubt):
            self.source.note("repeated-hour", what, "warning")

    def _all(self) -> Iterator[tuple[Key, Stretch]]:
        for key, stretches in self.stretches.items():
            yield from ((key, held) for held in stretches)


def by_row_order(
    source: Source, items: Callable[[Source], Iterator[SourceBatch | Rejected | Recording]]
) -> Iterator[SourceBatch | Rejected | Recording]:
    """Yield the items of a source that is read twice: first to see where its clock falls back."""
    order = RowOrder(source)
    # What ends this pass ends the next one too, where it belongs: between the rows.
    with contextlib.suppress(Exception):
        for item in items(replace(source, notes={})):
            if isinstance(item, SourceBatch):
                order.survey(item)
    order.note()
    for item in items(source):
        if isinstance(item, SourceBatch):
            yield order.told(item)
        else:
            yield order.recorded(item) if isinstance(item, Recording) else item


def _each(batch: SourceBatch) -> Iterator[tuple[Times, Key]]:
    """Yield the times of a batch, and those of its ends, with what their order is that of."""
    signals = tuple(column.signal for column in batch.columns)
    yield batch.time, (batch.recording, signals, False)
    if batch.time_end is not None:
        yield batch.time_end, (batch.recording, signals, True)


def _sentence(held: Stretch) -> str:
    day = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=held.low)
    what = f"times: {held.n:,} rows of the hour that comes twice on {day:%Y-%m-%d} (UTC) told apart by row order"
    where = f"rows {held.first:,} to {held.last:,}, the second pass from row {held.falls[0]:,}"
    return f"{what}, as csv.repeated_hour says: {where}"


def _doubt(held: Stretch) -> str:
    rows = f"row {held.first:,}" if held.n == 1 else f"rows {held.first:,} to {held.last:,}"
    return f"{rows}: their clock times come twice, and {held.doubt}"
