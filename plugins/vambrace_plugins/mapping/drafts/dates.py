"""Drafts how texts of times are written: by name where the cells decide, as a pattern, or as a question."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from itertools import product

from vambrace.plugin import Refused
from vambrace_plugins.importers.csv.timecells import deciding_order
from vambrace_plugins.mapping.drafts.page import Entry, ask, shown
from vambrace_plugins.mapping.timeformats import Pattern

# What is read without a pattern.
_ISO = re.compile(
    r"^[0-9]{4}-[0-9]{2}-[0-9]{2}"
    r"(?:[Tt ][0-9]{2}:[0-9]{2}(?::[0-9]{2}(?:[.,][0-9]+)?)?(?:[Zz]|[+-][0-9]{2}:?[0-9]{2})?)?$"
)
_SHORT_YEAR = re.compile(r"^[0-9]{1,2}[/.\-][0-9]{1,2}[/.\-][0-9]{2}(?![0-9])")


def how_written(key: str, kind: str, cells: Sequence[str]) -> list[Entry]:
    """Return the entries that say how the times of a field are written, none where they are ISO 8601."""
    first = cells[:500]
    if all(map(_ISO.match, first)):
        return []
    if kind == "order" or (kind == "half-day" and re.match(r"^[0-9]{1,2}[/.\-]", first[0])):
        return _by_order(key, first)
    found = list(_patterns(first))
    if not found:
        return [Entry(key, ask(f"how is {shown(first[:1])} written? A pattern such as %d.%m.%Y %H:%M:%S"))]
    return [Entry(key, found[0], f"sure: it fits every time seen, as {shown(first[:1])}"), *_century(found[0])]


def _by_order(key: str, cells: Sequence[str]) -> list[Entry]:
    """Return the entries of dates with their year last, or short: the order of day and month must be seen."""
    found = list(_patterns(cells))
    day = next((each for each in found if each.startswith("%d")), "")
    month = next((each for each in found if each.startswith("%m")), "")
    short = bool(_SHORT_YEAR.match(cells[0]))
    if not (day or month):
        return [Entry(key, ask(f"how is {shown(cells[:1])} written? A pattern such as %d.%m.%Y %H:%M:%S"))]
    try:
        order, telling = deciding_order(cells, "")
        told = day if order == "day-first" else month
    except Refused:
        told, telling = "", ""
    if told and not short:
        return [Entry(key, told, f"sure: {shown([telling])} has no other reading")]
    ways = [each for each in (day, month) if each]
    if short:
        ways += [each for each in found if each.startswith("%y")]
    question = ask(f"{' or '.join(ways)}: is the day or the month first in {shown(cells[:1])}?")
    return [Entry(key, question), *_century(ways[0])]


def _century(pattern: str) -> list[Entry]:
    return [Entry("century", ask("20 or 19: the first two digits of the years"))] if "%y" in pattern else []


def _patterns(cells: Sequence[str]) -> Iterator[str]:
    """Yield the patterns that fit every cell."""
    for text in _every(cells[0]):
        expression = re.compile(Pattern.of(text).expression)
        if all(map(expression.match, cells)) and all(_possible(expression, cell) for cell in cells):
            yield text


def _possible(expression: re.Pattern[str], cell: str) -> bool:
    found = expression.match(cell)
    parts = found.groupdict() if found else {}
    return int(parts.get("month") or 1) <= 12 and int(parts.get("day") or 1) <= 31


def _every(cell: str) -> Iterator[str]:
    """Yield the patterns of usual parts whose date, if any, begins a cell, and whose clock ends it."""
    yield from _PACKED
    days = [day for day in _DAYS if re.match(Pattern.of(day).expression.removesuffix(r"\s*$"), cell)]
    clocks = [clock for clock in _CLOCKS if re.search(Pattern.of(clock).expression.removeprefix(r"^\s*"), cell)]
    yield from days
    yield from clocks
    yield from (f"{day}{mark}{clock}" for day, mark, clock in product(days, (" ", "T", ", "), clocks))


_ORDERS = (("%Y", "%m", "%d"), ("%d", "%m", "%Y"), ("%m", "%d", "%Y"))
_SHORT_ORDERS = (("%d", "%m", "%y"), ("%m", "%d", "%y"), ("%y", "%m", "%d"))
_DAYS = (
    *(mark.join(order) for mark in "-./" for order in (*_ORDERS, *_SHORT_ORDERS)),
    *("%d %b %Y", "%d. %b %Y", "%d-%b-%Y", "%b %d, %Y", "%b %d %Y", "%d-%b-%y", "%d %b %y"),
)
_HOURS = ("%H:%M:%S", "%H:%M", "%H:%M:%S.%f", "%H:%M:%S,%f", "%I:%M:%S %p", "%I:%M %p", "%I:%M:%S%p", "%I:%M%p")
_CLOCKS = tuple(f"{hour}{zone}" for hour, zone in product(_HOURS, ("", " %z", "%z")))
_PACKED = ("%Y%m%d%H%M%S", "%Y%m%d%H%M", "%Y%m%d %H%M%S", "%Y%m%d %H:%M:%S", "%Y%m%d", "%Y%m%dT%H%M%S%z")
