"""How a table is written: what separates its cells, and which mark stands before decimals."""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterable
from itertools import islice

import pyarrow as pa
import pyarrow.compute as pc

from vambrace.plugin import Refused
from vambrace_plugins.importers.csv.options import DELIMITERS
from vambrace_plugins.importers.csv.rows import Lines, csv_fault, is_blank

NAMES = {",": "comma", ";": "semicolon", "\t": "tab", "|": "pipe"}
_PREAMBLE_LINES = 50
# One comma with digits behind it: a fraction, or (where there are always three) a thousands separator.
_COMMA = re.compile(r"^[+-]?[0-9]*,[0-9]+(?:[eE][+-]?[0-9]+)?$")
_THOUSANDS = re.compile(r"^[+-]?[1-9][0-9]{0,2}(?:,[0-9]{3})+$")
_GROUPED = re.compile(r"^[+-]?[1-9][0-9]{0,2}(?:\.[0-9]{3})+$")
_POINT = re.compile(r"^[+-]?[0-9]*\.[0-9]+(?:[eE][+-]?[0-9]+)?$")
# A number, or what begins like a date or a time of day: no column is named so.
_VALUE = re.compile(r"^[+-]?[0-9]+([.,][0-9]+)?$|^[0-9]{1,4}[-/.:][0-9]{1,2}[-/.:][0-9]{1,4}")
_COMMA_CELL = r"^(\s*[+-]?[0-9]*),([0-9]+(?:[eE][+-]?[0-9]+)?\s*)$"
_POINT_CELL = r"^\s*[+-]?[0-9]*\.[0-9]+([eE][+-]?[0-9]+)?\s*$"
_COMMA_WAY = "Say --option csv.decimal=comma if the comma stands before decimals"
_TWO_MARKS = "Mend the cells, or say --option csv.decimal=dot, which sets those with a comma aside"
_POINT_WAY = "csv.decimal=dot sets cells with a comma aside"


def choose_delimiter(lines: Lines, said: str, known: Callable[[list[str]], int]) -> tuple[str, int]:
    """Return what separates the cells of the header, and how many lines stand before it.

    `known` says how many cells of a header mean something to us.

    Raise Refused where two delimiters fit equally well, or where no header is found.
    """
    headers = _headers(lines, (said,) if said else DELIMITERS, known)
    ranked = sorted(headers, key=lambda one: (-known(headers[one]), -len(headers[one])))
    first, *others = ranked
    best = known(headers[first])
    if not best:
        return _behind_others(lines, headers[first], known, said)
    for other in others:
        if len(headers[first]) > 1 and (known(headers[other]), len(headers[other])) == (best, len(headers[first])):
            what = f"its header can be cut at each {NAMES[first]} or at each {NAMES[other]}"
            todo = f"Say which, as in --option csv.delimiter={NAMES[first]} (or ={NAMES[other]})"
            raise Refused("delimiter-two-readings", what, where="line 1", todo=todo)
    return first, 0


def _headers(lines: Lines, delimiters: Iterable[str], known: Callable[[list[str]], int]) -> dict[str, list[str]]:
    """Return the first row as each delimiter cuts it; raise DamagedFile where the one that fits never ends it."""
    found: dict[str, list[str]] = {}
    fault: Exception | None = None
    for delimiter in delimiters:
        reader = csv.reader(lines.ahead(), delimiter=delimiter, strict=True, skipinitialspace=True)
        try:
            row = next((row for row in reader if not is_blank(row)), None)
        except csv.Error as error:
            if known(next(lines.ahead(), "").split(delimiter)):
                fault = csv_fault(error, 1)
            continue
        if row is None:
            what = "there is no text in it but spaces and line ends"
            raise Refused("no-header", what, todo="Export it again, or delete it", unrecognised=True)
        found[delimiter] = row
    if fault is not None and not any(map(known, found.values())):
        raise fault
    return found


def _behind_others(lines: Lines, first: list[str], known: Callable[[list[str]], int], said: str) -> tuple[str, int]:
    """Return the delimiter of a header behind other lines, and how many they are; raise Refused where there is none."""
    for before, line in enumerate(islice(lines.ahead(), _PREAMBLE_LINES)):
        counts = {one: known(line.strip().split(one)) for one in ((said,) if said else DELIMITERS)}
        best = max(counts, key=lambda one: counts[one])
        if counts[best] > 1:
            return best, before
    raise _no_header(first)


