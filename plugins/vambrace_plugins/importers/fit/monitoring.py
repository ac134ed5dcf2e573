"""Monitoring messages: a day's steps, per type of activity, and heart rates, mostly with the lower half of a time."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from vambrace.plugin import Column, SourceBatch
from vambrace_plugins.importers.fit.book import Book, Ints, batch
from vambrace_plugins.importers.fit.decode import NO_TIME, Block
from vambrace_plugins.importers.fit.profile import ACTIVITY_TYPES, Scaled
from vambrace_plugins.importers.fit.scalar import chosen, present_or, scalar

GROUP = "day"
_CYCLES, _TYPE, _CYCLES_16, _PACKED_TYPE, _TIME_16, _HEART_RATE = 3, 5, 9, 24, 26, 27
_NO_TYPE = -1
_LONG = 0x8000
_STEPS = "step_count: cycles of walking and running as stored, which are steps (the profile's scale of 2 not applied)"


class Monitoring:
    """The monitoring messages of a chained file."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self.last = NO_TIME

    def take(self, block: Block) -> Iterator[SourceBatch]:
        """Yield steps and heart rates."""
        time = self._times(block)
        self.book.saw_times(time)
        yield from self._steps(block, time)
        heart_rate = scalar(block, Scaled(_HEART_RATE), self.book)
        for source, rows in chosen([heart_rate] if heart_rate else [], self.book):
            column = Column("heart_rate", source.values[rows], "bpm", field=source.name, present=source.present[rows])
            yield batch(block.record[rows], time[rows], (column,), self.book.recording(GROUP))

    def _times(self, block: Block) -> Ints:
        """Return each message's time: its own, or the next one whose lower 16 bits are the given ones.

        The decoder does not apply `timestamp_16`. It counts on from the last time of a monitoring message; where other
        messages' times have run far ahead of that (the device lay unused), from theirs.
        """
        lower = present_or(block, _TIME_16, -1)
        time = block.time.copy()
        rows = zip(block.time.tolist(), lower.tolist(), block.clock.tolist(), strict=True)
        for at, (own, low, clock) in enumerate(rows):
            if own != NO_TIME:
                self.last = own
            elif low >= 0:
                last = clock if self.last == NO_TIME or clock - self.last > _LONG else self.last
                if last == NO_TIME:
                    continue
                self.last = time[at] = last + ((low - last) & 0xFFFF)
                if time[at] - last > _LONG:
                    message = "a 16-bit time lies more than nine hours after the one before: it may belong before it"
                    self.book.source.note("long-step", message, "warning")
        return time

    def _steps(self, block: Block, time: Ints) -> Iterator[SourceBatch]:
        packed = block.fields.get(_PACKED_TYPE)
        type_ = present_or(block, _TYPE, _NO_TYPE)
        if packed is not None:
            from_packed = np.where(packed.valid[:, 0], packed.values[:, 0] & 31, _NO_TYPE)
            type_ = np.where(type_ == _NO_TYPE, from_packed, type_)
        is_steps = np.isin(type_, list(ACTIVITY_TYPES))
        candidates = [each for n in (_CYCLES, _CYCLES_16) if (each := scalar(block, Scaled(n), self.book)) is not None]
        names = np.array([ACTIVITY_TYPES.get(int(each), "") for each in type_])
        for each in candidates:
            for other in np.unique(type_[each.present & ~is_steps]):
                count = int((each.present & (type_ == other)).sum())
                of = "without activity type" if other == _NO_TYPE else f"of activity type {other}"
                self.book.leave(f"{each.name} {of}", count)
        for source, found in chosen(candidates, self.book):
            recording = self.book.recording(GROUP)
            rows = found[is_steps[found]]
            if not len(rows):
                continue
            self.book.convert(recording, _STEPS)
            column = Column(
                "step_count",
                source.values[rows],
                "{steps}",
                field=source.name,
                present=source.present[rows],
                counter=names[rows],
            )
            yield batch(block.record[rows], time[rows], (column,), recording)
