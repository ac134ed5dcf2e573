"""What the FIT importer hands over for some bytes, flattened by channel so that tests can compare it."""

from __future__ import annotations

import csv
import io
import os
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO

import pytest

from vambrace.demo.fit_encoder import FitEncoder
from vambrace.errors import SourceError
from vambrace.plugin import SIGNALS, Column, Event, Recording, Rejected, Source, SourceBatch
from vambrace_plugins.importers.fit import FitImporter
from vambrace_plugins.importers.fit.importer import FitOptions

EPOCH = 631_065_600
T0 = 1_000_000_000
"""Seconds of the FIT epoch: 2021-09-08T01:46:40Z."""
TIME = (253, "uint32")
PUBLISHED = Path(__file__).parents[1] / "fixtures" / "published" / "fit_vectors.csv"


@dataclass(frozen=True)
class Row:
    """One value: record, time count (None where the row has no time), value (None where absent), flag, counter."""

    record: int
    time: int | None
    value: float | None
    flag: str | None = None
    counter: str = ""


@dataclass
class Read:
    """One reading: rows by recording and signal, what describes each channel, and all else that was said."""

    rows: dict[tuple[int, str], list[Row]] = field(default_factory=dict)
    described: dict[tuple[int, str], list[tuple[str, ...]]] = field(default_factory=dict)
    rejected: list[Rejected] = field(default_factory=list)
    events: list[tuple[int, str, int | None, str]] = field(default_factory=list)
    about: dict[int, Recording] = field(default_factory=dict)
    notes: dict[tuple[str, str, str], int] = field(default_factory=dict)
    error: Exception | None = None

    @property
    def comparable(self) -> tuple[Any, ...]:
        """Return all that must not depend on how the source was cut into blocks, nor change from time to time."""
        error = None if self.error is None else (type(self.error), str(self.error))
        return self.rows, self.described, self.rejected, self.events, self.about, self.notes, error

    def values(self, signal: str, recording: int = 1) -> list[float | None]:
        """Return a channel's values, None where absent."""
        return [row.value for row in self.rows.get((recording, signal), [])]

    def times(self, signal: str, recording: int = 1) -> list[int | None]:
        """Return a channel's times as the importer counts them."""
        return [row.time for row in self.rows.get((recording, signal), [])]

    def rules(self) -> set[str]:
        """Return the rules of the notes."""
        return {rule for rule, _, _ in self.notes}


def read(data: bytes, developer_fields: Any = "ignore", opener: Callable[[], BinaryIO] | None = None) -> Read:
    """Read bytes to their end or to one of the project's errors; any other error is raised."""
    source = Source("x.fit", len(data), opener or (lambda: io.BytesIO(data)), FitOptions(developer_fields))
    result = Read(notes=source.notes)
    try:
        for item in FitImporter().read(source):
            _take(result, item)
    except SourceError as error:
        result.error = error
    return result


def _take(result: Read, item: Any) -> None:
    if isinstance(item, SourceBatch):
        for column in item.columns:
            _column(result, item, column)
    elif isinstance(item, Rejected):
        result.rejected.append(item)
    elif isinstance(item, Event):
        for time, there, text in zip(item.time.values, item.time.present, item.texts, strict=True):
            result.events.append((item.recording, item.kind, int(time) if there else None, text))
    else:
        assert isinstance(item, Recording)
        before = result.about.get(item.recording, Recording(item.recording))
        assert not before.not_carried.keys() - item.not_carried.keys(), "later words win, so none may be left out"
        result.about[item.recording] = item


def _column(result: Read, batch: SourceBatch, column: Column) -> None:
    assert column.signal in SIGNALS
    n = len(batch)
    assert n, "an empty batch"
    assert batch.time.basis == "utc"
    assert batch.time.epoch_s == EPOCH
    assert batch.time.present is not None
    assert len(column.values) == len(batch.time) == len(batch.time.present) == n
    key = (batch.recording, column.signal)
    rows = result.rows.setdefault(key, [])
    assert not rows or int(batch.record[0]) > rows[-1].record, "a channel went back"
    words = (column.field, column.unit, column.counts, column.sensor, batch.time.unit)
    known = result.described.setdefault(key, [])
    if words not in known:
        known.append(words)
    for at in range(n):
        there = column.present is None or bool(column.present[at])
        rows.append(
            Row(
                int(batch.record[at]),
                int(batch.time.values[at]) if batch.time.present[at] else None,
                column.values[at].item() if there else None,
                column.flags[at] if column.flags else None,
                column.counter if isinstance(column.counter, str) else str(column.counter[at]),
            )
        )


def vectors() -> dict[str, bytes]:
    """Return the published byte vectors by name."""
    with PUBLISHED.open(encoding="utf-8", newline="") as stream:
        return {row["name"]: bytes.fromhex(row["hex"]) for row in csv.DictReader(stream)}


def samples() -> list[Any]:
    """Return the real FIT files as test parameters; one that skips with the reason where they are not to be had."""
    folder = os.environ.get("VAMBRACE_SAMPLES")
    files = sorted((Path(folder) / "fit").glob("*.fit")) if folder else []
    if not files:
        reason = "VAMBRACE_SAMPLES does not name a folder of real files"
        return [pytest.param(Path("none.fit"), marks=pytest.mark.skip(reason=reason), id="no-samples")]
    return [pytest.param(path, id=path.stem) for path in files]


def begin(kind: int = 4, created: int | None = T0, serial: int = 391) -> FitEncoder:
    """Return an encoder whose file says what it is."""
    fit = FitEncoder()
    fit.define(0, 0, [(0, "enum"), (1, "uint16"), (2, "uint16"), (3, "uint32z"), (4, "uint32")])
    fit.write(0, kind, 255, 1, serial, created)
    return fit


def small() -> bytes:
    """Return a small file with one of most things: for cutting and for wounding."""
    fit = begin()
    fit.define(1, 20, [TIME, (3, "uint8"), (0, "sint32"), (1, "sint32"), (2, "uint16"), (4, "uint8")])
    fit.write(1, T0, 70, 400_000_000, -300_000_000, 3000, 80)
    fit.define(2, 78, [(0, "uint16", 3)], big_endian=True)
    fit.write(2, [812, 799, None])
    fit.define(1, 20, [(3, "uint8")])
    fit.write_compressed(1, T0 + 2, 71)
    fit.define(3, 55, [(26, "uint16"), (3, "uint32"), (24, "byte")])
    fit.write(3, (T0 + 60) & 0xFFFF, 44, 3 << 5 | 6)
    fit.define(4, 269, [TIME, (0, "uint8"), (1, "uint8"), (2, "enum")])
    fit.write(4, T0 + 61, 97, 3, 1)
    fit.define(5, 207, [(3, "uint8")])
    fit.write(5, 0)
    fit.define(5, 206, [(0, "uint8"), (1, "uint8"), (2, "uint8"), (3, "string", 4), (15, "uint8")])
    fit.write(5, 0, 7, 2, "hr2", 3)
    fit.define(6, 20, [TIME], developer=[(7, "uint8", 0)])
    fit.write(6, T0 + 62, 72)
    fit.define(7, 132, [TIME, (9, "uint32"), (6, "uint8")])
    fit.write(7, T0 + 63, 4096, 73)
    fit.define(7, 132, [(10, "byte", 3), (6, "uint8", 2)])
    fit.write(7, [0x00, 0x04, 0x80], [74, 75])
    fit.define(8, 18, [TIME, (2, "uint32"), (5, "enum")])
    fit.write(8, T0 + 64, T0, 1)
    return bytes(fit.to_bytes())
