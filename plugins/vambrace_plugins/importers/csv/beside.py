"""Columns that say something of the numbers beside them: the unit of a signal, or the hemisphere of a position."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace

import pyarrow as pa
import pyarrow.compute as pc

from vambrace.plugin import SIGNALS, Refused
from vambrace_plugins.importers.csv.cells import ABSENT
from vambrace_plugins.importers.csv.layout import Field, said_of
from vambrace_plugins.importers.csv.options import Said, option_key
from vambrace_plugins.importers.csv.vocabulary import Heading, plain, read_heading, spellings, unit_in_brackets

UNIT_WORDS = frozenset({"unit", "units", "uom", "unit of measure", "unit of measurement", "measurement unit"})
"""Headers of a column of units, in words (common practice, no source)."""
# What cells call values that were computed of several, whatever stands above them (common practice, no source).
_COMPUTED = {
    *("mean", "avg", "average", "max", "maximum", "min", "minimum", "median"),
    *("std", "stdev", "stddev", "sd", "std dev", "standard deviation", "variance"),
}
_UNIT_END = re.compile(r"^(.+) (?:units?|uom)$|^units? of (.+)$")
# What hemispheres are called in cells, in lower case: of positive and of negative degrees.
_HEMISPHERES = {"latitude": (("n", "north"), ("s", "south")), "longitude": (("e", "east"), ("w", "west"))}
_ALL_HEMISPHERES = frozenset(word for sides in _HEMISPHERES.values() for side in sides for word in side)
_HEMISPHERE_HEADER = re.compile(
    r"^(?:n per s|e per w|ns|ew|(?:.* )?hemisphere|(?:lat|latitude|lon|long|lng|longitude) "
    r"(?:ref|reference|dir|direction|hemi|side|sign|ns|ew|n per s|e per w))$"
)


@dataclass(frozen=True, slots=True)
class _Units:
    """A column of units: where it stands, and which columns of signals it speaks of; `surely` of these alone."""

    at: int
    of: tuple[int, ...]
    surely: bool


class Beside:
    """The columns of a table that say more of others, looked at in every block."""

    def __init__(
        self, heads: Sequence[Heading], said: Said, sample: Sequence[Sequence[str]], read: Collection[int]
    ) -> None:
        """Find the columns; `read` are those that somebody else reads."""
        self._heads = heads
        free = [at for at, heading in enumerate(heads) if not (heading.known or heading.key or at in read)]
        # What the user leaves out says nothing.
        free = [at for at in free if not said_of(said.columns, heads[at].text)]
        for at in free:
            _refuse_statistics(heads[at].text.strip() or f"column {at + 1}", sample[at])
        told = {at for at, heading in enumerate(heads) if heading.signal and _user_told(heading, said)}
        found = (_units_of(at, heads) for at in free)
        self._units = [replace(each, of=tuple(at for at in each.of if at not in told)) for each in found if each]
        self._hemispheres = [at for at in free if _is_hemisphere(heads[at], sample[at])]
        self._taken: dict[int, int] = {}
        self._fields: Sequence[Field] = ()
        self.heads = list(heads)
        for each in self._units:
            for at in each.of:
                self._take(each, at, sample[each.at])

    def _take(self, units: _Units, at: int, cells: Sequence[str]) -> None:
        """Take the unit of a column from the first cells beside it, where nothing else says one."""
        heading = self._heads[at]
        told = {SIGNALS[heading.signal].ucum(unit): unit for unit in self._said(units, at, cells)}
        if len(told) > 1:
            first, second, *_ = told.values()
            raise self._two(units, at, f'"{first}"', f'"{second}"')
        if told and not heading.unit:
            (unit,) = told.values()
            counted = read_heading(f"{heading.text} ({unit})")
            self.heads[at] = replace(heading, unit=unit, counts=counted.counts or heading.counts)
            self._taken[at] = units.at

    def _said(self, units: _Units, at: int, cells: Sequence[str]) -> Iterator[str]:
        """Yield the units of a signal's column that cells say, as they say them."""
        signal = self._heads[at].signal
        for cell in dict.fromkeys(cell.strip() for cell in cells):
            if cell and cell.lower() not in ABSENT:
                unit = unit_in_brackets(cell, signal)
                if unit:
                    yield unit
                elif units.surely:
                    what = (
                        f'the column "{self._name(units.at)}" says "{cell}", which is no unit of {signal} that we know'
                    )
                    raise Refused("unit-unknown", what, todo=self._way(units.at, at))

    def settle(self, fields: Sequence[Field]) -> list[str]:
        """Take the columns of signals with their units, and return what was decided."""
        self._fields = fields
        taken = [(each, self._name(self._taken[each.at])) for each in fields if each.at in self._taken]
        return [f'{self._name(each.at)}: unit "{each.unit}" taken from the column "{name}"' for each, name in taken]

    @property
    def used(self) -> set[int]:
        """Return the places of the columns that units were taken from."""
        return set(self._taken.values())

    @property
    def looks(self) -> bool:
        """Say whether `check` looks at cells."""
        return bool(self._units or self._hemispheres)

    def check(self, columns: Sequence[pa.Array]) -> None:
        """Raise Refused where a row says another unit or hemisphere than its number is read in."""
        for units in self._units:
            cells = pc.unique(columns[units.at]).to_pylist()
            for field in self._fields:
                if field.at in units.of:
                    self._check_unit(units, field, cells, columns)
        for at in self._hemispheres:
            for field in self._fields:
                if field.heading.signal in _HEMISPHERES:
                    self._check_hemisphere(at, field, columns)

    def _check_unit(self, units: _Units, field: Field, cells: list[str], columns: Sequence[pa.Array]) -> None:
        signal = SIGNALS[field.heading.signal]
        for unit in self._said(units, field.at, cells):
            if signal.ucum(unit) != signal.ucum(field.unit):
                raise self._two(units, field.at, field.unit, f'"{unit}"')
        if self._taken.get(field.at) == units.at and any(not cell.strip() for cell in cells):
            bare = pc.equal(pc.utf8_trim_whitespace(columns[units.at]), "")
            values = pc.utf8_trim_whitespace(columns[field.at].filter(bare))
            if pc.any(pc.match_substring_regex(values, "[0-9]"), min_count=0).as_py():
                raise self._two(units, field.at, f'"{field.unit}"', "nothing in some rows")

    def _check_hemisphere(self, at: int, field: Field, columns: Sequence[pa.Array]) -> None:
        sides = pc.utf8_lower(pc.utf8_trim_whitespace(columns[at]))
        below = pc.starts_with(pc.utf8_trim_whitespace(columns[field.at]), "-")
        counts = pc.match_substring_regex(columns[field.at], "[1-9]")
        for words, wrong in zip(_HEMISPHERES[field.heading.signal], (below, pc.invert(below)), strict=True):
            odd = pc.and_(pc.and_(pc.is_in(sides, pa.array(words)), counts), wrong)
            row = pc.index(odd, True).as_py()
            if row >= 0:
                number, side = columns[field.at][row].as_py().strip(), columns[at][row].as_py().strip()
                raise self._other_side(at, field, number, side)

    def _other_side(self, at: int, field: Field, number: str, side: str) -> Refused:
        name, column = self._name(at), field.heading.text.strip()
        other = number[1:] if number.startswith("-") else f"-{number}"
        what = f'the column "{column}" has {number}, and "{name}" says "{side}" beside it: {other} or {number}'
        todo = f'Write degrees south and west with a minus, or say that the numbers count: --option "{_out(name)}"'
        return Refused("position-two-readings", what, todo=todo)

    def _name(self, at: int) -> str:
        return self._heads[at].text.strip()

    def _two(self, units: _Units, at: int, first: str, second: str) -> Refused:
        what = f'the column "{self._name(at)}" is in {first}, and "{self._name(units.at)}" says {second} beside it'
        return Refused("unit-two-readings", what, todo=self._way(units.at, at))

    def _way(self, units: int, at: int) -> str:
        unit = SIGNALS[self._heads[at].signal].unit
        said = f'"csv.units={option_key(self._name(at))}={unit}"'
        return f"Write the column in one unit, or say the unit of all its numbers, as in --option {said}"


