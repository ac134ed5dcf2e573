"""What can be said of a channel once its rows stand in order: counts, span, intervals, gaps."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from vambrace.batch import NO_END

GAP_FACTOR = 3
"""An interval longer than this many median intervals is a gap: our own definition, no source."""


@dataclass(frozen=True, slots=True)
class ChannelStats:
    """What the rows of one channel say; times are µs of Unix time.

    `end_us` is the last instant that a value reaches (its `time_end` where it has one). Intervals are those between
    successive different instants, so that several samples at one instant count as one. A gap is an interval longer
    than 3 × the median interval: our own definition. `median_interval_s` is None below two instants, `longest_gap_s`
    is None without a gap.
    """

    n: int
    n_suspect: int
    start_us: int
    end_us: int
    median_interval_s: float | None
    gaps: int
    longest_gap_s: float | None


@dataclass(slots=True)
class Tally:
    """Counts one channel, block by block in the order of time.

    It keeps how often each interval occurs, not the intervals: a channel at a steady rate costs a few numbers, and only
    one whose intervals are nearly all different to the microsecond costs memory in proportion to its rows.
    """

    n: int = 0
    n_suspect: int = 0
    start_us: int = 0
    last_us: int = 0
    end_us: int = 0
    lengths: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))
    counts: NDArray[np.int64] = field(default_factory=lambda: np.empty(0, np.int64))

    def add(self, time: NDArray[np.int64], time_end: NDArray[np.int64], suspect: int) -> None:
        """Count a block of rows sorted by time, none before those counted already; `suspect` is how many are so."""
        if not len(time):
            return
        before = time[:1] if not self.n else np.array([self.last_us])
        if not self.n:
            self.start_us = self.end_us = int(time[0])
        intervals = np.diff(time, prepend=before)
        self._merge(intervals[intervals > 0])
        self.n += len(time)
        self.n_suspect += suspect
        self.last_us = int(time[-1])
        ends = time_end[time_end != NO_END]
        self.end_us = max(self.end_us, self.last_us, int(ends.max()) if len(ends) else self.last_us)

    def _merge(self, intervals: NDArray[np.int64]) -> None:
        lengths, counts = np.unique(intervals, return_counts=True)
        both, where = np.unique(np.concatenate([self.lengths, lengths]), return_inverse=True)
        merged = np.zeros(len(both), np.int64)
        np.add.at(merged, where, np.concatenate([self.counts, counts]))
        self.lengths, self.counts = both, merged

    def stats(self) -> ChannelStats:
        """Return the sums; the median is exact."""
        median = _median(self.lengths, self.counts)
        wide = self.lengths > GAP_FACTOR * median if median is not None else np.zeros(0, np.bool_)
        gaps = int(self.counts[wide].sum())
        return ChannelStats(
            n=self.n,
            n_suspect=self.n_suspect,
            start_us=self.start_us,
            end_us=self.end_us,
            median_interval_s=None if median is None else median / 1e6,
            gaps=gaps,
            longest_gap_s=int(self.lengths[-1]) / 1e6 if gaps else None,
        )


def _median(lengths: NDArray[np.int64], counts: NDArray[np.int64]) -> float | None:
    """Return the median of sorted values that occur so often each."""
    total = int(counts.sum())
    if not total:
        return None
    upto = np.cumsum(counts)
    low, high = np.searchsorted(upto, [(total - 1) // 2, total // 2], side="right")
    return (int(lengths[low]) + int(lengths[high])) / 2
