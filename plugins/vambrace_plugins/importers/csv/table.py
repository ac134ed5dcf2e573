"""One table in the making: what its columns are, and its rows as batches."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeAlias

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from vambrace.plugin import SIGNALS, Column, Recording, Refused, Rejected, Source, SourceBatch, Times
from vambrace_plugins.importers.csv.beside import Beside
from vambrace_plugins.importers.csv.blocks import Block, Cells, Numbers, chosen, row_of
from vambrace_plugins.importers.csv.cells import plain, without_unit
from vambrace_plugins.importers.csv.decimals import DecimalMark, may_list
from vambrace_plugins.importers.csv.firstcells import FirstCells, numbers_in, numbers_of
from vambrace_plugins.importers.csv.layout import Field, fields
from vambrace_plugins.importers.csv.options import Said
from vambrace_plugins.importers.csv.recordings import Key, Recordings
from vambrace_plugins.importers.csv.timing import Timing, places, settle
from vambrace_plugins.importers.csv.unitsrow import units_row, with_units
from vambrace_plugins.importers.csv.vocabulary import Heading, read_heading, signal_with_rest

MOST_COLUMNS = 2_000
Values: TypeAlias = pa.Array | NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Given:
    """What a table is read with: its source, what the user says, its delimiter and the cells of its header.

    `before` counts the recordings of the tables before it in the file.
    """

    source: Source
    said: Said
    delimiter: str
    header: list[str]
    before: int = 0


def wide(given: Given, heads: list[Heading], first: Block) -> tuple[Table, Block]:
    """Return the table of a column for each signal, and its first rows without those of units; `heads` are its headers.

    Raise Refused for what stays uncertain.
    """
    if len(given.header) > MOST_COLUMNS:
        what = f"it has {len(given.header):,} columns, and at most {MOST_COLUMNS:,} are read"
        raise Refused("too-many-columns", what, where="line 1", todo="Export fewer columns")
    sentences = []
    row = row_of(first.columns, 0) if len(first) else []
    if row and units_row(heads, row):
        heads, first = with_units(heads, row), first.without_first()
        sentences = ["units taken from the row behind the header"]
    table = Table(given, heads, sample_of(first), sentences=sentences)
    _note_unused(given.source, given.said, given.header)
    return table, first


def sample_of(first: Block) -> list[Sequence[str]]:
    """Return the different cells of each column."""
    return [FirstCells(column) for column in first.columns]


class Table:
    """One table in the making: what its columns are, and what was counted so far."""

    def __init__(
        self,
        given: Given,
        heads: Sequence[Heading],
        sample: Sequence[Sequence[str]],
        *,
        numbers: dict[tuple[Key, int], int] | None = None,
        read: Collection[int] = (),
        sentences: Sequence[str] = (),
    ) -> None:
        """Decide what the columns of a table are; raise Refused for what stays uncertain.

        `numbers` are those of the recordings, where tables of one source share them; `read` are the places of columns
        that somebody else reads; `sentences` say what was decided before.
        """
        said = given.said
        self._beside = Beside(heads, said, sample, read)
        self.source, self.heads = given.source, self._beside.heads
        self.fields = fields(self.heads, said, sample)
        self._sentences = [*sentences, *self._beside.settle(self.fields)]
        if not self.fields:
            raise _no_signal(self.heads)
        increments = [each.heading.text.strip() for each in self.fields if each.counting == "increment"]
        found = places(self.heads, said)
        self.timing: Timing = settle(self.heads, found, said, sample, increments)
        bare = [
            [without_unit(cell, each.suffix) for cell in sample[each.at]] if each.suffix else sample[each.at]
            for each in self.fields
        ]
        plain = (each.at for each in self.fields if not each.suffix and numbers_in(sample[each.at]) is not None)
        self._plain = frozenset(plain)
        names = [each.heading.text.strip() for each in self.fields]
        lists = {name for name, each in zip(names, self.fields, strict=True) if may_list(each.heading.signal)}
        self.mark = DecimalMark(said.decimal, given.delimiter, list(zip(names, bare, strict=True)), lists)
        self.absent: dict[str, None] = {}
        self.recordings = Recordings(self.heads, self.fields, {} if numbers is None else numbers, given.before)
        used = {each.at for each in self.fields} | self.timing.used | self.recordings.used | self._beside.used | {*read}
        self.rest = [at for at in range(len(heads)) if at not in used]
        self.not_carried = dict.fromkeys((self._name(at) for at in self.rest), 0)

    def _name(self, at: int) -> str:
        return self.heads[at].text.strip() or f"column {at + 1}"

    def batches(self, block: Block, leave_out: int | None = None) -> Iterator[SourceBatch]:
        """Yield the rows of a block, one batch for each recording that they belong to, but for one column's cells."""
        if not len(block):
            return
        for at in self.rest:
            self.not_carried[self._name(at)] += filled(block.columns[at])
        self._beside.check(block.columns)
        start = self.timing.start.times(block.columns)
        end = self.timing.end.times(block.columns) if self.timing.end else None
        cells = {each.at: block.columns[each.at] for each in self.fields}
        values = {each.at: self._values(each, cells[each.at]) for each in self.fields}
        record = block.records
        for part in self.recordings.parts(block.columns, len(block)):
            kept = [each for each in part.fields if each.at != leave_out]
            held = tuple(
                _column(each, _taken(values[each.at], part.rows), _taken(cells[each.at], part.rows), part.sensor)
                for each in kept
            )
            yield SourceBatch(
                record if part.rows is None else record[part.rows],
                _times_taken(start, part.rows),
                held,
                part.recording,
                None if end is None else _times_taken(end, part.rows),
                self.timing.interval_s,
                self.timing.stamp,
            )

    @property
    def numeric(self) -> frozenset[int]:
        """Return the columns that are plain numbers in the first rows, and may be read as such from there on."""
        if self.mark.mark != "." or self.mark.open or self._beside.looks:
            return frozenset()
        return self._plain

    def _values(self, each: Field, cells: Cells) -> Values:
        if isinstance(cells, Numbers):
            return cells.numbers
        if not each.suffix and self.mark.as_written(cells) and (numbers := numbers_of(cells)) is not None:
            return numbers
        cells, words = plain(cells, each.suffix, each.heading.text.strip(), told=each.told)
        self.absent.update(dict.fromkeys(words))
        return self.mark.plain(each.heading.text.strip(), cells)

    def cut(self, cut: tuple[int, list[str], int]) -> Iterator[SourceBatch | Rejected]:
        """Yield what is whole of a last row that is too short; its last cell may be part of a longer one."""
        record, row, line = cut
        width = len(self.heads)
        last = row[-1].strip()
        what = f'line {line:,}: the last row ends after {len(row)} of {width} cells; its last one ("{last}") may be cut'
        self.source.note("possibly-cut", f"{what} and is set aside", "warning")
        whole = [*row[:-1], *([""] * (width - len(row) + 1))]
        place = len(row) - 1
        block = Block.of_rows([record], [whole], width)
        yield from self.batches(block, place)
        for part in self.recordings.parts(block.columns, 1):
            for each in part.fields:
                if each.at == place and last:
                    time = whole[self.timing.start.at].strip()
                    yield Rejected(each.heading.signal, record, "not-a-number", f"{last} (cut)", part.recording, time)

    @property
    def count(self) -> int:
        """Return how many recordings the table has so far, at least one."""
        return self.recordings.count

    def about(self, *, complete: bool | None) -> Iterator[Recording]:
        """Yield what the table says of its recordings, once all is read."""
        sentences = [*self.timing.conversions, *self._sentences, *self.mark.sentences()]
        sentences += [f'cells with "{word}" read as absent' for word in sorted(self.absent)]
        for each in self.fields:
            if each.suffix:
                sentences.append(f'{each.heading.text.strip()}: unit "{each.suffix}" taken from the cells')
        # A separator at the end of each row makes a column without a name or a value.
        named = {
            name: n for name, n in self.not_carried.items() if n or name in {one.text.strip() for one in self.heads}
        }
        yield from self.recordings.about(tuple(sentences), named, complete=complete)


