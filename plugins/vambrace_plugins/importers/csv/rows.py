"""From pieces of text to the rows of a table, in blocks; every fault is typed and has its line."""

from __future__ import annotations

import csv
import io
from bisect import bisect
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import accumulate, chain, islice

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray
from pyarrow import csv as arrow_csv

from vambrace.plugin import DamagedFile, Refused

ROWS = 10_000
"""Rows of one block; the first block is what decisions are made from."""
_AT_ONCE, _CHARACTERS = 100, 1 << 24
_LONGEST_LINE = 1 << 18
_SALVAGE = "Export it again; --salvage keeps the rows before"
# What Python's csv module says, and what it means to a person.
_FAULTS = {
    "unexpected end of data": "a quotation mark that is opened here is never closed",
    "field larger than field limit": "a cell is longer than 131,072 characters; is a quotation mark never closed?",
    "expected after": "text follows a closing quotation mark",
}


class Lines:
    """The lines of a text with their ends, whatever ends them, however the text is cut into pieces.

    `ended` says whether the last line that was read had an end.
    """

    def __init__(self, pieces: Iterator[str]) -> None:
        """Begin before the first line."""
        self.ended = True
        self._held: list[list[str]] = []
        self._current: Iterator[str] = iter(())
        self._fault: DamagedFile | Refused | None = None
        self._blocks = self._noted(_checked(_blocks(pieces)))

    def _noted(self, blocks: Iterator[list[str]]) -> Iterator[list[str]]:
        for lines in blocks:
            if lines:
                self.ended = lines[-1].endswith(("\n", "\r"))
            yield lines

    def __iter__(self) -> Iterator[str]:
        while (lines := self._next()) is not None:
            self._current = iter(lines)
            yield from self._current

    def _next(self) -> list[str] | None:
        if self._held:
            return self._held.pop(0)
        if self._fault is not None:
            raise self._fault
        try:
            return next(self._blocks, None)
        except (DamagedFile, Refused) as error:
            self._fault = error
            raise

    def take(self) -> list[str] | None:
        """Return the next lines that nobody has read, many at once, or None at the end.

        A fault of the text is raised each time its place is reached, whoever reads.
        """
        return list(self._current) or self._next()

    def put_back(self, lines: list[str]) -> None:
        """Make lines that were taken the next ones again."""
        self._held.insert(0, lines)

    def ahead(self) -> Iterator[str]:
        """Yield the lines that are still to come, without taking them."""
        yield from chain.from_iterable(self._held)
        for lines in self._blocks:
            self._held.append(lines)
            yield from lines


def _blocks(pieces: Iterator[str]) -> Iterator[tuple[list[str], bool]]:
    """Yield whole lines in lists, and whether there is a zero among their characters."""
    rest = ""
    for piece in pieces:
        text = rest + piece
        lines = io.StringIO(text, newline="").readlines()
        # A carriage return at the very end may be the first half of a line end.
        rest = "" if lines[-1].endswith("\n") else lines.pop()
        yield lines, "\0" in text
        if len(rest) > _LONGEST_LINE:
            break
    yield [rest] if rest else [], "\0" in rest


def _checked(blocks: Iterator[tuple[list[str], bool]]) -> Iterator[list[str]]:
    """Yield the blocks up to the first line that is too long or has a zero in it, then raise DamagedFile."""
    before = 0
    for lines, has_zero in blocks:
        too_long = max(map(len, lines), default=0) > _LONGEST_LINE
        if too_long or has_zero:
            for at, line in enumerate(lines):
                what = _fault_of(line)
                if what:
                    yield lines[:at]
                    raise DamagedFile(what, where=f"line {before + at + 1:,}", todo=_SALVAGE)
        before += len(lines)
        yield lines


def _fault_of(line: str) -> str:
    if len(line) > _LONGEST_LINE:
        return f"a line is longer than {_LONGEST_LINE:,} characters"
    return "there are zero bytes in the text" if "\0" in line else ""


