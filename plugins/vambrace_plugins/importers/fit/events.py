"""Laps, and pauses of the timer."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from vambrace_plugins.importers.fit.book import Book, Ints
from vambrace_plugins.importers.fit.decode import Block
from vambrace_plugins.importers.fit.profile import EVENT, LAP
from vambrace_plugins.importers.fit.scalar import present_or

_TIMER = 0
_START, _STOPS = 0, frozenset({1, 4, 8, 9})


@dataclass(slots=True)
class Events:
    """The laps and pauses of a chained file, until its end.

    A stop is a pause once the timer is started again: the last stop ends the recording, the first start begins it.
    """

    book: Book
    laps: list[tuple[int, str]] = field(default_factory=list)
    pauses: list[int] = field(default_factory=list)
    resumes: list[int] = field(default_factory=list)
    stopped: int | None = None

    def take(self, block: Block) -> None:
        """Take event or lap messages."""
        if block.message == LAP:
            self._laps(block)
        else:
            self._events(block)

    def _laps(self, block: Block) -> None:
        starts, lengths = present_or(block, 2, -1), present_or(block, 7, -1)
        for start, length in zip(starts.tolist(), lengths.tolist(), strict=True):
            spent = f", {length / 1000:.3f} s" if length >= 0 else ""
            self.laps.append((start, f"lap {len(self.laps) + 1}{spent}"))

    def _events(self, block: Block) -> None:
        events, types = present_or(block, 0, -1), present_or(block, 1, -1)
        for event, type_, time in zip(events.tolist(), types.tolist(), block.time.tolist(), strict=True):
            if event != _TIMER:
                self.book.leave(f"event {event}" if event >= 0 else "event without kind")
            elif type_ in _STOPS:
                self.stopped = time if self.stopped is None else self.stopped
            elif type_ == _START and self.stopped is not None:
                self.pauses.append(self.stopped)
                self.resumes.append(time)
                self.stopped = None
            elif type_ != _START:
                self.book.leave("event 0 (timer), neither start nor stop")

    def all(self) -> list[tuple[str, Ints, list[str]]]:
        """Return kind, times and texts of all that happened."""
        starts = np.array([start for start, _ in self.laps], np.int64)
        found = [
            ("lap", starts, [text for _, text in self.laps]),
            ("pause", np.array(self.pauses, np.int64), ["timer stopped"] * len(self.pauses)),
            ("resume", np.array(self.resumes, np.int64), ["timer started"] * len(self.resumes)),
        ]
        return [each for each in found if len(each[1])]


EVENT_MESSAGES = frozenset({EVENT, LAP})
