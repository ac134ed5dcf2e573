"""Spilled runs come back as Python's own sort of all rows orders them, wherever they overlap, touch or tie."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest

from vambrace.dataset.files import RealFiles
from vambrace.dataset.spill import Sorter

SCHEMA = pa.schema([("major", pa.int64()), ("minor", pa.int64()), ("arrival", pa.int64())])
GROUP = ("recording", "signal")


@pytest.mark.parametrize("seed", range(40))
def test_runs_with_many_ties_leave_in_order_of_keys_then_arrival(tmp_path: Path, seed: int) -> None:
    random = np.random.default_rng(seed)
    sorter = Sorter(RealFiles(), tmp_path, SCHEMA, budget=int(random.integers(1, 40)))
    rows: list[tuple[int, ...]] = []
    base = 0
    for _ in range(30):
        count = int(random.integers(1, 15))
        base += int(random.integers(-1, 3))
        keys = [random.integers(base, base + 2, count), random.integers(0, 2, count)]
        columns = [*keys, np.arange(len(rows), len(rows) + count)]
        sorter.add(GROUP, pa.record_batch([pa.array(column) for column in columns], schema=SCHEMA))
        rows += [tuple(map(int, row)) for row in zip(*columns, strict=True)]
    found = [tuple(row.values()) for _, block in sorter.blocks() for row in block.to_pylist()]
    sorter.close()
    assert found == sorted(rows)
