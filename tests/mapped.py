"""Reads an export through a mapping alone, from memory, and brings what comes to instants and canonical values."""

from __future__ import annotations

import io
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from vambrace.errors import SourceError
from vambrace.pipeline.reading import read
from vambrace.plugin import Claim, Head, Recording, Rejected, Source
from vambrace_plugins.mapping import MappedImporter, load


@dataclass
class Export:
    """What an export gives: values as (µs of Unix time, value) by recording and signal, and what is said of it."""

    claim: Claim
    values: dict[tuple[int, str], list[tuple[int, float]]] = field(default_factory=dict)
    rejected: list[Rejected] = field(default_factory=list)
    about: dict[int, Recording] = field(default_factory=dict)
    conversions: dict[int, list[str]] = field(default_factory=dict)
    absent: int = 0
    notes: dict[tuple[str, str, str], int] = field(default_factory=dict)
    error: SourceError | None = None

    def add(self, batch: Any, recording: str) -> None:
        pairs = zip(batch.time.tolist(), batch.value.tolist(), strict=True)
        self.values.setdefault((int(recording), batch.signal), []).extend(pairs)

    def set_aside(self, recording: str, rejected: Any) -> None:
        self.rejected.extend(rejected)

    @property
    def not_carried(self) -> dict[str, int]:
        return {name: n for each in self.about.values() for name, n in each.not_carried.items() if n}


def export(mapping: str, data: bytes, name: str = "export", zone: str | None = None) -> Export:
    """Return what an export gives under a mapping, through the core's own reading."""
    importer = MappedImporter(load("band.toml", mapping))
    found = Export(importer.recognise(Head(name, data[:4096], len(data))))
    source = Source(name, len(data), lambda: io.BytesIO(data), importer.Options())
    reading = read(importer, source, found, str, zone)
    found.about, found.error, found.absent = reading.about, reading.error, reading.absent
    found.conversions = {n: list(each) for n, each in reading.conversions.items()}
    found.notes = source.notes
    return found


def us(text: str) -> int:
    """Return an instant as µs of Unix time; `text` is ISO 8601 with its offset."""
    return (datetime.fromisoformat(text) - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)
