"""What every kind of source gives: the fields of its rows, and the rows in blocks of texts."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import islice
from typing import Any, Protocol

import numpy as np
import pyarrow as pa

from vambrace_plugins.importers.csv.blocks import Block

ROWS = 10_000
"""Rows of a block; decisions are made from the first."""


class Records(Protocol):
    """The rows of one source, open for reading.

    `names` are the fields of its blocks in their order. `left` counts the values of other fields by name; it and
    `sentences` (what was decided, for people) and `complete` are whole once all blocks are read. `delimiter` parts
    the cells of a text.
    """

    names: Sequence[str]
    delimiter: str
    left: dict[str, int]
    sentences: list[str]
    complete: bool | None

    def blocks(self) -> Iterator[Block]:
        """Yield the rows; raise DamagedFile behind the last one before a damage."""
        ...


def text_of(value: Any) -> str:
    """Return a value of JSON as a text."""
    if isinstance(value, str):
        return value
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    return str(value)


def blocks_of(
    rows: Iterable[Mapping[str, str]], names: Sequence[str], left: dict[str, int], first_record: int = 1
) -> Iterator[Block]:
    """Yield rows that give some fields a text as blocks of all fields; count the values of fields not among them.

    What stands before an error is yielded before it is raised.
    """
    known = frozenset(names)
    every = iter(rows)
    record = first_record
    more = True
    while more:
        held: list[Mapping[str, str]] = []
        fault: Exception | None = None
        try:
            held.extend(islice(every, ROWS))
        except Exception as error:
            fault = error
        for row in held:
            for name in row.keys() - known:
                left[name] = left.get(name, 0) + (row[name] != "")
        if held:
            columns = [pa.array([row.get(name, "") for row in held], pa.string()) for name in names]
            yield Block(np.arange(record, record + len(held)), columns)
        record += len(held)
        more = len(held) == ROWS
        if fault is not None:
            raise fault
