"""Which columns say when a row was measured, and how: decided once for a table, then read block by block."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Literal, cast

import pyarrow as pa

from vambrace.plugin import Refused, Times
from vambrace_plugins.importers.csv.options import Said
from vambrace_plugins.importers.csv.timecells import (
    deciding_order,
    full_days,
    iso_clocks,
    iso_dates,
    joined,
    kind_of,
    tagged,
    without_half,
)
from vambrace_plugins.importers.csv.timewords import TimeWords
from vambrace_plugins.importers.csv.vocabulary import Heading

_SCALE = {"s": 1, "ms": 1_000, "us": 1_000_000, "ns": 1_000_000_000}
# Plausible dates: 1990 to 2100. A count of seconds before mid-2014 may as well be one since 1989-12-31, as FIT has it.
_FIRST_S, _LAST_S, _SURE_S, _FIT_S = 631_152_000, 4_102_444_800, 1_400_000_000, 631_065_600
_ENOUGH = 0.9
_ABBREVIATION = re.compile(r"^[A-Z]{2,5}$")
_OFFSET = re.compile(r"(?:[Zz]|UTC|GMT|:[0-9:.,]+ ?[+-][0-9]{2}(?::?[0-9]{2})?)$")

Unit = Literal["iso8601", "s", "ms", "us", "ns"]
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
class Instant:
    """How one instant of each row is read: texts of `at` (and `date`), or counts of `unit` since `epoch_s`."""

    at: int
    date: int | None = None
    zone: int | None = None
    unit: Unit = "iso8601"
    epoch_s: int = 0
    order: str = ""
    named_zone: str = ""
    half_days: bool = False
    deciding: str = ""

    def times(self, column: Callable[[int], pa.Array]) -> Times:
        """Return the times of a block's rows."""
        if self.unit != "iso8601":
            return Times(column(self.at), self.unit, "utc", self.epoch_s)
        texts = full_days(column(self.at)) if self.half_days else column(self.at)
        texts = (
            iso_dates(texts, self.order)
            if self.date is None
            else joined(iso_dates(column(self.date), self.order), texts)
        )
        texts = iso_clocks(texts)
        if self.named_zone == "Z":
            return Times(texts, "iso8601", "utc")
        if self.named_zone:
            texts = tagged(texts, pa.array([self.named_zone] * len(texts), pa.string()))
        elif self.zone is not None:
            texts = tagged(texts, column(self.zone))
        return Times(texts, "iso8601", "text")

    @property
    def used(self) -> set[int]:
        """Return the places of the columns that are read."""
        return {at for at in (self.at, self.date, self.zone) if at is not None}

    @property
    def sentences(self) -> tuple[str, ...]:
        """Return what was decided about these times, for people."""
        found = []
        if self.unit != "iso8601":
            found.append(f"times: {self.unit} since {datetime.fromtimestamp(self.epoch_s, UTC).isoformat()[:19]}Z")
        if self.order:
            why = f', as "{self.deciding}" can only be read so' if self.deciding else ""
            found.append(f"times: dates read {self.order.replace('-', ' ')}{why}")
        if self.half_days:
            found.append("times: AM and PM read as hours of 24 (12 AM is 00)")
        if self.date is not None:
            found.append("times: date and time of day joined from two columns")
        if self.named_zone and self.named_zone != "Z":
            found.append(f"times: {self.named_zone}, as the header says")
        return tuple(found)


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
        raise Refused("interval-not-said", what, todo="Say it in seconds, as in --option csv.interval_s=60")
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
        return _count(Instant(at), words, header, said, cells)
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
    elif kind == "day" or (kind == "number" and date == at) or (kind == "order" and not _has_clock(cells)):
        what = f'the column "{header}" says only days ("{_first(cells)}"), not when on the day'
        todo = 'Say which column has the time, as in --option "csv.columns=HEADER=time", or export it again with times'
        raise Refused("time-days-only", what, where="line 1", todo=todo)
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
    todo = f'For the first: --option "csv.columns={name}=offset"; for the second: "csv.columns={name}=-" and --zone UTC'
    raise Refused("offset-two-readings", what, where="line 1", todo=todo)


def _says_offset(cell: str) -> bool:
    return _OFFSET.search(cell.strip()) is not None


