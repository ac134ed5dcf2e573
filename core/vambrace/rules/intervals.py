"""The intervals of a stream: how often each length occurs and where, since which is a gap is known only at the end."""

from __future__ import annotations

import numpy as np

from vambrace.rules.hits import Hits
from vambrace.rules.judging import Ints

_DIGITS = 4
"""Significant digits of a length: few enough that memory does not grow with the rows, more than any rule needs."""


class Intervals:
    """Counts intervals by their length in µs, to four digits, each length with its first and last place."""

    def __init__(self) -> None:
        """Begin without any."""
        none = np.empty(0, np.int64)
        self._lengths, self._counts, self._longest = none, none, 0
        self._first, self._last, self._low, self._high = none, none, none, none

    def add(self, begin: Ints, end: Ints, low: Ints, high: Ints) -> None:
        """Count intervals by when and at which record they begin and end; those of no length are left out."""
        lengths = end - begin
        kept = np.flatnonzero(lengths > 0)
        if not len(kept):
            return
        own, first, counts = np.unique(lengths[kept], return_index=True, return_counts=True)
        last = len(kept) - 1 - np.unique(lengths[kept][::-1], return_index=True)[1]
        rows, ends = kept[first], kept[last]
        self._longest = max(self._longest, int(own[-1]))
        self._merge(_rounded(own), counts, begin[rows], end[ends], low[rows], high[ends])

    def _merge(self, lengths: Ints, counts: Ints, first: Ints, last: Ints, low: Ints, high: Ints) -> None:
        both = np.concatenate([self._lengths, lengths])
        order = np.argsort(both)
        both = both[order]
        starts = np.flatnonzero(np.concatenate([[True], np.diff(both) > 0]))

        def joined(join: np.ufunc, held: Ints, new: Ints) -> Ints:
            return np.asarray(join.reduceat(np.concatenate([held, new])[order], starts))

        self._counts = joined(np.add, self._counts, counts)
        self._first, self._low = joined(np.minimum, self._first, first), joined(np.minimum, self._low, low)
        self._last, self._high = joined(np.maximum, self._last, last), joined(np.maximum, self._high, high)
        self._lengths = both[starts]

    @property
    def n(self) -> int:
        """Return how many intervals there are."""
        return int(self._counts.sum())

    def median_us(self) -> float:
        """Return the median length; there must be one."""
        upto = np.cumsum(self._counts)
        low, high = np.searchsorted(upto, [(self.n - 1) // 2, self.n // 2], side="right")
        return (int(self._lengths[low]) + int(self._lengths[high])) / 2

    def longer(self, than_us: float) -> Hits:
        """Return the intervals that are longer; `worst` is the longest, in seconds."""
        wide = np.flatnonzero(self._lengths > than_us)
        hits = Hits()
        if len(wide):
            hits.span(self._first[wide], self._low[wide])
            hits.span(self._last[wide], self._high[wide])
            hits.count, hits.worst = int(self._counts[wide].sum()), self._longest / 1e6
        return hits

    def off(self, median_us: float, deviation: float) -> int:
        """Return how many intervals differ from the median by more than a share of it."""
        odd = np.abs(self._lengths - median_us) > deviation * median_us
        return int(self._counts[odd].sum())


def _rounded(length: Ints) -> Ints:
    step = 10 ** np.maximum(np.floor(np.log10(length)).astype(np.int64) + 1 - _DIGITS, 0)
    return np.asarray((length + step // 2) // step * step, np.int64)