def _no_header(header: list[str]) -> Refused:
    """Return the refusal of a table no line of which means anything as a header."""
    if any(_VALUE.match(cell.strip()) for cell in header):
        what = f'its first line holds values ("{header[0].strip()[:40]}"), where the names of the columns belong'
        todo = "Put a line before it that names them, such as time,heart_rate"
        return Refused("no-header", what, where="line 1", todo=todo, unrecognised=True)
    shown = ", ".join(f'"{cell.strip()[:40]}"' for cell in header[:6]) + (", …" if len(header) > 6 else "")
    what = f"no column is known by its header ({shown})"
    todo = "If it holds measurements, say of what, as in --option 'csv.columns=HEADER=heart_rate;HEADER=time'"
    return Refused("no-known-column", what, where="line 1", todo=todo, unrecognised=True)


class DecimalMark:
    """The decimal mark of one table: said, or decided once from the first rows; whatever contradicts it is refused."""

    def __init__(self, said: str, delimiter: str, sample: Iterable[tuple[str, list[str]]]) -> None:
        """Decide from the first rows' cells of each column (header, cells)."""
        self.said, self.mark, self.used = bool(said), said, False
        if not said:
            self.mark = _decide(delimiter, sample)

    def plain(self, header: str, cells: pa.Array) -> pa.Array:
        """Return the cells with a point before decimals; raise Refused for a cell that contradicts the mark."""
        if self.mark == ",":
            if (at := _first(cells, _POINT_CELL)) is not None:
                what = f'the column "{header}" has the cell "{at}" in a table of decimal commas'
                raise Refused("decimal-two-marks", what, todo=_TWO_MARKS)
            changed = pc.replace_substring_regex(cells, _COMMA_CELL, r"\1.\2")
            self.used = self.used or not changed.equals(cells)
            return changed
        if not self.said and (at := _first(cells, _COMMA_CELL)) is not None:
            what = (
                f'the column "{header}" has the cell "{at}", and the first rows do not show that a comma means decimals'
            )
            raise Refused("decimal-not-said", what, todo=f"{_COMMA_WAY}; {_POINT_WAY}")
        return cells


def _first(cells: pa.Array, pattern: str) -> str | None:
    found = pc.index(pc.match_substring_regex(cells, pattern), True).as_py()
    return None if found < 0 else cells[found].as_py().strip()


def _refuse_grouped_points(delimiter: str, points: list[tuple[str, str]]) -> None:
    """Refuse points that may part thousands: semicolons part cells where commas stand before decimals."""
    if delimiter == ";" and points and all(_GROUPED.match(text) for _, text in points):
        header, cell = points[0]
        whole = cell.replace(".", "")
        what = f'"{cell}" in the column "{header}" is {cell.replace(".", ",")} or {whole}'
        todo = f"Say --option csv.decimal=dot if the point stands before decimals; if not, export it as {whole}"
        raise Refused("decimal-two-readings", what, todo=todo)


def _decide(delimiter: str, sample: Iterable[tuple[str, list[str]]]) -> str:
    commas: list[tuple[str, str]] = []
    points: list[tuple[str, str]] = []
    for header, cells in sample:
        texts = [cell.strip() for cell in cells if "," in cell or "." in cell]
        commas += [(header, text) for text in texts if _COMMA.match(text)]
        points += [(header, text) for text in texts if _POINT.match(text)]
    if not commas:
        _refuse_grouped_points(delimiter, points)
        return "."
    header, cell = commas[0]
    if points:
        other, pointed = points[0]
        what = f'it has decimals with a comma ("{cell}" in "{header}") and a point ("{pointed}" in "{other}")'
        raise Refused("decimal-two-marks", what, todo=_TWO_MARKS)
    if all(_THOUSANDS.match(text) for _, text in commas):
        whole = cell.replace(",", "")
        what = f'"{cell}" in the column "{header}" is {cell.replace(",", ".")} or {whole}'
        todo = f"{_COMMA_WAY}; thousands separators are not read: export it as {whole}"
        raise Refused("decimal-two-readings", what, todo=todo)
    if delimiter == ",":
        what = f'"{cell}" in the column "{header}" has a comma in a table whose cells are separated by commas'
        raise Refused("decimal-not-said", what, todo=f"{_COMMA_WAY}; {_POINT_WAY}")
    return ","
