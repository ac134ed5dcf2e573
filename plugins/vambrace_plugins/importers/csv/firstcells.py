"""The first cells of a column, which decisions are made from, in each form that somebody asks for."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from functools import cached_property
from typing import overload

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from vambrace_plugins.importers.csv.blocks import cell_ends


class FirstCells(Sequence[str]):
    """The different cells of a column in their order, as a value that stands twice shows no more."""

    def __init__(self, column: pa.Array) -> None:
        """Take the cells of the first rows."""
        self._cells = column

    @cached_property
    def column(self) -> pa.Array:
        """Return the cells as a column of Arrow."""
        return pc.unique(self._cells)

    @cached_property
    def texts(self) -> list[str]:
        """Return the cells as texts."""
        return [str(cell) for cell in self.column.to_pylist()]

    @cached_property
    def numbers(self) -> NDArray[np.float64] | None:
        """Return the numbers of all cells, each as often as it stands, None where they need a closer look."""
        return numbers_of(self._cells)

    @cached_property
    def alike(self) -> bool:
        """Say whether all cells differ in their digits only, as times of one notation do."""
        ends = cell_ends(self._cells)
        length = int(ends[1] - ends[0]) if len(self._cells) else 0
        if not length or np.any(np.diff(ends) != length):
            return False
        letters = np.frombuffer(self._cells.buffers()[2], np.uint8)[ends[0] : ends[-1]].reshape(-1, length)
        shapes = np.where((letters >= ord("0")) & (letters <= ord("9")), np.uint8(ord("0")), letters)
        return bool((shapes == shapes[0]).all())

    def __len__(self) -> int:
        return len(self.column)

    @overload
    def __getitem__(self, at: int) -> str: ...
    @overload
    def __getitem__(self, at: slice) -> list[str]: ...
    def __getitem__(self, at: int | slice) -> str | list[str]:
        return self.texts[at] if isinstance(at, slice) or "texts" in self.__dict__ else str(self.column[at].as_py())

    def __iter__(self) -> Iterator[str]:
        return iter(self.texts)


def column_of(cells: Sequence[str]) -> pa.Array:
    """Return cells as a column of Arrow."""
    return cells.column if isinstance(cells, FirstCells) else pa.array(cells, pa.string())


def numbers_in(cells: Sequence[str]) -> NDArray[np.float64] | None:
    """Return the numbers of cells that are all empty (NaN) or plain numbers, or None."""
    return cells.numbers if isinstance(cells, FirstCells) else numbers_of(column_of(cells))


def numbers_of(cells: pa.Array) -> NDArray[np.float64] | None:
    """Return the numbers of cells that are all empty (NaN) or plain numbers, or None; then each needs a closer look."""
    try:
        if not pc.min(pc.binary_length(cells)).as_py():
            cells = pc.if_else(pc.equal(pc.binary_length(cells), 0), None, cells)
        numbers = pc.cast(cells, pa.float64())
    except pa.ArrowInvalid:
        return None
    found: NDArray[np.float64] = numbers.to_numpy(zero_copy_only=False)
    # The words nan and inf are numbers to a parser, and none of these.
    return found if int(np.isfinite(found).sum()) == len(found) - numbers.null_count else None
