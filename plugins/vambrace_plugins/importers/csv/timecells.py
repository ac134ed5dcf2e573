"""What the cells of a time column look like, and how date-times in usual notation become ISO 8601."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import date

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from vambrace.plugin import Refused
from vambrace_plugins.importers.csv.blocks import cell_ends
from vambrace_plugins.importers.csv.firstcells import FirstCells

_ENOUGH = 0.9
"""The share of cells that must be written alike; the others are set aside as no times."""
_MONTHS = (
    *("jan(?:uary)?", "feb(?:ruary)?", "mar(?:ch)?", "apr(?:il)?", "may", "june?", "july?", "aug(?:ust)?"),
    *("sept?(?:ember)?", "oct(?:ober)?", "nov(?:ember)?", "dec(?:ember)?"),
)
_MONTH = f"({'|'.join(_MONTHS)})"
_WEEKDAY = r"^\s*(?:mon|tues?|wed(?:nes)?|thu(?:rs)?|fri|sat(?:ur)?|sun)(?:day)?\.?,? +"
_WEEKDAY_NAME = r"(?i)^\s*(?P<day>mon|tue|wed|thu|fri|sat|sun)"
_WEEKDAYS = pa.array(["mon", "tue", "wed", "thu", "fri", "sat", "sun"])
_NAMED = (
    (rf"^\s*([0-9]{{1,2}})(?:st|nd|rd|th)?[ \-/.]+{_MONTH}\.?[ \-/,]+'?([0-9]{{4}}|[0-9]{{2}})\b", r"\1/\2/\3"),
    (rf"^\s*{_MONTH}\.?[ \-/]+([0-9]{{1,2}})(?:st|nd|rd|th)?[ \-/,]+'?([0-9]{{4}}|[0-9]{{2}})\b", r"\2/\1/\3"),
)
# Digits that are a date and a clock, and a date in no unit since 1970.
_PACKED = (
    r"^(?:19|20)[0-9]{2}(?:0[1-9]|1[0-2])(?:0[1-9]|[12][0-9]|3[01])"
    r"(?:[01][0-9]|2[0-3])(?:[0-5][0-9]){1,2}(?:[.,][0-9]+)?$"
)
_KINDS = (
    ("half-day", re.compile(r"[0-9]\s*[AaPp]\.?[Mm]\.?$")),
    (
        "iso",
        re.compile(
            r"^[0-9]{4}-[0-9]{2}-[0-9]{2}(?:[Tt]| +)[0-9]|^[0-9]{8}[Tt]|^[0-9]{4}-?(?:[0-9]{3}|[Ww][0-9]{2}-?[1-7])[Tt]"
        ),
    ),
    ("iso", re.compile(r"^[0-9]{4}[/.][0-9]{1,2}[/.][0-9]{1,2}(?:[Tt]| +)[0-9]")),
    ("day", re.compile(r"^[0-9]{4}(-[0-9]{2}-[0-9]{2}|[/.][0-9]{1,2}[/.][0-9]{1,2})$")),
    ("order", re.compile(r"^([0-9]{1,2})[/.\-]([0-9]{1,2})[/.\-]([0-9]{4}|[0-9]{2})(?![0-9])")),
    ("month-name", re.compile("|".join((_WEEKDAY, *(pattern for pattern, _ in _NAMED))), re.IGNORECASE)),
    (
        "clock",
        re.compile(
            r"^[0-9]{1,2}:[0-9]{2}(?::[0-9]{2}(?:[.,][0-9]+)?)?(?: ?(?:[Zz]|[+-][0-9]{2}(?::?[0-9]{2})?))?(?:\[.*\])?$"
        ),
    ),
    ("packed", re.compile(_PACKED)),
    ("elapsed", re.compile(r"^[+-]?P(?:[0-9]+D)?T[0-9][0-9HMS.,]*$")),
    ("elapsed", re.compile(r"^[+-]?[0-9]+ days?,? \+?[0-9]+:[0-5][0-9]:[0-5][0-9](?:[.,][0-9]+)?$")),
    ("elapsed", re.compile(r"^[+-]?[0-9]{3,}:[0-5][0-9](?::[0-5][0-9])?(?:[.,][0-9]+)?$")),
    ("number", re.compile(r"^[+-]?[0-9]+(?:[.,][0-9]*)?(?:[eE][+-]?[0-9]+)?$")),
)
_DIGITS = bytes.maketrans(b"123456789", b"000000000")
_SHORTEST = len("2024-03-01T08:15:30")
_MARKS = ((4, ord("-")), (7, ord("-")), (13, ord(":")))
_ORDERED = dict(_KINDS[4:5])["order"]
_DASHES = (
    (r"^\s*([0-9]{4})[/.]([0-9])([/.])", r"\1/0\2\3"),
    (r"^\s*([0-9]{4})[/.]([0-9]{2})[/.]([0-9])(\D|$)", r"\1/\2/0\3\4"),
)
_YEAR_FIRST = (*_DASHES, (r"^\s*([0-9]{4})[/.]([0-9]{2})[/.]([0-9]{2})", r"\1-\2-\3"))
_PADDED = ((r"^\s*([0-9])[/.\-]", r"0\1/"), (r"^\s*([0-9]{2})[/.\-]([0-9])[/.\-]", r"\1/0\2/"))
_YEAR_LAST = r"^\s*([0-9]{2})[/.\-]([0-9]{2})[/.\-]([0-9]{4})"
_HALF_DAY = (
    r"^\s*(?P<head>(?:.*[T ])?)(?P<hour>0?[1-9]|1[0-2])(?P<rest>:[0-9]{2}(?::[0-9]{2}(?:[.,][0-9]+)?)?)"
    r"\s*(?P<half>[AaPp])\.?[Mm]\.?\s*$"
)
_SHORT_YEARS = (r"^\s*([0-9]{1,2}[/.\-][0-9]{1,2}[/.\-])([0-9]{2})(\D|$)", r"\1{}\2\3")
_YEAR_FIRST_SHORT = (r"^\s*([0-9]{2})[/.\-]([0-9]{1,2})[/.\-]([0-9]{1,2})(\D|$)", r"{}\1/\2/\3\4")
_SWAPS = {"day-first": r"\3-\2-\1", "month-first": r"\3-\1-\2"}


def kind_of(cells: Sequence[str], header: str, shown: Sequence[str] = ()) -> str:
    """Return how the times of a column are written, "" for a column without cells; `shown` are its cells as they stand.

    `iso` a date with a time of day, the year first; `day` a date alone; `order` a date with its year last; `clock` a
    time of day alone; `half-day` one with AM or PM; `elapsed` a time that only a stopwatch shows; `packed` the digits
    of a date and a clock; `number` a count.
    Raise Refused for any other and for a mixture.
    """
    counted: Counter[str] = Counter()
    examples: dict[str, str] = {}
    for at, many in _alike(cells):
        text = cells[at].strip()
        kind = next((name for name, pattern in _KINDS if pattern.search(text)), "")
        counted[kind] += many
        examples.setdefault(kind, (shown or cells)[at].strip())
    if not counted:
        return ""
    (kind, n), *others = counted.most_common()
    if not kind:
        what = f'the column "{header}" has "{examples[""]}" where a time is expected'
        todo = 'Write times as 2024-03-01T08:15:30Z, or name their column, as in --option "csv.columns=HEADER=time"'
        raise Refused("time-notation", what, todo=todo)
    if n < _ENOUGH * counted.total() and others[0][0]:
        what = f'the column "{header}" writes times in two ways: "{examples[kind]}" and "{examples[others[0][0]]}"'
        raise Refused("time-mixed", what, todo="Write them all in one way, as in 2024-03-01T08:15:30Z")
    return kind


def _alike(cells: Sequence[str]) -> Iterator[tuple[int, int]]:
    """Yield the place of the first of all cells that differ in their digits only, and their number; none of blanks."""
    if isinstance(cells, FirstCells) and cells.alike:
        yield 0, len(cells)
        return
    shapes = "\0".join(cells).encode().translate(_DIGITS).split(b"\0")
    first = dict(zip(reversed(shapes), range(len(shapes) - 1, -1, -1), strict=True))
    for shape, n in Counter(shapes).items():
        if shape.strip():
            yield first[shape], n


def deciding_order(cells: Sequence[str], header: str) -> tuple[str, str]:
    """Return the order of dates with their year last, and the cell that has no other reading; raise Refused without."""
    deciding: dict[str, str] = {}
    found = [match for cell in cells if (match := _ORDERED.search(cell.strip()))]
    for match in found:
        day_first, month_first = _is_date(match[3], match[2], match[1]), _is_date(match[3], match[1], match[2])
        if day_first != month_first:
            deciding.setdefault("day-first" if day_first else "month-first", match.string)
    if not deciding:
        raise two_readings(cells, header)
    if len(deciding) == 2:
        first, second = deciding["day-first"], deciding["month-first"]
        what = f'the column "{header}" has dates with the day first ("{first}") and with the month first ("{second}")'
        todo = "Write them all as 2024-03-01, or say which holds, as in --option csv.time=day-first (or =month-first)"
        raise Refused("time-mixed", what, todo=todo)
    return next(iter(deciding.items()))


def two_readings(cells: Sequence[str], header: str) -> Refused:
    """Return the refusal of dates whose day and month could change places, with both readings."""
    found = [match for cell in cells if (match := _ORDERED.search(cell.strip()))]
    telling = next((match for match in found if max(int(match[1]), int(match[2])) > 12), found[0])
    readings = [(telling[2], telling[1], "day first"), (telling[1], telling[2], "month first")]
    said = [
        f"{_shown(telling[3], month, day)} ({word})"
        for month, day, word in readings
        if _is_date(telling[3], month, day)
    ]
    what = f'"{telling.string}" in the column "{header}" is {" or ".join(said)}'
    if len(said) == 1:
        what += ", and nothing else in the file says that all dates are written so"
    todo = "Say which, as in --option csv.time=day-first (or =month-first)"
    return Refused("time-two-readings", what, todo=todo)


def _is_date(year: str, month: str, day: str) -> bool:
    try:
        date(int(year), int(month), int(day))
    except ValueError:
        return False
    return True


def _shown(year: str, month: str, day: str) -> str:
    return f"{int(year):04d}-{int(month):02d}-{int(day):02d}"


def short_year(cells: Sequence[str]) -> str:
    """Return the first date whose year has two digits, with its month as a number, or "" where there is none."""
    texts = numbered_months(pa.array([cell.strip() for cell in cells], pa.string())).to_pylist()
    found = (match for text in texts if (match := _ORDERED.search(text)))
    return next((match[0] for match in found if len(match[3]) == 2), "")


def short_year_readings(text: str, century: str) -> dict[str, str]:
    """Return what a date with a year of two digits means, by the order of its parts, as far as it is a date."""
    parts = re.split(r"[/.\-]", text)
    readings = {}
    for order, at in (("day-first", (2, 1, 0)), ("month-first", (2, 0, 1)), ("year-first", (0, 1, 2))):
        year, month, day = (parts[place] for place in at)
        if len(year) == 2 and _is_date(century + year, month, day):
            readings[order] = _shown(century + year, month, day)
    return readings


def numbered_months(cells: pa.Array) -> pa.Array:
    """Return dates whose months are English names as dates of the order day, month, year in numbers."""
    cells = pc.replace_substring_regex(cells, f"(?i){_WEEKDAY}", "")
    for pattern, parts in _NAMED:
        cells = pc.replace_substring_regex(cells, f"(?i){pattern}", parts)
    for number, name in enumerate(_MONTHS, 1):
        cells = pc.replace_substring_regex(cells, rf"(?i)^([0-9]+/){name}/", f"\\1{number:02d}/")
    return cells


def on_weekdays(dates: pa.Array, written: pa.Array) -> pa.Array:
    """Return dates with the year first; one that is not on the weekday written before it is made no time."""
    named = pc.struct_field(pc.extract_regex(written, _WEEKDAY_NAME), "day")
    if named.null_count == len(named):
        return dates
    days = pc.strptime(pc.utf8_slice_codeunits(dates, 0, 10), "%Y-%m-%d", "s", error_is_null=True)
    right = pc.equal(pc.utf8_lower(named), pc.take(_WEEKDAYS, pc.day_of_week(days)))
    other = pc.binary_join_element_wise(written, "is on another day of the week", " ")
    return pc.if_else(pc.fill_null(right, True), dates, other)


def is_packed(cells: Sequence[str]) -> bool:
    """Say whether the cells of a column, but for a few, are the digits of a date and a clock."""
    texts = [cell.strip() for cell in cells if cell.strip()]
    return sum(bool(re.match(_PACKED, text)) for text in texts) >= _ENOUGH * len(texts)


def unpacked(texts: pa.Array) -> pa.Array:
    """Return digits that are a date and a clock as ISO 8601 writes them without marks."""
    return pc.replace_substring_regex(texts, r"^\s*([0-9]{8})([0-9]{6}|[0-9]{4})([.,][0-9]+)?\s*$", r"\1T\2\3")


def is_usual(cells: pa.Array) -> bool:
    """Say whether every cell has the marks of a date-time as ISO 8601 writes it most often, and so needs no change.

    These are cells of one length in ASCII; whether they are times is seen later.
    """
    ends = cell_ends(cells)
    length = int(ends[1] - ends[0]) if len(cells) else 0
    if length < _SHORTEST or np.any(np.diff(ends) != length):
        return False
    letters = np.frombuffer(cells.buffers()[2], np.uint8)[ends[0] : ends[-1]].reshape(-1, length)
    if not all(bool((letters[:, at] == mark).all()) for at, mark in _MARKS):
        return False
    tail = letters[:, _SHORTEST:]
    parted = letters[:, 10]
    return bool(
        ((parted == ord("T")) | (parted == ord(" "))).all()
        and (((tail >= ord("+")) & (tail <= ord(":"))) | (tail == ord("Z"))).all()
    )


def iso_dates(cells: pa.Array, order: str = "", century: str = "") -> pa.Array:
    """Return dates, with or without a time of day, with the year first; `order` is that of dates with the year last.

    `century` stands before years of two digits; without it they stay as they are, and make no dates.
    """
    if century:
        pattern, full = _YEAR_FIRST_SHORT if order == "year-first" else _SHORT_YEARS
        cells = pc.replace_substring_regex(cells, pattern, full.format(century))
    if order in _SWAPS:
        for pattern, padded in _PADDED:
            cells = pc.replace_substring_regex(cells, pattern, padded)
        return pc.replace_substring_regex(cells, _YEAR_LAST, _SWAPS[order])
    if _none(cells, r"^\s*[0-9]{4}[/.]"):
        return cells
    for pattern, dashed in _YEAR_FIRST:
        cells = pc.replace_substring_regex(cells, pattern, dashed)
    return cells


def iso_clocks(cells: pa.Array) -> pa.Array:
    """Return date-times whose hours have two digits, without a comma before them, and whose `UTC` is a Z."""
    if not _none(cells, r"[0-9], *[0-9]+:"):
        cells = pc.replace_substring_regex(cells, r"([0-9]), *([0-9]+:)", r"\1 \2")
    if not _none(cells, r"[T ][0-9]:"):
        cells = pc.replace_substring_regex(cells, r"^(\s*\S+[T ]+)([0-9]:)", r"\10\2")
    if not _none(cells, r"(UTC|GMT)\s*$"):
        cells = pc.replace_substring_regex(cells, r"([0-9])\s*(UTC|GMT)\s*$", r"\1Z")
    return cells


def without_half(cell: str) -> str | None:
    """Return a time of 12 hours without its AM or PM, None for any other text."""
    found = re.search(_HALF_DAY, cell)
    return found["head"] + found["hour"] + found["rest"] if found else None


def full_days(cells: pa.Array) -> pa.Array:
    """Return times with AM or PM as times of 24 hours (12 AM is 00); any other text is made no time, never guessed."""
    found = pc.extract_regex(cells, _HALF_DAY)
    hours = pc.cast(pc.struct_field(found, "hour"), pa.int64())
    hours = pc.if_else(pc.equal(hours, 12), 0, hours)
    after = pc.equal(pc.utf8_upper(pc.struct_field(found, "half")), "P")
    hours = pc.utf8_lpad(pc.cast(pc.add(hours, pc.if_else(after, 12, 0)), pa.string()), 2, "0")
    times = pc.binary_join_element_wise(pc.struct_field(found, "head"), hours, pc.struct_field(found, "rest"), "")
    empty = pc.equal(pc.utf8_trim_whitespace(cells), "")
    other = pc.if_else(empty, "", pc.binary_join_element_wise(cells, "is no time of 12 hours", " "))
    return pc.coalesce(times, other)


def joined(dates: pa.Array, clocks: pa.Array) -> pa.Array:
    """Return dates with their times of day, "" where one of the two is missing."""
    dates = pc.replace_substring_regex(pc.utf8_trim_whitespace(dates), r"^([0-9]{4})([0-9]{2})([0-9]{2})$", r"\1-\2-\3")
    clocks = pc.utf8_trim_whitespace(clocks)
    there = pc.and_(pc.not_equal(dates, ""), pc.not_equal(clocks, ""))
    return pc.if_else(there, pc.binary_join_element_wise(dates, clocks, " "), "")


def tagged(texts: pa.Array, zones: pa.Array) -> pa.Array:
    """Return date-times with their row's zone or offset in brackets (RFC 9557), where both are there."""
    zones = pc.utf8_trim_whitespace(zones)
    zones = pc.replace_substring_regex(zones, r"^(?:UTC|GMT)?\s*([+-])([0-9])((?::?[0-9]{2})?)$", r"\10\2\3")
    zones = pc.replace_substring_regex(zones, r"^(?:UTC|GMT)\s*([+-])", r"\1")
    zones = pc.replace_substring_regex(zones, r"^(?:Z|GMT)$", "UTC")
    there = pc.and_(pc.not_equal(zones, ""), pc.not_equal(pc.utf8_trim_whitespace(texts), ""))
    return pc.if_else(there, pc.binary_join_element_wise(pc.utf8_trim_whitespace(texts), "[", zones, "]", ""), texts)


def _none(cells: pa.Array, pattern: str) -> bool:
    """Say whether no cell matches."""
    return not pc.any(pc.match_substring_regex(cells, pattern)).as_py()
