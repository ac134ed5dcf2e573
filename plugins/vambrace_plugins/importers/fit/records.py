"""Record messages: what the device measured at each instant of an activity."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from vambrace.plugin import Column, SourceBatch
from vambrace_plugins.importers.fit.book import Book, Ints, batch
from vambrace_plugins.importers.fit.decode import Block, field_name
from vambrace_plugins.importers.fit.late import Late
from vambrace_plugins.importers.fit.profile import (
    CADENCE,
    COMPRESSED_SPEED_DISTANCE,
    FRACTIONAL_CADENCE,
    LATITUDE,
    LONGITUDE,
    RECORD,
    RECORD_SIGNALS,
    Fine,
    Scaled,
)
from vambrace_plugins.importers.fit.scalar import Scalar, chosen, present_or, scalar

GROUP = "records"
_LATE = frozenset({"heart_rate"})


class Records:
    """The record messages of a chained file, signal by signal, so that only what a record's definition holds counts."""

    def __init__(self, book: Book, late: Late) -> None:
        self.book, self.late = book, late
        self.travelled = 0
        self.last_twelve_bits = 0

    def take(self, block: Block) -> Iterator[SourceBatch]:
        """Yield the values of record messages; heart rate and cadence wait for their labels."""
        self.book.saw_times(block.time)
        yield from self._positions(block)
        speed, distance = self._compressed(block)
        more = {"speed": speed, "distance": distance}
        for signal in RECORD_SIGNALS:
            yield from self._signal(block, signal, more.get(signal.signal))
        self._cadence(block)

    def _signal(self, block: Block, signal: Fine, coarsest: Scalar | None) -> Iterator[SourceBatch]:
        found = [scalar(block, scaled, self.book) for scaled in signal.fields]
        candidates = [each for each in (*found, coarsest) if each is not None]
        for source, rows in chosen(candidates, self.book):
            made = self._batch(block, rows, signal.signal, signal.unit, source)
            if signal.signal in _LATE:
                self.late.add(made, block.time[rows])
            else:
                yield made

    def _batch(self, block: Block, rows: Ints, signal: str, unit: str, source: Scalar) -> SourceBatch:
        column = Column(signal, source.values[rows], unit, field=source.name, present=source.present[rows])
        return batch(block.record[rows], block.time[rows], (column,), self.book.recording(GROUP))

    def _positions(self, block: Block) -> Iterator[SourceBatch]:
        halves = [
            (signal, half)
            for signal, number in (("latitude", LATITUDE), ("longitude", LONGITUDE))
            if (half := scalar(block, Scaled(number), self.book)) is not None
        ]
        if not halves:
            return
        rows = np.flatnonzero(np.logical_or.reduce([half.defined for _, half in halves]))
        if len(rows):
            columns = tuple(
                Column(signal, half.values[rows], "{fit_semicircle}", field=half.name, present=half.present[rows])
                for signal, half in halves
            )
            yield batch(block.record[rows], block.time[rows], columns, self.book.recording(GROUP))

    def _compressed(self, block: Block) -> tuple[Scalar | None, Scalar | None]:
        """Return speed and distance out of three packed bytes: 12 bits of 1/100 m/s, 12 bits of 1/16 m that run on."""
        raw = block.fields.get(COMPRESSED_SPEED_DISTANCE)
        if raw is None or raw.values.shape[1] < 3:
            return None, None
        name = field_name(RECORD, COMPRESSED_SPEED_DISTANCE)
        first, second, third = raw.values[:, 0], raw.values[:, 1], raw.values[:, 2]
        defined = raw.width == 3
        present = defined & ~((first == 0xFF) & (second == 0xFF) & (third == 0xFF))
        speed = first | (second & 15) << 8
        twelve = np.where(present, second >> 4 | third << 4, 0)
        metres = np.zeros(len(block), np.float64)
        rows = np.flatnonzero(present)
        if len(rows):
            steps = np.diff(twelve[rows], prepend=self.last_twelve_bits) & 0xFFF
            sixteenths = self.travelled + np.cumsum(steps)
            self.travelled, self.last_twelve_bits = int(sixteenths[-1]), int(twelve[rows[-1]])
            metres[rows] = sixteenths / 16
            self.book.convert(
                self.book.recording(GROUP), "distance: 12-bit counts of 1/16 m joined where they roll over"
            )
        return (
            Scalar(f"{name}.speed", speed / 100, present & (speed != 0xFFF), defined),
            Scalar(f"{name}.distance", metres, present, defined),
        )

    def _cadence(self, block: Block) -> None:
        whole = scalar(block, Scaled(CADENCE), self.book)
        if whole is None:
            return
        values, name = whole.values, whole.name
        if FRACTIONAL_CADENCE in block.fields:
            values = values + present_or(block, FRACTIONAL_CADENCE, 0) / 128
        rows = np.flatnonzero(whole.defined)
        if len(rows):
            source = Scalar(name, values, whole.present, whole.defined)
            made = self._batch(block, rows, "cadence", "/min", source)
            self.late.add(made, block.time[rows])