def _count(found: Instant, words: TimeWords, header: str, said: Said, cells: Sequence[str]) -> Instant:
    """Return a column of counts: since an epoch, or since a start that the user gives."""
    if any("e" in cell.lower() for cell in cells):
        cell = next(cell.strip() for cell in cells if "e" in cell.lower())
        what = f'the times of "{header}" are rounded ("{cell}"), as a spreadsheet shows long numbers'
        raise Refused("time-rounded", what, todo="Export it again with all digits, or as text")
    numbers = [float(cell.replace(",", ".")) for cell in cells if _is_count(cell)]
    unit = said.time_unit or words.unit
    if not unit:
        raise _no_unit(header, numbers)
    found = replace(found, unit=cast(Unit, unit))
    if said.time_kind == "elapsed" or (words.elapsed and said.time_kind != "epoch"):
        return replace(found, epoch_s=_start(header, unit, said))
    if said.time_kind == "epoch":
        return replace(found, epoch_s=said.epoch_s)
    if words.epoch_s is not None:
        return replace(found, epoch_s=words.epoch_s)
    return replace(found, epoch_s=_unix(header, unit, numbers))


def _is_count(cell: str) -> bool:
    return cell.strip().replace(",", ".").replace(".", "", 1).lstrip("+-").isdecimal()


def _start(header: str, unit: str, said: Said) -> int:
    if said.start_s is None:
        what = f'the times of "{header}" are counted from a start that the file does not give'
        todo = "Say the start, as in --option csv.start=2024-03-01T08:00:00Z"
        raise Refused("no-start", what, where="line 1", todo=todo)
    return said.start_s


def _unix(header: str, unit: str, numbers: list[float]) -> int:
    """Return the Unix epoch for counts whose header says only the unit, where they can be nothing else."""
    seconds = [number / _SCALE[unit] for number in numbers]
    plausible = [second for second in seconds if _FIRST_S <= second <= _LAST_S]
    if len(plausible) < _ENOUGH * len(seconds):
        return _refuse_count(header, unit, numbers)
    if unit == "s" and plausible and min(plausible) < _SURE_S:
        first = plausible[0]
        readings = f"{_day(first)} (since 1970) or {_day(first + _FIT_S)} (since 1989-12-31)"
        what = f'{first:.15g} in the column "{header}" is {readings}'
        raise Refused("time-two-readings", what, todo="Say which, as in --option csv.time=epoch-s (or =fit-s)")
    return 0


def _refuse_count(header: str, unit: str, numbers: list[float]) -> int:
    first = numbers[0]
    fitting = [other for other in _SCALE if _FIRST_S <= first / _SCALE[other] <= _LAST_S]
    if fitting:
        what = f'the header "{header}" says {unit}, but {first:.15g} would be a date only in {fitting[0]}'
        raise Refused("time-unit-contradicts", what, todo=f"If so, say --option csv.time=epoch-{fitting[0]}")
    what = f'the times of "{header}" ({first:.15g}, …) are no dates since 1970; they seem to count from a start'
    todo = f"Say --option csv.time=elapsed-{unit} and the start, as in --option csv.start=2024-03-01T08:00:00Z"
    raise Refused("no-start", what, where="line 1", todo=todo)


def _no_unit(header: str, numbers: list[float]) -> Refused:
    first = numbers[0] if numbers else 0.0
    dated = [(unit, first / scale) for unit, scale in _SCALE.items() if _FIRST_S <= first / scale <= _LAST_S]
    shown = [f"{_day(second)} in {unit} since 1970" for unit, second in dated]
    shown += [f"{_day(first + _FIT_S)} in s since 1989-12-31"] if _FIRST_S <= first <= _SURE_S else []
    readings = " or ".join(shown) or "no date since 1970"
    what = f'the column "{header}" holds counts ({first:.15g}) without their unit: {readings}'
    unit = dated[0][0] if dated else "s"
    todo = f"Say what they count, as in --option csv.time=epoch-{unit}"
    if not dated:
        todo = "If they count from a start, say --option csv.time=elapsed-s and csv.start=2024-03-01T08:00:00Z"
    return Refused("time-unit-not-said", what, where="line 1", todo=todo)


def _day(second: float) -> str:
    return datetime.fromtimestamp(second, UTC).strftime("%Y-%m-%d")