@dataclass(slots=True)
class Block:
    """Rows of equal width as columns of texts, length n each, with their record numbers.

    A record number is the row's place in the file, the header's being 0. `cut` is a row at the end of the file that
    is too short, with its record number and its line.
    """

    records: NDArray[np.int64]
    columns: list[pa.Array]
    cut: tuple[int, list[str], int] | None = None

    @classmethod
    def of_rows(cls, records: Sequence[int], rows: Sequence[list[str]], width: int) -> Block:
        """Return the block of rows that all have the width."""
        columns = [pa.array([row[at] for row in rows], pa.string()) for at in range(width)]
        return cls(np.array(records, np.int64), columns)

    def __len__(self) -> int:
        return len(self.records)

    def without_first(self) -> Block:
        """Return the block without its first row."""
        return replace(self, records=self.records[1:], columns=[column.slice(1) for column in self.columns])

    def filtered(self, kept: pa.Array) -> Block:
        """Return the rows for which `kept` is true."""
        columns = [column.filter(kept) for column in self.columns]
        return replace(self, records=self.records[kept.to_numpy(zero_copy_only=False)], columns=columns)


class Rows:
    """The rows after the header, block by block; `fault` is what ended them, to be raised after the last block.

    Blank rows and the header where it stands again are passed over, and counted in the record numbers.
    """

    def __init__(self, lines: Lines, delimiter: str, before: int = 0) -> None:
        """Take the header from the lines, behind those that stand before it."""
        self._lines, self._delimiter = lines, delimiter
        every = iter(lines)
        self.before = [line.strip() for line in islice(every, before)]
        self._reader = csv.reader(every, delimiter=delimiter, strict=True, skipinitialspace=True)
        self.header = next((row for row in self._reader if not is_blank(row)), [])
        self.header_line = before + self._reader.line_num - _height(self.header) + 1
        self.fault: DamagedFile | Refused | None = None
        self.headers_again = 0
        self._next_record, self._next_line = 1, before + self._reader.line_num + 1
        self._ahead: list[list[str]] = []
        self._more = True
        self._lines_by_columns = 0

    def blocks(self) -> Iterator[Block]:
        """Yield blocks until the end or the first fault; there is always one, be it empty.

        Each block has the same rows however the text came in pieces. Behind the first one, lines that are plainly
        regular are read column by column; others row by row, a block of them at a time.
        """
        while True:
            block = self._regular(self._take())
            last = self.fault is not None or not (self._ahead or self._more)
            yield block
            if last:
                return
            yield from self._by_columns()

    def _by_columns(self) -> Iterator[Block]:
        width = len(self.header)
        if width < 2 or any(len(row) != width or is_blank(row) or row == self.header for row in self._ahead):
            return
        while (lines := self._taken()) is not None:
            columns = _columns(lines, self._delimiter, width)
            if columns is None or _has_row(columns, self.header):
                self._lines.put_back(lines)
                return
            if self._ahead:
                yield self._regular([self._ahead.pop()])
            records = np.arange(self._next_record, self._next_record + len(lines))
            self._next_record += len(lines)
            self._next_line += len(lines)
            self._lines_by_columns += len(lines)
            block, blank = Block(records, columns), _blank_rows(columns)
            yield block if blank is None else block.filtered(pc.invert(blank))

    def _taken(self) -> list[str] | None:
        """Return the next lines, as many as make a block wherever the text is cut into pieces.

        Before a fault or at the end there are none, and the reader of rows finds out why.
        """
        lines: list[str] = []
        characters = 0
        try:
            while len(lines) < ROWS and characters < _CHARACTERS and (more := self._lines.take()):
                lines += more
                characters += sum(map(len, more))
        except (DamagedFile, Refused):
            pass
        most = ROWS if characters <= _CHARACTERS else bisect(list(accumulate(map(len, lines))), _CHARACTERS) + 1
        if lines[most:]:
            self._lines.put_back(lines[most:])
        return lines[:most] or None

    def _take(self) -> list[list[str]]:
        rows, self._ahead = self._ahead, []
        left = _CHARACTERS
        try:
            while len(rows) <= ROWS and left > 0 and self._more:
                before = len(rows)
                # What was read before a fault stays in the list.
                rows.extend(islice(self._reader, min(_AT_ONCE, ROWS + 1 - before)))
                self._more = len(rows) > before
                left -= sum(map(len, chain.from_iterable(rows[before:])))
        except csv.Error as error:
            line = self._next_line + sum(map(_height, rows))
            self.fault = csv_fault(error, line)
        except (DamagedFile, Refused) as error:
            self.fault = error
        if self._more and self.fault is None and rows:
            # One row is held back, so that the last row of the file is known when it comes.
            self._ahead = [rows.pop()]
        return rows

    def _regular(self, rows: list[list[str]]) -> Block:
        record, line, width = self._next_record, self._next_line, len(self.header)
        self._next_record += len(rows)
        self._next_line = (
            len(self.before) + self._reader.line_num + self._lines_by_columns + 1 - sum(map(_height, self._ahead))
        )
        if set(map(len, rows)) <= {width} and self.header not in rows:
            return Block.of_rows(range(record, record + len(rows)), rows, width)
        records: list[int] = []
        kept: list[list[str]] = []
        cut = None
        for at, row in enumerate(rows):
            if len(row) != width and not is_blank(row):
                row = self._fitted(row, width)  # noqa: PLW2901
            if row == self.header:
                self.headers_again += 1
            elif len(row) == width:
                records.append(record + at)
                kept.append(row)
            elif not is_blank(row):
                cut = self._irregular(record + at, row, line + sum(map(_height, rows[:at])), rows[at + 1 :])
                break
        return replace(Block.of_rows(records, kept, width), cut=cut)

    def _fitted(self, row: list[str], width: int) -> list[str]:
        return row[:width] if len(row) > width and is_blank(row[width:]) else row

    def _irregular(
        self, record: int, row: list[str], line: int, after: list[list[str]]
    ) -> tuple[int, list[str], int] | None:
        """Return a short row at the very end as cut; make a fault of any other."""
        width = len(self.header)
        at_end = self.fault is None and not self._ahead and not self._more and all(map(is_blank, after))
        if at_end and len(row) < width:
            return record, row, line
        what = f"the row has {len(row)} cells under a header of {width}"
        todo = f"Mend the row, or export it again; {_hint(row, width)}--salvage keeps the rows before"
        self.fault = DamagedFile(what, where=f"line {line:,}", todo=todo)
        return None


