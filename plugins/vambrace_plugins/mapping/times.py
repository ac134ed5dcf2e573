"""Brings times that a pattern explains to ISO 8601, and refuses a format that fits none of the first rows."""

from __future__ import annotations

import re
from collections.abc import Mapping as Dict
from collections.abc import Sequence
from dataclasses import dataclass, replace

from vambrace_plugins.importers.csv.blocks import Block
from vambrace_plugins.mapping.model import Mapping
from vambrace_plugins.mapping.timeformats import Pattern

_NUMBER = r"^\s*[+-]?[0-9]+(?:[.,][0-9]*)?(?:[eE][+-]?[0-9]+)?\s*$"
_YEAR_FIRST = r"^\s*(?:[0-9]{4}[-/.][0-9Ww]|[0-9]{7,8}[Tt ]|[0-9]{4}[Ww][0-9]{3}[Tt])"
_YEAR_LAST = r"^\s*[0-9]{1,2}[/.\-][0-9]{1,2}[/.\-](?:[0-9]{4}|[0-9]{2})(?![0-9])|[A-Za-z]{3}.*[0-9]|[0-9].*[A-Za-z]{3}"
_SHAPES = {
    "iso": _YEAR_FIRST,
    "day-first": _YEAR_LAST,
    "month-first": _YEAR_LAST,
    "year-first": f"{_YEAR_FIRST}|{_YEAR_LAST}",
    "epoch": _NUMBER,
    "serial-1900": _NUMBER,
    "serial-1904": _NUMBER,
    "elapsed": rf"{_NUMBER}|^\s*[+-]?[0-9]+:[0-9]{{1,2}}",
    "clock": r"^\s*[0-9]{1,2}:?[0-9]{2}",
    "date": rf"{_YEAR_FIRST}|^\s*[0-9]{{8}}\s*$",
}


@dataclass(frozen=True, slots=True)
class _Written:
    """How the times of one field are written: `shape` is what every such text looks like."""

    name: str
    at: int
    key: str
    text: str
    shape: str
    pattern: Pattern | None


class Times:
    """What a mapping says of the times of its blocks; `at` are the places of the fields."""

    def __init__(self, mapping: Mapping, at: Dict[str, int]) -> None:
        self._mapping, self._checked = mapping, False
        time = mapping.time
        clock = "clock" if time.date or time.first_date else ""
        named = [(time.column, "format", time.format, clock), (time.end, "format", time.format, clock)]
        dates = time.date_format or ("" if time.format == "iso" or "%" in time.format else time.format)
        named += [(time.date, "date_format" if time.date_format else "format", dates or "iso", "")]
        self._written = [
            _Written(name, at[name], key, text, *_shaped(text, clock or ("date" if name == time.date else "")))
            for name, key, text, clock in named
            if name
        ]

    def prepared(self, block: Block) -> Block:
        """Return a block with the times that a pattern explains in ISO 8601."""
        if not len(block):
            return block
        if not self._checked:
            self._checked = True
            for each in self._written:
                self._check(each, [str(cell) for cell in block.columns[each.at]])
        columns = list(block.columns)
        for each in self._written:
            if each.pattern is not None:
                columns[each.at] = each.pattern.iso(columns[each.at], self._mapping.time.century)
        return replace(block, columns=columns)

    def _check(self, each: _Written, cells: Sequence[str]) -> None:
        filled = [cell for cell in cells if cell.strip()]
        shape = re.compile(each.shape)
        if not filled:
            what = f'the field "{each.name}" has no time in the first {len(cells):,} rows'
            todo = "Name the field that holds the times"
            key = next(key for key in ("column", "date", "end") if getattr(self._mapping.time, key) == each.name)
            raise self._mapping.refusal("mapping-time", ("time", key), what, todo)
        if not any(map(shape.search, filled)):
            n = len(filled)
            fits = f"fits none of the first {n:,} times" if n > 1 else "does not fit the only time"
            what = f'the time format "{each.text}" {fits} of "{each.name}" ("{filled[0].strip()[:60]}")'
            todo = 'Say how they are written, as in format = "%d.%m.%Y %H:%M:%S" or format = "epoch"'
            raise self._mapping.refusal("mapping-time", ("time", each.key), what, todo)

    def sentences(self) -> list[str]:
        """Return what was decided about the times, for people."""
        found = {each.text: None for each in self._written if each.pattern is not None}
        return [f'times: written as "{text}", as the mapping says' for text in found]


def _shaped(text: str, part: str) -> tuple[str, Pattern | None]:
    """Return what texts of a format look like, and the pattern of one that is no name."""
    if "%" in text:
        pattern = Pattern.of(text)
        return pattern.expression, pattern
    return _SHAPES[part if part and (text == "iso" or part == "clock") else text], None
