"""Small datasets made without any importer, and file operations that fail when they are told to."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np
import pyarrow as pa

from vambrace.batch import NO_END, Batch
from vambrace.dataset import (
    ChannelRow,
    EventRow,
    FindingRow,
    Finished,
    Occurrence,
    Record,
    RecordingRow,
    ShardWriter,
    Store,
    content_key,
    entry_key,
)
from vambrace.dataset.files import FileOps, RealFiles
from vambrace.errors import Rejected

START_US = 1_748_736_000_000_000
"""2025-06-01T00:00:00Z."""


def sha(text: str) -> str:
    """Return the SHA-256 that stands for a content."""
    return hashlib.sha256(text.encode()).hexdigest()


def batch(
    signal: str,
    time: Sequence[int],
    value: Sequence[float],
    record: Sequence[int],
    flags: Sequence[str | None] | None = None,
) -> Batch:
    """Return canonical rows; heart rates above 250 count as suspect."""
    values = np.array(value, np.float64)
    ends = np.full(len(values), NO_END)
    suspect = values > 250
    return Batch(1, signal, np.array(time, np.int64), ends, values, np.array(record, np.int64), suspect, flags)


@dataclass(frozen=True)
class Made:
    """A source as if it had been read: `rows` heart rates, `aside` rows set aside."""

    text: str
    rows: int = 5
    aside: int = 2
    settings: Mapping[str, Any] = field(default_factory=lambda: {"importer": "made"})
    places: tuple[tuple[str, str], ...] = (("exports", "a.csv"),)

    @property
    def sha256(self) -> str:
        return sha(self.text)

    @property
    def key(self) -> str:
        return content_key(self.sha256, self.settings)

    @property
    def recording(self) -> str:
        return f"{self.sha256[:16]}.1"

    def times(self) -> list[int]:
        return [START_US + 1_000_000 * k for k in range(self.rows)]

    def values(self) -> list[float]:
        """Return values that tell contents and settings apart."""
        seed = int(self.key[:6], 16)
        return [60 + (seed + k) % 100 for k in range(self.rows)]

    def written(self, folder: Path, ops: FileOps | None = None) -> Finished:
        """Write the shard and the rows set aside."""
        with ShardWriter(folder, ops) as writer:
            if self.rows:
                writer.add(batch("heart_rate", self.times(), self.values(), range(1, self.rows + 1)), self.recording)
            refused = [Rejected("heart_rate", 100 + k, "outside-domain", f"{400 + k}") for k in range(self.aside)]
            writer.set_aside(self.recording, refused)
            return writer.finish()

    def record(self, finished: Finished) -> Record:
        """Return the record to be committed with the files."""
        stats = finished.stats.get((self.recording, "heart_rate"))
        known = {"n": self.rows, "n_set_aside": self.aside}
        channel = ChannelRow(self.recording, "heart_rate", **known, field_in_source="hr", unit_in_source="bpm")
        return Record(
            key=self.key,
            sha256=self.sha256,
            bytes=len(self.text),
            status="converted",
            occurrences=tuple(Occurrence(*place) for place in self.places),
            importer="made",
            importer_version="1",
            settings=self.settings,
            rows_read=self.rows + self.aside,
            rows_kept=self.rows,
            rows_set_aside=self.aside,
            recordings=(
                RecordingRow(
                    self.recording,
                    "csv",
                    serial="S1",
                    start_us=stats.start_us if stats else None,
                    end_us=stats.end_us if stats else None,
                    complete=True,
                    conversions=("heart_rate: Hz to /min, × 60",),
                ),
            ),
            channels=(channel, ChannelRow(self.recording, None, n=3, field_in_source="mood")),
            events=(EventRow(self.recording, START_US, "lap", "lap 1"),),
            findings=(FindingRow("odd-clock", "note", "the clock stood still", self.recording, count=2),),
            shard=finished.samples_stamp,
            aside=finished.aside_stamp,
        )

    def commit(self, store: Store, replaces: Sequence[Record] = (), ops: FileOps | None = None) -> Record:
        """Write and commit the source."""
        finished = self.written(store.folder, ops)
        return store.commit(self.record(finished), finished, replaces)


def entry(root: str, path: str, status: str = "rejected", reason: str = "it is a pipe.") -> Record:
    """Return the record of an entry without content."""
    return Record(entry_key(root, path), None, None, status, (Occurrence(root, path),), reason=reason, code="x")


def rows_of(store: Store) -> list[tuple[str, int, float]]:
    """Return recording, record number and value of every sample."""
    found = []
    for path in store.shards():
        for part in store.read_shard(path):
            words = part.column("recording").cast(pa.string()).to_pylist()
            found += zip(words, part.column("record").to_pylist(), part.column("value").to_pylist(), strict=True)
    return found


class Killed(BaseException):
    """The process is gone; no cleaning up happens after it."""


class _Stream:
    """A file being written; its first write is an operation that may fail half-way."""

    def __init__(self, inner: BinaryIO, path: Path, ops: FaultyFiles) -> None:
        self._inner, self._path, self._ops, self._begun = inner, path, ops, False

    def write(self, data: bytes) -> int:
        self._ops.unsynced.add(self._path)
        if self._begun:
            return self._inner.write(data)
        self._begun = True
        try:
            self._ops.step("write")
        except BaseException:
            self._inner.write(bytes(data)[: len(data) // 2])
            self._inner.flush()
            raise
        return self._inner.write(data)

    def __enter__(self) -> _Stream:
        return self

    def __exit__(self, *_: object) -> None:
        self._inner.close()

    def __getattr__(self, name: str) -> Any:
        return getattr(self._inner, name)


class FaultyFiles:
    """Real file operations of which the n-th fails.

    With `error` that one operation raises it, as a full disk would. Else the process dies: it and every later one
    raises `Killed`. With `power_cut` also lost at that moment: the bytes of files that were not synced, and
    renamings in folders that were not.
    """

    def __init__(self, fail_at: int | None = None, error: OSError | None = None, *, power_cut: bool = False) -> None:
        self._real, self._fail_at, self._error, self._power_cut = RealFiles(), fail_at, error, power_cut
        self.count = 0
        self.names: list[str] = []
        self.unsynced: set[Path] = set()
        self._renamed: list[tuple[Path, Path, bytes | None]] = []

    def step(self, name: str) -> None:
        """Count one operation, and fail where it is the one."""
        self.count += 1
        self.names.append(name)
        if self._fail_at is None or self.count < self._fail_at:
            return
        if self._error is None:
            self._die()
            raise Killed(f"at operation {self._fail_at}: {self.names[self._fail_at - 1]}")
        if self.count == self._fail_at:
            raise self._error

    def _die(self) -> None:
        if self._power_cut and self.count == self._fail_at:
            for old, new, before in reversed(self._renamed):
                new.replace(old)
                if before is not None:
                    new.write_bytes(before)
            for path in self.unsynced:
                if path.exists():
                    os.truncate(path, 0)

    def open_new(self, path: Path) -> BinaryIO:
        self.step("open_new")
        self.unsynced.add(path)
        return _Stream(self._real.open_new(path), path, self)  # type: ignore[return-value]

    def open_old(self, path: Path) -> BinaryIO:
        return self._real.open_old(path)

    def fsync_file(self, stream: BinaryIO) -> None:
        self.step("fsync_file")
        stream.flush()
        self.unsynced.discard(Path(stream.name))

    def rename(self, old: Path, new: Path) -> None:
        self.step("rename")
        before = new.read_bytes() if new.exists() else None
        self._real.rename(old, new)
        self._renamed.append((old, new, before))
        if old in self.unsynced:
            self.unsynced = (self.unsynced - {old}) | {new}

    def unlink(self, path: Path) -> None:
        self.step("unlink")
        self._real.unlink(path)

    def make_folder(self, path: Path) -> None:
        self.step("make_folder")
        self._real.make_folder(path)

    def fsync_folder(self, path: Path) -> None:
        self.step("fsync_folder")
        self._renamed = [each for each in self._renamed if each[1].parent != path]

    def list_folder(self, path: Path) -> list[str]:
        return self._real.list_folder(path)