def _out(name: str) -> str:
    return f"csv.columns={option_key(name)}=-"


def _refuse_statistics(name: str, cells: Sequence[str]) -> None:
    """Raise Refused for a column whose cells say nothing but how values were computed, under a header that does not."""
    words = {plain(cell): cell.strip() for cell in cells if cell.strip() and cell.strip().lower() not in ABSENT}
    # A minute is short for `min` as well.
    if words and words.keys() <= _COMPUTED and words.keys() != {"min"}:
        word = next(cell for key, cell in words.items() if key != "min")
        what = f'the column "{name}" has "{word}": its rows may hold the {word} of each while, or what was measured'
        todo = (
            f'If they hold what was measured, leave it out, as in --option "{_out(name)}"; if not, call it "statistic"'
        )
        raise Refused("statistic-two-readings", what, todo=todo)


def _user_told(heading: Heading, said: Said) -> bool:
    return bool(said_of(said.units, heading.text) or said.units.get(heading.signal, ""))


def _units_of(at: int, heads: Sequence[Heading]) -> _Units | None:
    """Return what a header says as one of a column of units, or None."""
    signals = tuple(place for place, heading in enumerate(heads) if heading.signal)
    for words in spellings(heads[at].text):
        if words in UNIT_WORDS:
            # Behind a signal's column it speaks of that one; else of whichever has such a unit.
            of = (at - 1,) if at - 1 in signals else signals
            return _Units(at, of, len(of) == 1)
        match = _UNIT_END.match(words)
        if match:
            named = read_heading(match[1] or match[2])
            same = tuple(place for place in signals if heads[place].signal == named.signal)
            return _Units(at, same, surely=True) if same else _Units(at, signals, surely=False)
    return None


def _is_hemisphere(heading: Heading, cells: Sequence[str]) -> bool:
    """Say whether a column says hemispheres: by its header, or since its cells hold nothing else."""
    words = {cell.strip().lower() for cell in cells} - {""} - set(ABSENT)
    named = any(_HEMISPHERE_HEADER.match(written) for written in spellings(heading.text))
    return named or (bool(words) and words <= _ALL_HEMISPHERES)
