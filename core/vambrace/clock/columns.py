"""Arrow columns to NumPy ones, null-free."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from vambrace.batch import Mask, Values


def is_numeric(values: Values) -> bool:
    """Say whether an importer handed over numbers, not texts."""
    return isinstance(values, np.ndarray) and values.dtype.kind not in "OSUT"


def texts_of(values: Values) -> pa.Array:
    """Return texts as one Arrow array, whatever sequence an importer handed over."""
    if isinstance(values, pa.ChunkedArray):
        values = values.combine_chunks()
    if isinstance(values, pa.Array):
        return values if pa.types.is_string(values.type) else pc.cast(values, pa.string())
    plain = values.tolist() if isinstance(values, np.ndarray) else values
    return pa.array(plain, pa.string())


def mask(flags: pa.Array) -> Mask:
    """Return flags as a NumPy array of its own, False where there is none."""
    return np.array(pc.fill_null(flags, False).to_numpy(zero_copy_only=False), np.bool_)


def int64(numbers: pa.Array) -> NDArray[np.int64]:
    """Return whole numbers as a NumPy array of its own, 0 where there is none."""
    return np.array(pc.fill_null(numbers, 0).to_numpy(zero_copy_only=False), np.int64)
