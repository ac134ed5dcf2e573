"""Columns as importers hand them over, brought to NumPy or Arrow."""

from __future__ import annotations

from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from vambrace.batch import Mask, Values


def plain_values(values: Values) -> NDArray[Any] | pa.Array:
    """Return a column as numbers (NumPy) or as texts (Arrow), whatever sequence an importer handed over.

    Arrays of dates or durations stay what they are: nobody takes them, and whoever is given one says so.
    """
    if isinstance(values, pa.ChunkedArray):
        values = values.combine_chunks()
    if isinstance(values, pa.Array):
        return values if pa.types.is_string(values.type) else pc.cast(values, pa.string())
    if isinstance(values, np.ndarray) and values.dtype.kind in "iufbmM":
        return values
    if hasattr(values, "__arrow_array__"):
        return pa.array(values)
    cells = list(values)
    if cells and all(isinstance(cell, int | np.integer) for cell in cells):
        return np.array(cells, np.int64)
    if any(isinstance(cell, float) for cell in cells) and not any(isinstance(cell, str) for cell in cells):
        return np.array([np.nan if cell is None else cell for cell in cells], np.float64)
    return pa.array([cell if cell is None else str(cell) for cell in cells], pa.string())


def mask(flags: pa.Array) -> Mask:
    """Return flags as a NumPy array of its own, False where there is none."""
    return np.array(pc.fill_null(flags, False).to_numpy(zero_copy_only=False), np.bool_)


def int64(numbers: pa.Array) -> NDArray[np.int64]:
    """Return whole numbers as a NumPy array of its own, 0 where there is none."""
    return np.array(pc.fill_null(numbers, 0).to_numpy(zero_copy_only=False), np.int64)


def source_texts(values: Values, rows: NDArray[np.intp]) -> list[str]:
    """Return what the source says in the given rows, as texts."""
    if isinstance(values, np.ndarray):
        return [_said(value) for value in values[rows].tolist()]
    return [_said(values[int(row)]) for row in rows]


def _said(value: Any) -> str:
    value = value.as_py() if isinstance(value, pa.Scalar) else value
    return "" if value is None else str(value)
