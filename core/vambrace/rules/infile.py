"""The rules that look at a source in the order in which it stands in the file."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from vambrace.batch import Mask
from vambrace.errors import Reason, Rejected
from vambrace.rules.hits import Hits, Stretches
from vambrace.rules.judging import Floats, Ints
from vambrace.rules.saying import placed, said, unit_words
from vambrace.rules.suspecting import BANDS, Sizes, Ways, suspected
from vambrace.rules.thresholds import Thresholds
from vambrace.rules.words import Finding, Severity
from vambrace.schema import SIGNALS

_Key = tuple[str, str]


class FileOrder:
    """Judges what one source says, batch by batch; any cut into batches gives the same findings.

    Times are int64 µs UTC, values float64 in the canonical unit; recordings go by their identifiers.
    """

    def __init__(self, thresholds: Thresholds) -> None:
        """Begin before the first row."""
        self._thresholds = thresholds
        self._last: dict[_Key, int] = {}
        self._back: dict[_Key, Hits] = {}
        self._rose: set[_Key] = set()
        self._fell: dict[_Key, Hits] = {}
        self._aside: dict[tuple[str, str, str], Hits] = {}
        self._sizes: dict[_Key, Sizes] = {}
        self._ways: dict[str, Ways] = {}
        self._locked: dict[str, tuple[Stretches, list[bool]]] = {}

    def given(self, recording: str, signal: str, value: Floats, time: Ints, record: Ints) -> None:
        """Look at all numbers that the source gives, before any is set aside; `time` holds the good ones."""
        if not len(value) or (signal not in BANDS and signal != "distance"):
            return
        key = (recording, signal)
        if key not in self._sizes:
            self._sizes[key] = Sizes(recording, signal)
        self._sizes[key].add(value, time, record)

    def set_aside(
        self, recording: str, signal: str, reason: str, time: Ints, record: Ints, value: Floats | None = None
    ) -> None:
        """Count values that are set aside for one reason; `time` holds the good times, `value` the numbers."""
        hits = self._aside.setdefault((recording, signal, reason), Hits())
        hits.span(time, record)
        hits.count += len(record)
        if value is not None and len(value) and reason == Reason.OUTSIDE_DOMAIN:
            low, high = SIGNALS[signal].domain
            off = np.maximum(low - value, value - high)
            most = int(off.argmax())
            if off[most] > hits.badness:
                hits.badness, hits.worst = float(off[most]), float(value[most])

    def rejected(self, recording: str, rows: Sequence[Rejected]) -> None:
        """Count values that the importer itself set aside."""
        for row in rows:
            self.set_aside(recording, row.signal, str(row.reason), np.empty(0, np.int64), np.array([row.record]))

    def kept(self, recording: str, signal: str, time: Ints, record: Ints) -> None:
        """Look at the times of kept rows, at least one."""
        key = (recording, signal)
        before = np.concatenate([[self._last.get(key, int(time[0]))], time[:-1]])
        self._last[key] = int(time[-1])
        fall = (before - time) / 1e6
        if (fall < 0).any():
            self._rose.add(key)
        if (fall > 0).any():
            self._back.setdefault(key, Hits()).add(fall > 0, time, record, fall, fall)

    def fell(self, recording: str, signal: str, time: Ints, record: Ints, fall: Floats) -> None:
        """Count where a counter fell, and by how much."""
        self._fell.setdefault((recording, signal), Hits()).add(np.arange(len(fall)), time, record, fall, fall)

    def side_by_side(
        self, recording: str, rows: Mapping[str, tuple[NDArray[np.intp], Ints, Floats]], record: Ints, *, steps: bool
    ) -> None:
        """Look at the signals of one batch together: each with its kept rows, their times and values.

        `steps` says that the cadence counts steps.
        """
        if recording not in self._ways:
            self._ways[recording] = Ways(self._thresholds.number("unit-suspect", "within_s"))
        way = self._ways[recording]
        for kind in ("speed", "distance"):
            if kind in rows:
                way.add(kind, rows[kind][1], rows[kind][2][:, None])
        if "latitude" in rows and "longitude" in rows:
            (_, time, latitude), (_, _, longitude) = rows["latitude"], rows["longitude"]
            way.add("position", time, np.column_stack([latitude, longitude]))
        if steps and "heart_rate" in rows and "cadence" in rows:
            self._lock(recording, rows["heart_rate"], rows["cadence"], record)

    def _lock(
        self,
        recording: str,
        heart: tuple[NDArray[np.intp], Ints, Floats],
        cadence: tuple[NDArray[np.intp], Ints, Floats],
        record: Ints,
    ) -> None:
        rows, mine, theirs = np.intersect1d(heart[0], cadence[0], assume_unique=True, return_indices=True)
        if not len(rows):
            return
        get = self._thresholds.number
        if recording not in self._locked:
            names = ("for_s", "least_n", "within_s")
            self._locked[recording] = Stretches(*(get("rate-follows-steps", name) for name in names)), [False]
        stretches, before = self._locked[recording]
        rate, steps = heart[2][mine], cadence[2][theirs]
        equal: Mask = (np.abs(rate - steps) <= get("rate-follows-steps", "tolerance")) & (steps > 0)
        begins = equal != np.concatenate([before, equal[:-1]])
        before[0] = bool(equal[-1])
        stretches.add(heart[1][mine], record[rows], begins, equal)

    def findings(self) -> Iterator[Finding]:
        """Yield what was found, in no order."""
        for key, hits in self._back.items():
            found = said("time-goes-back", *key, hits, hits.count)
            yield (
                found
                if key in self._rose or hits.count == 1
                else replace(found, severity=Severity.NOTE, message=_NEWEST_FIRST)
            )
        for (recording, signal), hits in self._fell.items():
            yield said("counter-fell", recording, signal, hits, hits.count)
        for recording, (stretches, _) in self._locked.items():
            hits = stretches.finish()
            if hits.count:
                yield said("rate-follows-steps", recording, "heart_rate", hits, hits.count)
        for (recording, signal, reason), hits in self._aside.items():
            yield _said_aside(recording, signal, reason, hits)
        yield from suspected(self._sizes, self._ways, self._thresholds)


_NEWEST_FIRST = "the rows stand newest first; the samples are sorted by time"


def _said_aside(recording: str, signal: str, reason: str, hits: Hits) -> Finding:
    number = f"{hits.count:,} {'value is' if hits.count == 1 else 'values are'} set aside ({reason})"
    worst = "" if hits.worst is None else f", the worst {hits.worst:.10g}{unit_words(signal)}"
    return placed(reason, number + worst, recording, signal, hits, hits.count)
