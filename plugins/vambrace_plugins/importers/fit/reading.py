"""Hands each kind of message to the module that knows what it means."""

from __future__ import annotations

from collections.abc import Iterator

from vambrace.plugin import DamagedFile, Event, Recording, Refused, Rejected, Source, SourceBatch
from vambrace_plugins.importers.fit import profile
from vambrace_plugins.importers.fit.beats import BeatEvents, Intervals
from vambrace_plugins.importers.fit.book import Book
from vambrace_plugins.importers.fit.decode import Block, FileEnd, read_blocks
from vambrace_plugins.importers.fit.developer import native
from vambrace_plugins.importers.fit.devices import DEVICE_MESSAGES, Devices
from vambrace_plugins.importers.fit.events import EVENT_MESSAGES, Events
from vambrace_plugins.importers.fit.late import Late
from vambrace_plugins.importers.fit.localtime import LOCAL_TIMES, note_offset
from vambrace_plugins.importers.fit.monitoring import Monitoring
from vambrace_plugins.importers.fit.readings import readings
from vambrace_plugins.importers.fit.records import Records

_READINGS = frozenset({profile.SPO2, profile.SLEEP_LEVEL, profile.RESPIRATION})


def read_source(source: Source, native_too: bool) -> Iterator[SourceBatch | Rejected | Event | Recording]:
    """Yield what a source says, one chained file after the other; `native_too` asks for native developer fields."""
    book = Book(source)
    file = ChainedFile(book)
    with source.open() as stream:
        try:
            for item in read_blocks(stream, profile.WANTED, native=native_too):
                if isinstance(item, FileEnd):
                    yield from file.finish(complete=True)
                    file = ChainedFile(book)
                else:
                    yield from file.take(item)
        except DamagedFile:
            yield from file.finish(complete=False)
            raise
    _refuse_without_instants(book)


class ChainedFile:
    """One of the chained files of a source: the modules that read its messages, with their states."""

    def __init__(self, book: Book) -> None:
        self.book = book
        self.devices, self.events, self.late = Devices(book), Events(book), Late(book)
        self.records, self.monitoring = Records(book, self.late), Monitoring(book)
        self.intervals, self.beats = Intervals(book, self.late), BeatEvents(book, self.late)

    def take(self, block: Block) -> Iterator[SourceBatch | Rejected]:
        """Yield what a block of messages says; some of it waits for its labels until the end."""
        for item in self._rows(block):
            yield self.book.hand_over(item)
        self.book.leave_rest(block)
        yield from map(self.book.hand_over, self.late.overflow(self.devices.heart_rate_sensor))

    def _rows(self, block: Block) -> Iterator[SourceBatch | Rejected]:
        message = block.message
        if message == profile.RECORD:
            yield from self.records.take(block)
            yield from native(block, self.book)
        elif message == profile.MONITORING:
            yield from self.monitoring.take(block)
        elif message in _READINGS:
            yield from readings(block, self.book)
        else:
            self._listen(block)

    def _listen(self, block: Block) -> None:
        """Take a block that gives no rows by itself."""
        message = block.message
        if message == profile.HRV:
            self.intervals.take(block)
        elif message == profile.HR:
            self.beats.take(block)
        elif message in DEVICE_MESSAGES:
            self.devices.take(block)
        elif message in EVENT_MESSAGES:
            self.events.take(block)
        elif message in LOCAL_TIMES:
            note_offset(block, self.book.source)
        else:
            self.late.sports.take(block)

    def finish(self, complete: bool) -> Iterator[SourceBatch | Event | Recording]:
        """Yield what waited for the end of the file, and what is known of its recordings."""
        yield from map(self.book.hand_over, self.late.release(self.devices.heart_rate_sensor))
        yield from self.book.end_file(complete, self.events.all())


def _refuse_without_instants(book: Book) -> None:
    if book.since_power_up and not book.instants:
        raise Refused(
            "no-start",
            f"its {book.since_power_up:,} time stamps count seconds since the device was switched on, "
            "and nothing in it says when that was",
            todo="Export it again after the device has set its clock",
        )
