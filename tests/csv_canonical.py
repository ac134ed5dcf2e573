"""Reads a table through the CSV importer and the core, as a conversion does, into instants and values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import BinaryIO, cast

from csv_reading import Slow
from vambrace.batch import Batch
from vambrace.pipeline.reading import Reading, read
from vambrace.plugin import Rejected, Source
from vambrace_plugins.importers.csv import CsvImporter, Options

Rows = list[tuple[int, float]]


@dataclass
class Canonical:
    """What came out of a table: rows of (microseconds of Unix time, value) by recording and signal."""

    channels: dict[tuple[int, str], Rows] = field(default_factory=dict)
    rejected: list[Rejected] = field(default_factory=list)
    reading: Reading | None = None

    def add(self, batch: Batch, recording_id: str) -> None:
        """Keep canonical rows, as the core's sink does."""
        rows = zip(batch.time.tolist(), batch.value.tolist(), strict=True)
        self.channels.setdefault((batch.recording, batch.signal), []).extend(rows)

    def set_aside(self, recording_id: str, rejected: Sequence[Rejected]) -> None:
        """Keep what was set aside, as the core's sink does."""
        self.rejected.extend(rejected)

    @property
    def code(self) -> str:
        """Return the code of the refusal, or an empty text."""
        error = self.reading.error if self.reading else None
        return error.code if error else ""

    @property
    def said(self) -> str:
        """Return the refusal's sentence."""
        return str(self.reading.error) if self.reading else ""

    @property
    def signals(self) -> dict[str, list[Rows]]:
        """Return the rows of each signal, recording by recording."""
        found: dict[str, list[Rows]] = {}
        for (_, signal), rows in sorted(self.channels.items()):
            found.setdefault(signal, []).append(rows)
        return found


def canonical(
    data: bytes, options: Options | None = None, zone: str | None = None, pieces: Sequence[int] = ()
) -> Canonical:
    """Read a table to its end or its refusal; with `pieces`, the stream gives so many bytes at a time."""
    sizes = pieces or [max(len(data), 1)]
    source = Source("table.csv", len(data), lambda: cast(BinaryIO, Slow(data, sizes)), options or Options())
    result = Canonical()
    result.reading = read(CsvImporter(), source, result, str, zone)
    return result
