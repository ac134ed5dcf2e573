"""Keeps the first rows of every channel as the source writes them and as they are kept, for whoever looks on."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from vambrace import clock
from vambrace.batch import NO_END, Batch, Column, SourceBatch
from vambrace.columns import source_texts
from vambrace.errors import Rejected
from vambrace.schema import SIGNALS


@dataclass(frozen=True, slots=True)
class FirstRow:
    """One kept row in both forms; times in int64 microseconds UTC, the value in `unit`."""

    recording: int
    signal: str
    record: int
    time_in_source: str
    value_in_source: str
    unit_in_source: str
    time_us: int
    end_us: int | None
    value: float
    unit: str


@dataclass(slots=True)
class Watch:
    """Keeps the first `first` rows of each channel, and as many of each reason for setting aside."""

    first: int
    rows: dict[tuple[int, str], list[FirstRow]] = field(default_factory=dict)
    aside: dict[str, list[Rejected]] = field(default_factory=dict)

    def kept(self, batch: SourceBatch, column: Column, rows: NDArray[np.intp], canonical: Batch) -> None:
        """Note the first of the kept rows of a column."""
        known = self.rows.setdefault((batch.recording, column.signal), [])
        at = rows[: max(0, self.first - len(known))]
        if not len(at):
            return
        said = zip(clock.time_texts(batch.time, at), source_texts(column.written, at), strict=True)
        for n, (time, value) in enumerate(said):
            known.append(
                FirstRow(
                    batch.recording,
                    column.signal,
                    int(canonical.record[n]),
                    time,
                    value,
                    column.unit or "",
                    int(canonical.time[n]),
                    None if canonical.time_end[n] == NO_END else int(canonical.time_end[n]),
                    float(canonical.value[n]),
                    SIGNALS[column.signal].unit,
                )
            )

    def set_aside(self, rejected: Sequence[Rejected]) -> None:
        """Note the first values that are set aside for each reason."""
        for each in rejected:
            known = self.aside.setdefault(each.reason, [])
            if len(known) < self.first:
                known.append(each)
