"""From the lines of a text to the rows of its tables, in blocks; every fault is typed and has its line."""

from __future__ import annotations

import csv
from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import replace
from itertools import islice

import numpy as np
import pyarrow.compute as pc

from vambrace.plugin import DamagedFile, Refused
from vambrace_plugins.importers.csv.blocks import Block, Cells, Numbers, blank_rows, columns_of, names_in, row_of
from vambrace_plugins.importers.csv.firstcells import numbers_of
from vambrace_plugins.importers.csv.headerrows import HeaderRows, Kind, cleaned, may_name
from vambrace_plugins.importers.csv.lines import SALVAGE, Lines, Part, has_long_line, parted

ROWS = 10_000
"""Rows of the first block, which decisions are made from, and of each that is read row by row."""
_MANY = 50_000
_AT_ONCE, _SIZE = 100, 1 << 24
_LONGEST_CELL = 131_072
# Rows that may stand between two tables, beside blank ones.
_TITLES = 5
# What Python's csv module says, and what it means to a person.
_FAULTS = {
    "unexpected end of data": "a quotation mark that is opened here is never closed",
    "field larger than field limit": "a cell is longer than 131,072 characters; is a quotation mark never closed?",
    "expected after": "text follows a closing quotation mark",
}


class Rows:
    """The rows of the tables in a text, block by block; `fault` is what ended them, to be raised after the last block.

    `numeric` may be set by whoever has seen the first block: the columns to be handed over as numbers from then on.
    Blank rows, comments and the header where it stands again are passed over, and counted in the record numbers.
    """

    def __init__(self, lines: Lines, delimiter: str, before: int, headers: HeaderRows) -> None:
        """Take the header from the lines, behind those that stand before it; `headers` tells headers from rows."""
        self._lines, self._delimiter, self._headers = lines, delimiter, headers
        every = iter(lines)
        self._skipped = before
        self.before = [line.strip() for line in islice(every, before)]
        self._reader = csv.reader(every, delimiter=delimiter, strict=True, skipinitialspace=True)
        header = next((row for row in self._reader if not is_blank(row)), [])
        self.fault: DamagedFile | Refused | None = None
        self._next_record, self._next_line = 1, before + self._reader.line_num + 1
        self._ahead: list[list[str]] = []
        self._more = True
        self._lines_by_columns = 0
        self._coming: Future[Part | None] | None = None
        self._begin(header)

    def _begin(self, header: list[str]) -> None:
        self.header, self._time = header, self._headers.time_at(header)
        self.header_line = self._next_line - _height(header)
        self.headers_again = self.comments = 0
        self._next_header: list[str] | None = None
        self._begun = self._noted = self._behind_header = self._behind_title = False
        self._units: list[str] | None = None
        self.numeric: frozenset[int] = frozenset()

    def next_table(self) -> bool:
        """Go on to the next table of the text, once all blocks of one are read; return whether there is one."""
        if self._next_header is None:
            return False
        self._begin(self._next_header)
        return True

    def blocks(self) -> Iterator[Block]:
        """Yield blocks until the end of the table or the first fault; there is always one, be it empty.

        Each block has the same rows however the text came in pieces. Lines that are plainly regular are read column
        by column; others row by row, a block of them at a time.
        """
        yield from self._by_columns()
        while True:
            block = self._regular(self._take())
            last = self.fault is not None or self._next_header is not None or not (self._ahead or self._more)
            if len(block) or block.cut is not None or not self._begun:
                self._begun = True
                yield block
            if last:
                return
            yield from self._by_columns()

    def _by_columns(self) -> Iterator[Block]:
        width = len(self.header)
        if width < 2 or self._behind_header or len(self._ahead) > 1 or any(map(self._is_odd, self._ahead)):
            return
        # One of the two reads lines, the other cuts those before them into columns.
        with ThreadPoolExecutor(2) as self._readers:
            first = not self._begun
            columns = self._columns(ROWS if first else _MANY)
            while columns is not None:
                # The next block is read while the caller looks at this one, but for the first, from which it learns
                # what the columns are; a short block is the last.
                ahead = self._readers.submit(self._columns, _MANY) if len(columns[0]) >= ROWS and not first else None
                first = False
                if self._ahead:
                    yield self._regular([self._ahead.pop()])
                yield self._placed(columns)
                columns = ahead.result() if ahead else self._columns(_MANY)

    def _placed(self, columns: list[Cells]) -> Block:
        n = len(columns[0])
        records = np.arange(self._next_record, self._next_record + n)
        self._next_record += n
        self._next_line += n
        self._lines_by_columns += n
        self._begun = True
        if not self._noted:
            self._note_units(row_of(columns, 0))
        block, blank = Block(records, columns), blank_rows(columns)
        return block if blank is None else block.filtered(pc.invert(blank))

    def _columns(self, most: int) -> list[Cells] | None:
        """Return the next lines as columns; None where they are not plainly regular, and stay the next ones."""
        coming, self._coming = self._coming, None
        taken = coming.result() if coming else self._taken(most)
        if taken is None:
            return None
        if taken.lines == most:
            self._coming = self._readers.submit(self._taken, _MANY)
        lines = taken.data, taken.lines, self._delimiter, len(self.header)
        columns = columns_of(*lines, self.numeric)
        if columns is None and self.numeric:
            # A cell is no plain number: its column is handed over as texts, from here on.
            columns = columns_of(*lines)
            self.numeric = frozenset(at for at in self.numeric if columns and numbers_of(columns[at]) is not None)
        if columns is None or self._may_end(columns):
            coming, self._coming = self._coming, None
            later = coming.result() if coming else None
            for part in filter(None, (later, taken)):
                self._lines.put_back(part)
            return None
        return columns

    def _is_odd(self, row: list[str]) -> bool:
        return len(row) != len(self.header) or is_blank(row) or row == self.header or bool(self._kind(row))

    def _may_end(self, columns: Sequence[Cells]) -> bool:
        """Say whether a header, this table's or another's, may stand among the rows."""
        if not isinstance(columns[0], Numbers) and pc.index(columns[0], self.header[0]).as_py() >= 0:
            return True
        if self._time is None:
            return False
        for at in names_in(columns[self._time], may_name):
            row = row_of(columns, at)
            # The row behind a header may be one of units.
            if self._kind(row) and not (at == 0 and not self._noted and self._headers.is_units(self.header, row)):
                return True
        return False

    def _taken(self, most: int) -> Part | None:
        """Return the next lines, as many as make a block wherever the text is cut into pieces.

        Before a fault or at the end there are none, and the reader of rows finds out why.
        """
        parts: list[Part] = []
        lines = size = 0
        try:
            while lines < most and size < _SIZE and (part := self._lines.take()):
                if lines + part.lines > most or size + len(part.data) > _SIZE:
                    part, rest = parted(part, most - lines, _SIZE - size)
                    if rest.data:
                        self._lines.put_back(rest)
                        most = lines + part.lines
                parts.append(part)
                size += len(part.data)
                lines += part.lines
        except (DamagedFile, Refused):
            pass
        if not parts:
            return None
        taken = Part(b"".join(part.data for part in parts), lines)
        if has_long_line(taken.data, _LONGEST_CELL):
            # A cell may be longer than the reader of rows takes, who says so.
            self._lines.put_back(taken)
            return None
        return taken

    def _take(self) -> list[list[str]]:
        rows, self._ahead = self._ahead, []
        self._read_on(rows, ROWS + 1)
        if self._more and self.fault is None and rows:
            # One row is held back, so that the last row of the file is known when it comes.
            self._ahead = [rows.pop()]
        return rows

    def _read_on(self, rows: list[list[str]], most: int) -> None:
        """Add rows to those that are read until they are so many, or large, or there is a fault."""
        left = _SIZE
        try:
            while len(rows) < most and left > 0 and self._more and self.fault is None:
                before = len(rows)
                # What was read before a fault stays in the list.
                rows.extend(islice(self._reader, min(_AT_ONCE, most - before)))
                self._more = len(rows) > before
                sizes = [sum(map(len, row)) for row in rows[before:]]
                left -= sum(sizes)
                if max(sizes, default=0) > _LONGEST_CELL:
                    self._check_cells(rows, before)
        except csv.Error as error:
            self.fault = csv_fault(error, self._next_line + sum(map(_height, rows)))
        except (DamagedFile, Refused) as error:
            self.fault = error

    def _check_cells(self, rows: list[list[str]], begin: int) -> None:
        """End the rows before one with a cell that is too long, whatever limit others set for Python's csv module."""
        at = next((at for at in range(begin, len(rows)) if max(map(len, rows[at]), default=0) > _LONGEST_CELL), None)
        if at is not None:
            line = self._next_line + sum(map(_height, rows[:at]))
            del rows[at:]
            self.fault = csv_fault(csv.Error("field larger than field limit"), line)

    def _regular(self, rows: list[list[str]]) -> Block:
        record, line, width = self._next_record, self._next_line, len(self.header)
        if not self._noted and (first := next((row for row in rows if not is_blank(row)), None)) is not None:
            self._note_units(first)
        records: list[int] = []
        kept: list[list[str]] = []
        cut = None
        for at, row in enumerate(map(cleaned, rows)):
            if len(row) != width and not is_blank(row):
                row = self._fitted(row, width)  # noqa: PLW2901
            if self._is_row(row):
                records.append(record + at)
                kept.append(row)
                self._behind_title = _is_title(row)
            elif not is_blank(row) and not self._passed_over(row):
                where = line + sum(map(_height, rows[:at]))
                if self._behind_header and len(row) == width:
                    self.fault = _other_units(where)
                elif self._new_table(rows, at):
                    while kept and _is_title(kept[-1]):
                        self.before.insert(0, " ".join(kept.pop()).strip())
                        records.pop()
                else:
                    cut = self._irregular(record + at, row, where, rows[at + 1 :])
                break
        if self._next_header is None:
            self._count(len(rows))
        return replace(Block.of_rows(records, kept, width), cut=cut)

    def _note_units(self, row: list[str]) -> None:
        self._noted = True
        self._units = row if self._headers.is_units(self.header, row) else None

    def _is_row(self, row: list[str]) -> bool:
        if len(row) != len(self.header) or row == self.header or is_blank(row):
            return False
        if self._behind_header and not self._headers.is_units(self.header, row):
            self._behind_header = False
        return not self._behind_header and (row == self._units or not self._kind(row))

    def _passed_over(self, row: list[str]) -> bool:
        """Say whether a row is a comment, or this table's header or row of units again."""
        if self._behind_header and row == self._units:
            self._behind_header = False
            return True
        if row == self.header and not self._behind_title:
            self.headers_again += 1
            self._behind_header = True
            return True
        # Behind a title or a comment, the same header begins a table of its own.
        kind = self._kind(row)
        plain = not kind or (kind == "foreign" and len(row) != len(self.header))
        self._behind_title = plain and self._is_comment(row)
        return self._behind_title

    def _count(self, n: int) -> None:
        """Count rows that are read, and go on to the line behind them."""
        self._next_record += n
        self._next_line = (
            self._skipped + self._reader.line_num + self._lines_by_columns + 1 - sum(map(_height, self._ahead))
        )

    def _kind(self, row: list[str]) -> Kind:
        """Return whether a row is the header of a table, or looks like one that is not known."""
        at = self._time
        if at is None or at >= len(row) or not may_name(row[at]):
            return ""
        return self._headers.kind(row, at)

    def _is_comment(self, row: list[str]) -> bool:
        is_one = row[0].startswith("#") and not self.header[0].startswith("#")
        self.comments += is_one
        return is_one

    def _new_table(self, rows: list[list[str]], at: int) -> bool:
        """Say whether another table's header stands here or behind a few titles; then what follows is ahead."""
        rows += self._ahead
        self._ahead = []
        self._read_on(rows, at + 1 + 2 * _TITLES)
        titles: list[str] = []
        for place, row in enumerate(rows[at:], at):
            if self._headers.time_at(cleaned(row)) is not None:
                self._next_header, self.before = cleaned(row), titles
                self._ahead = rows[place + 1 :]
                self._count(place + 1)
                return True
            if not is_blank(row):
                titles.append(self._delimiter.join(row).strip())
            if len(titles) > _TITLES:
                break
        # No header: what was read too far is ahead again.
        self._ahead = [rows.pop()] if self._more and self.fault is None and len(rows) > at + 1 else []
        return False

    def _fitted(self, row: list[str], width: int) -> list[str]:
        """Return a row without cells that are empty, or with those that its header leaves empty."""
        if len(row) > width and is_blank(row[width:]):
            return row[:width]
        short = len(row) < width and is_blank(self.header[len(row) :])
        return row + [""] * (width - len(row)) if short else row

    def _irregular(
        self, record: int, row: list[str], line: int, after: list[list[str]]
    ) -> tuple[int, list[str], int] | None:
        """Return a short row at the very end as cut; make a fault of any other."""
        width = len(self.header)
        at_end = self.fault is None and not self._ahead and not self._more and all(map(is_blank, after))
        if at_end and len(row) < width:
            return record, row, line
        what = f"the row has {len(row)} cells under a header of {width}"
        if len(row) == width:
            what = "a row of names stands here, as the header of another table would, and it is none that is known"
        todo = f"Mend the row, or export it again; {_hint(row, width)}--salvage keeps the rows before"
        self.fault = DamagedFile(what, where=f"line {line:,}", todo=todo)
        return None


def _other_units(line: int) -> DamagedFile:
    what = "the header stands again, and the row of units behind it is not the one behind the first"
    return DamagedFile(what, where=f"line {line:,}", todo="Split the file there; --salvage keeps the rows before")


def _hint(row: list[str], width: int) -> str:
    return "a decimal comma between commas must stand in quotation marks; " if len(row) > width else ""


def is_blank(row: list[str]) -> bool:
    """Say whether all cells of a row are empty."""
    return not _cells(row)


def _cells(row: list[str]) -> int:
    return sum(bool(cell) and not cell.isspace() for cell in row)


def _is_title(row: list[str]) -> bool:
    """Say whether a row has one cell only, and that no time."""
    return _cells(row) == 1 and not "".join(row).strip()[:1].isdigit()


def _height(row: list[str]) -> int:
    """Return how many lines a row takes."""
    return 1 + sum(cell.replace("\r\n", "\n").replace("\r", "\n").count("\n") for cell in row)


def csv_fault(error: csv.Error, line: int) -> DamagedFile:
    """Return our own error for one of Python's csv module."""
    said = str(error)
    what = next((words for part, words in _FAULTS.items() if part in said), said)
    return DamagedFile(what, where=f"line {line:,}", todo=SALVAGE)
