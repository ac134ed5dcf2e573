"""Counts what a rule finds in a stream, in memory that does not grow with it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vambrace.batch import Mask
from vambrace.rules.judging import Floats, Ints


@dataclass(slots=True)
class Hits:
    """How often, from where to where, and the worst: the value that the greatest badness belongs to."""

    count: int = 0
    first_us: int | None = None
    last_us: int | None = None
    first_record: int | None = None
    last_record: int | None = None
    badness: float = -np.inf
    worst: float | None = None

    def add(self, at: Mask | NDArray[np.intp], time: Ints, record: Ints, badness: Floats, worst: Floats) -> None:
        """Count the rows at a mask or at positions; the first and last time are the earliest and the latest of them."""
        rows = np.flatnonzero(at) if at.dtype == np.bool_ else at
        if not len(rows):
            return
        self.span(time[rows], record[rows])
        self.count += len(rows)
        most = int(badness[rows].argmax())
        if badness[rows[most]] > self.badness:
            self.badness, self.worst = float(badness[rows[most]]), float(worst[rows[most]])

    def span(self, time: Ints, record: Ints) -> None:
        """Widen the place, without counting; either array may be empty."""
        if len(time):
            first, last = int(time.min()), int(time.max())
            self.first_us = first if self.first_us is None else min(self.first_us, first)
            self.last_us = last if self.last_us is None else max(self.last_us, last)
        if len(record):
            low, high = int(record.min()), int(record.max())
            self.first_record = low if self.first_record is None else min(self.first_record, low)
            self.last_record = high if self.last_record is None else max(self.last_record, high)


@dataclass(frozen=True, slots=True)
class _Open:
    """The stretch that the next row may go on with."""

    start: int
    first: int
    end: int
    last: int
    n: int
    good: bool

    def columns(self) -> tuple[Ints, Ints, Ints, Ints, Ints, Mask]:
        """Return the stretch as columns of one row."""
        start, first, end, last, n = np.array([[self.start], [self.first], [self.end], [self.last], [self.n]])
        return start, first, end, last, n, np.array([self.good])


class Stretches:
    """Joins successive rows that belong together, and counts the joined stretches that are long enough."""

    def __init__(self, for_s: float, least_n: float, within_s: float) -> None:
        """Begin before the first row; all limits belong to what counts: how long, of how many rows, how near."""
        self._for_us, self._least_n, self._within_us = for_s * 1e6, least_n, within_s * 1e6
        self._hits = Hits()
        self._open: _Open | None = None

    def add(self, time: Ints, record: Ints, begins: Mask, good: Mask) -> None:
        """Take rows (at least one) in order; `begins` is True where a stretch begins, `good` where it may count."""
        known = self._open
        # A pause says nothing of the values in it, so no stretch goes on behind one.
        far = np.diff(time, prepend=time[0] if known is None else known.end) > self._within_us
        begins = begins | far
        at = np.flatnonzero(begins | (np.arange(len(time)) == 0))
        ends = np.append(at[1:], len(time)) - 1
        start, first, n, mine = time[at], record[at], ends - at + 1, good[at]
        if known is not None and begins[0]:
            self._close(*known.columns())
        elif known is not None:
            start[0], first[0], n[0], mine[0] = known.start, known.first, n[0] + known.n, known.good
        self._close(start[:-1], first[:-1], time[ends[:-1]], record[ends[:-1]], n[:-1], mine[:-1])
        self._open = _Open(int(start[-1]), int(first[-1]), int(time[-1]), int(record[-1]), int(n[-1]), bool(mine[-1]))

    def finish(self) -> Hits:
        """Close the last stretch and return what was counted; `worst` is the longest, in seconds."""
        known, self._open = self._open, None
        if known is not None:
            self._close(*known.columns())
        return self._hits

    def _close(self, start: Ints, first: Ints, end: Ints, last: Ints, n: Ints, good: Mask) -> None:
        length = end - start
        rows = np.flatnonzero(good & (length >= self._for_us) & (n >= self._least_n))
        if len(rows):
            self._hits.add(rows, start, first, length / 1e6, length / 1e6)
            self._hits.span(end[rows], last[rows])
