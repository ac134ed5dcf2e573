"""Times since a start that begin anew where the header stands again: a second recording, whose start nobody says."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from vambrace.plugin import Refused, Source, SourceBatch

Key = tuple[int, tuple[str, ...]]


@dataclass(slots=True)
class Restarts:
    """Where the count of each recording and its signals stands, with the record number of its last row.

    `kept` are the last rows of each before the header stands again, not looked at yet.
    `gaps` are the records before which something was passed over: a header, a comment or a blank row.
    """

    source: Source
    last: dict[Key, tuple[int, int]] = field(default_factory=dict)
    kept: dict[Key, SourceBatch] = field(default_factory=dict)
    gaps: NDArray[np.int64] = field(default_factory=lambda: np.zeros(0, np.int64))
    seen: int = 0

    def look(self, batch: SourceBatch, records: NDArray[np.int64], *, again: bool) -> None:
        """Look at rows of a block with these record numbers; raise Refused where a count falls behind a header.

        `again` says that the header has stood again in the table.
        """
        self._pass_on(records)
        key = (batch.recording, tuple(column.signal for column in batch.columns))
        if not again:
            # The times of ordinary tables need no look here.
            self.kept[key] = batch
            return
        earlier = self.kept.pop(key, None)
        if earlier is not None:
            self._known(key, earlier)
        before = self.last.get(key)
        us, own = self._known(key, batch)
        if not len(us):
            return
        last_us, last_record = before or (int(us[0]), int(own[0]))
        befores, rows = np.concatenate(([last_us], us[:-1])), np.concatenate(([last_record], own[:-1]))
        falls = np.flatnonzero(us < befores)
        parted = np.searchsorted(self.gaps, rows[falls], "right") < np.searchsorted(self.gaps, own[falls], "right")
        if parted.any():
            at = int(falls[np.argmax(parted)])
            raise _begun_anew(int(own[at]), (int(befores[at]) - int(us[at])) / 1_000_000)

    def _known(self, key: Key, batch: SourceBatch) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """Return the instants of rows that have one, with their record numbers, and remember the last."""
        found, _ = self.source.in_both_passes(batch.time)
        known = np.flatnonzero(found.fault == 0)
        us, records = found.us[known], batch.record[known]
        if len(known):
            self.last[key] = int(us[-1]), int(records[-1])
        return us, records

    def _pass_on(self, records: NDArray[np.int64]) -> None:
        if not len(records) or int(records[-1]) <= self.seen:
            return
        steps = np.diff(records, prepend=self.seen or int(records[0]) - 1)
        self.gaps = np.append(self.gaps, records[steps > 1])
        self.seen = int(records[-1])


def _begun_anew(record: int, fall_s: float) -> Refused:
    what = (
        f"the header stands again, and behind it the times fall back by {fall_s:,.15g} s: they may count from another "
    )
    what += "start than csv.start says"
    todo = "Split the file there, and read each part in a run of its own, with --option csv.start=2024-03-01T08:00:00Z"
    return Refused("no-start", what, where=f"row {record:,}", todo=todo)
