"""Rows of a table as columns of texts, and their reading with Arrow where the lines are plainly regular."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray
from pyarrow import csv as arrow_csv

# Bytes with which times, counts and blank cells begin.
_BEGINS_VALUE = np.isin(np.arange(256), np.frombuffer(b"0123456789+-. ", np.uint8))
# Holds the longest line that is read, whatever its characters.
_ARROW_BLOCK = 1 << 21


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


def columns_of(data: bytes, n: int, delimiter: str, width: int) -> list[pa.Array] | None:
    """Return the columns of n lines of which each is a row of the width without quotation marks, or None."""
    if b'"' in data or (b"\r" in data and data.count(b"\r") != data.count(b"\r\n")):
        return None
    names = [str(at) for at in range(width)]
    try:
        table = arrow_csv.read_csv(
            pa.BufferReader(data),
            arrow_csv.ReadOptions(block_size=_ARROW_BLOCK, column_names=names),
            arrow_csv.ParseOptions(delimiter=delimiter, quote_char=False, escape_char=False, ignore_empty_lines=False),
            arrow_csv.ConvertOptions(check_utf8=False, column_types=dict.fromkeys(names, pa.string()), null_values=[]),
        )
    except pa.ArrowInvalid:
        return None
    if table.num_rows != n:
        return None
    columns = [column.combine_chunks() for column in table.columns]
    if b" " not in data:
        return columns
    return [pc.utf8_ltrim(column, " ") if (first_bytes(column) == ord(" ")).any() else column for column in columns]


def blank_rows(columns: Sequence[pa.Array]) -> pa.Array | None:
    """Return which rows have empty cells only, or None where no row is so."""
    if all_begin_visibly(columns[0]):
        return None
    blank = None
    for column in columns:
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
