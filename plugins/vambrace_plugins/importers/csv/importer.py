"""Reads tables of text: one pass, block by block; every decision is made once, from the headers and the first block."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import ClassVar

from vambrace.plugin import Claim, Head, Recording, Rejected, Source, SourceBatch, VambraceError
from vambrace_plugins.importers.csv.dayclock import DayClock
from vambrace_plugins.importers.csv.dialect import choose_delimiter
from vambrace_plugins.importers.csv.encoding import Decoded, decode, first_text
from vambrace_plugins.importers.csv.layout import headings
from vambrace_plugins.importers.csv.longshape import LongTable, long_places, parting_places
from vambrace_plugins.importers.csv.options import DELIMITERS, Options, Said, check
from vambrace_plugins.importers.csv.roworder import RowOrder
from vambrace_plugins.importers.csv.rows import Lines, Rows
from vambrace_plugins.importers.csv.table import MOST_COLUMNS, Given, Table, wide
from vambrace_plugins.importers.csv.vocabulary import read_heading

_SUFFIXES = {".csv", ".tsv", ".txt"}
_OTHERS = re.compile(r"<|\{|%PDF|\[\s*[\[{\"0-9\-\]]")


class CsvImporter:
    """Reads tables whose columns are known by their headers."""

    name = "csv"
    version = "2"
    title = "Tables of text (CSV, TSV)"
    Options: ClassVar[type] = Options
    end_mark = False

    def recognise(self, head: Head) -> Claim:
        """Claim a text whose first line is a header that we know, and by name any other text that may be a table."""
        text = first_text(head.data).lstrip("\ufeff").lstrip()
        if not text or _OTHERS.match(text):
            return Claim.NONE
        by_name = head.suffix in _SUFFIXES
        line = text.splitlines()[0]
        known = max(_known(line.split(delimiter)) for delimiter in DELIMITERS)
        if known > 1 or (known and by_name):
            return Claim.CONTENT
        return Claim.NAME if by_name else Claim.NONE

    def read(self, source: Source) -> Iterator[SourceBatch | Rejected | Recording]:
        """Yield the rows of a table; raise Refused for what is uncertain, naming the option that settles it."""
        said = check(source.options or Options())
        if said.row_order:
            yield from _by_row_order(source, said)
        else:
            yield from _items(source, said)


def _by_row_order(source: Source, said: Said) -> Iterator[SourceBatch | Rejected | Recording]:
    """Yield the rows of a table that is read twice: first to see where its clock falls back."""
    order = RowOrder(source.zone)
    try:
        for item in _items(replace(source, notes={}), said):
            if isinstance(item, SourceBatch):
                order.survey(item)
    except VambraceError:
        # It is raised again where it belongs, between the rows.
        pass
    order.note(source)
    for item in _items(source, said):
        if isinstance(item, SourceBatch):
            yield order.told(item)
        else:
            yield order.recorded(item) if isinstance(item, Recording) else item


def _items(source: Source, said: Said) -> Iterator[SourceBatch | Rejected | Recording]:
    with source.open() as raw:
        decoded, pieces = decode(raw, said.encoding)
        lines = Lines(pieces)
        delimiter, before = choose_delimiter(
            lines, said.delimiter, lambda cells: sum(heading.known for heading in headings(cells, said))
        )
        rows = Rows(lines, delimiter, before)
        for item in _read(source, said, rows, lines, delimiter):
            yield _with_encoding(item, decoded) if isinstance(item, Recording) else item


def _with_encoding(recording: Recording, decoded: Decoded) -> Recording:
    """Return what is known of a recording, with how the bytes of its file are read where that was decided."""
    if not decoded.sentence:
        return recording
    return replace(recording, conversions=(*recording.conversions, decoded.sentence))


def _known(cells: Sequence[str]) -> int:
    return sum(read_heading(cell.strip().strip('"')).known for cell in cells[:MOST_COLUMNS])


def _read(
    source: Source, said: Said, rows: Rows, lines: Lines, delimiter: str
) -> Iterator[SourceBatch | Rejected | Recording]:
    table: Table | LongTable | None = None
    cut = False
    if rows.before:
        shown = "; ".join(f'"{line[:60]}"' for line in rows.before if line)
        what = f"{len(rows.before)} lines before the header are passed over: {shown[:400]}"
        # Lines of several cells may be a table of their own.
        severity = "warning" if any(delimiter in line for line in rows.before) else "note"
        source.note("lines-before-header", what, severity)
    heads = headings(rows.header, said)
    dates = DayClock(heads, said, parting_places(heads))
    for block in dates.blocks(rows.blocks()):
        if table is None:
            if rows.fault is not None and not len(block):
                break
            given = Given(source, said, delimiter, rows.header)
            places = long_places(heads)
            if places is None:
                table, block = wide(given, block)  # noqa: PLW2901
            else:
                table = LongTable(given, places, block)
        yield from table.batches(block)
        if block.cut is not None:
            cut = True
            yield from table.cut(block.cut)
    if table is not None:
        if rows.fault is None and not cut and not lines.ended:
            source.note("possibly-cut", "the last line has no end; the file may have been cut there")
        if rows.headers_again:
            source.note("header-again", "the header stands again between the rows", count=rows.headers_again)
        if said.date and dates.found is None:
            source.note("option-without-use", "its times have dates, and csv.date is not used")
        yield from map(dates.recorded, table.about(complete=False if cut else None))
    if rows.fault is not None:
        raise rows.fault
