"""Scalar columns out of raw fields, and which of several fields of one signal is taken row by row."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vambrace_plugins.importers.fit.book import Book, Ints, Mask
from vambrace_plugins.importers.fit.decode import Block, field_name
from vambrace_plugins.importers.fit.profile import Scaled


@dataclass(frozen=True, slots=True)
class Scalar:
    """One value a row in the profile's unit; `defined` says whether the row's definition holds the field at all."""

    name: str
    values: NDArray[Any]
    present: Mask
    defined: Mask


def scalar(block: Block, scaled: Scaled, book: Book) -> Scalar | None:
    """Return a field of a block as one value a row, or None where no definition holds it.

    Where a field holds several values, none of them is known to be the value: they are not carried, and noted.
    """
    raw = block.fields.get(scaled.number)
    if raw is None:
        return None
    name = field_name(block.message, scaled.number)
    several = raw.width > 1
    if several.any():
        count = int(raw.valid[several].sum())
        book.leave(name, count)
        book.source.note("several-values", f"{name} holds several values in one message: not carried", "warning", count)
    values = raw.values[:, 0]
    if scaled.scale:
        # Whole numbers first, one division last: 2584 is 16.8 m, where raw / 5 - 500 would be 16.799999999999955.
        values = (values.astype(np.float64) - scaled.offset * scaled.scale) / scaled.scale
    return Scalar(name, values, raw.valid[:, 0] & ~several, raw.width == 1)


def present_or(block: Block, number: int, instead: int) -> Ints:
    """Return a field's first elements as integers, and `instead` where a row has no value."""
    raw = block.fields.get(number)
    if raw is None:
        return np.full(len(block), instead, np.int64)
    return np.where(raw.valid[:, 0], raw.values[:, 0], instead).astype(np.int64)


def chosen(candidates: Sequence[Scalar], book: Book) -> Iterator[tuple[Scalar, Ints]]:
    """Yield runs of rows with the candidate that gives their value: the finest that is present, else that is defined.

    A coarser value beside a finer one is counted as not carried.
    """
    if not candidates:
        return
    winner = np.full(len(candidates[0].values), -1)
    has_value = np.zeros(len(winner), np.bool_)
    for at, each in enumerate(candidates):
        book.leave(each.name, int((each.present & has_value).sum()))
        winner = np.where((each.present & ~has_value) | ((winner < 0) & each.defined), at, winner)
        has_value |= each.present
    rows = np.flatnonzero(winner >= 0)
    for run in np.split(rows, np.flatnonzero(np.diff(winner[rows])) + 1):
        if len(run):
            yield candidates[int(winner[run[0]])], run
