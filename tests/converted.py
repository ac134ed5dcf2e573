"""Whole conversions for tests: run one, and read what became of it without the project's own reading face."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq


def table(dataset: Path, name: str) -> list[dict[str, Any]]:
    """Return the rows of a derived table, read as any tool would read them."""
    return pq.read_table(dataset / "tables" / f"{name}.parquet").to_pylist()


def ledger(dataset: Path) -> dict[str, dict[str, Any]]:
    """Return the rows of `files` by path; a path stands there once."""
    rows = table(dataset, "files")
    by_path = {row["path"]: row for row in rows}
    assert len(by_path) == len(rows)
    return by_path


def statuses(dataset: Path) -> dict[str, str]:
    """Return what became of each path."""
    return {path: row["status"] for path, row in ledger(dataset).items()}


def samples(dataset: Path) -> pa.Table:
    """Return all samples, shard by shard."""
    shards = sorted((dataset / "samples").glob("*.parquet"))
    return pa.concat_tables([pq.read_table(shard) for shard in shards]) if shards else pa.table({})


def series(dataset: Path, recording: str, signal: str) -> list[tuple[int, float]]:
    """Return one channel as (µs of Unix time, value), in the order of the shard."""
    rows = samples(dataset)
    rows = rows.filter(
        pa.compute.and_(
            pa.compute.equal(rows["recording"].cast(pa.string()), recording),
            pa.compute.equal(rows["signal"].cast(pa.string()), signal),
        )
    )
    return list(zip(rows["time"].cast(pa.int64()).to_pylist(), rows["value"].to_pylist(), strict=True))


def digest(folder: Path) -> dict[str, str]:
    """Return the SHA-256 of every file below a folder, lock files aside."""
    return {
        path.relative_to(folder).as_posix(): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.name.startswith((".lock", ".writer"))
    }
