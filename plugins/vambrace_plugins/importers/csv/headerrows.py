"""Which rows of a table are no rows but headers: of this or another table, known or not."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from vambrace_plugins.importers.csv.cells import ABSENT
from vambrace_plugins.importers.csv.layout import headings
from vambrace_plugins.importers.csv.longshape import long_places
from vambrace_plugins.importers.csv.options import Said
from vambrace_plugins.importers.csv.unitsrow import units_row
from vambrace_plugins.importers.csv.vocabulary import plain, read_heading

# A number, or what begins like a date or a time of day: no column is named so.
VALUE = re.compile(r"^[+-]?[0-9]+([.,][0-9]+)?$|^[0-9]{1,4}[-/.:][0-9]{1,2}[-/.:][0-9]{1,4}")
_BEGIN_OF_VALUES = "0123456789+-."
_MARKS = "\ufeff\f"
_LONGEST_WORDS, _SHOWN = 80, 40
_RULE, _RULE_OF_ALL = re.compile(r"^\s*:?(?:-{3,}|={3,}):?\s*$"), re.compile(r"^\s*[-=+|]{3,}\s*$")
_SHAPE = str.maketrans("123456789", "0" * 9)

# What stands in the column of times where a row sums others up (common practice, no source).
_SUMMARY = frozenset(
    (
        *("total", "totals", "sum", "summary", "overall", "average", "averages", "avg", "mean", "median"),
        *("min", "max", "minimum", "maximum", "std", "sd", "count"),
    )
)

Kind = Literal["", "header", "foreign", "summary"]


def sums_up(cell: str) -> bool:
    """Say whether a cell's first word says that its row sums up others."""
    return plain(cell[:_LONGEST_WORDS]).partition(" ")[0] in _SUMMARY


def is_blank(row: list[str]) -> bool:
    """Say whether all cells of a row are empty."""
    return not _cells(row)


def _cells(row: list[str]) -> int:
    return sum(bool(cell) and not cell.isspace() for cell in row)


def is_title(row: list[str]) -> bool:
    """Say whether a row has one cell only, and that no time."""
    return _cells(row) == 1 and not "".join(row).strip()[:1].isdigit()


def is_rule(row: Sequence[str], header: Sequence[str]) -> bool:
    """Say whether a row is drawn between a header and its rows: of dashes under each name, or of one such line."""
    if len(row) == 1:
        return bool(_RULE_OF_ALL.match(row[0]))
    return len(row) == len(header) and all(
        _RULE.match(cell) if name.strip() else not cell.strip() for cell, name in zip(row, header, strict=True)
    )


def looks_like(row: list[str]) -> str:
    """Return what a row that does not fit its table looks like, to go on a sentence with, or ""."""
    texts = [text for cell in row if (text := cell.strip())]
    shown = " ".join(texts)[:_SHOWN]
    if sums_up(row[0]):
        return f', and looks like a summary ("{shown}")'
    note = is_title(row) or not any(map(VALUE.match, texts))
    return f', and looks like a title or a note ("{shown}")' if note else ""


def cleaned(row: list[str]) -> list[str]:
    """Return a row without the byte order mark or form feed that files put together leave before it."""
    return [row[0].lstrip(_MARKS), *row[1:]] if row and row[0][:1] in _MARKS and row[0] else row


def may_name(cell: str) -> bool:
    """Say whether a cell in the column of times may be a name; few cells are, and only these need a closer look."""
    text = cell.strip()
    if not text or text[0] in _BEGIN_OF_VALUES or text.lower() in ABSENT:
        return False
    # Names have few digits, unless they are times' names with a zone; dates with a month's name have more.
    shape = text.translate(_SHAPE)
    return shape.count("0") < 2 or read_heading(shape.strip(_MARKS)).time is not None


@dataclass(frozen=True, slots=True)
class HeaderRows:
    """Tells headers from rows by what the user says of columns and what we know of their names."""

    said: Said

    def time_at(self, cells: Sequence[str]) -> int | None:
        """Return where a row that is the header of a table names a time, None for any other row."""
        if any(VALUE.match(cell.strip()) for cell in cells):
            return None
        heads = headings(cells, self.said)
        if sum(heading.known for heading in heads) < 2 and long_places(heads) is None:
            return None
        return next((at for at, heading in enumerate(heads) if heading.time is not None), None)

    def kind(self, row: list[str], at: int) -> Kind:
        """Return whether a row with a name in the column of times is a header, looks like one, or sums others up."""
        row = cleaned(row)
        if self.time_at(row) is not None:
            return "header"
        if read_heading(row[at].strip()).time is not None:
            return "foreign"
        filled = [text for cell in row if (text := cell.strip())]
        words = all(text[0] not in _BEGIN_OF_VALUES and text.lower() not in ABSENT for text in filled)
        if len(filled) > 1 and words:
            return "foreign"
        return "summary" if sums_up(row[at]) else ""

    def is_units(self, header: Sequence[str], row: Sequence[str]) -> bool:
        """Say whether a row behind a header gives the units of its columns."""
        return len(row) == len(header) and units_row(headings(header, self.said), row)
