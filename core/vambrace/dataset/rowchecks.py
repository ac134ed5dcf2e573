"""Holds the rows of a shard against the contract, block by block; memory stays flat."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from vambrace.batch import NO_END
from vambrace.dataset.columns import QUALITIES
from vambrace.dataset.records import Record
from vambrace.rules import RULES, Finding, InTimeOrder
from vambrace.schema import SIGNALS, Kind

_Key = tuple[str, str, int, int]


@dataclass(slots=True)
class Faults:
    """Counts the faults of one file: one finding for each rule and sentence."""

    path: str
    found: dict[tuple[str, str, str | None, str | None], int] = field(default_factory=dict)

    def add(
        self, rule: str, message: str, count: int = 1, recording: str | None = None, signal: str | None = None
    ) -> None:
        """Count a fault, if there is any."""
        if count:
            key = (rule, message, recording, signal)
            self.found[key] = self.found.get(key, 0) + count

    def findings(self) -> Iterator[Finding]:
        """Yield what was counted."""
        for (rule, message, recording, signal), count in self.found.items():
            yield Finding(rule, RULES[rule].severity, message, self.path, recording, signal, count=count)


class ShardCheck:
    """Judges the rows of one shard against its record."""

    def __init__(self, record: Record, faults: Faults, tell: InTimeOrder | None) -> None:
        """Begin before the first row; `tell` is told the rows channel by channel."""
        self._faults, self._tell = faults, tell
        self._spans = {row.recording: (row.start_us, row.end_us) for row in record.recordings}
        self._n = {(row.recording, row.signal): row.n for row in record.channels if row.signal is not None}
        self.counted: dict[tuple[str, str], int] = {}
        self._before: _Key | None = None

    def add(self, batch: pa.RecordBatch) -> None:
        """Judge the next rows."""
        empty = [name for name in batch.schema.names if name not in ("time_end", "source_flag")]
        missing = {name: batch.column(name).null_count for name in empty}
        for name, count in missing.items():
            self._faults.add("schema-value", f"rows without {name}", count)
        if any(missing.values()) or not batch.num_rows:
            return
        words = {name: batch.column(name).cast(pa.string()) for name in ("recording", "signal", "unit", "quality")}
        for start, end in _channels(words["recording"], words["signal"]):
            self._channel({name: each.slice(start, end - start) for name, each in words.items()}, batch, start, end)

    def _channel(self, words: Mapping[str, pa.Array], batch: pa.RecordBatch, start: int, end: int) -> None:
        recording, signal = words["recording"][0].as_py(), words["signal"][0].as_py()
        n = end - start
        if signal not in SIGNALS:
            self._faults.add("schema-key", f"{signal!r} is no signal", n, recording)
            return
        self.counted[recording, signal] = self.counted.get((recording, signal), 0) + n
        time = batch.column("time").slice(start, n).cast(pa.int64()).to_numpy()
        ends = batch.column("time_end").slice(start, n).cast(pa.int64()).fill_null(NO_END).to_numpy()
        value = batch.column("value").slice(start, n).to_numpy()
        record = batch.column("record").slice(start, n).to_numpy()
        self._order(recording, signal, time, record)
        self._instants(recording, signal, time, ends)
        self._values(recording, signal, words, value)
        if self._tell is not None:
            self._tell((recording, signal), time, ends, value, record)

    def _order(self, recording: str, signal: str, time: NDArray[np.int64], record: NDArray[np.int64]) -> None:
        first = (recording, signal, int(time[0]), int(record[0]))
        wrong = int(self._before is not None and first < self._before)
        step = np.diff(time)
        wrong += int(((step < 0) | ((step == 0) & (np.diff(record) < 0))).sum())
        self._before = (recording, signal, int(time[-1]), int(record[-1]))
        self._faults.add("schema-order", "rows that stand behind a later one", wrong, recording, signal)

    def _instants(self, recording: str, signal: str, time: NDArray[np.int64], ends: NDArray[np.int64]) -> None:
        if recording not in self._spans:
            self._faults.add("schema-key", "rows of a recording that the record does not know", len(time), recording)
            return
        has = ends != NO_END
        backwards = int((has & (ends < time)).sum())
        self._faults.add("schema-instant", "rows that end before they begin", backwards, recording, signal)
        start, end = self._spans[recording]
        if start is None or end is None:
            self._faults.add("schema-instant", "rows of a recording without start or end", len(time), recording, signal)
            return
        out = int(((time < start) | (np.where(has, np.maximum(ends, time), time) > end)).sum())
        self._faults.add("schema-instant", "rows outside the recording's start and end", out, recording, signal)

    def _values(self, recording: str, signal: str, words: Mapping[str, pa.Array], value: NDArray[np.float64]) -> None:
        known = SIGNALS[signal]
        units = _others(words["unit"], pa.scalar(known.unit))
        self._faults.add("schema-unit", f"rows in another unit than {known.unit}", units, recording, signal)
        if known.kind == Kind.CODED_EPOCH:
            good = np.isin(value, list(known.codes))
        else:
            good = (value >= known.domain[0]) & (value <= known.domain[1])
        self._faults.add("schema-value", "values outside the domain", int((~good).sum()), recording, signal)
        wanted: pa.Array | pa.Scalar = pa.scalar(QUALITIES[0])
        if known.plausible:
            low, high = known.plausible
            wanted = pa.array(np.array(QUALITIES)[1 + ((value < low) | (value > high))])
        wrong = _others(words["quality"], wanted)
        self._faults.add(
            "schema-value", "rows whose quality is not that of the plausible range", wrong, recording, signal
        )

    def finish(self) -> None:
        """Hold the number of rows of each channel against the record."""
        for recording, signal in sorted({*self._n, *self.counted}):
            said, there = self._n.get((recording, signal), 0), self.counted.get((recording, signal), 0)
            if said != there:
                message = f"the record says {said:,} rows, the shard has {there:,}"
                self._faults.add("schema-rows", message, 1, recording, signal)


def _others(found: pa.Array, wanted: pa.Array | pa.Scalar) -> int:
    return int(pc.sum(pc.not_equal(found, wanted)).as_py() or 0)


def _channels(recording: pa.Array, signal: pa.Array) -> list[tuple[int, int]]:
    """Return where rows of one recording and signal begin and end."""
    n = len(recording)
    other = [pc.not_equal(each.slice(1), each.slice(0, n - 1)) for each in (recording, signal)]
    starts = np.flatnonzero(pc.or_(*other).to_numpy(zero_copy_only=False)) + 1
    edges = [0, *starts.tolist(), n]
    return list(pairwise(edges))
