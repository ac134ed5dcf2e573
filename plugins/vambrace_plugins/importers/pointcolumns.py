"""Collects track points as columns of texts, one recording at a time."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np

from vambrace.plugin import Column, SourceBatch, Times

BATCH_ROWS = 10_000
_MOST_FIELDS = 1_000
_OTHER = "other fields"


@dataclass(frozen=True, slots=True, eq=False)
class Field:
    """How one element of a track point is handed over: its signal, unit, name in the file and what it counts.

    Of two fields of one signal in a point, the one of higher `rank` is taken. `flagged` ones bear the point's flag.
    """

    signal: str
    unit: str
    name: str
    counts: str = ""
    rank: int = 0
    flagged: bool = False
    sensor: str = ""


Found: TypeAlias = dict[str, tuple[Field, str | None]]
"""What one track point gives: by signal, the field and its text (None where the element is empty)."""


class PointColumns:
    """The track points of one recording, cut into batches.

    A signal has a column from the point where its field first appears, and a batch is cut there: so what counts as
    absent does not depend on where batches end.
    """

    def __init__(self, recording: int) -> None:
        self.recording = recording
        self._fields: dict[str, Field] = {}
        self._columns: dict[str, list[str | None]] = {}
        self._clear()

    def add(self, record: int, time: str | None, found: Found, flag: str | None = None) -> SourceBatch | None:
        """Add one point; return the batch that is finished by it, if any."""
        finished = None
        fields = self._fields
        for signal, (field, _) in found.items():
            if fields.get(signal) is not field:
                finished = self.finish() or finished
                fields[signal] = field
                self._columns[signal] = []
        self._records.append(record)
        self._times.append(time)
        self._flags.append(flag)
        for signal, column in self._columns.items():
            pair = found.get(signal)
            column.append(None if pair is None else pair[1])
        if len(self._records) >= BATCH_ROWS:
            return self.finish()
        return finished

    def add_alone(
        self, record: int, time: str | None, found: Found, flag: str | None, more: tuple[Column, ...]
    ) -> Iterator[SourceBatch]:
        """Yield the points collected, and this one as a batch of its own that has more columns."""
        before = self.finish()
        if before is not None:
            yield before
        alone = self.add(record, time, found, flag) or self.finish()
        if alone is not None:
            yield replace(alone, columns=alone.columns + more)

    def finish(self) -> SourceBatch | None:
        """Return the points collected since the last batch, or None."""
        if not self._records:
            return None
        flags = self._flags if any(self._flags) else None
        columns = tuple(
            Column(
                signal,
                values,
                self._fields[signal].unit,
                field=self._fields[signal].name,
                counts=self._fields[signal].counts,
                sensor=self._fields[signal].sensor,
                flags=flags if self._fields[signal].flagged else None,
            )
            for signal, values in self._columns.items()
        )
        batch = SourceBatch(np.array(self._records, np.int64), Times(self._times), columns, self.recording)
        self._clear()
        return batch

    def _clear(self) -> None:
        self._records: list[int] = []
        self._times: list[str | None] = []
        self._flags: list[str | None] = []
        self._columns = {signal: [] for signal in self._columns}


def prefer(found: Found, field: Field, text: str | None) -> str | None:
    """Put a field's text into a point; return the name of the field whose value is left over, if any."""
    other = found.get(field.signal)
    if other is None:
        found[field.signal] = (field, text)
        return None
    if other[1] is None or (text is not None and field.rank > other[0].rank):
        found[field.signal] = (field, text)
        return None if other[1] is None else other[0].name
    return None if text is None else field.name


def count(tally: dict[str, int], name: str, number: int = 1) -> None:
    """Count values that are not carried; beyond a thousand names they share one."""
    if name not in tally and len(tally) >= _MOST_FIELDS:
        name = _OTHER
    tally[name] = tally.get(name, 0) + number


def count_all(tally: dict[str, int], found: Iterable[tuple[str, str | None]]) -> None:
    """Count what is not carried of elements and attributes by their names; the empty ones hold nothing."""
    for name, text in found:
        if text:
            count(tally, name)


def added(tally: dict[str, int], more: dict[str, int]) -> dict[str, int]:
    """Return two tallies as one."""
    both = dict(tally)
    for name, number in more.items():
        count(both, name, number)
    return both
