"""Keeps the books of one source: its recordings, what is not carried, what was decided."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from vambrace.plugin import Column, Event, Recording, Rejected, Source, SourceBatch, Times
from vambrace_plugins.importers.fit.decode import Block, field_name, message_name
from vambrace_plugins.importers.fit.profile import DEVELOPER_DATA_ID, FIELD_DESCRIPTION, FIT_EPOCH, SYSTEM_TIME

Ints = NDArray[np.int64]
Mask = NDArray[np.bool_]
_MOST_NAMES = 1_000
_ABOUT_FIELDS = frozenset({DEVELOPER_DATA_ID, FIELD_DESCRIPTION})
"""Messages that only say how others are to be read."""


Handed = TypeVar("Handed", bound=SourceBatch | Rejected)


def times(seconds: Ints) -> Times:
    """Return times in seconds of the FIT epoch; those since the device was switched on are no instants."""
    return Times(seconds, "s", "utc", FIT_EPOCH, seconds >= SYSTEM_TIME)


def time_text(seconds: int) -> str:
    """Return a time of the FIT epoch as ISO 8601 text, one that is no instant as its number."""
    if seconds < SYSTEM_TIME:
        return "" if seconds < 0 else str(seconds)
    return f"{np.datetime64(seconds + FIT_EPOCH, 's')}Z"


def batch(record: Ints, seconds: Ints, columns: tuple[Column, ...], recording: int) -> SourceBatch:
    """Return rows whose times are seconds of the FIT epoch."""
    return SourceBatch(record, times(seconds), columns, recording)


@dataclass(slots=True)
class Book:
    """What is known of the source and of the chained file at hand.

    Messages of one kind belong to a group; the messages of a group come from one device and share no signal with one
    another, so each group is one recording of the chained file, numbered as it first holds a field that is carried.
    `given` lists the recordings of which something was handed over.
    """

    source: Source
    recordings: int = 0
    groups: dict[str, int] = field(default_factory=dict)
    given: list[int] = field(default_factory=list)
    left: dict[str, int] = field(default_factory=dict)
    tallies: dict[int, dict[str, int]] = field(default_factory=dict)
    conversions: dict[int, dict[str, None]] = field(default_factory=dict)
    about: dict[str, str] = field(default_factory=dict)
    created: int = -1
    instants: int = 0
    since_power_up: int = 0

    def recording(self, group: str) -> int:
        """Return the recording of a group of messages, a new one where the group is new."""
        if group not in self.groups:
            self.recordings += 1
            self.groups[group] = self.recordings
        return self.groups[group]

    def hand_over(self, item: Handed) -> Handed:
        """Take note that a recording gives something."""
        if item.recording not in self.given:
            self.given.append(item.recording)
        return item

    def convert(self, recording: int, sentence: str) -> None:
        """Record what had to be decided for a recording."""
        self.conversions.setdefault(recording, {})[sentence] = None

    def leave(self, name: str, count: int = 1) -> None:
        """Count values that are not carried; beyond a thousand names they share one."""
        if count:
            name = name if name in self.left or len(self.left) < _MOST_NAMES else "other fields"
            self.left[name] = self.left.get(name, 0) + int(count)

    def leave_rest(self, block: Block) -> None:
        """Count the fields of a block that nobody reads; a message that the profile does not know counts as one."""
        if block.message in _ABOUT_FIELDS:
            return
        if message_name(block.message) is None:
            self.leave(f"message_{block.message}", len(block))
            return
        for key, count in block.counts.items():
            if isinstance(key, int):
                self.leave(field_name(block.message, key), count)
            else:
                index, number, name = key
                words = f" ({name})" if name else ""
                self.leave(f"{message_name(block.message)}.developer_{index}_{number}{words}", count)

    def saw_times(self, seconds: Ints) -> None:
        """Count how many rows have an instant, and how many only a count since the device was switched on."""
        good = int((seconds >= SYSTEM_TIME).sum())
        self.instants += good
        self.since_power_up += int((seconds >= 0).sum()) - good

    def end_file(self, complete: bool, events: list[tuple[str, Ints, list[str]]]) -> Iterator[Recording | Event]:
        """Yield what is known of the chained file's recordings, and forget it."""
        mine = [recording for recording in self.groups.values() if recording in self.given]
        first = mine[0] if mine else max(self.given, default=1)
        tally = self.tallies.setdefault(first, {})
        for name, count in self.left.items():
            tally[name] = tally.get(name, 0) + count
        for kind, seconds, texts in events:
            yield Event(kind, times(seconds), texts, first)
        for recording in mine or [first]:
            about: Mapping[str, Any] = self.about if mine else {}
            yield Recording(
                recording,
                about.get("manufacturer"),
                about.get("product"),
                about.get("serial"),
                about.get("firmware"),
                complete if mine else None,
                self.tallies.get(recording, {}),
                tuple(self.conversions.get(recording, ())),
            )
        self.groups, self.left, self.about, self.created = {}, {}, {}, -1
