"""The rules that look at one channel in the order of time."""

from __future__ import annotations

from collections.abc import Iterator
from copy import copy
from dataclasses import dataclass, field, fields
from math import inf

import numpy as np

from vambrace.batch import NO_END
from vambrace.rules.hits import Hits, Stretches
from vambrace.rules.intervals import Intervals
from vambrace.rules.judging import Floats, Ints, change_per_s, differences, outside, spike_height
from vambrace.rules.saying import said
from vambrace.rules.thresholds import Thresholds
from vambrace.rules.words import Finding
from vambrace.schema import SIGNALS, Kind

_KEPT = 2
"""How many rows are held over to the next block: a spike is seen from both its sides."""


@dataclass(slots=True)
class _Counted:
    """What was found so far, rule by rule; the names are those of the rules."""

    outside_plausible: Hits = field(default_factory=Hits)
    rate_of_change: Hits = field(default_factory=Hits)
    spike: Hits = field(default_factory=Hits)
    overlap: Hits = field(default_factory=Hits)
    duplicate_time: Hits = field(default_factory=Hits)
    epoch_misaligned: Hits = field(default_factory=Hits)


class Channel:
    """Judges the rows of one signal in one recording, block by block; any cut into blocks gives the same findings.

    Rows come sorted by time, then by record: times and ends in int64 µs UTC (`NO_END` for an instant), values in
    the canonical unit, record numbers.
    """

    def __init__(self, recording: str, signal: str, thresholds: Thresholds) -> None:
        """Begin before the first row."""
        self._recording, self._signal, self._thresholds = recording, signal, thresholds
        self._found = _Counted()
        self._different = 0
        self._n = 0
        self._begins: int | None = None
        self._ends = NO_END
        self._places = Hits()
        self._time, self._record = np.empty(0, np.int64), np.empty(0, np.int64)
        self._value = np.empty(0)
        self._intervals = Intervals()
        self._bare: Intervals | None = None
        flat_s = thresholds.get("flat-line", "for_s", signal)
        limits = (thresholds.number("flat-line", name, signal) for name in ("least_n", "within_s"))
        self._flat = None if flat_s is None else Stretches(flat_s, *limits)

    def add(self, time: Ints, time_end: Ints, value: Floats, record: Ints) -> None:
        """Judge the next rows."""
        if not len(time):
            return
        self._places.span(time, record)
        if self._begins is None:
            self._begins = int(time[0])
        held = len(self._time)
        # What was held over stands before the new rows, so that every difference is seen once.
        times, records = np.concatenate([self._time, time]), np.concatenate([self._record, record])
        values = np.concatenate([self._value, value])
        self._alone(time, value, record)
        self._covered(times[-len(time) - 1 :], time_end, records[-len(time) - 1 :])
        self._neighbours(times, values, records, held)
        self._n += len(time)
        self._time, self._record, self._value = times[-_KEPT:], records[-_KEPT:], values[-_KEPT:]

    def _alone(self, time: Ints, value: Floats, record: Ints) -> None:
        low, high = (self._get("outside-plausible", name) for name in ("low", "high"))
        if low is None and high is None:
            return
        low, high = -inf if low is None else low, inf if high is None else high
        odd = outside(value, low, high)
        if odd.any():
            self._found.outside_plausible.add(odd, time, record, np.maximum(low - value, value - high), value)

    def _neighbours(self, time: Ints, value: Floats, record: Ints, held: int) -> None:
        since = max(held - 1, 0)
        recent, records, values = time[since:], record[since:], value[since:]
        self._intervals.add(recent[:-1], recent[1:], records[:-1], records[1:])
        steps = differences(value, self._signal)
        self._same_time(recent, records, steps[since:])
        per_s = self._get("rate-of-change", "per_s")
        if per_s is not None:
            least_s = self._thresholds.number("rate-of-change", "least_s", self._signal)
            speed = change_per_s(recent, steps[since:], least_s)
            self._found.rate_of_change.add(speed > per_s, recent[1:], records[1:], speed, speed)
        height = self._get("spike", "height")
        if height is not None and len(steps) > 1:
            heights = spike_height(time, steps, self._thresholds.number("spike", "within_s", self._signal))
            self._found.spike.add(heights > height, time[1:-1], record[1:-1], heights, value[1:-1])
        if self._flat is not None:
            begins = np.concatenate([[not held], np.diff(values) != 0]) if not held else np.diff(values) != 0
            new = slice(None) if not held else slice(1, None)
            self._flat.add(recent[new], records[new], begins, np.ones(len(begins), np.bool_))

    def _same_time(self, time: Ints, record: Ints, steps: Floats) -> None:
        same = np.diff(time) == 0
        if same.any():
            apart = np.abs(steps)
            self._found.duplicate_time.add(same, time[1:], record[1:], apart, apart)
            self._different += int((apart[same] > 0).sum())

    def _covered(self, recent: Ints, time_end: Ints, records: Ints) -> None:
        """Judge intervals: what they leave bare, whether they overlap, and whether epochs lie on the first one's grid.

        `recent` and `records` may have one row more, the one before.
        """
        has = time_end != NO_END
        if self._bare is None and not has.any():
            return
        # Up to here there were instants alone: what they leave bare are the intervals between them.
        self._bare = self._bare or copy(self._intervals)
        time, record = recent[-len(time_end) :], records[-len(time_end) :]
        reach = np.maximum.accumulate(np.concatenate([[self._ends], time_end]))
        self._ends, before = int(reach[-1]), reach[:-1]
        begun = len(time) - len(recent) + 1
        since = np.maximum(before[begun:], recent[:-1])
        self._bare.add(since, time[begun:], records[:-1], record[begun:])
        over = np.where(before == NO_END, 0, before - time) / 1e6
        self._found.overlap.add(over > 0, time, record, over, over)
        epoch_s = self._get("epoch-misaligned", "epoch_s")
        if epoch_s and self._begins is not None:
            length = round(epoch_s * 1e6)
            off = np.where(has, np.maximum((time - self._begins) % length, (time_end - self._begins) % length), 0) / 1e6
            self._found.epoch_misaligned.add(off > 0, time, record, off, off)

    def _get(self, rule: str, name: str) -> float | None:
        return self._thresholds.get(rule, name, self._signal)

    def findings(self) -> Iterator[Finding]:
        """Close the channel and yield what was found, in no order."""
        for each in fields(self._found):
            yield from self._said(each.name.replace("_", "-"), getattr(self._found, each.name))
        if self._flat is not None:
            yield from self._said("flat-line", self._flat.finish())
        yield from self._sampling()

    def _sampling(self) -> Iterator[Finding]:
        least_n = self._thresholds.number("too-few-samples", "least_n", self._signal)
        if 0 < self._n < least_n:
            yield from self._said("too-few-samples", self._places, self._n, count=self._n)
        if not self._intervals.n:
            return
        median = self._intervals.median_us()
        factor, least_s = (self._thresholds.number("gap", name, self._signal) for name in ("factor", "least_s"))
        bare = self._bare or self._intervals
        gaps = bare.longer(max(factor * median, least_s * 1e6))
        yield from self._said("gap", gaps, median / 1e6)
        yield from self._irregular(median)

    def _irregular(self, median: float) -> Iterator[Finding]:
        names = ("share", "deviation", "least_n")
        share, deviation, least_n = (
            self._thresholds.number("sampling-irregular", name, self._signal) for name in names
        )
        if SIGNALS[self._signal].kind not in (Kind.INSTANT, Kind.POSITION, Kind.RUNNING_TOTAL) or self._n < least_n:
            return
        off = self._intervals.off(median, deviation)
        if off > share * self._intervals.n:
            yield from self._said("sampling-irregular", self._places, off / self._intervals.n, median / 1e6, count=off)

    def _said(self, rule: str, hits: Hits, *more: float, count: int | None = None) -> Iterator[Finding]:
        if rule == "duplicate-time":
            more = (self._different,)
        n = hits.count if count is None else count
        if n:
            yield said(rule, self._recording, self._signal, hits, n, *more)
