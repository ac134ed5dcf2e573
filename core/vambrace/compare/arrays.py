"""The arrays that comparison works on, and what it asks of them."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]
Times: TypeAlias = NDArray[np.int64]
Rows: TypeAlias = NDArray[np.intp]
Marks: TypeAlias = NDArray[np.bool_]
Codes: TypeAlias = NDArray[np.int64]

SECOND = 1_000_000
"""Microseconds in a second, the unit of every `Times` array."""


def ascending(times: Times, what: str) -> None:
    """Raise ValueError where `times` (µs) fall; equal neighbours are allowed."""
    if times.size > 1 and bool(np.any(times[1:] < times[:-1])):
        row = int(np.argmax(times[1:] < times[:-1])) + 1
        raise ValueError(f"The times of {what} fall at row {row}: sort them, with their values, before pairing.")


def finite(values: Floats, what: str) -> None:
    """Raise ValueError where `values` hold something that is not a number."""
    if not bool(np.all(np.isfinite(values))):
        row = int(np.argmin(np.isfinite(values)))
        raise ValueError(f"Row {row} of {what} is not a number: leave such rows out and count them before comparing.")


def median_interval(times: Times) -> int | None:
    """Return the median step between neighbours in µs, None below two times."""
    return int(np.median(np.diff(times))) if times.size > 1 else None
