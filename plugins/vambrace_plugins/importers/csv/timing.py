"""Which columns say when a row was measured, and how: decided once for a table, then read block by block."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal, cast

import pyarrow as pa

from vambrace.plugin import Refused
from vambrace_plugins.importers.csv.elapsed import elapsed, is_elapsed
from vambrace_plugins.importers.csv.epochs import count
from vambrace_plugins.importers.csv.instants import Instant
from vambrace_plugins.importers.csv.options import ORDERS, Said, option_key
from vambrace_plugins.importers.csv.serials import are_serials, refuse_digits, refuse_fractions, zero_day
from vambrace_plugins.importers.csv.timecells import (
    deciding_order,
    is_packed,
    kind_of,
    refuse_dotted,
    short_year,
    short_year_readings,
    two_readings,
    without_half,
)
from vambrace_plugins.importers.csv.timewords import TimeWords, offset_unit
from vambrace_plugins.importers.csv.vocabulary import Heading
from vambrace_plugins.importers.csv.zonewords import (
    SHORT,
    may_hold,
    refuse_unknown_place,
    short_name,
    without_zones,
    zones_said,
)

_FEW = 0.1
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
        one, other = (f'"csv.columns={option_key(name)}=-"' for name in (second, first))
        todo = f"Leave one out, as in --option {one} (or {other})"
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
        _refuse_zone_words(heads[main].text.strip(), words, said, sample[main])
    timing = _spanned(start, end, words.edge, said, increments)
    known = words.remark.upper() in said.zones
    passed_over = [f'times: "{words.remark}" in the header is passed over'] if words.remark and not known else []
    return replace(timing, conversions=(*start.sentences, *passed_over, *timing.conversions))


def _refuse_zone_words(header: str, words: TimeWords, said: Said, cells: Sequence[str]) -> None:
    """Refuse what a header says of the clock where it names no zone for certain, or contradicts the cells."""
    column = f"csv.columns={option_key(header)}=time"
    short = _short_names(words.remark or words.zone)
    # Only these need a look at every cell.
    asked = bool(short) or "/" in words.zone
    doubtful = asked and not all(_says_offset(cell) for cell in cells if cell.strip())
    if short and words.remark.upper() not in said.zones and doubtful:
        todo = f'; or give the zone with --zone and say that it holds, as in --option "{column}"'
        raise short_name(short[0], f'"{words.remark or words.zone}" in the header "{header}"', todo)
    if doubtful and "/" in words.zone and words.zone.upper() not in said.zones:
        refuse_unknown_place(words.zone, f'"{words.zone}" in the header "{header}"')
    elsewhere = "local" if words.local else f"of {words.zone}" if words.zone not in {"", "Z", "UTC", "+00:00"} else ""
    if elsewhere and (zulu := next((cell.strip() for cell in cells if cell.strip().endswith(("Z", "z"))), "")):
        what = f'the header "{header}" says that the times are {elsewhere}, and the cells ("{zulu}") that they are UTC'
        todo = f'If they are UTC, say so, as in --option "{column}"; if not, export it again without the Z'
        raise Refused("zone-two-readings", what, where="line 1", todo=todo)


def _short_names(text: str) -> list[str]:
    """Return the short names of zones in what a header says of its times."""
    parts = [part for part in re.split(r"[^A-Za-z]+", text) if part]
    if len(parts) == 1:
        return [text.upper()] if _ABBREVIATION.match(text) or text.upper() in SHORT else []
    return [part for part in parts if part in SHORT]


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
    words, header = heads[at].time or TimeWords(), heads[at].text.strip()
    other = date if date != at else None
    refuse_dotted(sample[at], header, beside_date=other is not None)
    cells: Sequence[str] = without_zones(sample[at], said.zones, header)
    counts_up = is_elapsed(cells, words, said, dated=other is not None)
    kind = "elapsed" if counts_up else kind_of(cells, header, sample[at])
    if kind == "elapsed":
        return _undated(elapsed(Instant(at, header=header), words, header, said, cells), heads, other, sample)
    if kind == "packed" and ((_counts(words, said) and _first(cells)[:9].isdigit()) or not is_packed(cells)):
        kind = "number"
    if kind == "number" and words.part != "date":
        if other is not None:
            refuse_fractions(cells, header, heads[other].text.strip())
            if not _counts(words, said):
                refuse_digits(cells, header, heads[other].text.strip())
        return _undated(count(Instant(at, header=header), words, header, said, cells), heads, other, sample)
    half_days = kind == "half-day"
    if half_days:
        cells = _without_halves(cells, header)
        kind = kind_of(cells, header)
    order = said.time_kind if said.time_kind in ORDERS else words.order
    if kind == "clock" or (kind == "number" and date != at):
        if date is None or date == at:
            raise _no_date(header, _first(cells))
        found = _dated(Instant(at, date), heads[date], sample[date], said, order)
    elif (
        kind == "day"
        or (kind == "number" and date == at)
        or (kind in {"order", "month-name"} and not _has_clock(cells, header))
    ):
        what = f'the column "{header}" says only days ("{_first(cells)}"), not when on the day'
        todo = 'Say which column has the time, as in --option "csv.columns=HEADER=time", or export it again with times'
        raise Refused("time-days-only", what, where="line 1", todo=todo)
    else:
        found = _ordered(Instant(at), kind, header, said, order, cells)
    found = replace(found, header=header, zones=said.zones, half_days=half_days, packed=kind == "packed")
    return _zoned(found, heads, words, said, zone, sample)


def alone(heads: Sequence[Heading], at: int, said: Said, sample: Cells) -> Instant:
    """Return how one column of times is read without any other; raise Refused where it says no instants so."""
    return _instant(heads, at, None, None, said, sample)


def _counts(words: TimeWords, said: Said) -> bool:
    """Say whether the header or the user says that the times of a column are counts."""
    told = words.unit or words.elapsed or words.epoch_s is not None
    return bool(told or said.time_kind or said.start_s is not None)


def _no_date(header: str, cell: str) -> Refused:
    what = f'the column "{header}" says "{cell}", a time of day or since a start, and no column says the date'
    todo = (
        "Say the date of the first row for times of day, as in --option csv.date=2031-03-04, or which column has it, "
        'as in --option "csv.columns=HEADER=date"; else say the start, as in --option csv.start=2031-03-04T09:00:00Z'
    )
    return Refused("time-without-date", what, where="line 1", todo=todo)


def _without_halves(cells: Sequence[str], header: str) -> list[str]:
    """Return the cells of a column with AM and PM without them; raise Refused where none is a time we read."""
    bare = [text for cell in cells if (text := without_half(cell)) is not None]
    if not bare:
        what = f'"{_first(cells)}" in the column "{header}" is no time of 12 hours with minutes'
        raise Refused("time-notation", what, todo="Export it again with times of 24 hours, as in 2024-03-01T20:15:30")
    return bare


def _first(cells: Sequence[str]) -> str:
    return next((cell.strip() for cell in cells if cell.strip()), "")


def _has_clock(cells: Sequence[str], header: str) -> bool:
    """Say whether dates have a time of day; raise Refused where more than a few have one, and others have none."""
    texts = [text for cell in cells if (text := cell.strip())]
    bare = [text for text in texts if ":" not in text]
    if bare and len(bare) < len(texts) and len(bare) > _FEW * len(texts):
        full = next(text for text in texts if ":" in text)
        what = f'the column "{header}" writes times in two ways: "{full}" and "{bare[0]}"'
        raise Refused("time-mixed", what, todo="Write them all with their time of day, as in 2024-03-01T00:00:00Z")
    return len(bare) < len(texts)


def _undated(found: Instant, heads: Sequence[Heading], date: int | None, sample: Cells) -> Instant:
    """Return times that count from a start; raise Refused where a column of dates says something else of their day."""
    if found.from_start and date is not None:
        name, header = heads[date].text.strip(), heads[found.at].text.strip()
        first, day = _first(sample[found.at]), _first(sample[date])
        what = f'"{first}" in the column "{header}" counts from csv.start, or from the day that "{name}" says ("{day}")'
        todo = f'Leave the dates out for the first, as in --option "csv.columns={option_key(name)}=-"; '
        todo += "for the second leave out csv.start, and write times of day as 09:00:00"
        raise Refused("time-two-readings", what, where="line 1", todo=todo)
    return found


def _dated(found: Instant, heading: Heading, cells: Sequence[str], said: Said, order: str) -> Instant:
    """Return how a column of dates is read."""
    header = heading.text.strip()
    kind = kind_of(cells, header)
    if are_serials(cells):
        return replace(found, zero_day=zero_day(cells, header, said))
    if kind in {"order", "month-name"} and not _has_clock(cells, header):
        return _ordered(found, kind, header, said, order or (heading.time.order if heading.time else ""), cells)
    if kind in {"", "day"} or (kind == "number" and all(len(cell.strip()) in {0, 8} for cell in cells)):
        return found
    what = f'the column "{header}" has "{_first(cells)}" where a date is expected'
    raise Refused("time-notation", what, todo="Write dates as 2024-03-01")


def _ordered(found: Instant, kind: str, header: str, said: Said, order: str, cells: Sequence[str]) -> Instant:
    """Return how dates are read whose year may stand last; raise Refused where two readings are left."""
    if kind not in {"order", "month-name"}:
        return found
    short = short_year(cells)
    if short:
        _refuse_short_year(short, header, kind, said, order, cells)
        found = replace(found, century=said.century)
    elif order == "year-first" and kind == "order":
        raise two_readings(cells, header)
    if kind == "month-name":
        return replace(found, order=order if short and order == "year-first" else "day-first", named_months=True)
    order, deciding = (order, "") if order else deciding_order(cells, header)
    return replace(found, order=order, deciding=deciding)


def _refuse_short_year(short: str, header: str, kind: str, said: Said, order: str, cells: Sequence[str]) -> None:
    """Refuse years of two digits unless the user says their century, and what stands where."""
    written = next((cell.strip() for cell in cells if short_year([cell])), short)
    century = said.century or "20"
    readings = short_year_readings(short, century)
    if kind == "month-name":
        readings.pop("month-first", None)
        # Where a word stands first, no year does.
        if not written[0].isdigit():
            readings.pop("year-first", None)
    if said.century and (order or (len(readings) == 1 and kind == "month-name")):
        return
    shown = " or ".join(f"{date} ({name.replace('-', ' ')})" for name, date in readings.items())
    what = f'"{written}" in the column "{header}" has a year of two digits'
    what += f": {shown}" if shown else ""
    if not said.century and shown:
        what += f", or 100 years before (19{next(iter(readings.values()))[2:]})"
    names = " or ".join(f"csv.time={name}" for name in readings if not order)
    todo = f"Say the century{' and the order' if names else ''}, as in --option csv.century={century}"
    todo += f" with --option {names}" if names else ""
    raise Refused("time-two-digit-year", what, todo=f"{todo}; or export it again with years of four digits")


def _zoned(
    found: Instant, heads: Sequence[Heading], words: TimeWords, said: Said, zone: int | None, sample: Cells
) -> Instant:
    """Return the instant with its header's zone, or with a column of zones that the user says belongs to it."""
    day = heads[found.date].time if found.date is not None else None
    if day is not None and found.date is not None and not (words.told or day.told):
        _refuse_two_zones(heads[found.at].text.strip(), words, heads[found.date].text.strip(), day)
    named = said.zones.get((words.zone or words.remark).upper(), "") or words.zone or (day.zone if day else "")
    if named and may_hold(named, heads[found.at].text.strip(), told=words.told):
        return replace(found, named_zone=named)
    if zone is None or all(_says_offset(cell) for cell in sample[found.at] if cell.strip()):
        return found
    heading = heads[zone]
    if heading.time is not None and heading.time.told:
        told = heading.text.strip(), offset_unit(heading.text)
        zones_said(pa.array(sample[zone], pa.string()), said.zones, *told)
        return replace(found, zone=zone, zone_said=told)
    name, header = heading.text.strip(), heads[found.at].text.strip()
    cell = _first(sample[zone])
    what = f'"{name}" ({cell}) may say how the clock of "{header}" was set, or only where one was while it ran on UTC'
    first, second = (
        f'--option "csv.columns={option_key(name)}=offset"',
        f'"csv.columns={option_key(name)}=-" and --zone UTC',
    )
    todo = f"Say {first} for the first reading, or {second} for the second"
    raise Refused("offset-two-readings", what, where="line 1", todo=todo)


def _refuse_two_zones(header: str, time: TimeWords, date: str, day: TimeWords) -> None:
    """Refuse dates that their header calls those of another clock than that of the times beside them."""
    of_time, of_day = ("local" if words.local else words.zone.replace("Z", "UTC") for words in (time, day))
    if of_time and of_day and of_time != of_day:
        what = f'the header "{header}" says of the times that they are {of_time}, and "{date}" of the dates {of_day}'
        holds = of_day if time.local else of_time
        todo = f'If one clock of {holds} gave both, say so, as in --option "csv.columns={option_key(header)}=time"'
        raise Refused("zone-two-readings", what, where="line 1", todo=f"{todo}; if not, export it again with one clock")


def _says_offset(cell: str) -> bool:
    return _OFFSET.search(cell.strip()) is not None
