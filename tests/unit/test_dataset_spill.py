"""Spilled runs come back as Python's own sort of all rows orders them, wherever they overlap, touch or tie."""

from __future__ import annotations

import tracemalloc
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest

from vambrace.dataset import spill
from vambrace.dataset.files import RealFiles
from vambrace.dataset.spill import Sorter

SCHEMA = pa.schema([("major", pa.int64()), ("minor", pa.int64()), ("arrival", pa.int64())])
GROUP = ("recording", "signal")


@pytest.mark.parametrize("held", [2, 3, 32])
@pytest.mark.parametrize("seed", range(40))
def test_runs_with_many_ties_leave_in_order_of_keys_then_arrival(
    tmp_path: Path, seed: int, held: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(spill, "MOST_STRETCHES", held)
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


def test_rows_newest_first_are_merged_in_flat_memory(tmp_path: Path) -> None:
    runs, count = 400, 2_000
    sorter = Sorter(RealFiles(), tmp_path, SCHEMA, budget=count - 1)
    for run in range(runs):
        time = np.arange((runs - run) * count, (runs - run - 1) * count, -1)
        columns = [time, np.zeros(count, np.int64), np.full(count, run)]
        sorter.add(GROUP, pa.record_batch([pa.array(column) for column in columns], schema=SCHEMA))
    times, at = np.zeros(runs * count, np.int64), 0
    tracemalloc.start()
    try:
        for _, block in sorter.blocks():
            times[at : at + block.num_rows] = block.column("major").to_numpy()
            at += block.num_rows
        # All rows at once would be 19.2 MB.
        assert tracemalloc.get_traced_memory()[1] < 8_000_000
    finally:
        tracemalloc.stop()
        sorter.close()
    assert times.tolist() == list(range(1, runs * count + 1))
