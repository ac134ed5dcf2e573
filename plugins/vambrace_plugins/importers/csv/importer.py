"""Reads tables of text: one pass, block by block; every decision is made once, from the headers and the first block."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import ClassVar

from vambrace.plugin import Claim, Head, Recording, Rejected, Source, SourceBatch
from vambrace_plugins.importers.csv.besidetime import checked
from vambrace_plugins.importers.csv.blocks import Block
from vambrace_plugins.importers.csv.dayclock import DayClock, Passing
from vambrace_plugins.importers.csv.devices import with_devices
from vambrace_plugins.importers.csv.dialect import choose_dialect
from vambrace_plugins.importers.csv.encoding import decode, first_text
from vambrace_plugins.importers.csv.fixedwidth import with_tabs
from vambrace_plugins.importers.csv.headerrows import VALUE, HeaderRows
from vambrace_plugins.importers.csv.layout import headings
from vambrace_plugins.importers.csv.lines import Lines
from vambrace_plugins.importers.csv.longshape import LongTable, long_places, parting_places
from vambrace_plugins.importers.csv.options import DELIMITERS, Options, Said, check
from vambrace_plugins.importers.csv.restarts import Restarts
from vambrace_plugins.importers.csv.roworder import by_row_order
from vambrace_plugins.importers.csv.rows import Rows
from vambrace_plugins.importers.csv.spaces import Spaces
from vambrace_plugins.importers.csv.table import MOST_COLUMNS, Given, Table, wide
from vambrace_plugins.importers.csv.vocabulary import read_heading

_SUFFIXES = {".csv", ".tsv", ".txt"}
_NEAR = 8
"""Within so many lines the first row of a table stands, behind a row of units or empty lines."""
_CODE = frozenset(";{}=<>\\")
_OTHERS = re.compile(r"<|\{|%PDF|\[\s*[\[{\"0-9\-\]]")


class CsvImporter:
    """Reads tables whose columns are known by their headers."""

    name = "csv"
    version = "3"
    title = "Tables of text (CSV, TSV)"
    Options: ClassVar[type] = Options
    end_mark = False

    def recognise(self, head: Head) -> Claim:
        """Claim a text whose first line is a header that we know, and by name any other text that may be a table.

        Without a table's name it must look like one: `double speed, time, distance;` is a line of a program.
        """
        text = first_text(head.data).lstrip("\ufeff").lstrip()
        if not text or _OTHERS.match(text):
            return Claim.NONE
        by_name = head.suffix in _SUFFIXES
        lines = text.splitlines()
        known, delimiter = max(
            ((_known(lines[0].split(mark)), mark) for mark in DELIMITERS), key=lambda pair: len(pair[0])
        )
        if known and (by_name or (len(known) > 1 and _like_a_table(lines, delimiter))):
            names = ", ".join(name.strip()[:40] for name in known[:5])
            return Claim.CONTENT.because(f"the first line has columns that are known: {names}")
        return Claim.NAME.because(f"the name ends with {head.suffix}") if by_name else Claim.NONE

    def read(self, source: Source) -> Iterator[SourceBatch | Rejected | Recording]:
        """Yield the rows of a table; raise Refused for what is uncertain, naming the option that settles it."""
        said = check(source.options or Options())
        if said.row_order:
            yield from by_row_order(source, lambda source: _items(source, said))
        else:
            yield from _items(source, said)


def _items(source: Source, said: Said) -> Iterator[SourceBatch | Rejected | Recording]:
    with source.open() as raw:
        decoded, pieces = decode(raw, said.encoding)
        lines = Lines(pieces)
        dialect = choose_dialect(
            lines, said.delimiter, lambda cells: _known_in(cells, said), lambda cells: _table_in(cells, said)
        )
        sentences = [decoded.sentence] if decoded.sentence else []
        if dialect.gaps:
            lines = Lines(with_tabs(lines, dialect.gaps, dialect.before))
            sentences.append("cells parted where the first lines are blank below each other")
        rows = Rows(lines, dialect.delimiter, dialect.before, HeaderRows(said))
        for item in _tables(source, said, rows, lines, dialect.delimiter):
            if isinstance(item, Recording):
                yield replace(item, conversions=(*item.conversions, *sentences))
            else:
                yield item


def _known_in(cells: list[str], said: Said) -> int:
    """Return how many cells of a header mean something to us."""
    return sum(heading.known for heading in headings(cells, said))


def _table_in(cells: list[str], said: Said) -> int:
    """Return how many cells mean something if they are surely a table's header: a time and a signal; else 0."""
    if HeaderRows(said).time_at(cells) is None:
        return 0
    heads = headings(cells, said)
    if long_places(heads) is not None:
        return len(heads)
    return sum(heading.known for heading in heads) if any(heading.signal for heading in heads) else 0


def _like_a_table(lines: Sequence[str], delimiter: str) -> bool:
    """Say whether a header has none of a program's signs, and a row of numbers or times follows if anything does."""
    if _CODE.intersection(lines[0].replace(delimiter, "")):
        return False
    after = [line for line in lines[1:_NEAR] if line.strip()]
    rows = (line.split(delimiter) for line in after if line.count(delimiter) >= lines[0].count(delimiter))
    return not after or any(VALUE.match(cell.strip().strip('"')) for row in rows for cell in row)


