"""Which mark stands before decimals and which parts thousands: said, or shown by the cells, and never guessed."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterable, Sequence
from typing import NamedTuple

import pyarrow as pa
import pyarrow.compute as pc

from vambrace.plugin import SIGNALS, Refused
from vambrace_plugins.importers.csv.firstcells import column_of, numbers_in

# Marks that part groups of three and nothing else: a space, its two unbreakable forms, and two apostrophes, as the
# locales of the Unicode CLDR have them.
_BLANK = " "
_OTHERS = "\u00a0\u202f'\u2019"
_FRACTION = r"[0-9]+(?:[eE][+-]?[0-9]+)?"
# One mark with digits around it: a fraction, or (where there are always three) groups of thousands.
_ONE = {mark: rf"^\s*[+-]?[0-9]*{re.escape(mark)}{_FRACTION}\s*$" for mark in ",."}
_GROUP = {mark: rf"^\s*[+-]?[1-9][0-9]{{0,2}}{re.escape(mark)}[0-9]{{3}}\s*$" for mark in ",."}
_OTHER = {",": ".", ".": ","}
_NAMES = {",": "comma", ".": "point"}
_WORDS = {",": "comma", ".": "dot"}
_COMMA_CELL = r"^(\s*[+-]?[0-9]*),([0-9]+(?:[eE][+-]?[0-9]+)?\s*)$"
_COMMA_WAY = "Say --option csv.decimal=comma if the comma stands before decimals"
_POINT_WAY = "csv.decimal=dot sets cells with a comma aside, but for groups of three digits, which are thousands"
_TWO_MARKS = (
    "Mend the cells, or say --option csv.decimal=dot, "
    "which sets cells with a comma aside, but for groups of three digits, which are thousands"
)
_PARTS_WAY = "; or csv.decimal=comma if its points part thousands"
_SHOWN = 40
_FEW = 100


def _sure(mark: str, parts: str) -> str:
    """Return the pattern of numbers in which `parts` stands between thousands, and can mean nothing else.

    `mark` stands before their decimals. A comma or a point must stand twice, or together with the other mark.
    """
    front, fraction = r"^\s*[+-]?[1-9][0-9]{0,2}", f"(?:{re.escape(mark)}[0-9]+)"
    if parts in _OTHER:
        group = f"{re.escape(parts)}[0-9]{{3}}"
        return rf"{front}{group}(?:(?:{group})+{fraction}?|{fraction})\s*$"
    # One and the same mark between all groups.
    each = "|".join(f"(?:{re.escape(one)}[0-9]{{3}})+" for one in parts)
    return rf"{front}(?:{each}){fraction}?\s*$"


_SURE = {mark: _sure(mark, _OTHER[mark]) for mark in ",."}
_SPACED = {(mark, parts): _sure(mark, parts) for mark in ",." for parts in (_OTHERS, _BLANK + _OTHERS)}


def may_list(signal: str) -> bool:
    """Say whether digits parted by spaces may be several values: beats of a row, or what no thousand fits."""
    return signal == "rr_interval" or SIGNALS[signal].domain[1] < 1000


class _Cell(NamedTuple):
    """One cell, and the header of its column."""

    header: str
    text: str


class _Seen:
    """The first cell of each kind, by its mark: before decimals, between thousands, and `alone` before three digits.

    `with_groups` holds the marks that stand before decimals behind groups of thousands.
    """

    def __init__(self, sample: Iterable[tuple[str, Sequence[str]]], lists: Collection[str]) -> None:
        """Look at the cells; `lists` holds the headers of the columns in which a space parts values."""
        self.decimal: dict[str, _Cell] = {}
        self.parting: dict[str, _Cell] = {}
        self.alone: dict[str, _Cell] = {}
        self.with_groups: set[str] = set()
        for header, cells in sample:
            if numbers_in(cells) is not None:
                self._take_plain(header, column_of(cells))
                continue
            column = pc.utf8_trim_whitespace(column_of(cells))
            for mark in _OTHER:
                held = column.filter(pc.match_substring(column, mark))
                if len(held):
                    self._take(header, held, mark, _OTHERS if header in lists else _BLANK + _OTHERS)

    def _take_plain(self, header: str, cells: pa.Array) -> None:
        """Take what plain numbers show: a point stands in them before decimals, or alone before three digits."""
        for part in (cells[:_FEW], cells[_FEW:]):
            # Once a point stands before decimals, nothing else that plain numbers show decides anything.
            if "." in self.decimal or not len(part):
                return
            held = part.filter(pc.match_substring(part, "."))
            grouped = pc.match_substring_regex(held, _GROUP["."])
            if (alone := _first(held.filter(grouped), _GROUP["."])) is not None:
                self.alone.setdefault(".", _Cell(header, alone))
            if (text := _first(held.filter(pc.invert(grouped)), _ONE["."])) is not None:
                self.decimal["."] = _Cell(header, text)

    def _take(self, header: str, cells: pa.Array, mark: str, spaces: str) -> None:
        """Take what cells that hold a mark show of it."""
        for found, pattern in (
            (self.alone, _GROUP[mark]),
            (self.parting, _SURE[_OTHER[mark]]),
            (self.decimal, f"{_SURE[mark]}|{_SPACED[mark, spaces]}"),
        ):
            fits = pc.match_substring_regex(cells, pattern)
            at = pc.index(fits, True).as_py()
            if at >= 0:
                found.setdefault(mark, _Cell(header, cells[at].as_py()))
                if found is self.decimal:
                    self.with_groups.add(mark)
                cells = cells.filter(pc.invert(fits))
        if mark not in self.decimal and (text := _first(cells, _ONE[mark])) is not None:
            self.decimal[mark] = _Cell(header, text)

    def first(self, mark: str) -> _Cell | None:
        """Return a cell that has one such mark, or has it before decimals."""
        return self.decimal.get(mark) or self.alone.get(mark)


class DecimalMark:
    """The decimal mark of one table: said, or decided once from the first rows; whatever contradicts it is refused.

    Spaces and apostrophes between groups of three digits are read in any cell. A comma or a point is read so where
    it stands twice in a cell, or together with the other mark; alone in a cell only where `parts` says so.
    """

    def __init__(
        self, said: str, delimiter: str, sample: Iterable[tuple[str, Sequence[str]]], lists: Collection[str] = ()
    ) -> None:
        """Decide from the first rows' cells of each column (header, cells).

        `lists` holds the headers of columns in which a space may part several values.
        """
        self.said, self.mark, self.parts, self.open = bool(said), said, bool(said), False
        self._lists = lists
        self._commas, self._grouped = False, dict[str, str]()
        if not said:
            seen = _Seen(sample, lists)
            self.mark = _decide(delimiter, seen)
            self.parts = _OTHER[self.mark] in seen.parting
            # Semicolons part cells where commas stand before decimals: there, nothing shows yet what a point means.
            self.open = delimiter == ";" and self.mark == "." and not seen.decimal and not seen.parting

    def as_written(self, cells: pa.Array) -> bool:
        """Say whether plain numbers mean what they say; if not, `plain` has to see them."""
        return self.mark == "." and not (self.open and pc.any(pc.match_substring(cells, "."), min_count=0).as_py())

    def plain(self, header: str, cells: pa.Array) -> pa.Array:
        """Return the cells with a point before decimals; raise Refused for a cell that contradicts the mark."""
        cells = self._without_groups(header, cells)
        if self.mark == ",":
            if (at := _first(cells, _ONE["."])) is not None:
                what = f'the column "{header}" has the cell "{at}" in a table of decimal commas'
                raise Refused("decimal-two-marks", what, todo=_mend(at, "."))
            changed = pc.replace_substring_regex(cells, _COMMA_CELL, r"\1.\2")
            self._commas = self._commas or not changed.equals(cells)
            return changed
        if self.open and (at := _first(cells, _GROUP["."])) is not None:
            what = f'the column "{header}" has the cell "{at}", and the first rows do not show what a point means'
            raise Refused("decimal-not-said", what, todo=_either(at, "."))
        if not self.said and (at := _first(cells, _ONE[","])) is not None:
            raise _comma_late(header, at, parts=self.parts)
        return cells

    def _without_groups(self, header: str, cells: pa.Array) -> pa.Array:
        """Return the cells without the marks between thousands; the decimal mark stays as it is."""
        parts = _OTHER[self.mark]
        spaces = _OTHERS if header in self._lists else _BLANK + _OTHERS
        patterns = [(_SURE[self.mark], parts), *((_SPACED[self.mark, spaces], one) for one in spaces)]
        if self.parts:
            patterns.append((_GROUP[parts], parts))
        trimmed: pa.Array | None = None
        for pattern, mark in patterns:
            if not pc.any(pc.match_substring(cells, mark), min_count=0).as_py():
                continue
            trimmed = pc.utf8_trim_whitespace(cells)
            fits = pc.and_(pc.match_substring(trimmed, mark), pc.match_substring_regex(trimmed, pattern))
            at = pc.index(fits, True).as_py()
            if at >= 0:
                self._grouped.setdefault(mark, trimmed[at].as_py())
                cells = pc.if_else(fits, pc.replace_substring(trimmed, mark, ""), cells)
        return cells

    def sentences(self) -> list[str]:
        """Return what was changed in cells, once all are read."""
        found = [
            f'thousands separators left out: "{mark}" between groups of three digits, as in "{cell}"'
            for mark, cell in sorted(self._grouped.items())
        ]
        return [*found, *(["decimal commas read as decimal points"] if self._commas else [])]


def _first(cells: pa.Array, pattern: str) -> str | None:
    """Return the first cell that fits, without the spaces around it."""
    found = pc.index(pc.match_substring_regex(cells, pattern), True).as_py()
    return None if found < 0 else cells[found].as_py().strip()


def _comma_late(header: str, cell: str, *, parts: bool) -> Refused:
    """Return the refusal of a cell with one comma in a table that does not show that it means decimals."""
    if parts:
        what = f'the column "{header}" has the cell "{cell}" in a table whose commas part thousands'
        return Refused("decimal-two-marks", what, todo=_TWO_MARKS)
    other = cell.replace(",", "") if re.match(_GROUP[","], cell) else "no number"
    readings = f"{cell.replace(',', '.')} or {other}"
    what = f'the column "{header}" has the cell "{cell}" ({readings}), and the first rows show no comma before decimals'
    return Refused("decimal-not-said", what, todo=f"{_COMMA_WAY}; {_POINT_WAY}")


def _mend(cell: str, mark: str) -> str:
    return f"Mend the cells. {_either(cell, mark)}" if re.match(_GROUP[mark], cell) else _TWO_MARKS


def _either(cell: str, mark: str) -> str:
    """Return the way on where one mark stands before three digits."""
    whole = cell.replace(mark, "")
    return (
        f"Say --option csv.decimal={_WORDS[mark]} if the {_NAMES[mark]} stands before decimals, "
        f"or csv.decimal={_WORDS[_OTHER[mark]]} if it parts thousands ({whole})"
    )


def _decide(delimiter: str, seen: _Seen) -> str:
    """Return the decimal mark that the first rows show; raise Refused where they show two, or leave it open."""
    for mark in _OTHER:
        if mark in seen.decimal and mark in seen.parting:
            raise _two_uses(mark, seen.decimal[mark], seen.parting[mark])
    if len(seen.parting) > 1:
        raise _two_uses(",", seen.parting["."], seen.parting[","])
    for mark, parts in _OTHER.items():
        if parts in seen.parting:
            return mark
    comma, point = seen.first(","), seen.first(".")
    if comma is None:
        if delimiter == ";" and "." in seen.alone and "." not in seen.decimal:
            raise _two_readings(seen.alone["."], ".")
        return "."
    if point is not None:
        pointed = f'a point ("{point.text}" in the column "{point.header}")'
        what = f'it has decimals with a comma ("{comma.text}" in the column "{comma.header}") and {pointed}'
        todo = _TWO_MARKS + ("" if "." in seen.decimal else _PARTS_WAY)
        raise Refused("decimal-two-marks", what, todo=todo)
    if "," not in seen.decimal:
        raise _two_readings(comma, ",")
    if delimiter == "," and "," not in seen.with_groups:
        readings = f"it is {comma.text.replace(',', '.')}, or no number"
        what = f'"{comma.text}" in the column "{comma.header}" has a comma where commas separate cells: {readings}'
        raise Refused("decimal-not-said", what, todo=f"{_COMMA_WAY}; {_POINT_WAY}")
    return ","


def _two_uses(mark: str, decimal: _Cell, parting: _Cell) -> Refused:
    """Return the refusal of a table in which one mark stands before decimals and between thousands."""
    what = (
        f'a {_NAMES[mark]} stands before decimals in "{decimal.text[:_SHOWN]}" (column "{decimal.header}") '
        f'and between thousands in "{parting.text[:_SHOWN]}" (column "{parting.header}")'
    )
    return Refused("decimal-two-marks", what, todo=_TWO_MARKS)


def _two_readings(cell: _Cell, mark: str) -> Refused:
    """Return the refusal of a mark that stands before three digits wherever it stands."""
    other = cell.text.replace(mark, _OTHER[mark])
    what = f'"{cell.text}" in the column "{cell.header}" is {other} or {cell.text.replace(mark, "")}'
    return Refused("decimal-two-readings", what, todo=_either(cell.text, mark))
