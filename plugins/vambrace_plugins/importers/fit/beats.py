"""Beats: RR intervals of hrv messages, and the beat events of hr messages with their heart rates."""

from __future__ import annotations

import numpy as np

from vambrace.plugin import Column, SourceBatch, Times
from vambrace_plugins.importers.fit.book import Book, Ints, Mask
from vambrace_plugins.importers.fit.decode import NO_TIME, Block, field_name
from vambrace_plugins.importers.fit.late import Late
from vambrace_plugins.importers.fit.profile import FIT_EPOCH, HR, HRV, SYSTEM_TIME
from vambrace_plugins.importers.fit.records import GROUP as WITH_RECORDS

GROUP = "beat events"
TOLERANCE_MS = 5_000
"""A chain of beats that is further than this from the device's clock is started anew."""

_CHAINED = "rr_interval: a beat's time is the time stamp before the first beat plus the intervals since; good to 1 s"
_ANEW = "rr_interval: the chain of beats started anew where it was more than 5 s from the device's time stamps"
_CREATED = "rr_interval: no time stamp stands before the beats; they are chained from the file's time of creation"


class Intervals:
    """The hrv messages of a chained file: intervals without times, which are chained (see docs/decisions/0003)."""

    def __init__(self, book: Book, late: Late) -> None:
        self.book, self.late = book, late
        self.chain: int | None = None
        self.clock = NO_TIME

    def take(self, block: Block) -> None:
        """Take hrv messages; their beats wait for the sensor's name."""
        raw = block.fields.get(0)
        if raw is None:
            return
        recording = self.book.recording(WITH_RECORDS)
        at_row, _ = np.nonzero(raw.valid)
        if not len(at_row):
            return
        values = raw.values[raw.valid]
        starts = self._starts(block.clock, np.bincount(at_row, values, len(block)).astype(np.int64))
        sums = np.cumsum(values)
        before = np.concatenate(([0], sums))[np.searchsorted(at_row, at_row)]
        time = np.where(starts[at_row] == NO_TIME, NO_TIME, starts[at_row] + sums - before)
        self.book.convert(recording, _CHAINED)
        seconds = np.where(time < 0, NO_TIME, time // 1000)
        self.book.saw_times(seconds)
        times = Times(time, "ms", "utc", FIT_EPOCH, time >= SYSTEM_TIME * 1000)
        column = Column("rr_interval", values, "ms", field=field_name(HRV, 0))
        self.late.add(SourceBatch(block.record[at_row], times, (column,), recording), seconds)

    def _starts(self, clocks: Ints, lengths: Ints) -> Ints:
        """Return when the first interval of each message begins, in milliseconds of the FIT epoch."""
        starts = np.full(len(clocks), NO_TIME, np.int64)
        for at, (clock, length) in enumerate(zip(clocks.tolist(), lengths.tolist(), strict=True)):
            if not length:
                continue
            if self.chain is None or (clock != self.clock and abs(self.chain - clock * 1000) > TOLERANCE_MS):
                self._anchor(clock)
            self.clock = clock
            if self.chain is not None:
                starts[at] = self.chain
                self.chain += length
        return starts

    def _anchor(self, clock: int) -> None:
        recording = self.book.recording(WITH_RECORDS)
        if self.chain is not None:
            self.book.convert(recording, _ANEW)
            self.book.source.note("beats-anew", "beats and time stamps were more than 5 s apart: chained anew")
        elif clock == NO_TIME and self.book.created != NO_TIME:
            self.book.convert(recording, _CREATED)
            message = "RR intervals have no time stamp before them: their times count from the file's creation"
            self.book.source.note("beats-from-creation", message, "warning")
            clock = self.book.created
        self.chain = None if clock == NO_TIME else clock * 1000


class BeatEvents:
    """The hr messages of a chained file: beats with times of 1/1024 s, later ones by their low 12 bits alone."""

    def __init__(self, book: Book, late: Late) -> None:
        self.book, self.late = book, late
        self.event: int | None = None
        self.ticks = 0
        self.anchored = False

    def take(self, block: Block) -> None:
        """Take hr messages; their values wait for the sensor's name."""
        rows: list[int] = []
        ticks: list[int] = []
        steps: list[int] = []
        rates: list[int] = []
        for at in range(len(block)):
            found = self._message(block, at)
            rate = _rates(block, at)
            if len(rate) > len(found):
                self.book.leave(field_name(HR, 6), sum(each >= 0 for each in rate[len(found) :]))
            for number, (tick, step) in enumerate(found):
                rows.append(at)
                ticks.append(tick)
                steps.append(step)
                rates.append(rate[number] if number < len(rate) else -1)
        recording = self.book.recording(GROUP)
        if rows:
            self._hand_over(recording, block.record[rows], np.array(ticks), np.array(steps), np.array(rates))

    def _message(self, block: Block, at: int) -> list[tuple[int, int]]:
        """Return the beats of a message: time in 1/32768 s of the FIT epoch, and 1/1024 s since the beat before."""
        found = []
        for place, event in enumerate(_elements(block, 9, at)):
            if event >= 0:
                anchor = int(block.time[at]) if place == 0 else NO_TIME
                found.append(self._beat(event, 0xFFFFFFFF, anchor, _fraction(block, at)))
        for event in _twelve_bits(block, at):
            found.append(self._beat(event, 0xFFF, NO_TIME, 0))
        return found

    def _beat(self, event: int, mask: int, anchor: int, fraction: int) -> tuple[int, int]:
        step = -1 if self.event is None else (event - self.event) & mask
        self.event = event if self.event is None else (self.event + step) & 0xFFFFFFFF
        if anchor != NO_TIME:
            self.ticks, self.anchored = anchor * 32768 + fraction, True
        elif step >= 0:
            self.ticks += step * 32
        return (self.ticks if self.anchored else NO_TIME), step

    def _hand_over(self, recording: int, record: Ints, ticks: Ints, steps: Ints, rates: Ints) -> None:
        seconds, fraction = np.where(ticks < 0, NO_TIME, ticks >> 15), ticks & 32767
        # 1/32768 s is 1953125/64 ns; the core cuts what a microsecond does not hold, and records that.
        nanoseconds = np.where(ticks < 0, 0, seconds * 1_000_000_000 + fraction * 1_953_125 // 64)
        self.book.saw_times(seconds)
        self.book.convert(recording, "rr_interval: the time between successive beat events of hr messages")
        times = Times(nanoseconds, "ns", "utc", FIT_EPOCH, seconds >= SYSTEM_TIME)
        present: Mask = rates >= 0
        for column in (
            Column("heart_rate", np.maximum(rates, 0), "bpm", field=field_name(HR, 6), present=present),
            Column("rr_interval", np.maximum(steps, 0), "s/1024", field=field_name(HR, 9), present=steps > 0),
        ):
            self.late.add(SourceBatch(record, times, (column,), recording), seconds)


def _elements(block: Block, number: int, at: int) -> list[int]:
    """Return the elements of a field in one message, -1 where an element has no value."""
    raw = block.fields.get(number)
    if raw is None:
        return []
    width = int(raw.width[at])
    return [int(each) for each in np.where(raw.valid[at, :width], raw.values[at, :width], -1)]


def _rates(block: Block, at: int) -> list[int]:
    return _elements(block, 6, at)


def _fraction(block: Block, at: int) -> int:
    """Return the fraction of an anchor's second in 1/32768 s, from either of the two fields that may give it."""
    for number, factor in ((0, 1), (1, 128)):
        found = _elements(block, number, at)
        if found and found[0] >= 0:
            return found[0] * factor
    return 0


def _twelve_bits(block: Block, at: int) -> list[int]:
    """Return the 12-bit values of a message, packed low bits first, two in three bytes."""
    raw = block.fields.get(10)
    if raw is None or not raw.valid[at].any():
        return []
    packed = raw.values[at, : int(raw.width[at])].tolist()
    found = []
    for place in range(0, len(packed) - 1, 3):
        found.append(packed[place] | (packed[place + 1] & 15) << 8)
        if place + 2 < len(packed):
            found.append(packed[place + 1] >> 4 | packed[place + 2] << 4)
    return found
