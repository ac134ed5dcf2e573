"""The events of one source, of which only the first of each kind are listed: a broken counter resets at every row."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

LISTED = 10_000
"""Events of one kind that are listed for each source; those beyond are counted."""


@dataclass(frozen=True, slots=True)
class Happening:
    """One event of a recording, in int64 microseconds UTC."""

    recording: int
    time_us: int
    kind: str
    text: str


@dataclass(slots=True)
class Unlisted:
    """The events of one kind and recording that are only counted, with the earliest and the latest time."""

    count: int
    first_us: int
    last_us: int


@dataclass(slots=True)
class Happenings:
    """Takes events in file order, in memory that does not grow with them."""

    unlisted: dict[tuple[int, str], Unlisted] = field(default_factory=dict)
    _listed: list[Happening] = field(default_factory=list)
    _kinds: Counter[str] = field(default_factory=Counter)

    def __iter__(self) -> Iterator[Happening]:
        return iter(self._listed)

    def add(self, recording: int, time_us: int, kind: str, text: str) -> None:
        """List an event, or count it."""
        self._kinds[kind] += 1
        if self._kinds[kind] <= LISTED:
            self._listed.append(Happening(recording, time_us, kind, text))
            return
        known = self.unlisted.setdefault((recording, kind), Unlisted(0, time_us, time_us))
        known.count += 1
        known.first_us, known.last_us = min(known.first_us, time_us), max(known.last_us, time_us)

    def count_of_others(self, recordings: set[int]) -> int:
        """Return how many events belong to none of the recordings."""
        more = sum(known.count for (recording, _), known in self.unlisted.items() if recording not in recordings)
        return more + sum(each.recording not in recordings for each in self._listed)
