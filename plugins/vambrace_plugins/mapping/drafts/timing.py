"""Drafts where the times of rows come from: fields, format, zone, epoch or start."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from vambrace_plugins.importers.csv.timewords import UNIT_WORDS, TimeWords
from vambrace_plugins.mapping.drafts.counted import counted
from vambrace_plugins.mapping.drafts.dates import how_written
from vambrace_plugins.mapping.drafts.looked import filled, labels, time_kind, time_words
from vambrace_plugins.mapping.drafts.page import Entry, Part, ask, shown

_OFFSET = re.compile(r"^(?:[Zz]|(?:UTC|GMT)?[+-][0-9]{1,2}(?::?[0-9]{2})?)$")
_ZONE = re.compile(r"^(?:[A-Z][A-Za-z_]+(?:/[A-Za-z0-9_+\-]+)+|UTC|GMT)$")
_HAS_ZONE = re.compile(r"(?:[Zz]|UTC|GMT|[+-][0-9]{2}:?[0-9]{2}|:[0-9.,]+ ?[+-][0-9]{2})$")
_CLOCK = re.compile(r"[0-9]{1,2}:[0-9]{2}|[AaPp]\.?[Mm]\.?$|T[0-9]{2}")
_TICKS = {"t", "s", "sec", "secs", "seconds", "second", "ms", "time", "elapsed", "offset", "tick", "ticks", "min"}


@dataclass(frozen=True, slots=True)
class _Field:
    """One field that may hold times; `kind` is how they are written, `at_clock` and `dated` what they have."""

    name: str
    kind: str
    cells: Sequence[str]
    words: TimeWords | None
    dated: bool
    at_clock: bool

    @property
    def edge(self) -> str:
        """Return which edge of an interval the name says, if any."""
        return self.words.edge if self.words else ""

    @property
    def rank(self) -> tuple[bool, bool, bool, int]:
        """Return how likely it says when a row was measured."""
        own = not self.name.startswith("../")
        return own, len({*self.cells}) > 1, self.words is not None, len(self.cells)


def timing(columns: Mapping[str, Sequence[str]]) -> tuple[Part, set[str]]:
    """Return the table of the times, and the fields that it names."""
    zones = [name for name, cells in columns.items() if _is_zone(name, cells)]
    fields = [found for name, cells in columns.items() if name not in zones and (found := _field(name, cells))]
    own = [each for each in fields if not each.name.startswith("../")]
    whole = [each for each in own if each.dated and each.at_clock]
    varied = [each for each in whole if len({*each.cells}) > 1]
    dates = [each for each in fields if each.dated and not each.at_clock]
    clocks = [each for each in own if each.at_clock and not each.dated]
    counts = [each for each in own if each.kind == "number"]
    part = Part("[time]")
    if varied or (whole and not (clocks or counts)):
        used = _whole(part, varied or whole)
    elif clocks and (not counts or any(each.words for each in clocks)):
        used = _clock(part, clocks, dates)
    elif counts:
        return _of_counts(part, counts, fields)
    else:
        around = [each.name for each in fields if each.dated and each.at_clock]
        same = f"; {shown(around)} is of many rows" if around else ""
        question = f"which field says when a row was measured? It has {shown(columns, 8)}{same}"
        part.entries.append(
            Entry("column", ask(question), "a mapping cannot count rows from a start" if around else "")
        )
        return part, set()
    _zone(part, [each for each in fields if each.name in used], zones, used)
    return part, used


def _field(name: str, cells: Sequence[str]) -> _Field | None:
    held = filled(cells)
    kind = time_kind(cells)
    words = time_words(name)
    if kind == "number":
        dates = counted(held).epoch
        tick = not dates and any(label.lower() in _TICKS for label in labels(name))
        words = words or (TimeWords(elapsed=True, unit=_unit_named(name)) if tick else None)
        # A date in digits, as 20310304, is no count.
        if words and words.part == "date" and all(re.match(r"^(?:19|20)[0-9]{6}$", cell) for cell in held):
            return _Field(name, "digits", held, words, True, False)
        return _Field(name, kind, held, words, False, False) if words or dates else None
    if not kind:
        return None
    at_clock = kind in {"iso", "clock", "half-day", "packed"} or any(map(_CLOCK.search, held[:50]))
    dated = kind in {"iso", "day", "order", "month-name", "packed"} or (
        kind == "half-day" and any(re.search(r"[0-9][/.\-][0-9]|[A-Za-z]{3,}", cell) for cell in held[:50])
    )
    # A stopwatch's time has neither.
    return _Field(name, kind, held, words, dated and kind != "elapsed", at_clock and kind != "elapsed")


def _unit_named(name: str) -> str:
    return next((unit for label in labels(name) if (unit := UNIT_WORDS.get(label.lower()))), "")


def _is_zone(name: str, cells: Sequence[str]) -> bool:
    held = filled(cells)
    words = time_words(name)
    if words is not None and words.part in {"offset", "zone"}:
        return bool(held)
    return bool(held) and (all(map(_OFFSET.match, held)) or all(map(_ZONE.match, held)))


def _whole(part: Part, found: Sequence[_Field]) -> set[str]:
    """Draft times that are a date and a clock in one field."""
    ends = [each for each in found if each.edge == "end"]
    others = [each for each in found if each.edge != "end"] or list(found)
    best = max(others, key=lambda each: each.rank)
    rivals = [each for each in others if each is not best and each.rank[:3] == best.rank[:3]]
    end = next((each for each in ends if each is not best and best.edge == "start"), None)
    if rivals:
        which = shown([best.name, *(each.name for each in rivals)])
        part.entries.append(Entry("column", ask(f"which of {which} says when a row was measured?"), _begin(best)))
    else:
        part.entries.append(Entry("column", best.name, f"sure: {_begin(best)}"))
    if end is not None:
        part.entries.append(Entry("end", end.name, f"sure: {_begin(end)}"))
    part.entries += how_written("format", best.kind, best.cells)
    return {best.name, *([end.name] if end else []), *(each.name for each in rivals)}


def _clock(part: Part, clocks: Sequence[_Field], dates: Sequence[_Field]) -> set[str]:
    """Draft times of day, and the field of their dates."""
    best = max(clocks, key=lambda each: each.rank)
    used = {best.name}
    day = max(dates, key=lambda each: each.rank) if dates else best
    if dates:
        used.add(day.name)
        part.entries.append(Entry("date", day.name, f"sure: {_begin(day)}"))
        part.entries += how_written("date_format", day.kind, day.cells)
    # Where each row has a day of its own, a clock may as well be a bedtime.
    daily = bool(dates) and len({*day.cells}) == len(day.cells) > 1
    if best.words is None and (daily or not dates):
        question = f"does {shown([best.name])} say when a row was measured? If so, give it; if not, the field that does"
        part.entries.append(Entry("column", ask(question), _begin(best)))
    else:
        part.entries.append(Entry("column", best.name, f"{'sure' if best.words else 'likely'}: {_begin(best)}"))
    if best.kind == "half-day":
        part.entries += how_written("format", best.kind, best.cells)
    if not dates:
        if best.cells[0].startswith(("0:00", "00:00")):
            note = 'If these count from a start: format = "elapsed" with unit = "mm:ss" or "hh:mm", and start.'
            part.notes.append(note)
        part.entries.append(Entry("first_date", ask("the date of the first row, as in 2031-03-04")))
    return used


def _of_counts(part: Part, counts: Sequence[_Field], fields: Sequence[_Field]) -> tuple[Part, set[str]]:
    """Draft times that are numbers: since an epoch, or since a start."""
    best = max(counts, key=lambda each: (counted(each.cells).epoch, *each.rank))
    part.entries.append(Entry("column", best.name, f"likely: {_begin(best)}"))
    start = next((each for each in fields if each.dated and each.at_clock and each is not best), None)
    where = f'"{start.cells[0]}" at "{start.name}"' if start else ""
    part.entries += counted(best.cells).entries(best.words or TimeWords(), where)
    return part, {best.name}


def _zone(part: Part, used_fields: Sequence[_Field], zones: Sequence[str], used: set[str]) -> None:
    cells = [cell for each in used_fields for cell in each.cells if each.at_clock]
    told = next((each.words.zone for each in used_fields if each.words and each.words.zone), "")
    if cells and all(map(_HAS_ZONE.search, cells)):
        return
    if zones:
        part.entries.append(Entry("zone_column", zones[0], "sure: its cells are zones or offsets"))
        used.add(zones[0])
        return
    if told:
        part.entries.append(Entry("zone", "UTC" if told == "Z" else told, "sure: the field's name says it"))
        return
    hint = ", or UTC, as the name ends in Z" if any(each.name.endswith(("_z", "Z")) for each in used_fields) else ""
    question = f"where did the clock stand? A zone such as Europe/Berlin, UTC, or an offset such as +01:00{hint}"
    part.entries.append(Entry("zone", ask(question), "the times say no zone"))


def _begin(each: _Field) -> str:
    said = "its name says so, and " if each.words is not None else ""
    return f"{said}it begins with {shown([each.cells[0]])}"
