"""What travels between the stages: frozen wrappers of columns, in the file's words and in canonical ones."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence, Sized
from dataclasses import dataclass, field
from typing import Any, Literal, TypeAlias

import numpy as np
from numpy.typing import NDArray

Values: TypeAlias = Sequence[str | None] | NDArray[Any]
"""A column as an importer hands it over: numbers (NumPy), or texts with None where the source has none.

A `pyarrow.StringArray` (or ChunkedArray of strings) serves wherever texts do, and costs least.
"""

Mask: TypeAlias = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Times:
    """When the rows of a batch were measured, as the source writes it; length n, one entry a row.

    `values` are integer counts, or texts (ISO 8601 for `unit="iso8601"`, else decimal numbers as texts).
    `unit` is `iso8601`, `s`, `ms`, `us`, `ns`, or `d` (days, as spreadsheets count them).
    `epoch_s` is the instant of count 0 in seconds of Unix time (its wall clock when `basis` is `local`).
    `basis` says how to read them: `utc` (an instant), `text` (each text says its own offset; one that does not is
    local), `local` (a wall clock whose zone the source does not say), `elapsed` (counted from a start that the
    source does not say). `present` is False where a row has no time. `passes` matters to local times that a zone's
    clock shows twice: 1 or 2 where the source's order of rows puts a row into the first or the second pass, else 0.
    `texts` is what the source wrote where `values` were made of it; it is shown in their place.
    """

    values: Values
    unit: Literal["iso8601", "s", "ms", "us", "ns", "d"] = "iso8601"
    basis: Literal["utc", "text", "local", "elapsed"] = "text"
    epoch_s: int = 0
    present: Mask | None = None
    passes: NDArray[np.uint8] | None = None
    texts: Values | None = None

    def __len__(self) -> int:
        return len(self.values)

    @property
    def written(self) -> Values:
        """Return the times as the source wrote them."""
        return self.values if self.texts is None else self.texts


@dataclass(frozen=True, slots=True)
class Column:
    """One field of the source for the rows of a batch, in the source's own unit and counting convention.

    `unit` is a UCUM code or a usual notation (`bpm`, `1/min`, `km/h`); the core converts it, importers never do.
    `present` is False where the source marks the value as absent (None, "" and NaN count as absent anyway).
    `counting` matters for running totals: `total` for a counter's reading, `increment` for a count per interval.
    `counter` names the counter a reading belongs to where several run side by side (one entry for all rows, or one
    a row); they are summed. `modulus` is the value at which the counter rolls over to 0, where the source says so.
    `statistic` is `instant`, `mean`, `max`, `min` or `total`, as the source says.
    `counts` says what a cadence counts: `steps`, `revolutions`, or `unknown`.
    `sensor` says which sensor gave the value, where the source knows. `flags` is what the source itself says of
    each value (`mode=spot_check; confidence=3`), or None. `texts` is what the source wrote where `values` were made of
    it; it is shown and set aside in their place. Beside values that are numbers these are the same numbers as texts,
    and are read where no number is as exact.
    """

    signal: str
    values: Values
    unit: str
    field: str = ""
    present: Mask | None = None
    counting: Literal["total", "increment"] = "total"
    counter: str | Sequence[str] | NDArray[Any] = ""
    modulus: int | None = None
    statistic: str = "instant"
    counts: str = ""
    sensor: str = ""
    flags: Sequence[str | None] | None = None
    texts: Values | None = None

    @property
    def written(self) -> Values:
        """Return the values as the source wrote them."""
        return self.values if self.texts is None else self.texts


@dataclass(frozen=True, slots=True)
class SourceBatch:
    """Rows of one recording, in file order: their record numbers, times and columns, all of length n.

    `record` holds int64 numbers of the record, track point or row in the source; it runs on through the source and
    rises from batch to batch of a channel (rows of one batch may share one: a record that holds several beats).
    `recording` is 1 for the first recording of the source. Where the values cover intervals, either `time_end`
    gives each end, or `interval_s` the common length and `stamp` what `time` marks of it.
    """

    record: NDArray[np.int64]
    time: Times
    columns: tuple[Column, ...]
    recording: int = 1
    time_end: Times | None = None
    interval_s: float | None = None
    stamp: Literal["start", "middle", "end"] = "end"

    def __len__(self) -> int:
        return len(self.record)


def arrays_of(batch: SourceBatch) -> Iterator[tuple[str, Sized]]:
    """Yield all of a batch that has one entry a row, each with its name; nothing holds that their lengths agree."""
    for name, times in (("time", batch.time), ("time_end", batch.time_end)):
        if times is not None:
            parts = (("values", times.values), ("present", times.present), ("passes", times.passes))
            yield from _given(name, parts)
    for column in batch.columns:
        counter = None if isinstance(column.counter, str) else column.counter
        yield from _given(
            f"the column {column.signal}",
            (
                ("values", column.values),
                ("present", column.present),
                ("counter", counter),
                ("flags", column.flags),
                ("texts", column.texts),
            ),
        )


def _given(of: str, parts: Iterable[tuple[str, Sized | None]]) -> Iterator[tuple[str, Sized]]:
    for name, values in parts:
        if values is not None:
            yield f"{name} of {of}", values


@dataclass(frozen=True, slots=True)
class Event:
    """Happenings of one kind in a recording: `lap`, `pause`, `resume`, `button`, `contact_lost`; length n."""

    kind: str
    time: Times
    texts: Sequence[str]
    recording: int = 1


@dataclass(frozen=True, slots=True)
class Recording:
    """What a source says of one of its recordings; may be handed over again as more is known, later words win.

    `not_carried` counts the values of each source field that no signal fits. `conversions` are sentences for what
    the importer itself had to decide ("decimal comma", "time stamps taken as the interval's end").
    """

    recording: int = 1
    manufacturer: str | None = None
    product: str | None = None
    serial: str | None = None
    firmware: str | None = None
    complete: bool | None = None
    not_carried: Mapping[str, int] = field(default_factory=dict)
    conversions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Instants:
    """Times brought to UTC: `us` holds int64 microseconds since 1970, length n.

    `fault` is 0 where the instant is good, else 1 + the position in `FAULTS`. `zone` is what was used ("UTC", an
    offset, a zone name, "several"), `known_by` is `in file` or empty (then the zone came from outside).
    `cut` counts the times of which digits beyond the sixth were cut off, `leap` those written as second 60.
    """

    us: NDArray[np.int64]
    fault: NDArray[np.uint8]
    zone: str
    known_by: str
    cut: int = 0
    leap: int = 0


FAULTS = ("no-time", "time-ambiguous", "time-nonexistent", "time-implausible")
"""The reasons behind `Instants.fault`, in order from 1."""

NO_END = np.iinfo(np.int64).min
"""Stands in `Batch.time_end` where the value is of an instant."""


@dataclass(frozen=True, slots=True)
class Batch:
    """Canonical rows of one channel, in file order; every array has length n.

    `time` and `time_end` are int64 microseconds UTC (`time_end` is NO_END for an instant), `value` float64 in the
    canonical unit, `record` int64, `suspect` True outside the plausible range, `flags` texts or None.
    """

    recording: int
    signal: str
    time: NDArray[np.int64]
    time_end: NDArray[np.int64]
    value: NDArray[np.float64]
    record: NDArray[np.int64]
    suspect: Mask
    flags: Sequence[str | None] | None = None

    def __len__(self) -> int:
        return len(self.record)


@dataclass(frozen=True, slots=True)
class Candidates:
    """One column of a batch in its canonical unit, before anything is judged; every array has length n.

    `value` is float64 (NaN where not `present` or where `garbled`), `present` True where the source gives a value,
    `garbled` True where it gives one that is no number.
    """

    column: Column
    value: NDArray[np.float64]
    present: Mask
    garbled: Mask

    def __len__(self) -> int:
        return len(self.value)