def _columns(lines: list[str], delimiter: str, width: int) -> list[pa.Array] | None:
    """Return the columns of lines of which each is a row of the width without quotation marks, or None."""
    text = "".join(lines)
    if '"' in text:
        return None
    names = [str(at) for at in range(width)]
    data = text.encode()
    try:
        table = arrow_csv.read_csv(
            pa.BufferReader(data),
            arrow_csv.ReadOptions(use_threads=False, block_size=len(data) + 1, column_names=names),
            arrow_csv.ParseOptions(delimiter=delimiter, quote_char=False, escape_char=False, ignore_empty_lines=False),
            arrow_csv.ConvertOptions(check_utf8=False, column_types=dict.fromkeys(names, pa.string()), null_values=[]),
        )
    except pa.ArrowInvalid:
        return None
    if table.num_rows != len(lines):
        return None
    columns = [column.combine_chunks() for column in table.columns]
    spaced = f"{delimiter} " in text or "\n " in text or "\r " in text or text.startswith(" ")
    return [pc.utf8_ltrim(column, " ") for column in columns] if spaced else columns


def _has_row(columns: list[pa.Array], row: list[str]) -> bool:
    """Say whether a row may stand among the columns."""
    return all(pc.index(column, cell).as_py() >= 0 for column, cell in zip(columns, row, strict=True))


def _blank_rows(columns: list[pa.Array]) -> pa.Array | None:
    """Return which rows have empty cells only, or None where no row is so."""
    blank = None
    for column in columns:
        empty = pc.equal(pc.utf8_trim_whitespace(column), "")
        blank = empty if blank is None else pc.and_(blank, empty)
        if not pc.any(blank).as_py():
            return None
    return blank


def _hint(row: list[str], width: int) -> str:
    return "a decimal comma between commas must stand in quotation marks; " if len(row) > width else ""


def is_blank(row: list[str]) -> bool:
    """Say whether all cells of a row are empty."""
    return not any(cell and not cell.isspace() for cell in row)


def _height(row: list[str]) -> int:
    """Return how many lines a row takes."""
    return 1 + sum(cell.replace("\r\n", "\n").replace("\r", "\n").count("\n") for cell in row)


def csv_fault(error: csv.Error, line: int) -> DamagedFile:
    """Return our own error for one of Python's csv module."""
    said = str(error)
    what = next((words for part, words in _FAULTS.items() if part in said), said)
    return DamagedFile(what, where=f"line {line:,}", todo=_SALVAGE)
