"""Tables of which each row names its signal and gives one value: time, signal, value, perhaps with a unit."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import pyarrow.compute as pc

from vambrace.plugin import Recording, Refused, Rejected, SourceBatch
from vambrace_plugins.importers.csv.beside import UNIT_WORDS
from vambrace_plugins.importers.csv.blocks import Block
from vambrace_plugins.importers.csv.firstcells import FirstCells
from vambrace_plugins.importers.csv.layout import headings
from vambrace_plugins.importers.csv.options import option_key
from vambrace_plugins.importers.csv.recordings import Key
from vambrace_plugins.importers.csv.table import Given, Table, filled, sample_of
from vambrace_plugins.importers.csv.unitsrow import with_unit
from vambrace_plugins.importers.csv.vocabulary import Heading, plain

# Headers of the columns that name the signal and give its value (common practice, no source).
_SIGNAL = {"signal", "measure", "metric", "variable", "parameter", "measurement type", "type"}
_VALUE = {"value", "reading", "measurement"}


@dataclass(frozen=True, slots=True)
class LongPlaces:
    """The columns of a long table by their place; `unit` is None where there is none."""

    signal: int
    value: int
    unit: int | None


def long_places(heads: Sequence[Heading]) -> LongPlaces | None:
    """Return the columns of a long table, or None where a header is a signal's or one of the two columns misses."""
    words = [plain(heading.text) for heading in heads]
    found = [[at for at, word in enumerate(words) if word in names] for names in (_SIGNAL, _VALUE, UNIT_WORDS)]
    if any(heading.signal for heading in heads) or len(found[0]) != 1 or len(found[1]) != 1 or len(found[2]) > 1:
        return None
    return LongPlaces(found[0][0], found[1][0], found[2][0] if found[2] else None)


def parting_places(heads: Sequence[Heading]) -> list[int]:
    """Return the columns that part the rows of a table into those of several devices or signals."""
    long = long_places(heads)
    return [*([long.signal] if long else []), *(at for at, heading in enumerate(heads) if heading.key)]


class LongTable:
    """A long table in the making: a table of its own for each signal, decided when its first rows come."""

    def __init__(self, given: Given, heads: Sequence[Heading], places: LongPlaces, first: Block) -> None:
        """Take the first rows as the sample of all columns but the values."""
        self._given, self._heads, self._places, self._sample = given, heads, places, sample_of(first)
        self._tables: dict[str, tuple[str, Table]] = {}
        self._not_carried: dict[str, int] = {}
        self._numbers: dict[tuple[Key, int], int] = {}

    def batches(self, block: Block) -> Iterator[SourceBatch]:
        """Yield the rows of a block, signal by signal."""
        if not len(block):
            return
        words = pc.utf8_trim_whitespace(block.columns[self._places.signal])
        # Every signal is decided before the first row is handed over.
        ready: list[tuple[Table, Block]] = []
        for word in pc.unique(words).to_pylist():
            own = block.filtered(pc.equal(words, word))
            table = self._table(word, own)
            if table is None:
                name = word or "(no name)"
                self._not_carried[name] = self._not_carried.get(name, 0) + filled(own.columns[self._places.value])
            else:
                ready.append((table, own))
        for table, mine in ready:
            yield from table.batches(mine)

    def _table(self, word: str, rows: Block) -> Table | None:
        heading = headings([word], self._given.said)[0]
        if not heading.signal:
            return None
        record = int(rows.records[0])
        unit = self._unit(word, rows)
        if word not in self._tables:
            twin = next((other for other, (_, table) in self._tables.items() if _signal(table) == heading.signal), None)
            if twin is not None:
                what = f'both "{twin}" and "{word}" mean {heading.signal}'
                todo = f'Leave one out, as in --option "csv.columns={option_key(word)}=-"'
                raise Refused("header-twice", what, where=f"row {record:,}", todo=todo)
            self._tables[word] = (unit or "", self._new(heading, unit or "", rows))
        known, table = self._tables[word]
        if unit is not None and known != unit:
            what = f'"{word}" is in {known or "no unit"}, and here in {unit or "no unit"}'
            todo = "Write each signal in one unit, or split the file"
            raise Refused("unit-two-readings", what, where=f"row {record:,}", todo=todo)
        return table

    def _unit(self, word: str, rows: Block) -> str | None:
        """Return the unit of a signal's rows, None where they have neither a value nor a unit."""
        if self._places.unit is None:
            return ""
        cells, values = (pc.utf8_trim_whitespace(rows.columns[at]) for at in (self._places.unit, self._places.value))
        units = pc.unique(cells.filter(pc.or_(pc.not_equal(cells, ""), pc.not_equal(values, "")))).to_pylist()
        if len(units) > 1:
            what = f'"{word}" is in {units[0] or "no unit"}, and in {units[1] or "no unit"} in the rows behind'
            todo = "Write each signal in one unit, or split the file"
            raise Refused("unit-two-readings", what, where=f"row {int(rows.records[0]):,}", todo=todo)
        return str(units[0]) if units else None

    def _new(self, heading: Heading, unit: str, rows: Block) -> Table:
        places = self._places
        heads = list(self._heads)
        heads[places.value] = with_unit(heading, unit)
        sample = list(self._sample)
        sample[places.value] = FirstCells(rows.columns[places.value])
        read = {at for at in (places.signal, places.unit) if at is not None}
        return Table(self._given, heads, sample, numbers=self._numbers, read=read)

    def cut(self, cut: tuple[int, list[str], int]) -> Iterator[Rejected]:
        """Yield the value of a last row that is too short, where it has one: it is set aside."""
        record, row, line = cut
        what = f"line {line:,}: the last row ends after {len(row)} of {len(self._given.header)} cells and is set aside"
        self._given.source.note("possibly-cut", what, "warning")
        word = row[self._places.signal].strip() if len(row) > self._places.signal else ""
        if word in self._tables and len(row) > self._places.value:
            value = row[self._places.value].strip()
            signal = _signal(self._tables[word][1])
            yield Rejected(signal, record, "not-a-number", f"{value} (cut)", self._given.before + 1, "")

    @property
    def from_start(self) -> bool:
        """Say whether its times count from the start that the user gives."""
        return any(table.from_start for _, table in self._tables.values())

    @property
    def count(self) -> int:
        """Return how many recordings the tables have so far, at least one."""
        return max(1, len(self._numbers))

    def about(self, *, complete: bool | None) -> Iterator[Recording]:
        """Yield what the tables say of their recordings, once all is read; raise Refused where none holds a signal."""
        if not self._tables:
            names = ", ".join(f'"{word}"' for word in list(self._not_carried)[:6]) or "there is none"
            what = f"none of the signals that its rows name is known ({names})"
            todo = 'If one is a signal, say which, as in --option "csv.columns=NAME=heart_rate"'
            raise Refused("no-known-column", what, todo=todo, unrecognised=True)
        yield Recording(self._given.before + 1, conversions=("rows of one value each, parted by the signal they name",))
        tables = [table for _, table in self._tables.values()]
        left = dict(self._not_carried)
        for table in tables:
            for name, n in table.not_carried.items():
                left[name] = left.get(name, 0) + n
            # What no signal fits is said once, with the last of them.
            table.not_carried = left if table is tables[-1] else {}
        for table in tables:
            yield from table.about(complete=complete)


def _signal(table: Table) -> str:
    return table.fields[0].heading.signal