def _known(cells: Sequence[str]) -> list[str]:
    heads = [read_heading(cell.strip().strip('"')) for cell in cells[:MOST_COLUMNS]]
    return [heading.text for heading in with_devices(heads, [False] * len(heads)) if heading.known]


def _tables(
    source: Source, said: Said, rows: Rows, lines: Lines, delimiter: str
) -> Iterator[SourceBatch | Rejected | Recording]:
    """Yield the rows of each table in the file; each has recordings of its own."""
    recordings = tables = 0
    people: dict[str, str] = {}
    more, clock = True, Passing()
    while more:
        given = Given(source, said, delimiter, rows.header, recordings, people)
        if tables:
            source.note("another-table", f"line {rows.header_line:,}: another table begins")
        reading = _Table(given, rows, clock, alone=not recordings)
        yield from reading.batches()
        more = rows.next_table()
        yield from reading.about(at_end=not more, ended=lines.ended)
        recordings += reading.count
        tables += 1
    if rows.fault is not None:
        raise rows.fault


class _Table:
    """The reading of one table of a file."""

    def __init__(self, given: Given, rows: Rows, clock: Passing, *, alone: bool) -> None:
        """Begin with the header; `clock` is where the tables before left theirs, `alone` says that none has rows."""
        self._given, self._rows, self._alone = given, rows, alone
        self._heads = headings(given.header, given.said)
        self._line = rows.header_line
        long = long_places(self._heads)
        self._spaces = Spaces(self._heads, long.value if long else None)
        self._dates = DayClock(self._heads, given.said, parting_places(self._heads), everything=clock)
        self._restarts = Restarts(given.source)
        self._table: Table | LongTable | None = None
        self._cut = False
        self.count = 0

    def batches(self) -> Iterator[SourceBatch | Rejected]:
        self._note_before()
        blocks = checked(self._heads, self._given.said, self._spaces.blocks(self._rows.blocks()))
        for block in self._dates.blocks(blocks):
            if self._table is None:
                if self._rows.fault is not None and not len(block):
                    break
                if not len(block) and block.cut is None and not (self._alone and self._rows.at_end):
                    # Nothing of it is read, and nothing has to be certain.
                    what = f"line {self._rows.header_line:,}: a header without rows"
                    self._given.source.note("empty-table", what)
                    break
                self._table, block = self._begun(block)  # noqa: PLW2901
            for batch in self._table.batches(block):
                if self._table.from_start:
                    self._restarts.look(batch, block.records, again=self._rows.headers_again > 0)
                yield self._dates.shown(batch)
            if block.cut is not None:
                self._cut = True
                yield from self._table.cut(block.cut)
        self._again, self._comments, self._rules = self._rows.headers_again, self._rows.comments, self._rows.rules
        self._summaries = self._rows.summaries

    def _begun(self, first: Block) -> tuple[Table | LongTable, Block]:
        places = long_places(self._heads)
        if places is None:
            table, first = wide(self._given, self._heads, first)
            self._rows.numeric = table.numeric
            return table, first
        return LongTable(self._given, self._heads, places, first), first

    def _note_before(self) -> None:
        before = self._rows.before
        if before:
            shown = "; ".join(f'"{line[:60]}"' for line in before if line)
            what = f"{len(before)} lines before the header are passed over: {shown[:400]}"
            # Lines of several cells may be a table of their own.
            severity = "warning" if any(self._given.delimiter in line for line in before) else "note"
            self._given.source.note("lines-before-header", what, severity)

    def about(self, *, at_end: bool, ended: bool) -> Iterator[Recording]:
        """Yield what is known of the recordings, once the table is read."""
        if self._table is None:
            return
        source = self._given.source
        if at_end and self._rows.fault is None and not self._cut and not ended:
            source.note("possibly-cut", "the last line has no end; the file may have been cut there")
        if self._again:
            source.note("header-again", "the header stands again between the rows", count=self._again)
        if self._comments:
            source.note("comment-lines", "lines of comment between the rows are passed over", count=self._comments)
        if self._rules:
            source.note("rule-lines", "a line of dashes under the header is passed over", count=self._rules)
        if self._summaries:
            what = f'rows that look like a summary ("{self._summaries[0][:40]}") have no time, and are set aside'
            source.note("summary-rows", what, count=len(self._summaries))
        if self._given.said.date and self._dates.found is None:
            source.note("option-without-use", "its times have dates, and csv.date is not used")
        if self._given.said.start_s is not None and not self._table.from_start:
            source.note("option-without-use", "its times count from no start, and csv.start is not used")
        if self._table.from_start and self._given.before:
            what = f"line {self._line:,}: the times of another table count from csv.start as well"
            source.note("start-again", what, "warning")
        self.count = self._table.count
        spaces = tuple(self._spaces.sentences.values())
        for recording in map(self._dates.recorded, self._table.about(complete=False if self._cut else None)):
            yield replace(recording, conversions=(*recording.conversions, *spaces))
