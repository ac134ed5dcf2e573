"""How times may be written: names for the usual ways, and patterns of parts for any other."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import pyarrow as pa
import pyarrow.compute as pc

from vambrace_plugins.mapping.fixedtimes import fixed_to_iso

FORMATS = (
    *("iso", "day-first", "month-first", "year-first"),
    *("epoch", "elapsed", "serial-1900", "serial-1904"),
)
"""The formats that have a name."""

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_WHOLE = (
    *("january", "february", "march", "april", "may", "june"),
    *("july", "august", "september", "october", "november", "december"),
)
_DIRECTIVES = {
    "Y": ("year", "[0-9]{4}"),
    "y": ("short", "[0-9]{2}"),
    "m": ("month", "[0-9]{1,2}"),
    "b": ("month_name", "[A-Za-z]{3,9}"),
    "B": ("month_name", "[A-Za-z]{3,9}"),
    "d": ("day", "[0-9]{1,2}"),
    "H": ("hour", "[0-9]{1,2}"),
    "I": ("half_hour", "[0-9]{1,2}"),
    "p": ("half", "[AaPp]\\.?[Mm]\\.?"),
    "M": ("minute", "[0-9]{2}"),
    "S": ("second", "[0-9]{2}"),
    "f": ("fraction", "[0-9]{1,9}"),
    "z": ("zone", "[Zz]|[+-][0-9]{2}:?[0-9]{2}"),
}
_TAKES_PLACE_OF = {"short": "year", "month_name": "month", "half_hour": "hour"}


@dataclass(frozen=True, slots=True)
class Pattern:
    """A pattern of parts (`%d.%m.%Y %H:%M`): a regular expression with a group for each."""

    text: str
    expression: str
    parts: frozenset[str]

    @classmethod
    def of(cls, text: str) -> Pattern:
        """Return the pattern of a text; raise ValueError for one that cannot be read."""
        expression, parts, seen = "", set[str](), set[str]()
        for piece in re.findall(r"%.?|\s+|[^%\s]+", text):
            if piece == "%%" or not piece.startswith("%"):
                expression += r"\s+" if piece.isspace() else re.escape(piece.replace("%%", "%"))
                continue
            if piece[1:] not in _DIRECTIVES:
                raise ValueError(f"{piece} is no part that is known")
            name, digits = _DIRECTIVES[piece[1:]]
            part = _TAKES_PLACE_OF.get(name, name)
            if part in seen:
                raise ValueError(f"the {part} stands twice")
            seen.add(part)
            parts.add(name)
            expression += f"(?P<{name}>{digits})"
        found = cls(text, rf"^\s*{expression}\s*$", frozenset(parts))
        found._check(seen)
        return found

    def _check(self, seen: set[str]) -> None:
        if {"year", "month", "day"} & seen and not {"year", "month", "day"} <= seen:
            raise ValueError("a date needs year, month and day")
        if seen & {"minute", "second"} and "hour" not in seen:
            raise ValueError("minutes need hours")
        if ("second" in seen and "minute" not in seen) or ("fraction" in seen and "second" not in seen):
            raise ValueError("it has smaller parts of the hour without the larger ones")
        if ("half_hour" in self.parts) != ("half" in self.parts):
            raise ValueError("%I and %p belong together")

    @property
    def day(self) -> bool:
        """Say whether it has a date."""
        return "day" in self.parts

    @property
    def clock(self) -> bool:
        """Say whether it has a time of day."""
        return bool(self.parts & {"hour", "half_hour"})

    @property
    def short_year(self) -> bool:
        """Say whether its years have two digits."""
        return "short" in self.parts

    def fits(self, cells: Sequence[str]) -> bool:
        """Say whether one of the cells at least is written so."""
        expression = re.compile(self.expression)
        return any(expression.match(cell) for cell in cells)

    def iso(self, cells: pa.Array, century: str) -> pa.Array:
        """Return the cells in ISO 8601: dates, times of day or both; a cell that does not fit stays as it is."""
        plain = fixed_to_iso(cells, self.text)
        if plain is not None:
            return plain
        found = pc.extract_regex(cells, self.expression)
        if found.null_count == len(found):
            return cells
        texts = [self._date(found, century)] if self.day else []
        texts += [self._clock(found)] if self.clock else []
        iso = texts[0] if len(texts) == 1 else pc.binary_join_element_wise(*texts, "T")
        return pc.coalesce(iso, cells)

    def _date(self, found: pa.Array, century: str) -> pa.Array:
        if "short" in self.parts:
            year = pc.binary_join_element_wise(century, pc.struct_field(found, "short"), "")
        else:
            year = pc.struct_field(found, "year")
        if "month_name" in self.parts:
            months = pc.utf8_lower(pc.struct_field(found, "month_name"))
            # Three letters say the month; what follows must be the rest of its name, or nothing.
            whole = pc.index_in(months, pa.array([*_MONTHS, *_WHOLE]))
            numbers = pa.array([f"{at % 12 + 1:02d}" for at in range(24)])
            month = numbers.take(whole)
        else:
            month = _two(pc.struct_field(found, "month"))
        return pc.binary_join_element_wise(year, month, _two(pc.struct_field(found, "day")), "-")

    def _clock(self, found: pa.Array) -> pa.Array:
        if "half" in self.parts:
            hour = _full_day(pc.struct_field(found, "half_hour"), pc.struct_field(found, "half"))
        else:
            hour = _two(pc.struct_field(found, "hour"))
        minute = pc.struct_field(found, "minute") if "minute" in self.parts else "00"
        texts = pc.binary_join_element_wise(hour, minute, ":")
        if "second" in self.parts:
            texts = pc.binary_join_element_wise(texts, pc.struct_field(found, "second"), ":")
        if "fraction" in self.parts:
            texts = pc.binary_join_element_wise(texts, pc.struct_field(found, "fraction"), ".")
        return pc.binary_join_element_wise(texts, pc.struct_field(found, "zone"), "") if "zone" in self.parts else texts


def _two(numbers: pa.Array) -> pa.Array:
    return pc.utf8_lpad(numbers, 2, "0")


def _full_day(hours: pa.Array, halves: pa.Array) -> pa.Array:
    """Return hours of 24 from those of 12 with AM or PM; none where the hour is no such hour."""
    written = pc.binary_join_element_wise(_two(hours), pc.utf8_lower(pc.utf8_slice_codeunits(halves, 0, 1)), "")
    known = {
        f"{hour:02d}{half}": f"{hour % 12 + add:02d}" for half, add in (("a", 0), ("p", 12)) for hour in range(1, 13)
    }
    return pa.array(list(known.values())).take(pc.index_in(written, pa.array(list(known))))
