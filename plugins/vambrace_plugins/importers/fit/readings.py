"""Single readings with a time of their own: SpO2, sleep levels, respiration rates."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from vambrace.plugin import Column, Rejected, SourceBatch
from vambrace_plugins.importers.fit.book import Book, batch, time_text
from vambrace_plugins.importers.fit.decode import Block, field_name
from vambrace_plugins.importers.fit.monitoring import GROUP
from vambrace_plugins.importers.fit.profile import RESPIRATION, SLEEP_LEVEL, SLEEP_STAGES, SPO2, SPO2_MODES, Scaled
from vambrace_plugins.importers.fit.scalar import present_or, scalar

_OFF_WRIST = 0
_SLEEP = (
    "sleep_stage: levels unmeasurable, awake, light, deep, rem read as 9, 0, 12, 3, 4",
    "sleep_stage: times as stamped; the file does not say how long a level lasts",
)


def readings(block: Block, book: Book) -> Iterator[SourceBatch | Rejected]:
    """Yield the readings of a block of spo2, sleep_level or respiration_rate messages."""
    reader = {SPO2: _spo2, SLEEP_LEVEL: _sleep, RESPIRATION: _respiration}[block.message]
    book.saw_times(block.time)
    yield from reader(block, book)


def _spo2(block: Block, book: Book) -> Iterator[SourceBatch | Rejected]:
    reading = scalar(block, Scaled(0), book)
    if reading is None:
        return
    confidence, mode = present_or(block, 1, -1), present_or(block, 2, -1)
    off = reading.present & (mode == _OFF_WRIST)
    recording = book.recording(GROUP)
    for at in np.flatnonzero(off):
        found, time = str(reading.values[at]), time_text(int(block.time[at]))
        yield Rejected("oxygen_saturation", int(block.record[at]), "not-worn", found, recording, time)
    rows = np.flatnonzero(reading.defined & ~off)
    if len(rows):
        flags = [_flags(*pair) for pair in zip(mode[rows].tolist(), confidence[rows].tolist(), strict=True)]
        column = Column(
            "oxygen_saturation",
            reading.values[rows],
            "%",
            field=reading.name,
            present=reading.present[rows],
            flags=flags,
        )
        yield batch(block.record[rows], block.time[rows], (column,), recording)


def _flags(mode: int, confidence: int) -> str | None:
    parts = [f"mode={SPO2_MODES.get(mode, mode)}"] if mode >= 0 else []
    parts += [f"confidence={confidence}"] if confidence >= 0 else []
    return "; ".join(parts) or None


def _sleep(block: Block, book: Book) -> Iterator[SourceBatch | Rejected]:
    level = scalar(block, Scaled(0), book)
    if level is None:
        return
    known = np.isin(level.values, list(SLEEP_STAGES))
    recording = book.recording(GROUP)
    for at in np.flatnonzero(level.present & ~known):
        found, time = str(level.values[at]), time_text(int(block.time[at]))
        yield Rejected("sleep_stage", int(block.record[at]), "unknown-code", found, recording, time)
    rows = np.flatnonzero(level.defined & (known | ~level.present))
    if len(rows):
        stages = np.array([SLEEP_STAGES.get(each, 9) for each in level.values[rows].tolist()], np.int64)
        for sentence in _SLEEP:
            book.convert(recording, sentence)
        column = Column("sleep_stage", stages, "{stage}", field=field_name(SLEEP_LEVEL, 0), present=level.present[rows])
        yield batch(block.record[rows], block.time[rows], (column,), recording)


def _respiration(block: Block, book: Book) -> Iterator[SourceBatch | Rejected]:
    rate = scalar(block, Scaled(0, 100), book)
    rows = np.flatnonzero(rate.defined) if rate else np.zeros(0, np.int64)
    if rate is not None and len(rows):
        column = Column("respiratory_rate", rate.values[rows], "/min", field=rate.name, present=rate.present[rows])
        yield batch(block.record[rows], block.time[rows], (column,), book.recording(GROUP))
