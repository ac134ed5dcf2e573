"""Which columns say when a row was measured, and how: decided once for a table, then read block by block."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, cast

from vambrace.plugin import Refused
from vambrace_plugins.importers.csv.epochs import count
from vambrace_plugins.importers.csv.instants import Instant
from vambrace_plugins.importers.csv.options import Said
from vambrace_plugins.importers.csv.timecells import (
    deciding_order,
    kind_of,
    without_half,
)
from vambrace_plugins.importers.csv.timewords import TimeWords
from vambrace_plugins.importers.csv.vocabulary import Heading

_ABBREVIATION = re.compile(r"^[A-Z]{2,5}$")
_OFFSET = re.compile(r"(?:[Zz]|UTC|GMT|:[0-9:.,]+ ?[+-][0-9]{2}(?::?[0-9]{2})?)$")

Cells = Sequence[Sequence[str]]


@dataclass(frozen=True, slots=True)
class Places:
    """The columns of the time by their place; None where there is none of a kind."""

    main: int | None
    date: int | None = None
    end: int | None = None
    end_date: int | None = None
    zone: int | None = None

    @property
    def used(self) -> set[int]:
        """Return all places."""
        return {at for at in (self.main, self.date, self.end, self.end_date, self.zone) if at is not None}


@dataclass(frozen=True, slots=True)
class Timing:
    """When the rows of a table were measured; `conversions` say what was decided."""

    start: Instant
    end: Instant | None
    interval_s: float | None
    stamp: Literal["start", "middle", "end"]
    conversions: tuple[str, ...] = ()

    @property
    def used(self) -> set[int]:
        """Return the places of the columns that are read."""
        return self.start.used | (self.end.used if self.end else set())


def places(heads: Sequence[Heading], said: Said) -> Places:
    """Return which columns make the time; raise Refused where there is none, or more than one could be it."""
    parts: dict[tuple[str, str], list[int]] = {}
    for at, heading in enumerate(heads):
        if heading.time is not None:
            parts.setdefault((heading.time.part, heading.time.edge), []).append(at)
    mains = [at for (part, edge), found in parts.items() if part == "time" and edge != "end" for at in found]
    ends = parts.get(("time", "end"), [])
    dates = [*parts.get(("date", ""), []), *parts.get(("date", "start"), [])]
    if not mains and not dates:
        mains, ends = ends, []
    if not mains and not dates:
        what = "no column says when its values were measured"
        todo = 'Say which column does, as in --option "csv.columns=HEADER=time", or export it again with times'
        raise Refused("no-time-column", what, where="line 1", todo=todo)
    zones = parts.get(("offset", ""), []) + parts.get(("zone", ""), [])
    return Places(
        _one(heads, mains, "time"),
        _one(heads, dates, "date"),
        _one(heads, ends, "end"),
        _one(heads, parts.get(("date", "end"), []), "date"),
        _one(heads, zones, "offset"),
    )


def _one(heads: Sequence[Heading], found: list[int], role: str) -> int | None:
    """Return the column that says most; raise Refused where two say as much."""
    if not found:
        return None
    ranked = sorted(found, key=lambda at: _rank(heads[at].time))
    if len(ranked) > 1 and _rank(heads[ranked[0]].time) == _rank(heads[ranked[1]].time):
        first, second = (heads[at].text.strip() for at in ranked[:2])
        if first == second:
            what = f'two columns have the header "{first}"'
            raise Refused(
                "header-twice", what, where="line 1", todo="Give them different headers that say what each is"
            )
        what = f'both "{first}" and "{second}" could be the {role} of a row'
        todo = f'Leave one out, as in --option "csv.columns={second}=-" (or "csv.columns={first}=-")'
        raise Refused("time-two-columns", what, where="line 1", todo=todo)
    return ranked[0]


def _rank(words: TimeWords | None) -> int:
    """Return −1 for a column that the user names, 0 for one that says instants by itself, 2 for a mere duration."""
    if words is None or words.told:
        return -1
    if words.elapsed:
        return 2
    return 0 if words.zone or words.epoch_s is not None else 1


def settle(heads: Sequence[Heading], found: Places, said: Said, sample: Cells, increments: Sequence[str]) -> Timing:
    """Return how the times of a table are read, decided from the headers, the options and the first cells.

    `increments` names the columns that count per interval. Raise Refused for what stays uncertain.
    """
    main = found.date if found.main is None else found.main
    if main is None:
        raise AssertionError("places always finds one")
    start = _instant(heads, main, found.date, found.zone, said, sample)
    end = None
    if found.end is not None:
        end_date = found.date if found.end_date is None else found.end_date
        end = _instant(heads, found.end, end_date, found.zone, said, sample)
    words = heads[main].time or TimeWords()
    if start.unit == "iso8601" and not words.told:
        _refuse_zone_words(heads[main].text.strip(), words, sample[main])
    timing = _spanned(start, end, words.edge, said, increments)
    passed_over = [f'times: "{words.remark}" in the header is passed over'] if words.remark else []
    return replace(timing, conversions=(*start.sentences, *passed_over, *timing.conversions))


def _refuse_zone_words(header: str, words: TimeWords, cells: Sequence[str]) -> None:
    """Refuse what a header says of the clock where it names no zone for certain, or contradicts the cells."""
    column = f"csv.columns={header}=time"
    if _ABBREVIATION.match(words.remark) and not all(_says_offset(cell) for cell in cells if cell.strip()):
        what = f'"{words.remark}" in the header "{header}" may be a zone, and such short names mean several'
        todo = f'Say the zone with --zone, and that it holds, as in --option "{column}"'
        raise Refused("zone-word", what, where="line 1", todo=todo)
    if words.local and any(cell.strip().endswith(("Z", "z")) for cell in cells):
        what = (
            f'the header "{header}" says that the times are local, and the cells ("{_first(cells)}") that they are UTC'
        )
        todo = f'If they are UTC, say so, as in --option "{column}"; if not, export it again without the Z'
        raise Refused("zone-two-readings", what, where="line 1", todo=todo)


def _spanned(start: Instant, end: Instant | None, edge: str, said: Said, increments: Sequence[str]) -> Timing:
    if end is not None:
        return Timing(start, end, None, "end")
    stamp = cast(Literal["start", "middle", "end"], said.stamp or edge or "end")
    unsaid = not (said.stamp or edge)
    if stamp != "end" and said.interval_s is None and (increments or said.stamp):
        column = f' of "{increments[0]}"' if increments else ""
        what = f"the times mark the {stamp} of each interval{column}, and nothing says how long it is"
        todo = "Say it in seconds, as in --option csv.interval_s=60"
        raise Refused("interval-not-said", what, where="line 1", todo=todo)
    sentences = [f"{name}: each time taken as the end of its interval" for name in increments] if unsaid else []
    if unsaid and said.interval_s is not None and not increments:
        sentences = ["each time taken as the end of its interval"]
    return Timing(start, None, said.interval_s, stamp, tuple(sentences))


def _instant(
    heads: Sequence[Heading], at: int, date: int | None, zone: int | None, said: Said, sample: Cells
) -> Instant:
    words, header, cells = heads[at].time or TimeWords(), heads[at].text.strip(), sample[at]
    kind = kind_of(cells, header)
    if kind == "number" and words.part != "date":
        return count(Instant(at), words, header, said, cells)
    half_days = kind == "half-day"
    if half_days:
        cells = _without_halves(cells, header)
        kind = kind_of(cells, header)
    order = said.time_kind if said.time_kind in {"day-first", "month-first"} else words.order
    if kind == "clock" or (kind == "number" and date != at):
        if date is None or date == at:
            what = f'the column "{header}" says the time of day ("{_first(cells)}") and no column says the date'
            todo = 'Say which column does, as in --option "csv.columns=HEADER=date", or export it again with dates'
            raise Refused("time-without-date", what, where="line 1", todo=todo)
        order, deciding = _date_order(heads[date], sample[date], order)
        found = Instant(at, date, order=order, deciding=deciding)
    elif (
        kind == "day"
        or (kind == "number" and date == at)
        or (kind in {"order", "month-name"} and not _has_clock(cells))
    ):
        what = f'the column "{header}" says only days ("{_first(cells)}"), not when on the day'
        todo = 'Say which column has the time, as in --option "csv.columns=HEADER=time", or export it again with times'
        raise Refused("time-days-only", what, where="line 1", todo=todo)
    elif kind == "month-name" and _has_clock(cells):
        found = Instant(at, order="day-first", named_months=True)
    else:
        order, deciding = ("", "") if kind != "order" else (order, "") if order else deciding_order(cells, header)
        found = Instant(at, order=order, deciding=deciding)
    return _zoned(replace(found, half_days=half_days), heads, words, zone, sample)


def _without_halves(cells: Sequence[str], header: str) -> list[str]:
    """Return the cells of a column with AM and PM without them; raise Refused where none is a time we read."""
    bare = [text for cell in cells if (text := without_half(cell)) is not None]
    if not bare:
        what = f'"{_first(cells)}" in the column "{header}" is no time of 12 hours with minutes'
        raise Refused("time-notation", what, todo="Export it again with times of 24 hours, as in 2024-03-01T20:15:30")
    return bare


def _first(cells: Sequence[str]) -> str:
    return next((cell.strip() for cell in cells if cell.strip()), "")


def _has_clock(cells: Sequence[str]) -> bool:
    return ":" in _first(cells)


def _date_order(heading: Heading, cells: Sequence[str], said: str) -> tuple[str, str]:
    """Return the order of a column of dates, "" where the year comes first, and the cell that decided it."""
    header = heading.text.strip()
    kind = kind_of(cells, header)
    order = said or (heading.time.order if heading.time else "")
    if kind == "order":
        return (order, "") if order else deciding_order(cells, header)
    if kind in {"", "day"} or (kind == "number" and all(len(cell.strip()) in {0, 8} for cell in cells)):
        return "", ""
    what = f'the column "{header}" has "{_first(cells)}" where a date is expected'
    raise Refused("time-notation", what, todo="Write dates as 2024-03-01")


def _zoned(found: Instant, heads: Sequence[Heading], words: TimeWords, zone: int | None, sample: Cells) -> Instant:
    """Return the instant with its header's zone, or with a column of zones that the user says belongs to it."""
    if words.zone:
        return replace(found, named_zone=words.zone)
    if zone is None or all(_says_offset(cell) for cell in sample[found.at] if cell.strip()):
        return found
    heading = heads[zone]
    if heading.time is not None and heading.time.told:
        return replace(found, zone=zone)
    name, header = heading.text.strip(), heads[found.at].text.strip()
    cell = _first(sample[zone])
    what = f'"{name}" ({cell}) may say how the clock of "{header}" was set, or only where one was while it ran on UTC'
    first, second = f'--option "csv.columns={name}=offset"', f'"csv.columns={name}=-" and --zone UTC'
    todo = f"Say {first} for the first reading, or {second} for the second"
    raise Refused("offset-two-readings", what, where="line 1", todo=todo)


def _says_offset(cell: str) -> bool:
    return _OFFSET.search(cell.strip()) is not None
