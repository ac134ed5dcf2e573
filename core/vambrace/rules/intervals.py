"""The intervals of a stream: how often each length occurs and where, since which is a gap is known only at the end."""

from __future__ import annotations

import numpy as np

from vambrace.rules.hits import Hits
from vambrace.rules.judging import Ints


class Intervals:
    """Counts intervals by their length in µs, each with its first and last place.

    A channel at a steady rate costs a few numbers; one whose intervals all differ costs memory with its rows.
    """

    def __init__(self) -> None:
        """Begin without any."""
        none = np.empty(0, np.int64)
        self._lengths, self._counts = none, none
        self._first, self._last, self._low, self._high = none, none, none, none

    def add(self, time: Ints, record: Ints) -> None:
        """Count the intervals between successive rows in the order of time; those of no length are left out."""
        lengths = np.diff(time)
        kept = np.flatnonzero(lengths > 0)
        if not len(kept):
            return
        own, first, counts = np.unique(lengths[kept], return_index=True, return_counts=True)
        last = len(kept) - 1 - np.unique(lengths[kept][::-1], return_index=True)[1]
        rows, ends = kept[first], kept[last] + 1
        self._merge(own, counts, time[rows], time[ends], record[rows], record[ends])

    def _merge(self, lengths: Ints, counts: Ints, first: Ints, last: Ints, low: Ints, high: Ints) -> None:
        both = np.concatenate([self._lengths, lengths])
        # Stable: of one length, what was known before stands before what is new.
        order = np.argsort(both, kind="stable")
        both = both[order]
        starts = np.flatnonzero(np.concatenate([[True], np.diff(both) > 0]))
        ends = np.append(starts[1:], len(both)) - 1
        self._counts = np.add.reduceat(np.concatenate([self._counts, counts])[order], starts)
        self._first, self._low = (
            np.concatenate(pair)[order][starts] for pair in ((self._first, first), (self._low, low))
        )
        self._last, self._high = (
            np.concatenate(pair)[order][ends] for pair in ((self._last, last), (self._high, high))
        )
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
            hits.count, hits.worst = int(self._counts[wide].sum()), int(self._lengths[-1]) / 1e6
        return hits

    def off(self, median_us: float, deviation: float) -> int:
        """Return how many intervals differ from the median by more than a share of it."""
        odd = np.abs(self._lengths - median_us) > deviation * median_us
        return int(self._counts[odd].sum())
