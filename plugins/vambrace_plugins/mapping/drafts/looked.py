"""What was seen of an export: where its rows stand, and some of them."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TypeVar

from vambrace.plugin import Refused
from vambrace_plugins.importers.csv.cells import ABSENT
from vambrace_plugins.importers.csv.timecells import kind_of
from vambrace_plugins.importers.csv.timewords import TimeWords
from vambrace_plugins.importers.csv.vocabulary import parts, plain, read_heading, spellings
from vambrace_plugins.mapping.drafts.page import Entry
from vambrace_plugins.mapping.model import Kind

T = TypeVar("T")
MOST_ROWS = 4_000
MOST_FIELDS = 300
_STEPS = re.compile(r"[./@]+")
_NUMBER = re.compile(r"^[+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?$")
# Names that say nothing of what stands there; the name before says it (common practice, no source).
_GENERIC = {"value", "val", "values", "reading", "measurement", "amount", "data", "v", "quantity", "result"}
_EDGES = {"end": {"end", "ended", "stop", "stopped", "finished"}, "start": {"start", "started", "begin", "began"}}


@dataclass(slots=True)
class Looked:
    """Some rows of an export, by field, and what a mapping says of where they stand.

    `read` says which part of the export the rows are from; `notes` are for people. `header` are words by which JSON
    and XML are known.
    """

    kind: Kind
    rows: Sequence[Mapping[str, str]]
    settings: list[Entry] = field(default_factory=list)
    header: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    read: str = ""

    def columns(self) -> dict[str, list[str]]:
        """Return the cells of each field, "" where a row has none."""
        names = list(dict.fromkeys(name for row in self.rows for name in row if name))[:MOST_FIELDS]
        return {name: [row.get(name, "").strip() for row in self.rows] for name in names}


def thinned(rows: Sequence[T]) -> list[T]:
    """Return rows from everywhere in their order, no more than are looked at; the first half as they stand."""
    half = MOST_ROWS // 2
    if len(rows) <= MOST_ROWS:
        return list(rows)
    return [*rows[:half], *rows[half :: -(-(len(rows) - half) // half)]]


def labels(name: str) -> list[str]:
    """Return what a field may be called, the likeliest first: a path ends in its name, or in a word for any value."""
    steps = [step for step in _STEPS.split(name.replace("../", "")) if step and not step.isdecimal()]
    last = [step for step in reversed(steps) if plain(step) not in _GENERIC][:1] or steps[-1:]
    return list(dict.fromkeys([*last, " ".join(steps), name]))


def filled(cells: Sequence[str]) -> list[str]:
    """Return the cells that hold anything but a usual word for no value."""
    return [cell for cell in cells if cell and cell.lower() not in ABSENT]


def numbers(cells: Sequence[str]) -> list[float]:
    """Return the numbers among cells."""
    return [float(cell.replace(",", ".")) for cell in cells if _NUMBER.match(cell)]


def numeric(cells: Sequence[str]) -> bool:
    """Say whether nearly all cells that hold anything are numbers."""
    held = filled(cells)
    return bool(held) and len(numbers(held)) >= 0.8 * len(held)


def time_words(name: str) -> TimeWords | None:
    """Return what a field's name says of times, or None where it names none."""
    for label in labels(name):
        found = read_heading(label).time
        if found is not None:
            return found
        # `started_at` and `sampleTime` are times too; what they say beyond that is not known.
        for words in spellings(parts(label)[0]):
            told = words.split()
            if told[-1:] == ["at"] or (len(told) > 1 and told[-1] in {"time", "timestamp", "date"}):
                edge = next((edge for edge, names in _EDGES.items() if names & {*told}), "")
                return TimeWords("date" if told[-1] == "date" else "time", edge)
    return None


def time_kind(cells: Sequence[str]) -> str:
    """Return how the times of a field are written, "" where it holds none."""
    held = filled(cells)[:500]
    try:
        return kind_of(held, "") if held else ""
    except Refused:
        return ""


def is_time(name: str, cells: Sequence[str]) -> bool:
    """Say whether a field is one of times by its cells, or by its name where they are numbers."""
    kind = time_kind(cells)
    return kind not in {"", "number"} or (kind == "number" and time_words(name) is not None)