def filled(cells: pa.Array) -> int:
    """Return how many cells hold more than blanks."""
    return int(pc.sum(pc.not_equal(pc.utf8_trim_whitespace(cells), ""), min_count=0).as_py())


def _taken(values: Any, rows: Any) -> Any:
    if rows is None:
        return values
    return values[rows] if isinstance(values, np.ndarray) else chosen(values, rows)


def _times_taken(times: Times, rows: Any) -> Times:
    if rows is None:
        return times
    texts = None if times.texts is None else _taken(times.texts, rows)
    return replace(times, values=_taken(times.values, rows), texts=texts)


def _column(each: Field, values: Values, cells: Cells, sensor: str) -> Column:
    heading = each.heading
    return Column(
        heading.signal,
        values,
        each.unit,
        heading.text.strip(),
        counting="increment" if each.counting == "increment" else "total",
        statistic=heading.statistic,
        counts=heading.counts,
        sensor=", ".join(filter(None, (heading.sensor or heading.remark, sensor))),
        # The unit behind a number is shown once, as the unit.
        texts=None if each.suffix else cells,
    )


def _no_signal(heads: Sequence[Heading]) -> Refused:
    names = ", ".join(f'"{heading.text.strip()[:40]}"' for heading in heads if heading.time is None)
    what = f"it has times, and no column of a signal that we know by its header ({names or 'there is no other'})"
    near = next((f"{heading.text.strip()}={split[0].signal}" for heading, split in _split(heads)), "HEADER=heart_rate")
    todo = f'If it holds measurements, say of what, as in --option "csv.columns={near}", '
    todo += "or in a mapping: vambrace draft-mapping FILE"
    return Refused("no-known-column", what, where="line 1", todo=todo, unrecognised=True)


def _split(heads: Sequence[Heading]) -> Iterator[tuple[Heading, tuple[Heading, str]]]:
    """Yield the headers that name a signal among other words."""
    for heading in heads:
        split = signal_with_rest(heading.text)
        if split is not None:
            yield heading, split


def _note_unused(source: Source, said: Said, header: Sequence[str]) -> None:
    known = {cell.strip().lower() for cell in header}
    for option, pairs in (("columns", said.columns), ("units", said.units), ("counting", said.counting)):
        for key in pairs:
            if (
                key
                and key not in known
                and key not in SIGNALS
                and key not in {read_heading(cell).signal for cell in known}
            ):
                source.note("option-without-use", f'no column has the header "{key}" that csv.{option} names')
