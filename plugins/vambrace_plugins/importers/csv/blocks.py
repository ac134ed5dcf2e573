"""Rows of a table as columns of texts, and their reading with Arrow where the lines are plainly regular."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeAlias, overload

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray
from pyarrow import csv as arrow_csv

# Bytes with which times, counts and blank cells begin.
_BEGINS_VALUE = np.isin(np.arange(256), np.frombuffer(b"0123456789+-. ", np.uint8))
# Holds the longest line that is read, whatever its characters.
_ARROW_BLOCK = 1 << 20


class Again:
    """The cells of lines as texts, read once more when somebody asks for them."""

    def __init__(self, data: bytes, n: int, delimiter: str, width: int) -> None:
        """Take what the lines were read from."""
        self._how = (data, n, delimiter, width)
        self._columns: list[Cells] = []

    def column(self, at: int) -> pa.Array:
        """Return the cells of a column."""
        self._columns = self._columns or columns_of(*self._how) or []
        return self._columns[at]


class Numbers(Sequence[str]):
    """A column whose cells are all empty or plain numbers: its numbers, NaN for an empty cell, and its cells."""

    def __init__(self, numbers: NDArray[np.float64], again: Again, at: int, rows: NDArray[Any] | None = None) -> None:
        """Take the numbers; `rows` are their places among the cells, where these are not all."""
        self.numbers = numbers
        self._again, self._at, self._rows = again, at, rows

    def __len__(self) -> int:
        return len(self.numbers)

    @overload
    def __getitem__(self, row: int) -> str: ...
    @overload
    def __getitem__(self, row: slice) -> Sequence[str]: ...
    def __getitem__(self, row: int | slice) -> str | Sequence[str]:
        if isinstance(row, slice):
            return [self[at] for at in range(*row.indices(len(self)))]
        place = row if self._rows is None else int(self._rows[row])
        return str(self._again.column(self._at)[place].as_py())

    def __arrow_array__(self, type: pa.DataType | None = None) -> pa.Array:
        texts = self._again.column(self._at)
        return texts if self._rows is None else texts.take(pa.array(self._rows))

    def chosen(self, rows: NDArray[Any]) -> Numbers:
        """Return the rows at some places."""
        return Numbers(self.numbers[rows], self._again, self._at, rows if self._rows is None else self._rows[rows])


Cells: TypeAlias = pa.Array | Numbers


@dataclass(slots=True)
class Block:
    """Rows of equal width as columns of cells, length n each, with their record numbers.

    A record number is the row's place in the file, the header's being 0. `cut` is a row at the end of the file that
    is too short, with its record number and its line.
    """

    records: NDArray[np.int64]
    columns: list[Cells]
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
        later = np.arange(1, len(self))
        return replace(self, records=self.records[1:], columns=[chosen(column, later) for column in self.columns])

    def filtered(self, kept: pa.Array) -> Block:
        """Return the rows for which `kept` is true."""
        rows = np.flatnonzero(kept.to_numpy(zero_copy_only=False))
        return replace(self, records=self.records[rows], columns=[chosen(column, rows) for column in self.columns])


def chosen(column: Cells, rows: NDArray[Any]) -> Cells:
    """Return the cells at some places."""
    return column.chosen(rows) if isinstance(column, Numbers) else column.take(pa.array(rows))


def row_of(columns: Sequence[Cells], at: int) -> list[str]:
    """Return the cells of one row."""
    return [str(column[at]) for column in columns]


def columns_of(
    data: bytes, n: int, delimiter: str, width: int, numeric: frozenset[int] = frozenset()
) -> list[Cells] | None:
    """Return the columns of n lines of which each is a row of the width without quotation marks, or None.

    Those of `numeric` are read as numbers; None also where a cell of them is neither empty nor a plain number.
    """
    if b'"' in data or (b"\r" in data and data.count(b"\r") != data.count(b"\r\n")):
        return None
    types = {str(at): pa.float64() if at in numeric else pa.string() for at in range(width)}
    try:
        table = arrow_csv.read_csv(
            pa.BufferReader(data),
            arrow_csv.ReadOptions(block_size=_ARROW_BLOCK, column_names=list(types)),
            arrow_csv.ParseOptions(delimiter=delimiter, quote_char=False, escape_char=False, ignore_empty_lines=False),
            arrow_csv.ConvertOptions(check_utf8=False, column_types=types, null_values=[""]),
        )
    except pa.ArrowInvalid:
        return None
    if table.num_rows != n:
        return None
    columns = [column.combine_chunks() for column in table.columns]
    for at, column in enumerate(columns):
        if at in numeric:
            numbers = column.to_numpy(zero_copy_only=False)
            # The words nan and inf are numbers to a parser, and none of these.
            if int(np.isfinite(numbers).sum()) != n - column.null_count:
                return None
            columns[at] = Numbers(numbers, Again(data, n, delimiter, width), at)
        elif (first_bytes(column) == ord(" ")).any():
            columns[at] = pc.utf8_ltrim(column, " ")
    return columns


def blank_rows(columns: Sequence[Cells]) -> pa.Array | None:
    """Return which rows have empty cells only, or None where no row is so."""
    blank = None
    for column in columns:
        if isinstance(column, Numbers):
            empty = pa.array(np.isnan(column.numbers))
        elif all_begin_visibly(column):
            return None
        else:
            empty = pc.or_(pc.equal(pc.binary_length(column), 0), pc.utf8_is_space(column))
        blank = empty if blank is None else pc.and_(blank, empty)
        if not pc.any(blank, min_count=0).as_py():
            return None
    return blank


def all_begin_visibly(column: pa.Array) -> bool:
    """Say whether every cell begins with a visible character of ASCII."""
    first = first_bytes(column)
    return len(first) == len(column) > 0 and bool(((first > ord(" ")) & (first < 0x7F)).all())


def first_bytes(column: pa.Array) -> NDArray[np.uint8]:
    """Return the first byte of each cell that is not empty."""
    ends = cell_ends(column)
    begins = ends[:-1]
    if np.any(ends[1:] == begins):
        begins = begins[ends[1:] > begins]
    # Where all cells are empty there may be no bytes at all.
    return np.frombuffer(column.buffers()[2], np.uint8)[begins] if len(begins) else np.zeros(0, np.uint8)


def cell_ends(column: pa.Array) -> NDArray[np.int32]:
    """Return where the cells of a column end in bytes, the first number being where the first begins."""
    return np.frombuffer(column.buffers()[1], np.int32)[column.offset : column.offset + len(column) + 1]


def names_in(column: pa.Array, may_name: Callable[[str], bool]) -> list[int]:
    """Return the rows whose cell may be a name, and no time."""
    ends = cell_ends(column)
    filled: NDArray[np.intp] = np.flatnonzero(ends[1:] > ends[:-1])
    odd = filled[~_BEGINS_VALUE[first_bytes(column)]]
    if not len(odd):
        return []
    # Months are names too: of cells that differ in their digits only one is looked at.
    cells = pc.replace_substring_regex(column.take(pa.array(odd)), "[1-9]", "0")
    names = [text for text in pc.unique(cells).to_pylist() if may_name(text)]
    found: list[int] = odd[pc.is_in(cells, pa.array(names, pa.string())).to_numpy(zero_copy_only=False)].tolist()
    return found
